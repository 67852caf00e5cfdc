//! A morning's stock of 100,000 trays in 8 places, every clock of each reckoned at one moment. Prints rows of Markdown, each with its ratio
//! to a bare floor over the same array: six subtractions and comparisons of integers a tray.
//!
//! `cargo bench --bench life`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

use sakudana::domain::life::budget::{Form, OwnBudget, SpeciesGroup, budgets};
use sakudana::domain::life::clocks::{Standing, Subject, reckon};
use sakudana::domain::life::curve::{Curve, Era, Reading};
use sakudana::domain::life::date_mark::Calendar;
use sakudana::domain::life::wear::Wear;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::Rules;
use sakudana::domain::shop::Jurisdiction;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use sakudana::units::temperature::MilliCelsius;
use sakudana::units::zone::Zone;
use std::hint::black_box;
use std::time::Duration;

const TRAYS: usize = 100_000;
const ROUNDS: usize = 9;
const DAY: i64 = 24 * MICROS_PER_HOUR;
/// Readings every five minutes for a month.
const READINGS: i64 = 30 * 24 * 12;
const GOAL: Duration = Duration::from_millis(300);

/// Numbers that look like chance and are the same in every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: i64) -> i64 {
        let mut half = || {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            self.0 >> 33
        };
        let both = half() << 31 | half();
        i64::try_from(both % u64::try_from(sides).expect("sides")).expect("small")
    }
}

struct Place {
    method: StorageMethod,
    curve: Curve,
}

/// Five cases, a superchill cabinet, a freezer, a bench.
fn places(rules: &Rules, now: Instant, dice: &mut Dice) -> Vec<Place> {
    let kinds = [(StorageMethod::Chill, 500, 2_000); 5].into_iter().chain([
        (StorageMethod::Superchill, -1_500, -500),
        (StorageMethod::Frozen, -60_000, -50_000),
        (StorageMethod::Ambient, 10_000, 12_000),
    ]);
    kinds
        .map(|(method, around, limit)| {
            let upper_limit = MilliCelsius::new(limit).expect("a limit");
            let era =
                Era { from: Instant::EPOCH, method, upper_limit, gap_micros: 30 * MICROS_PER_MINUTE, warm_micros: 0 };
            let readings = (0..READINGS).map(|back| Reading {
                at: now.plus_micros(-back * 5 * MICROS_PER_MINUTE - dice.below(MICROS_PER_MINUTE)),
                // A defrosting now and then.
                temperature: MilliCelsius::new(
                    around + dice.below(800) - 400 + if dice.below(60) == 0 { 5_000 } else { 0 },
                )
                .expect("a temperature"),
            });
            Place { method, curve: Curve::new(rules.rates, &[era], readings.collect::<Vec<_>>()) }
        })
        .collect()
}

fn tray(rules: &Rules, zone: Zone, now: Instant, dice: &mut Dice) -> Subject {
    let forms = [Form::Block, Form::Block, Form::Slices, Form::Scrape, Form::Loin];
    let groups = [SpeciesGroup::Tuna, SpeciesGroup::Tuna, SpeciesGroup::Salmonid, SpeciesGroup::White];
    let form = forms[usize::try_from(dice.below(5)).expect("one of five")];
    let group = groups[usize::try_from(dice.below(4)).expect("one of four")];
    let as_of = now.plus_micros(-dice.below(4 * DAY));
    let since = as_of.plus_micros(-dice.below(3 * DAY));
    let thawed = dice.below(4) == 0;
    Subject {
        as_of,
        wear: Wear {
            raw_micros: dice.below(2 * DAY),
            colour_micros: dice.below(2 * DAY),
            frozen_micros: if thawed { dice.below(30 * DAY) } else { 0 },
            exposed_micros: dice.below(3 * MICROS_PER_HOUR),
            hot_micros: 0,
            measured_micros: as_of.since(since),
            assumed_micros: 0,
        },
        budgets: budgets(rules, group, form, OwnBudget::default()),
        since,
        date_day_one: Some(zone.day_of(since)),
        days_before_freezing: Some(1),
        unmarked_thaw: None,
        wholly_frozen_before: thawed,
        was_thawed: thawed,
        supplier_until: (dice.below(2) == 0).then(|| now.plus_micros(dice.below(6 * DAY))),
        raw_budget_validated: false,
    }
}

/// The quickest of several rounds after one that warms up (what disturbs a round only adds), and a sum that keeps the work from being left
/// out.
fn time(mut work: impl FnMut() -> i64) -> (Duration, i64) {
    let mut sum = work();
    let mut took: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let begun = std::time::Instant::now();
            sum = sum.wrapping_add(black_box(work()));
            begun.elapsed()
        })
        .collect();
    took.sort();
    (took[0], sum)
}

fn floor(trays: &[(usize, Subject)], now: Instant) -> i64 {
    let mut ended = 0;
    for (_, tray) in trays {
        let supplier = tray.supplier_until.map_or(i64::MAX, Instant::micros);
        let left = [
            tray.budgets.raw_micros - tray.wear.raw_micros,
            tray.budgets.colour_micros.unwrap_or(i64::MAX) - tray.wear.colour_micros,
            tray.budgets.frozen_micros - tray.wear.frozen_micros,
            8 * MICROS_PER_HOUR - tray.wear.exposed_micros,
            supplier - now.micros(),
            7 * DAY - (now.micros() - tray.since.micros()),
        ];
        ended += i64::from(left.into_iter().any(|left| left < 0));
    }
    ended
}

fn main() {
    let rules = Rules::of(Jurisdiction::Us);
    let zone = Zone::parse("America/New_York").expect("a zone");
    let now = Instant::parse("2026-11-25T12:00:00Z").expect("an instant");
    let mut dice = Dice(3);
    let places = places(&rules, now, &mut dice);
    let trays: Vec<(usize, Subject)> = (0..TRAYS)
        .map(|_| (usize::try_from(dice.below(8)).expect("one of eight"), tray(&rules, zone, now, &mut dice)))
        .collect();

    let (bare, _) = time(|| floor(&trays, now));
    let (by_place, ended) = time(|| {
        let calendar = Calendar::new(zone);
        let standings: Vec<Standing<'_>> =
            places.iter().map(|place| Standing::new(&rules, &calendar, (&place.curve, place.method), now)).collect();
        trays
            .iter()
            .map(|(place, tray)| i64::from(standings[*place].life(tray).ends_at.is_some_and(|end| end < now)))
            .sum()
    });
    let (alone, the_same) = time(|| {
        let life = |place: &Place, tray| reckon(tray, (&place.curve, place.method), &rules, zone, now);
        trays
            .iter()
            .map(|(place, tray)| i64::from(life(&places[*place], tray).ends_at.is_some_and(|end| end < now)))
            .sum()
    });
    assert_eq!(ended, the_same, "each way comes to the same lives");

    println!("| 100,000 trays, all clocks | time | a tray | of the floor | goal |");
    println!("|---|---:|---:|---:|---|");
    row("floor: six subtractions and comparisons", bare, bare, "");
    row(
        "reckoned place by place",
        by_place,
        bare,
        if by_place < GOAL { "met: under 0.3 s" } else { "MISSED: under 0.3 s" },
    );
    row("each tray alone", alone, bare, "");
    println!("\n{} of {TRAYS} had ended.", ended / (i64::try_from(ROUNDS).expect("few") + 1));
}

fn row(name: &str, took: Duration, floor: Duration, goal: &str) {
    let (seconds, bare) = (took.as_secs_f64(), floor.as_secs_f64());
    let nanos = seconds * 1e9 / TRAYS as f64;
    println!("| {name} | {:.2} ms | {nanos:.1} ns | {:.0} | {goal} |", seconds * 1e3, seconds / bare);
}
