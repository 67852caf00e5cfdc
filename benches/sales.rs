//! How many sales a second the shop records durably, held against the same statements run on SQLite without anything in between, all in
//! one run on one disk. Prints rows of Markdown.
//!
//! `cargo bench --bench sales [-- [--rounds N] [--sales N] [--at FOLDER] [--show]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

mod bare;
#[path = "../tests/counter/mod.rs"]
mod counter;
#[path = "sales/floor.rs"]
mod floor;
#[path = "sales/record.rs"]
mod record;
#[path = "sales/shop.rs"]
mod shop;
#[path = "sales/table.rs"]
mod table;
#[path = "sales/through_the_shop.rs"]
mod through_the_shop;

use floor::Recorded;
use sakudana::web::clock;
use std::path::{Path, PathBuf};
use std::time::Duration;
use table::Table;

const CALLERS: [usize; 4] = [1, 8, 64, 256];

/// What one way of selling took.
pub struct Measured {
    /// Things done in a second.
    pub rate: f64,
    /// How long each took, where that was asked.
    pub waits: Vec<Duration>,
}

struct Options {
    rounds: usize,
    sales: usize,
    at: Option<PathBuf>,
    /// Only tell what a sale executes.
    show: bool,
}

fn options() -> Options {
    let mut options = Options { rounds: 3, sales: 8_000, at: None, show: false };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().unwrap_or_else(|| panic!("{word} wants a value"));
        match word.as_str() {
            "--rounds" => options.rounds = value().parse().expect("a number of rounds"),
            "--sales" => options.sales = value().parse().expect("a number of sales"),
            "--at" => options.at = Some(value().into()),
            "--show" => options.show = true,
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --sales N, --at FOLDER, --show"),
        }
    }
    options
}

fn main() {
    let options = options();
    let folder = match &options.at {
        Some(at) => tempfile::tempdir_in(at),
        None => tempfile::tempdir(),
    }
    .expect("a folder to work in");
    let now = clock::now();
    let stock = folder.path().join("stock.db");
    let codes = shop::make(&stock, options.sales, now);
    let recorded = floor::record(&Copy::of(&stock), &codes, now);
    println!("{} sales a round, {} rounds, {} statements a sale", codes.len(), options.rounds, recorded.per_sale());
    if options.show {
        return floor::show(&Copy::of(&stock), &recorded);
    }
    println!("load before: {}", load());
    let mut table = Table::default();
    for _ in 0..options.rounds {
        one_round(&mut table, &stock, &codes, &recorded, now);
    }
    println!("load after: {}\n", load());
    table.print(&CALLERS);
}

fn one_round(
    table: &mut Table,
    stock: &Path,
    codes: &[String],
    recorded: &Recorded,
    now: sakudana::units::instant::Instant,
) {
    table.note(("sync", 0), floor::sync(stock.parent().expect("a folder")));
    table.note(("alone", 1), through_the_shop::alone(Copy::of(stock).file(), codes, now));
    for callers in CALLERS {
        table.note(("shop", callers), through_the_shop::together(Copy::of(stock).file(), codes, now, callers));
        table.note(("bare", callers), floor::replay(&Copy::of(stock), recorded, callers));
    }
}

/// A copy of the stocked shop, for one way of selling it out; gone when dropped.
pub struct Copy(PathBuf);

impl Copy {
    fn of(stock: &Path) -> Copy {
        let file = stock.with_file_name("copy.db");
        std::fs::copy(stock, &file).expect("the shop is copied");
        // What the copy wrote must not be synced at the expense of the first sale.
        std::fs::File::open(&file).and_then(|f| f.sync_all()).expect("the copy is synced");
        Copy(file)
    }

    pub fn file(&self) -> &Path {
        &self.0
    }
}

impl Drop for Copy {
    fn drop(&mut self) {
        for end in ["db", "db-wal", "db-shm"] {
            // Whatever is not there need not go.
            let _ = std::fs::remove_file(self.0.with_extension(end));
        }
    }
}

fn load() -> String {
    std::fs::read_to_string("/proc/loadavg").map_or_else(|_| "unknown".into(), |line| line.trim().to_owned())
}
