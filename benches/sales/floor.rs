//! The floors: what the disk alone allows, and the statements of real sales repeated on bare SQLite, one commit each or in groups.

use crate::bare::{Bare, Prepared, Value};
use crate::record::{self, Step};
use crate::{Copy, Measured, shop, through_the_shop};
use sakudana::units::instant::Instant as Moment;
use std::collections::HashMap;
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::time::{Duration, Instant};

/// Real sales as the shop executed them, and what the books said afterwards.
pub struct Recorded {
    set_up: Vec<Step>,
    /// Of each sale, what stands between its begin and its commit.
    sales: Vec<Vec<Step>>,
    books: Vec<i64>,
}

impl Recorded {
    /// Statements of one sale, without begin and commit.
    pub fn per_sale(&self) -> usize {
        self.sales[0].len()
    }
}

/// Sells everything once through the shop and writes down what is executed.
pub fn record(copy: &Copy, codes: &[String], now: Moment) -> Recorded {
    record::listen_to_the_next();
    let desk = shop::open(copy.file());
    let set_up: Vec<Step> = record::take().into_iter().filter(|step| step.sql.starts_with("PRAGMA")).collect();
    assert!(set_up.iter().any(|step| step.sql.contains("synchronous = FULL")), "the set-up was not heard: {set_up:?}");
    let sales: Vec<Vec<Step>> = codes
        .iter()
        .map(|code| {
            through_the_shop::sell_one(&desk, code, now);
            without_frame(record::take())
        })
        .collect();
    let texts = |sale: &[Step]| sale.iter().map(|step| step.sql.clone()).collect::<Vec<_>>();
    let first = texts(&sales[0]);
    assert!(sales.iter().all(|sale| texts(sale) == first), "not every sale executes the same statements");
    drop(desk);
    Recorded { set_up, sales, books: books(copy.file()) }
}

fn without_frame(mut steps: Vec<Step>) -> Vec<Step> {
    assert_eq!(steps.first().map(|s| s.sql.as_str()), Some("BEGIN IMMEDIATE"), "a sale begins");
    assert_eq!(steps.pop().map(|s| s.sql), Some("COMMIT".to_owned()), "a sale ends");
    steps.remove(0);
    steps
}

/// Sums that differ when anything that a sale moves was not moved.
fn books(file: &Path) -> Vec<i64> {
    let mut bare = Bare::open(file);
    [
        "SELECT COUNT(*) FROM acts",
        "SELECT SUM(total_cents * id) FROM sales",
        "SELECT SUM(price_cents * tray_id) FROM sale_lines",
        "SELECT SUM(grams * id) FROM entries",
        "SELECT SUM(cost_cents * id) FROM entries",
        "SELECT SUM(grams * tray_id) FROM holdings",
        "SELECT SUM(version * id) FROM trays WHERE fate = 'sold'",
        "SELECT COUNT(*) FROM stays WHERE to_at IS NULL",
    ]
    .map(|sum| bare.ask(sum))
    .to_vec()
}

/// Repeats the recorded sales on one thread, `group` of them in one commit, every statement prepared once.
pub fn replay(copy: &Copy, recorded: &Recorded, group: usize) -> Measured {
    let mut bare = Bare::open(copy.file());
    for step in &recorded.set_up {
        bare.ask(&step.sql);
    }
    let begin = bare.prepare("BEGIN IMMEDIATE");
    let commit = bare.prepare("COMMIT");
    let mut known: HashMap<&str, Prepared> = HashMap::new();
    let sales: Vec<Vec<(Prepared, &[Value])>> = recorded
        .sales
        .iter()
        .map(|sale| {
            let mut prepared = |step: &Step| bare.prepare(&step.sql);
            sale.iter()
                .map(|step| (*known.entry(&step.sql).or_insert_with(|| prepared(step)), step.values.as_slice()))
                .collect()
        })
        .collect();
    let start = Instant::now();
    for together in sales.chunks(group) {
        bare.run(begin, &[]);
        for (statement, values) in together.iter().flatten() {
            bare.run(*statement, values);
        }
        bare.run(commit, &[]);
    }
    let rate = sales.len() as f64 / start.elapsed().as_secs_f64();
    drop(bare);
    assert_eq!(books(copy.file()), recorded.books, "repeated on bare SQLite, the sales left other books");
    Measured { rate, waits: Vec::new() }
}

/// Prints each statement of a sale with what it takes on bare SQLite, in one big transaction.
pub fn show(copy: &Copy, recorded: &Recorded) {
    let mut bare = Bare::open(copy.file());
    for step in &recorded.set_up {
        bare.ask(&step.sql);
    }
    let prepared: Vec<Prepared> = recorded.sales[0].iter().map(|step| bare.prepare(&step.sql)).collect();
    let mut took = vec![Duration::ZERO; prepared.len()];
    bare.ask("BEGIN IMMEDIATE");
    for sale in &recorded.sales {
        for ((statement, step), took) in prepared.iter().zip(sale).zip(&mut took) {
            let start = Instant::now();
            bare.run(*statement, &step.values);
            *took += start.elapsed();
        }
    }
    bare.ask("COMMIT");
    for (step, took) in recorded.sales[0].iter().zip(took) {
        println!("{:6.2} us  {}", took.as_secs_f64() * 1e6 / recorded.sales.len() as f64, step.sql);
    }
}

/// How often a second 16 KiB are overwritten and synced.
pub fn sync(folder: &Path) -> Measured {
    const TIMES: u32 = 2_000;
    let page = vec![7_u8; 16 * 1024];
    let path = folder.join("sync");
    let file = File::create(&path).expect("a file to sync");
    file.write_all_at(&page, 0).expect("room for 16 KiB");
    file.sync_all().expect("the first sync");
    let start = Instant::now();
    for _ in 0..TIMES {
        file.write_all_at(&page, 0).expect("16 KiB are overwritten");
        file.sync_data().expect("they are synced");
    }
    let rate = f64::from(TIMES) / start.elapsed().as_secs_f64();
    std::fs::remove_file(path).expect("the file goes");
    Measured { rate, waits: Vec::new() }
}
