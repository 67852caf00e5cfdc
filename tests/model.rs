//! The shop against a plain retelling of it: random days, and after every act the same grams, places, prices and lives
//! on both sides. How a day is rolled, told and compared stands in the folder `model`.
//!
//! `SAKUDANA_MODEL_SEQUENCES` sets how many days each database gets, `SAKUDANA_MODEL_SEED` runs a single one again.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/acts.rs"]
mod acts;
#[path = "model/compare.rs"]
mod compare;
#[path = "model/dice.rs"]
mod dice;
#[path = "model/ground.rs"]
mod ground;
#[path = "model/naive.rs"]
mod naive;
#[path = "model/naive_climate.rs"]
mod naive_climate;
#[path = "model/naive_life.rs"]
mod naive_life;
#[path = "model/naive_rules.rs"]
mod naive_rules;
#[path = "model/perform.rs"]
mod perform;
#[path = "model/properties.rs"]
mod properties;
mod support;

use acts::{Act, Output, roll, step_micros};
use compare::{Since, compare, compare_verdicts, digest};
use dice::Dice;
use ground::{
    Ground, STRICT_COLD_LIMIT, STRICT_DATE_MARK_DAYS, STRICT_FROZEN_DAYS, Which, Witness, shop, start, strict_shop,
};
use naive::{Made, Naive, NaivePlace};
use naive_life::Law;
use perform::{draft, perform};
use sakudana::ops::verify::verify;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

const ACTS: usize = 50;
const SEQUENCES: u64 = 120;
/// Sequences that share a database; the rest get others, so that none grows slow.
const PER_DATABASE: usize = 8;
/// Databases in use at one time.
const AT_ONCE: usize = 4;
const PLACES: [(&str, i64); 6] = [
    ("ambient", 20_000),
    ("chill", 2_000),
    ("chill", 4_000),
    ("superchill", -1_000),
    ("frozen", -20_000),
    ("frozen", -18_000),
];

#[test]
fn random_days_agree_with_the_plain_retelling_on_sqlite() {
    run_all(Which::Sqlite);
}

#[test]
fn random_days_agree_with_the_plain_retelling_on_postgresql() {
    run_all(Which::Postgres);
}

const FISH: Act = Act::Receive {
    species: "YFT",
    place: 1,
    grams: 2_000,
    record: true,
    warm: false,
    thawed: false,
    supplier_days: None,
};

/// Cuts a whole tray of 2 kg into one, in the chilled case.
fn cut_into(cut: usize, input: usize) -> Act {
    let outputs = vec![Output { cut, place: 1, grams: 2_000 }];
    Act::BreakDown {
        inputs: vec![(input, None)],
        outputs,
        losses: Vec::new(),
        reason: false,
        bench: 0,
        bench_minutes: Some(0),
    }
}

/// A day told act by act, all of it allowed. What once went wrong stands here in words, since the meaning of a seed
/// changes with the rolling.
fn tell(day: &[(i64, Act)]) {
    let ground = Ground::open(Which::Sqlite, 2);
    let mut witness = ground.witness();
    let since = Since::now(&mut witness);
    let mut naive = furnish(&ground, "told", false);
    let mut before = digest(&mut witness);
    for (minute, act) in day {
        let outcome = step(&ground, &mut witness, &mut before, &mut naive, act, minute * 60_000_001);
        assert_eq!(outcome, None, "{act:?}");
        compare(&mut witness, &since, &mut naive);
    }
    holds_together(&ground);
}

/// Verify once took this tub for sold on hold: it got some of the held lot only afterwards.
#[test]
fn a_lot_put_into_a_tub_later_was_not_sold_on_hold() {
    tell(&[
        (1, FISH),
        (2, cut_into(7, 0)),
        (3, FISH),
        (4, cut_into(7, 2)),
        (5, Act::HoldLot { lot: 1 }),
        (6, Act::Sell { lines: vec![(1, Some(500))] }),
        (7, Act::Release { hold: 0 }),
        (8, Act::TopUp { tub: 1, source: 3, grams: Some(300) }),
    ]);
}

/// A sold tray whose place was made colder once came back with its whole past counted at the colder pace.
#[test]
fn a_tray_that_comes_back_keeps_the_pace_it_was_kept_at() {
    tell(&[
        (1, FISH),
        (2, cut_into(3, 0)),
        (600, Act::Sell { lines: vec![(1, None)] }),
        (602, Act::PutPlace { place: 1, method: "chill", limit: -1_000, gap_minutes: 90, stale: false }),
        (604, Act::Reverse { sale: 0 }),
        (605, Act::Move { tray: 1, place: 2 }),
        (606, Act::Label { tray: 1, reason: false }),
    ]);
}

fn number_from(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{variable} is not a whole number: {text}")))
}

fn run_all(which: Which) {
    let seeds: Vec<u64> = match number_from("SAKUDANA_MODEL_SEED") {
        Some(seed) => vec![seed],
        None => {
            let count = number_from("SAKUDANA_MODEL_SEQUENCES").unwrap_or(SEQUENCES);
            (1..=count).collect()
        }
    };
    let seen = Mutex::new(BTreeMap::new());
    // The two laws need shops of their own.
    let (even, odd): (Vec<u64>, Vec<u64>) = seeds.iter().partition(|seed| *seed % 2 == 0);
    let parts: Vec<&[u64]> = even.chunks(PER_DATABASE).chain(odd.chunks(PER_DATABASE)).collect();
    let next = AtomicUsize::new(0);
    // A commit waits for the disk: meanwhile the others go on.
    thread::scope(|scope| {
        for _ in 0..AT_ONCE.min(parts.len()) {
            scope.spawn(|| {
                while let Some(part) = parts.get(next.fetch_add(1, Ordering::Relaxed)) {
                    run_part(which, part, &seen);
                }
            });
        }
    });
    let seen = seen.into_inner().unwrap();
    for (what, times) in &seen {
        println!("{times:6} {what}");
    }
    // A model under which nothing happens agrees with everything.
    if seeds.len() >= 100 {
        for (what, least) in [
            ("BreakDown done", 200),
            ("Sell done", 100),
            ("Label done", 100),
            ("Reverse done", 30),
            ("Freeze done", 30),
            ("Thaw done", 30),
            ("TopUp done", 15),
            ("Readings done", 500),
            ("Watch done", 50),
        ] {
            assert!(seen.get(what).is_some_and(|times| *times >= least), "{what} is too rare: {seen:?}");
        }
    }
}

fn run_part(which: Which, seeds: &[u64], seen: &Mutex<BTreeMap<String, u64>>) {
    let strict = is_strict(seeds[0]);
    let ground = Ground::of(if strict { strict_shop() } else { shop() }, which, 2);
    let mut witness = ground.witness();
    for seed in seeds {
        for outcome in run_one(&ground, &mut witness, *seed) {
            *seen.lock().unwrap().entry(outcome).or_default() += 1;
        }
    }
}

/// Odd days are lived under the stricter law.
fn is_strict(seed: u64) -> bool {
    seed % 2 == 1
}

/// What to look at when a sequence fails; said only then.
struct Story {
    seed: u64,
    lines: Vec<String>,
}

impl Drop for Story {
    fn drop(&mut self) {
        if thread::panicking() {
            eprintln!("--- SAKUDANA_MODEL_SEED={} after:\n{}", self.seed, self.lines.join("\n"));
        }
    }
}

/// Runs one sequence and tells how each act went.
fn run_one(ground: &Ground, witness: &mut Witness, seed: u64) -> Vec<String> {
    let mut outcomes = Vec::new();
    let mut story = Story { seed, lines: Vec::new() };
    let mut dice = Dice::new(seed);
    let since = Since::now(witness);
    let mut naive = furnish(ground, &seed.to_string(), is_strict(seed));
    let mut before = digest(witness);
    let mut now = 0;
    for _ in 0..ACTS {
        now += step_micros(&mut dice, &naive);
        while naive.in_doubt(now) {
            now += 1_000_003;
        }
        let act = roll(&mut dice, &naive, now);
        story.lines.push(format!("{:>12.3} s  {act:?}", now as f64 / 1e6));
        let outcome = step(ground, witness, &mut before, &mut naive, &act, now);
        story.lines.push(format!("{:>16}{}", "", outcome.map_or("done", |code| code)));
        compare(witness, &since, &mut naive);
        if matches!(act, Act::Readings { .. }) || dice.one_in(8) {
            compare_verdicts(ground, &naive, now);
        }
        if matches!(act, Act::Readings { .. }) && dice.one_in(6) {
            holds_together(ground);
        }
        let name = format!("{act:?}").split([' ', '{']).next().unwrap().to_owned();
        outcomes.push(format!("{name} {}", outcome.unwrap_or("done")));
    }
    holds_together(ground);
    outcomes
}

/// The places of one day, on both sides.
fn furnish(ground: &Ground, day: &str, strict: bool) -> Naive {
    let law = if strict {
        Law {
            utc_offset_hours: -5,
            date_mark_days: Some(STRICT_DATE_MARK_DAYS),
            frozen_days: STRICT_FROZEN_DAYS,
            cold_limit: STRICT_COLD_LIMIT,
        }
    } else {
        Law { utc_offset_hours: 2, date_mark_days: None, frozen_days: 60, cold_limit: 5_000 }
    };
    let mut naive = Naive { law, ..Naive::default() };
    for (number, (method, limit)) in PLACES.into_iter().enumerate() {
        let code = format!("place-{day}-{number}");
        ground.place(&code, draft(method, limit));
        naive.places.push(NaivePlace::new(code, method, limit, 90));
    }
    naive
}

fn holds_together(ground: &Ground) {
    let broken: Vec<String> = ground
        .desk
        .look(|reading, _| verify(reading))
        .unwrap()
        .into_iter()
        .flat_map(|finding| finding.wrong.into_iter().map(move |wrong| format!("{}: {wrong}", finding.name)))
        .collect();
    assert!(broken.is_empty(), "verify: {broken:?}");
}

/// Does one act on both sides. Returns the refusal, if it was one that had to be.
fn step(
    ground: &Ground,
    witness: &mut Witness,
    before: &mut String,
    naive: &mut Naive,
    act: &Act,
    now: i64,
) -> Option<&'static str> {
    let against = naive.against(act, now);
    match perform(ground, naive, act, now) {
        Ok(made) => {
            assert!(against.codes.is_empty() || against.unsure, "accepted in spite of {:?}", against.codes);
            check_label(naive, act, now, &made);
            let is_repetition = says_nothing_new(naive, act);
            naive.apply(act, now, &made);
            let after = digest(witness);
            assert!(
                after != *before || is_repetition || matches!(act, Act::Watch | Act::Review),
                "accepted, and nothing was recorded: {act:?} at {now}"
            );
            *before = after;
            None
        }
        Err(code) => {
            if against.unsure && code == "label_outdated" {
                return Some(code);
            }
            assert!(against.codes.contains(&code), "refused as {code}, expected one of {:?}", against.codes);
            assert!(!against.exact || against.codes[0] == code, "refused as {code}, first is {:?}", against.codes);
            assert_eq!(digest(witness), *before, "refused as {code}, and something was left behind");
            Some(code)
        }
    }
}

/// Whether readings are all known, at most colder for an instant than what counts there.
fn says_nothing_new(naive: &Naive, act: &Act) -> bool {
    let Act::Readings { place, readings } = act else { return false };
    let known = naive.places[*place].climate.readings();
    readings.iter().all(|(at, t)| known.get(at).is_some_and(|there| there >= t))
}

/// A printed date is the last whole minute that both the life and the date printed before allow.
fn check_label(naive: &Naive, act: &Act, now: i64, made: &Made) {
    let Act::Label { tray, .. } = act else { return };
    // What stays in the house is promised to nobody.
    if naive.trays[*tray].is_bulk() {
        return;
    }
    let life_end = naive.promise(*tray, now).unwrap();
    let tray = &naive.trays[*tray];
    let printed = made.use_by.expect("a label has a use-by") as f64;
    let end = life_end.min(tray.use_by.map_or(f64::MAX, |end| end as f64));
    // What was used is known to a microsecond.
    assert!(printed <= end + 100.0, "the label promises {printed}, the life ends at {end}");
    assert!(printed > end - 60_500_000.0, "the label gives away too much: {printed}, the life ends at {end}");
    assert_eq!((start().micros() + made.use_by.unwrap()) % 60_000_000, 0, "a whole minute");
}
