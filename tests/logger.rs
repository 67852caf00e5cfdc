//! What loggers export is read without being told how: good exports of many makes, hostile ones, nights of clock change, and any bytes at
//! all. What is stored of it is not asked here.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/dice.rs"]
mod dice;
#[path = "logger/formats.rs"]
mod formats;
#[path = "logger/fuzz.rs"]
mod fuzz;
#[path = "logger/hostile.rs"]
mod hostile;
#[path = "logger/nights.rs"]
mod nights;
#[path = "logger/stamps.rs"]
mod stamps;

use sakudana::domain::logger::csv::Reader;
use sakudana::domain::logger::{Line, Options};
use sakudana::domain::refusal::Refusal;
use sakudana::units::instant::Instant;
use sakudana::units::zone::Zone;

/// The zone of the tests where nothing else is said: in winter it is UTC.
fn lisbon() -> Zone {
    zone("Europe/Lisbon")
}

fn zone(name: &str) -> Zone {
    Zone::parse(name).unwrap()
}

fn instant(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

/// Reads a whole file, given in pieces.
fn read_pieces(options: &Options, pieces: &[&[u8]]) -> (Vec<Line>, Result<(), Refusal>) {
    let (mut lines, mut reader) = (Vec::new(), Reader::new(options.clone()));
    for piece in pieces {
        if let Err(refusal) = reader.push(piece, &mut |line| lines.push(line)) {
            return (lines, Err(refusal));
        }
    }
    let end = reader.finish(&mut |line| lines.push(line));
    (lines, end)
}

fn read(options: &Options, bytes: &[u8]) -> (Vec<Line>, Result<(), Refusal>) {
    read_pieces(options, &[bytes])
}
