//! Any bytes at all: mutated exports and noise. The reader never panics, numbers its lines in order, gives no more lines than there are, and
//! gives the same lines wherever the bytes are split on the way. Seeds are printed when something fails: `SAKUDANA_FUZZ_SEED` repeats it,
//! `SAKUDANA_FUZZ_CASES` goes on for longer.

use sakudana::domain::logger::settle::settle;
use sakudana::domain::logger::tally::{storable, tally};
use sakudana::domain::logger::{Column, DateOrder, Options, Unit};

use crate::dice::Dice;
use crate::formats::{Export, exports};
use crate::{instant, read, read_pieces, zone};

const CASES: u64 = 20_000;

/// What makes readers stumble.
const PIECES: &[&str] = &[
    "\"",
    "\"\"",
    ";",
    ",",
    "\t",
    "\n",
    "\r",
    "\r\n",
    "\0",
    "\u{feff}",
    "°C",
    "°F",
    "#",
    "-",
    "+",
    ".",
    ":",
    "T",
    "Z",
    "e9",
    "NaN",
    "2026-10-25 01:30",
    "2026-03-29 01:30",
    "03/04/2026",
    "1795593600",
    "99999999999",
    "time",
    "temp",
    "Temperature (°F)",
    "ERR",
    "85.000",
    "-127",
    "\u{2212}1,5",
    "+99:99",
    "UTC+17",
    "pm",
    "9999-12-31 23:59:59",
    "1969-12-31",
    "0000-00-00 00:00",
];

fn from_environment(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{name} is no number: {text}")))
}

#[test]
fn no_bytes_confuse_the_reader() {
    let exports = exports();
    let (first, cases) = (from_environment("SAKUDANA_FUZZ_SEED", 1), from_environment("SAKUDANA_FUZZ_CASES", CASES));
    let mut understood = 0;
    for seed in first..first + cases {
        let told = std::panic::catch_unwind(|| one_case(seed, &exports));
        understood +=
            u64::from(told.unwrap_or_else(|_| panic!("SAKUDANA_FUZZ_SEED={seed} SAKUDANA_FUZZ_CASES=1 repeats it")));
    }
    // Mutations that leave nothing to read would prove little.
    assert!(cases < 100 || (cases / 4..cases).contains(&understood), "{understood} of {cases} files were understood");
}

/// Whether the file was understood.
fn one_case(seed: u64, exports: &[Export]) -> bool {
    let mut dice = Dice::new(seed);
    let export = dice.pick(exports);
    let options = if dice.one_in(3) { said(&mut dice) } else { export.options.clone() };
    let bytes = if dice.one_in(10) { noise(&mut dice) } else { mutated(&mut dice, &export.bytes) };
    let (lines, end) = read(&options, &bytes);
    let ends = bytes.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).count();
    assert!(lines.len() <= ends + 1, "{} lines of {ends}", lines.len());
    assert!(lines.windows(2).all(|pair| pair[0].number < pair[1].number), "lines out of order");
    let now = instant("2026-11-26T00:00:00Z");
    let readings = storable(&lines, now);
    let counted = tally(&lines, now, &settle(&[], &[], &readings).fates, None);
    assert_eq!(counted.lines(), u64::try_from(lines.len()).unwrap());
    assert_eq!(
        counted.unlisted()
            + u64::try_from(counted.listed.len()).unwrap()
            + counted.count(sakudana::domain::logger::Outcome::Accepted),
        counted.lines()
    );
    let (one, other) = (dice.below(bytes.len() + 1), dice.below(bytes.len() + 1));
    let (low, high) = (one.min(other), one.max(other));
    let split = read_pieces(&options, &[&bytes[..low], &bytes[low..high], &[], &bytes[high..]]);
    assert_eq!(split, (lines, end), "split at {low} and {high}");
    split.1.is_ok()
}

fn said(dice: &mut Dice) -> Options {
    Options {
        zone: zone(dice.pick::<&str>(&["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Tokyo"])),
        unit: *dice.pick(&[Unit::Celsius, Unit::Fahrenheit]),
        date_order: *dice.pick(&[None, Some(DateOrder::DayFirst), Some(DateOrder::MonthFirst)]),
        column: dice
            .pick(&[None, Some(Column::Number(2)), Some(Column::Number(0)), Some(Column::Name("temp".into()))])
            .clone(),
    }
}

fn noise(dice: &mut Dice) -> Vec<u8> {
    let mut bytes = Vec::new();
    for _ in 0..dice.below(200) {
        if dice.one_in(2) {
            bytes.extend_from_slice(dice.pick(PIECES).as_bytes());
        } else {
            bytes.push(u8::try_from(dice.below(256)).unwrap());
        }
    }
    bytes
}

fn mutated(dice: &mut Dice, good: &[u8]) -> Vec<u8> {
    let mut bytes = good.to_vec();
    for _ in 0..dice.between(1, 6) {
        let at = dice.below(bytes.len() + 1);
        match dice.between(1, 6) {
            1 => bytes.truncate(at.max(bytes.len() / 2)),
            2 => bytes.insert(at, u8::try_from(dice.below(256)).unwrap()),
            3 => {
                let piece = dice.pick(PIECES).as_bytes().to_vec();
                bytes.splice(at..at, piece);
            }
            4 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            5 if at < bytes.len() => {
                let end = (at + dice.below(30)).min(bytes.len());
                bytes.drain(at..end);
            }
            _ => {
                let end = (at + dice.below(80)).min(bytes.len());
                let again = bytes[at..end].to_vec();
                bytes.splice(at..at, again);
            }
        }
    }
    bytes
}
