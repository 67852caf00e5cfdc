//! Properties of the sums over a curve, on random places, eras and logs.

use super::ground::*;
use super::naive;
use proptest::prelude::*;
use sakudana::domain::life::curve::{Curve, Era, Reading};
use sakudana::domain::life::rate::Sum;
use sakudana::domain::life::wear::Wear;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{Rates, RawModel};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE, MICROS_PER_SECOND};

const HALF_HOUR: i64 = 30 * MICROS_PER_MINUTE;

fn any_method() -> impl Strategy<Value = StorageMethod> {
    prop::sample::select(StorageMethod::ALL.map(|(method, _)| method).to_vec())
}

fn any_rates() -> impl Strategy<Value = Rates> {
    prop::sample::select(vec![RawModel::SquareRoot, RawModel::Exponential, RawModel::Cautious]).prop_map(rates)
}

/// One to three eras; the first begins before the log, later ones inside it.
fn any_eras(span: i64) -> impl Strategy<Value = Vec<Era>> {
    let limit = prop_oneof![-20_000_i64..-5_000, -2_000_i64..6_000];
    prop::collection::vec((0..span, any_method(), limit, 1_i64..3), 1..4).prop_map(|rows| {
        let era = |(index, (from, method, limit, gap))| {
            let from = if index == 0 { at(-DAY) } else { at(from) };
            Era { from, ..era(method, limit, gap * HALF_HOUR) }
        };
        let mut eras: Vec<Era> = rows.into_iter().enumerate().map(era).collect();
        eras.sort_by_key(|era| era.from);
        eras.dedup_by_key(|era| era.from);
        eras
    })
}

/// Readings around a level, mostly minutes apart, now and then with a gap.
fn any_log(most: usize) -> impl Strategy<Value = Vec<Reading>> {
    let level = prop_oneof![-25_000_i64..-12_000, -4_000_i64..3_000, 0_i64..30_000];
    let step = prop_oneof![6 => 1_i64..600, 1 => 1_000_i64..9_000];
    (level, prop::collection::vec((step, -3_000_i64..3_000, 0_i64..1_000_000), 0..most)).prop_map(|(level, rows)| {
        let mut reached = 0;
        rows.into_iter()
            .map(|(seconds, off, micros)| {
                reached += seconds * MICROS_PER_SECOND + micros;
                Reading { at: at(reached), temperature: mc(level + off) }
            })
            .collect()
    })
}

fn every(wear: &Wear) -> [i64; 7] {
    let Wear { raw_micros, colour_micros, frozen_micros, exposed_micros, hot_micros, measured_micros, assumed_micros } =
        *wear;
    [raw_micros, colour_micros, frozen_micros, exposed_micros, hot_micros, measured_micros, assumed_micros]
}

fn of(wear: &Wear, sum: Sum) -> i64 {
    match sum {
        Sum::Raw => wear.raw_micros,
        Sum::Colour => wear.colour_micros,
        Sum::Frozen => wear.frozen_micros,
        Sum::Exposed => wear.exposed_micros,
        Sum::Hot => wear.hot_micros,
    }
}

/// Every question there is, at many instants.
fn portrait(curve: &Curve) -> Vec<(Wear, i64, bool)> {
    let ends = (-3..60).map(|k| at(k * 17 * MICROS_PER_MINUTE + k));
    ends.map(|end| {
        let (temperature, measured) = curve.temperature_at(end);
        (curve.wear(at(-DAY), end), temperature.get(), measured)
    })
    .collect()
}

/// Where the rate at the warmer of two temperatures may be the slower one: at the lower edge of the superchill band.
fn warmer_may_be_slower(eras: &[Era]) -> bool {
    eras.iter().any(|era| era.method == StorageMethod::Superchill)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// Against walking through every second: less than 1e-6 apart, or the whole microseconds that each stretch is rounded up to.
    #[test]
    fn agrees_with_walking_through_every_second(
        rates in any_rates(), eras in any_eras(4 * HOUR), log in any_log(24), from in -HOUR..HOUR, span in 1..2 * HOUR
    ) {
        let curve = Curve::new(rates, &eras, log.clone());
        let (from, to) = (at(from), at(from + span));
        let wear = curve.wear(from, to);
        let stretches = curve.pieces(from, to).count() as f64;
        for (sum, walked) in Sum::ALL.into_iter().zip(naive::sums(&rates, &eras, &log, from, to)) {
            // Every stretch is rounded up to a microsecond, and the first begins where a rounding ends.
            let slack = walked * 1e-6 + stretches + 1.0;
            let got = of(&wear, sum) as f64;
            prop_assert!((got - walked).abs() <= slack, "{sum:?}: {got} against {walked}");
        }
    }

    /// Splitting an interval changes nothing, to the microsecond.
    #[test]
    fn splitting_changes_nothing(
        rates in any_rates(), eras in any_eras(9 * HOUR), log in any_log(90), a in -HOUR..9 * HOUR, b in 0..5 * HOUR, c in 0..5 * HOUR
    ) {
        let curve = Curve::new(rates, &eras, log);
        let (from, middle, to) = (at(a), at(a + b), at(a + b + c));
        let whole = curve.wear(from, to);
        prop_assert_eq!(curve.wear(from, middle).plus(curve.wear(middle, to)), whole);
        prop_assert_eq!(whole.measured_micros + whole.assumed_micros, b + c);
        let pieces = curve.pieces(from, to).fold(Wear::default(), |sum, piece| sum.plus(piece.wear));
        prop_assert_eq!(pieces, whole);
        for sum in Sum::ALL {
            prop_assert_eq!(curve.micros(sum, from, to), of(&whole, sum));
        }
        prop_assert!(every(&whole).iter().all(|sum| *sum >= 0));
    }

    /// Readings in another order, one by one, in heaps, or twice, make the same curve.
    #[test]
    fn the_order_of_arrival_changes_nothing(
        rates in any_rates(), eras in any_eras(30 * HOUR),
        (log, shuffled) in any_log(700).prop_flat_map(|log| (Just(log.clone()), Just(log).prop_shuffle())), heap in 1_usize..300
    ) {
        let whole = Curve::new(rates, &eras, log.clone());
        let mut late = Curve::new(rates, &eras, []);
        for part in shuffled.chunks(heap) {
            late.insert(part);
            late.insert(part.get(..1).unwrap());
        }
        prop_assert_eq!(late.len(), log.len());
        prop_assert_eq!(portrait(&late), portrait(&whole));
        let pieces = |curve: &Curve| curve.pieces(at(-DAY), at(30 * DAY)).collect::<Vec<_>>();
        prop_assert_eq!(pieces(&late), pieces(&whole));
        let kept = late.clone();
        late.insert(&log);
        prop_assert_eq!(pieces(&late), pieces(&whole));
        late.insert(&readings(&[(HOUR, 20_000), (-HOUR, 20_000)]));
        prop_assert_eq!(pieces(&kept), pieces(&whole), "a clone keeps what it was cloned from");
    }

    /// Of two readings at one instant the warmer stays, whichever came first.
    #[test]
    fn contradicting_readings_count_as_the_warmer(log in any_log(40), index in 0_usize..40, warmer in 1_i64..5_000) {
        prop_assume!(index < log.len());
        let eras = [era(StorageMethod::Chill, 2_000, HALF_HOUR)];
        let mut warm = log.clone();
        warm[index].temperature = mc(log[index].temperature.get() + warmer);
        let expected = Curve::new(rates(RawModel::Cautious), &eras, warm.clone());
        let mut cold_first = Curve::new(rates(RawModel::Cautious), &eras, log.clone());
        cold_first.insert(&warm[index..=index]);
        let mut warm_first = Curve::new(rates(RawModel::Cautious), &eras, warm);
        warm_first.insert(&log);
        prop_assert_eq!(portrait(&cold_first), portrait(&expected));
        prop_assert_eq!(portrait(&warm_first), portrait(&expected));
    }

    /// Taking away a stretch of readings that leaves a gap beyond the allowance, none of them above the upper limit, never lengthens a
    /// life. Each reading is a stretch less to be rounded up: one microsecond a reading is the arithmetic's. A single warm reading between
    /// two cold ones that stay within the allowance cannot have this property: nothing then tells of the warmth.
    #[test]
    fn missing_evidence_never_lengthens(
        rates in any_rates(), method in any_method(),
        log in any_log(60), first in 0_usize..60, count in 1_usize..60, limit in -2_000_i64..6_000
    ) {
        let eras = [era(method, limit, HALF_HOUR)];
        let mut log = log;
        log.iter_mut().for_each(|reading| reading.temperature = reading.temperature.min(mc(limit)));
        let end = (first + count).min(log.len());
        prop_assume!(first < end);
        let mut fewer = log.clone();
        fewer.drain(first..end);
        let open = first == 0 || end == log.len();
        prop_assume!(open || log[end].at.since(log[first - 1].at) > HALF_HOUR);
        let (all, less) = (Curve::new(rates, &eras, log.clone()), Curve::new(rates, &eras, fewer));
        for sum in Sum::ALL {
            let (full, missing) = (all.micros(sum, at(-HOUR), at(40 * HOUR)), less.micros(sum, at(-HOUR), at(40 * HOUR)));
            prop_assert!(missing + (end - first) as i64 + 1 >= full, "{:?}: {} then {}", sum, full, missing);
        }
    }

    /// A warmer curve never lengthens a life; the lower edge of the superchill band is the one exception, tested by itself.
    #[test]
    fn warmer_never_lengthens(
        rates in any_rates(), eras in any_eras(9 * HOUR),
        log in any_log(60), warmer in prop::collection::vec(0_i64..4_000, 60), to in 0..12 * HOUR
    ) {
        prop_assume!(!warmer_may_be_slower(&eras));
        let warmed = log.iter().zip(&warmer).map(|(r, more)| Reading { temperature: mc(r.temperature.get() + more), ..*r });
        let (cold, warm) = (Curve::new(rates, &eras, log.clone()), Curve::new(rates, &eras, warmed));
        for sum in Sum::ALL {
            let (less, more) = (cold.micros(sum, at(-HOUR), at(to)), warm.micros(sum, at(-HOUR), at(to)));
            prop_assert!(more >= less, "{:?}: {} then {}", sum, less, more);
        }
    }

    /// A microsecond more costs at least nothing and at most what the fastest rate makes of it: a life is continuous in time.
    #[test]
    fn wear_is_continuous(rates in any_rates(), eras in any_eras(9 * HOUR), log in any_log(60), to in 0..12 * HOUR) {
        let curve = Curve::new(rates, &eras, log.clone());
        let instants = log.iter().map(|reading| reading.at).chain(eras.iter().map(|era| era.from)).chain([at(to)]);
        for instant in instants {
            let step = |from: i64| curve.wear(instant.plus_micros(from), instant.plus_micros(from + 1));
            for wear in [step(-1), step(0)] {
                // 33 °C is the warmest of these logs: 52.5 times ice, 271 times -18 °C, and rounding.
                prop_assert!(every(&Wear { frozen_micros: 0, ..wear }).iter().all(|sum| (0..=54).contains(sum)), "{:?}", wear);
                prop_assert!((0..=273).contains(&wear.frozen_micros), "{:?}", wear);
            }
        }
    }

    /// `when` is the last instant at which the amount was not exceeded.
    #[test]
    fn when_is_the_last_instant_within(
        rates in any_rates(), eras in any_eras(9 * HOUR),
        log in any_log(400), from in -HOUR..9 * HOUR, amount in 0..20 * HOUR, span in 0..90 * HOUR
    ) {
        let curve = Curve::new(rates, &eras, log);
        let (from, until) = (at(from), at(from + span));
        for sum in Sum::ALL {
            match curve.when(sum, from, amount, until) {
                None => prop_assert!(curve.micros(sum, from, until) <= amount),
                Some(last) => {
                    prop_assert!(from <= last && last < until);
                    prop_assert!(curve.micros(sum, from, last) <= amount);
                    prop_assert!(curve.micros(sum, from, last.plus_micros(1)) > amount);
                }
            }
        }
    }

    /// Neighbours, first and last are those of the list.
    #[test]
    fn neighbours_are_those_of_the_list(log in any_log(700), index in 0_usize..700, off in -2_i64..3) {
        let curve = Curve::new(rates(RawModel::Cautious), &[era(StorageMethod::Chill, 2_000, HOUR)], log.clone());
        prop_assert_eq!(curve.first_reading(), log.first().copied());
        prop_assert_eq!(curve.last_reading(), log.last().copied());
        let asked = log.get(index).map_or(at(0), |reading| reading.at).plus_micros(off);
        let before = log.iter().rev().map(|r| r.at).find(|instant| *instant < asked);
        let after = log.iter().map(|r| r.at).find(|instant| *instant > asked);
        prop_assert_eq!(curve.neighbours(asked), (before, after));
    }

    /// The coldest spell is measured and cold throughout, and no longer one is found by walking.
    #[test]
    fn the_coldest_spell_is_the_longest_there_is(eras in any_eras(9 * HOUR), log in any_log(60), most in -20_000_i64..2_000) {
        let curve = Curve::new(rates(RawModel::Cautious), &eras, log);
        let minutes: Vec<Instant> = (0..12 * 60).map(|k| at(k * MICROS_PER_MINUTE)).collect();
        let cold = |at: Instant| matches!(curve.temperature_at(at), (t, true) if t <= mc(most));
        let spell = curve.coldest_spell(at(0), at(12 * HOUR), mc(most));
        if let Some((from, to)) = spell {
            prop_assert!(minutes.iter().filter(|m| **m >= from && **m < to).all(|m| cold(*m)));
        }
        let longest = spell.map_or(0, |(from, to)| to.since(from));
        let mut run = 0;
        for piece in curve.pieces(at(0), at(12 * HOUR)) {
            let whole = piece.measured && piece.from_temperature <= mc(most) && piece.to_temperature <= mc(most);
            run = if whole { run + piece.to.since(piece.from) } else { 0 };
            prop_assert!(run <= longest);
        }
    }
}

/// Ten thousand readings in heaps of many sizes and in a mixed order: chunks fill, split and shift, and the curve is the one made at once.
#[test]
fn a_long_log_may_come_in_any_order() {
    let eras = [
        era(StorageMethod::Chill, 2_000, HALF_HOUR),
        Era { from: at(300 * HOUR), ..era(StorageMethod::Superchill, -500, HOUR) },
        Era { from: at(301 * HOUR), ..era(StorageMethod::Frozen, -18_000, HOUR) },
    ];
    let count = 10_007;
    let reading = |k: i64| Reading {
        at: at(k * 5 * MICROS_PER_MINUTE + k * k % 97 + if k > 6_000 { 900 * HOUR } else { 0 }),
        temperature: mc(k * 7_919 % 9_001 - 4_000),
    };
    let log: Vec<Reading> = (0..count).map(reading).collect();
    let whole = Curve::new(rates(RawModel::Cautious), &eras, log.iter().copied());
    let seen = |curve: &Curve| curve.pieces(at(-DAY), at(200 * DAY)).collect::<Vec<_>>();
    for (stride, heap) in [(1, 1), (1, 611), (4_999, 37), (3, 2_500), (10_006, 1_000)] {
        let mut curve = Curve::new(rates(RawModel::Cautious), &eras, []);
        let order: Vec<Reading> = (0..count).map(|k| log[(k * stride % count) as usize]).collect();
        order.chunks(heap).for_each(|part| curve.insert(part));
        assert_eq!(curve.len(), log.len());
        assert!(seen(&curve) == seen(&whole), "every {stride}th, {heap} at a time");
        for k in (0..count).step_by(101) {
            let end = log[k as usize].at.plus_micros(k);
            assert_eq!(curve.wear(at(-DAY), end), whole.wear(at(-DAY), end));
            assert_eq!(curve.neighbours(end), whole.neighbours(end));
            for sum in Sum::ALL {
                let amount = curve.micros(sum, at(0), end);
                assert_eq!(
                    curve.when(sum, at(0), amount, at(900 * DAY)),
                    whole.when(sum, at(0), amount, at(900 * DAY))
                );
            }
        }
    }
}
