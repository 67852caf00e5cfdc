//! What must hold of every measured life, whatever day it was: the order in which readings come changes nothing, what is made of fish never
//! outlives it, exposure never resets, and life goes on without a jump. One day of acts, many days of temperatures, on both databases.

use crate::acts::{Act, Output, roll, step_micros};
use crate::compare::digest;
use crate::dice::Dice;
use crate::ground::{Ground, Which, Witness, on_both, start};
use crate::naive::{Made, Naive};
use crate::perform::perform;
use crate::{furnish, holds_together, step};
use sakudana::domain::life::clocks::Life;
use sakudana::ops::board::{in_stock, one};
use sakudana::ops::repair::wrong_anchors;
use sakudana::units::instant::MICROS_PER_SECOND;
use std::collections::BTreeMap;

const MINUTE: i64 = 60_000_000;
const PLACES: usize = 6;
/// When the last act is long over.
const EVENING: i64 = 720 * MINUTE;

on_both!(
    the_order_of_arrival_changes_nothing,
    what_is_made_of_fish_never_outlives_it,
    exposure_never_resets,
    repaired_lives_are_those_told_from_scratch,
    life_goes_on_without_a_jump,
    acts_told_late_keep_every_anchor,
);

fn fish(place: usize) -> Act {
    let (species, grams) = ("YFT", 4_000);
    Act::Receive { species, place, grams, record: true, warm: false, thawed: false, supplier_days: None }
}

fn cut(inputs: &[(usize, Option<i64>)], outputs: &[(usize, usize, i64)], bench_minutes: Option<i64>) -> Act {
    Act::BreakDown {
        inputs: inputs.to_vec(),
        outputs: outputs.iter().map(|(cut, place, grams)| Output { cut: *cut, place: *place, grams: *grams }).collect(),
        losses: Vec::new(),
        reason: false,
        bench: 0,
        bench_minutes,
    }
}

/// A day on which everything is done that hands a life on: cut in part and whole, from one and from two, poured there and back, moved,
/// frozen and thawed. All of it is allowed.
fn acts() -> Vec<(i64, Act)> {
    let (loin, saku, scrape) = (1, 3, 7);
    vec![
        (1, fish(1)),
        (30, cut(&[(0, Some(2_000))], &[(loin, 2, 1_000), (scrape, 1, 600), (saku, 1, 400)], Some(15))),
        (60, fish(2)),
        (90, cut(&[(4, None)], &[(scrape, 2, 2_000), (loin, 3, 2_000)], None)),
        (150, Act::Move { tray: 2, place: 3 }),
        (200, Act::Freeze { tray: 3, place: 4 }),
        (260, Act::TopUp { tub: 2, source: 5, grams: Some(300) }),
        (330, Act::TopUp { tub: 5, source: 2, grams: Some(200) }),
        (400, Act::Thaw { tray: 3, place: 2 }),
        (420, Act::Move { tray: 6, place: 1 }),
        (430, cut(&[(6, Some(900))], &[(saku, 1, 900)], Some(0))),
        (480, cut(&[(0, None), (1, None)], &[(saku, 1, 1_500), (scrape, 2, 1_500)], Some(240))),
    ]
}

type Measured = (usize, i64, i64);

/// A day's readings of every place, mostly as they should be, never hot.
fn temperatures(seed: u64) -> Vec<Measured> {
    let mut dice = Dice::new(seed);
    let mut all = Vec::new();
    for place in 0..PLACES {
        let mut at = -120 * MINUTE;
        loop {
            let longest = *dice.pick(&[60, 60, 60, 60, 150]);
            at += dice.between(15, longest) * MINUTE;
            if at > 690 * MINUTE {
                break;
            }
            let usual = [15_000, 900, 2_500, -1_800, -21_000, -18_500][place];
            let off = if dice.one_in(7) { dice.between(0, 5_000) } else { dice.between(-1_200, 1_200) };
            all.push((place, at, usual + off));
        }
    }
    all
}

/// A shop on one of its days.
struct Day {
    ground: Ground,
    witness: Witness,
    naive: Naive,
    before: String,
}

impl Day {
    fn begin(which: Which) -> Day {
        let ground = Ground::open(which, 2);
        let mut witness = ground.witness();
        let naive = furnish(&ground, "day", false);
        let before = digest(&mut witness);
        Day { ground, witness, naive, before }
    }

    fn act(&mut self, act: &Act, now: i64) {
        let outcome = step(&self.ground, &mut self.witness, &mut self.before, &mut self.naive, act, now);
        assert_eq!(outcome, None, "{act:?}");
    }

    fn deliver(&mut self, measured: &[Measured], now: i64) {
        for place in 0..PLACES {
            let here = measured.iter().filter(|(at_place, _, _)| *at_place == place);
            let readings: Vec<(i64, i64)> = here.map(|(_, at, t)| (*at, *t)).collect();
            if !readings.is_empty() {
                self.act(&Act::Readings { place, readings }, now);
            }
        }
    }

    fn all(which: Which, seed: u64) -> Day {
        let mut day = Day::begin(which);
        for (minute, act) in acts() {
            day.act(&act, minute * MINUTE);
        }
        day.deliver(&temperatures(seed), EVENING);
        day
    }

    /// The life of each tray in stock.
    fn lives(&self, now: i64) -> BTreeMap<String, Life> {
        let judged = self.ground.desk.look(|reading, shop| in_stock(reading, shop, start().plus_micros(now))).unwrap();
        judged.into_iter().map(|judged| (judged.facts.tray.code.to_string(), judged.facts.life)).collect()
    }

    fn life(&self, tray: usize, now: i64) -> Life {
        let code = &self.naive.trays[tray].code;
        let at = start().plus_micros(now);
        self.ground.desk.look(|reading, shop| one(reading, shop, at, code)).unwrap().facts.life
    }
}

/// On time, all in the evening in any order, and backwards between the acts: in the end every sum of every tray is the same to the microsecond.
fn the_order_of_arrival_changes_nothing(which: Which) {
    for seed in 1..=3 {
        let measured = temperatures(seed);
        let mut on_time = Day::begin(which);
        let mut due = measured.clone();
        for (minute, act) in acts() {
            let now = minute * MINUTE;
            let (come, later): (Vec<Measured>, Vec<Measured>) = due.into_iter().partition(|(_, at, _)| *at < now);
            on_time.deliver(&come, now - MICROS_PER_SECOND);
            on_time.act(&act, now);
            due = later;
        }
        on_time.deliver(&due, EVENING);

        let mut dice = Dice::new(seed);
        let mut evening = Day::begin(which);
        for (minute, act) in acts() {
            evening.act(&act, minute * MINUTE);
        }
        let mut rest = measured.clone();
        while !rest.is_empty() {
            let mut some = Vec::new();
            for _ in 0..dice.between(1, 40).min(i64::try_from(rest.len()).unwrap()) {
                some.push(rest.swap_remove(dice.below(rest.len())));
            }
            evening.deliver(&some, EVENING);
        }

        let mut backwards = Day::begin(which);
        let mut rest = measured;
        rest.sort_by_key(|(_, at, _)| *at);
        for (minute, act) in acts() {
            let now = minute * MINUTE;
            backwards.act(&act, now);
            let mut some = Vec::new();
            while let Some(newest) = rest.iter().rposition(|(_, at, _)| *at <= now).filter(|_| some.len() < 6) {
                some.push(rest.remove(newest));
            }
            backwards.deliver(&some, now + MICROS_PER_SECOND);
        }
        backwards.deliver(&rest, EVENING);

        let expected: Vec<_> = on_time.lives(EVENING).into_iter().map(|(code, life)| (code, life.wear)).collect();
        assert!(expected.len() >= 6, "{} trays", expected.len());
        for other in [&evening, &backwards] {
            let found: Vec<_> = other.lives(EVENING).into_iter().map(|(code, life)| (code, life.wear)).collect();
            assert_eq!(found, expected, "day {seed}");
        }
    }
}

/// Every clock of what came out ends no later than it would have for what went in, in the same place.
fn ends_no_later(made: &Life, of: &Life, what: &str) {
    for before in of.clocks.iter() {
        let after = made.clocks.of(before.clock);
        let (Some(end), Some(after)) = (before.ends_at, after) else { continue };
        let made = after.ends_at.unwrap_or_else(|| panic!("{what}: the clock {} stands still", before.clock.as_str()));
        // When an end that has passed was exactly, the new stay no longer knows.
        let no_later = made <= end || end < of.at && made < of.at;
        assert!(no_later, "{what}: the clock {} ends at {made}, not {end}", before.clock.as_str());
    }
    assert!(made.wear.exposed_micros >= of.wear.exposed_micros, "{what}: exposure fell");
    assert!(made.wear.hot_micros >= of.wear.hot_micros, "{what}: heat fell");
}

fn what_is_made_of_fish_never_outlives_it(which: Which) {
    for seed in 11..=15 {
        let mut day = Day::all(which, seed);
        let now = EVENING + MINUTE;
        // Loin 6 stands in the case 1, tub 5 and tub 13 in the case 2.
        let before = day.life(6, now);
        day.act(&cut(&[(6, Some(500))], &[(3, 1, 250), (7, 1, 150), (5, 1, 100)], Some(0)), now);
        let made = day.naive.trays.len();
        for tray in made - 3..made {
            ends_no_later(&day.life(tray, now), &before, &format!("day {seed}, cut {tray}"));
        }
        let later = now + 40 * MINUTE;
        let tubs = [9, 5].map(|tray| (tray, day.life(tray, later)));
        day.act(&Act::TopUp { tub: 5, source: 9, grams: Some(100) }, later);
        for (tray, before) in tubs {
            ends_no_later(&day.life(5, later), &before, &format!("day {seed}, topped up from {tray}"));
        }
        holds_together(&day.ground);
    }
}

/// The same fish through cutting, pouring, the freezer and back: its time above the safety temperature only grows.
fn exposure_never_resets(which: Which) {
    for seed in 21..=24 {
        let day = Day::all(which, seed);
        let minutes = |tray: usize, minute: i64| day.life(tray, minute * MINUTE).wear.exposed_micros;
        // Fish 0 to loin 1 and block 3; the block goes into the freezer and out of it.
        let mut path =
            vec![minutes(3, 30), minutes(3, 199), minutes(3, 201), minutes(3, 399), minutes(3, 401), minutes(3, 719)];
        path.dedup();
        assert!(path.is_sorted(), "{path:?}");
        assert!(path[0] >= 15 * MINUTE, "a quarter of an hour on a bench of 15 °C counts: {path:?}");
        // Both tubs that were poured into each other carry the larger exposure of the two.
        assert!(minutes(5, 719) >= 20 * MINUTE, "what fish 4 spent on the bench");
        assert!(minutes(2, 719) >= 20 * MINUTE, "the same, poured into the tub");
    }
}

/// Rolled days, and after each act every anchor is what the telling from the beginning gives.
fn repaired_lives_are_those_told_from_scratch(which: Which) {
    for seed in 1_001..=1_004 {
        let ground = Ground::open(which, 2);
        let mut witness = ground.witness();
        let (mut naive, mut dice) = (furnish(&ground, "rolled", false), Dice::new(seed));
        let (mut before, mut now) = (digest(&mut witness), 0);
        let mut changed = 0;
        for _ in 0..40 {
            now += step_micros(&mut dice, &naive);
            let act = roll(&mut dice, &naive, now);
            let done = step(&ground, &mut witness, &mut before, &mut naive, &act, now).is_none();
            changed += usize::from(done && matches!(act, Act::Readings { .. }));
            let (_, wrong) = ground.desk.look(|reading, _| wrong_anchors(reading)).unwrap();
            assert!(wrong.is_empty(), "seed {seed}, after {act:?}: {wrong:?}");
        }
        assert!(changed > 0, "no readings came on day {seed}");
        holds_together(&ground);
    }
}

/// From one second to the next nothing runs more than it can, and no end moves further: what has no event has no jump.
fn life_goes_on_without_a_jump(which: Which) {
    for seed in 31..=32 {
        let day = Day::all(which, seed);
        for minute in (725..2_200).step_by(61) {
            let (now, next) = (minute * MINUTE, minute * MINUTE + MICROS_PER_SECOND);
            let (lives, after) = (day.lives(now), day.lives(next));
            for (code, life) in &lives {
                let (wear, then) = (life.wear, after[code].wear);
                for (what, one, other) in [
                    ("raw", wear.raw_micros, then.raw_micros),
                    ("colour", wear.colour_micros, then.colour_micros),
                    ("exposed", wear.exposed_micros, then.exposed_micros),
                    ("time", wear.measured_micros + wear.assumed_micros, then.measured_micros + then.assumed_micros),
                ] {
                    // No place is above 20 °C here: eleven times the pace in ice.
                    assert!(
                        (0..=12 * MICROS_PER_SECOND).contains(&(other - one)),
                        "{what} of {code}: {one}, then {other}"
                    );
                }
                for answer in life.clocks.iter() {
                    let end = |life: &Life| life.end_of(answer.clock).map_or(0, |end| end.since(start()));
                    let moved = (end(&after[code]) - end(life)).abs();
                    assert!(moved <= 12 * MICROS_PER_SECOND, "the clock {} of {code}", answer.clock.as_str());
                }
            }
        }
    }
}

/// Of requests that came together a later one may be done first, and a clock may be set back: acts at times before what was done already. What
/// the plain lists make of them is not asked; every anchor must be what the telling gives, and everything else must hold.
fn acts_told_late_keep_every_anchor(which: Which) {
    for seed in 2_001..=2_006 {
        let ground = Ground::open(which, 2);
        let (mut naive, mut dice) = (furnish(&ground, "late", false), Dice::new(seed));
        let (mut now, mut done, mut story) = (0, 0, Vec::new());
        for _ in 0..60 {
            now += step_micros(&mut dice, &naive);
            let told = if dice.one_in(2) { now } else { (now - dice.between(1, 900 * 1_000_000)).max(0) };
            let act = roll(&mut dice, &naive, told);
            if matches!(act, Act::Review | Act::Watch) {
                continue;
            }
            if let Ok(made) = perform(&ground, &naive, &act, told) {
                naive.apply(&act, told, &Made { watched: false, ..made });
                story.push(format!("{:>10.3} s {act:?}", told as f64 / 1e6));
                done += 1;
            }
            let (_, wrong) = ground.desk.look(|reading, _| wrong_anchors(reading)).unwrap();
            assert!(wrong.is_empty(), "seed {seed}: {wrong:?} after\n{}", story.join("\n"));
        }
        assert!(done > 15, "only {done} acts were done on day {seed}");
        holds_together(&ground);
    }
}
