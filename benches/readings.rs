//! How long a million readings take from the bytes of an export into the record of a place, held against a bare bulk insert of the same rows
//! into the same table on SQLite without anything in between, in one run on one disk. Prints rows of Markdown.
//!
//! `cargo bench --bench readings [-- [--rounds N] [--lines N] [--at FOLDER]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

mod bare;
#[path = "../tests/counter/mod.rs"]
mod counter;

use bare::{Bare, Value};
use counter::{actor, catalogue, shop};
use sakudana::domain::logger::csv::Reader;
use sakudana::domain::logger::{Line, Options, Outcome};
use sakudana::ops::desk::Desk;
use sakudana::ops::take_readings::{self, Delivery};
use sakudana::store::StoreOptions;
use sakudana::units::instant::{Instant as Moment, MICROS_PER_SECOND};
use sakudana::web::clock;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

const PLACE: &str = "case";
/// As much as comes off the wire at once, and as many lines as the server puts into one transaction.
const PIECE: usize = 32 * 1024;
const BATCH: usize = 5_000;
const SECONDS_APART: i64 = 30;
/// What the shop may take at most, in times of the bare insert.
const GOAL: f64 = 3.0;

struct Asked {
    rounds: usize,
    lines: i64,
    at: Option<PathBuf>,
}

fn asked() -> Asked {
    let mut asked = Asked { rounds: 3, lines: 1_000_000, at: None };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().unwrap_or_else(|| panic!("{word} wants a value"));
        match word.as_str() {
            "--rounds" => asked.rounds = value().parse().expect("a number of rounds"),
            "--lines" => asked.lines = value().parse().expect("a number of lines"),
            "--at" => asked.at = Some(value().into()),
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --lines N, --at FOLDER"),
        }
    }
    asked
}

/// What each way took in seconds, one figure a round.
#[derive(Default)]
struct Took {
    parse: Vec<f64>,
    ingest: Vec<f64>,
    again: Vec<f64>,
    bare: Vec<f64>,
    bare_batches: Vec<f64>,
}

fn main() {
    let asked = asked();
    let folder = match &asked.at {
        Some(at) => tempfile::tempdir_in(at),
        None => tempfile::tempdir(),
    }
    .expect("a folder to work in");
    let now = clock::now();
    // The last reading is a minute old; a million of them reach back not quite a year.
    let first = now.floor_minute().plus_micros(-(asked.lines * SECONDS_APART + 60) * MICROS_PER_SECOND);
    let rows: Vec<(i64, i64)> = (0..asked.lines)
        .map(|n| (first.plus_micros(n * SECONDS_APART * MICROS_PER_SECOND).micros(), (n * 37) % 4_000 - 1_000))
        .collect();
    let file = export(&rows);
    println!("{} lines, {:.1} MB, {} rounds", rows.len(), file.len() as f64 / 1e6, asked.rounds);
    let mut took = Took::default();
    for round in 0..asked.rounds {
        one_round(&folder.path().join(format!("{round}")), &file, &rows, now, &mut took);
    }
    print(&took, rows.len());
}

/// A local time without its offset, as loggers write it: the dearest form to read.
fn export(rows: &[(i64, i64)]) -> Vec<u8> {
    let tz: chrono_tz::Tz = shop().zone.name().parse().expect("a zone");
    let mut text = "Nr.;Time;Temperature (°C);Humidity\n".to_owned();
    for (number, (at, milli)) in rows.iter().enumerate() {
        let local = Moment::from_micros(*at).expect("an instant").to_chrono().with_timezone(&tz);
        let sign = if *milli < 0 { "-" } else { "" };
        let (whole, rest) = (milli.abs() / 1_000, milli.abs() % 1_000);
        text += &format!("{};{};{sign}{whole},{rest:03};81\n", number + 1, local.format("%Y-%m-%d %H:%M:%S"));
    }
    text.into_bytes()
}

fn one_round(folder: &Path, file: &[u8], rows: &[(i64, i64)], now: Moment, took: &mut Took) {
    std::fs::create_dir(folder).expect("a folder");
    let parse = Instant::now();
    assert_eq!(read(file, |_| {}), rows.len());
    took.parse.push(parse.elapsed().as_secs_f64());

    let database = folder.join("shop.db");
    let desk = open(&database);
    catalogue(&desk, now);
    let begun = Instant::now();
    assert_eq!(ingest(&desk, file, now, Outcome::Accepted), rows.len());
    took.ingest.push(begun.elapsed().as_secs_f64());
    let begun = Instant::now();
    assert_eq!(ingest(&desk, file, now, Outcome::Repeated), rows.len());
    took.again.push(begun.elapsed().as_secs_f64());
    drop(desk);
    assert_eq!(sum(&database), rows.iter().map(|(at, milli)| at / 1_000_000 % 1_000 * milli).sum::<i64>());

    for (name, in_one, took) in [("bare.db", rows.len(), &mut took.bare), ("batches.db", BATCH, &mut took.bare_batches)]
    {
        let database = folder.join(name);
        drop(open(&database));
        took.push(insert(&database, rows, in_one));
        assert_eq!(sum(&database), sum(&folder.join("shop.db")), "the same rows");
    }
    std::fs::remove_dir_all(folder).expect("the folder goes");
}

fn open(database: &Path) -> Desk {
    let database = database.to_str().expect("a path that is text").to_owned();
    Desk::open(&StoreOptions { database, readers: 1 }, shop()).expect("the database opens")
}

/// Reads the file as it comes off the wire; gives the number of readings.
fn read(file: &[u8], mut full: impl FnMut(Vec<Line>)) -> usize {
    let (mut reader, mut batch, mut count) = (Reader::new(Options::plain(shop().zone)), Vec::new(), 0);
    let mut hand_over = |batch: &mut Vec<Line>, least: usize| {
        while batch.len() >= least {
            let rest = batch.split_off(batch.len().min(BATCH));
            let lines = std::mem::replace(batch, rest);
            count += lines.iter().filter(|line| line.found.is_ok()).count();
            full(lines);
        }
    };
    for piece in file.chunks(PIECE) {
        reader.push(piece, &mut |line| batch.push(line)).expect("an export");
        hand_over(&mut batch, BATCH);
    }
    reader.finish(&mut |line| batch.push(line)).expect("an export");
    hand_over(&mut batch, 1);
    count
}

/// Through the shop: read, batch by batch one durable act each. Gives how many lines had this outcome.
fn ingest(desk: &Desk, file: &[u8], now: Moment, outcome: Outcome) -> usize {
    let delivery: Arc<Delivery> =
        Arc::new(desk.look(|reading, _| take_readings::begin(reading, PLACE)).expect("a place"));
    let mut count = 0;
    read(file, |lines| {
        let taken = take_readings::deliver(desk, &actor(), now, &delivery, Arc::new(lines));
        count += taken.expect("readings are taken").tally.count(outcome);
    });
    usize::try_from(count).expect("a count")
}

/// One prepared statement, bound and stepped for each row, `in_one` of them in one commit; under the settings of the shop.
fn insert(database: &Path, rows: &[(i64, i64)], in_one: usize) -> f64 {
    let mut bare = Bare::open(database);
    for pragma in ["journal_mode = WAL", "synchronous = FULL", "wal_autocheckpoint = 1000", "cache_size = -16000"] {
        bare.ask(&format!("PRAGMA {pragma}"));
    }
    let begin = bare.prepare("BEGIN IMMEDIATE");
    let commit = bare.prepare("COMMIT");
    let insert = bare.prepare("INSERT INTO readings (place_code, at, temperature_mc) VALUES (?, ?, ?)");
    let begun = Instant::now();
    for together in rows.chunks(in_one) {
        bare.run(begin, &[]);
        let mut values = [Value::Text(PLACE.to_owned()), Value::Null, Value::Null];
        for (at, milli) in together {
            values[1] = Value::Integer(*at);
            values[2] = Value::Integer(*milli);
            bare.run(insert, &values);
        }
        bare.run(commit, &[]);
    }
    begun.elapsed().as_secs_f64()
}

/// Differs when any row does.
fn sum(database: &Path) -> i64 {
    Bare::open(database).ask("SELECT SUM(at / 1000000 % 1000 * temperature_mc) FROM readings WHERE place_code = 'case'")
}

fn middle(figures: &[f64]) -> f64 {
    let mut sorted = figures.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

fn print(took: &Took, lines: usize) {
    println!("| way | seconds | lines a second | times the bare insert |");
    println!("|---|---:|---:|---:|");
    let times = |figures: &[f64]| middle(&figures.iter().zip(&took.bare).map(|(of, to)| of / to).collect::<Vec<_>>());
    for (name, figures) in [
        ("bare insert, one commit", &took.bare),
        ("bare insert, 5,000 rows a commit", &took.bare_batches),
        ("reading the export alone", &took.parse),
        ("read and stored", &took.ingest),
        ("the same file again", &took.again),
    ] {
        let seconds = middle(figures);
        println!("| {name} | {seconds:.2} | {:.0} | {:.2} |", lines as f64 / seconds, times(figures));
    }
    let reached = times(&took.ingest);
    let verdict = if reached <= GOAL { "met" } else { "MISSED" };
    println!("\ngoal {verdict}: read and stored, of the bare insert in one commit: {reached:.2} (at most {GOAL})");
}
