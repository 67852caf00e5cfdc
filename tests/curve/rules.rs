//! The rules between readings and of each storage method, case by case. Trade rules of our own: common practice, no source.

use super::ground::*;
use sakudana::domain::life::curve::{Because, Curve, Era, Projection, Reading};
use sakudana::domain::life::rate::Sum;
use sakudana::domain::life::rate::regime::{Evidence, Line, Regime};
use sakudana::domain::life::wear::Wear;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::RawModel;
use sakudana::units::instant::Instant;

const MODEL: RawModel = RawModel::SquareRoot;

fn chill(rows: &[(i64, i64)]) -> Curve {
    Curve::new(rates(MODEL), &[era(StorageMethod::Chill, 2_000, HOUR)], readings(rows))
}

fn rate(method: StorageMethod, evidence: Evidence, sum: Sum, milli: i64) -> f64 {
    Regime::new(&rates(MODEL), method, evidence).rate(sum, mc(milli))
}

/// Superchill earns its slower rate inside the band and only where measured. Just below the band fish is partly frozen and counts as in
/// ice, which makes it the one place where a warmer hour is a slower one.
#[test]
fn superchill_is_earned_inside_the_band() {
    let of = |evidence, milli| rate(StorageMethod::Superchill, evidence, Sum::Raw, milli);
    for (milli, measured) in
        [(-3_001, 1.0), (-3_000, 1.0 / 1.5), (-1_000, 0.81), (-999, 1.0), (0, 1.0), (2_000, 1.44), (-20_000, 1.0)]
    {
        assert!((of(Evidence::Measured, milli) - measured).abs() < 1e-12, "{milli}");
        assert!((of(Evidence::Assumed, milli) - measured.max(1.0)).abs() < 1e-12, "{milli}");
    }
    assert!(of(Evidence::Measured, -3_001) > of(Evidence::Measured, -3_000));
    let (below, inside) = (
        Curve::new(
            rates(MODEL),
            &[era(StorageMethod::Superchill, -500, HOUR)],
            readings(&[(0, -3_001), (HOUR, -3_001)]),
        ),
        Curve::new(
            rates(MODEL),
            &[era(StorageMethod::Superchill, -500, HOUR)],
            readings(&[(0, -3_000), (HOUR, -3_000)]),
        ),
    );
    assert_eq!(below.raw_micros(at(0), at(HOUR)), HOUR);
    // Two thirds are no finite number: the steady rate is rounded up, and then the sum.
    assert_eq!(inside.raw_micros(at(0), at(HOUR)), HOUR * 2 / 3 + 1);
}

#[test]
fn a_freezer_stops_the_raw_clock_only_where_fish_is_frozen_through() {
    for evidence in [Evidence::Measured, Evidence::Assumed] {
        for (milli, expected) in [(-60_000, 0.0), (-10_000, 0.0), (-9_999, 1.0), (-1, 1.0), (0, 1.0), (5_000, 2.25)] {
            assert_eq!(rate(StorageMethod::Frozen, evidence, Sum::Raw, milli), expected, "{milli}");
        }
        assert_eq!(rate(StorageMethod::Chill, evidence, Sum::Frozen, -18_000), 0.0);
        assert!((rate(StorageMethod::Frozen, evidence, Sum::Frozen, -60_000) - 3_f64.powf(-4.2)).abs() < 1e-12);
        let colder = rate(StorageMethod::Frozen, evidence, Sum::Frozen, -80_000);
        assert_eq!(colder, rate(StorageMethod::Frozen, evidence, Sum::Frozen, -60_000));
    }
}

#[test]
fn chill_is_never_slower_than_ice() {
    for method in [StorageMethod::Chill, StorageMethod::Ambient] {
        for milli in [-30_000, -4_000, -1, 0] {
            assert_eq!(rate(method, Evidence::Measured, Sum::Raw, milli), 1.0, "{milli}");
        }
    }
}

/// Above 25 °C the formulas go on, up to a thousand times ice, where centuries can still be counted.
#[test]
fn warmer_is_never_cheaper() {
    for (method, evidence) in [
        (StorageMethod::Chill, Evidence::Measured),
        (StorageMethod::Superchill, Evidence::Assumed),
        (StorageMethod::Frozen, Evidence::Measured),
    ] {
        for model in [RawModel::SquareRoot, RawModel::Exponential, RawModel::Cautious] {
            let regime = Regime::new(&rates(model), method, evidence);
            for sum in Sum::ALL {
                let all: Vec<f64> = (-1_000..=1_000).map(|tenth| regime.rate(sum, mc(tenth * 100))).collect();
                assert!(all.windows(2).all(|pair| pair[0] <= pair[1]), "{method:?} {evidence:?} {model:?} {sum:?}");
                assert!(all.iter().all(|rate| (0.0..=1_000.0).contains(rate)));
            }
        }
    }
    assert!((rate(StorageMethod::Chill, Evidence::Measured, Sum::Raw, 30_000) - 16.0).abs() < 1e-12);
}

/// Strictly above the safety and the hot temperature, in every place; a line is split where it crosses them.
#[test]
fn exposure_counts_strictly_above() {
    for (method, _) in StorageMethod::ALL {
        let regime = Regime::new(&rates(MODEL), method, Evidence::Measured);
        for (sum, limit) in [(Sum::Exposed, 4_444), (Sum::Hot, 21_111)] {
            assert_eq!((regime.rate(sum, mc(limit)), regime.rate(sum, mc(limit + 1))), (0.0, 1.0));
        }
        let rise = Line { from_mc: 4_444.0 - 10_000.0, to_mc: 4_444.0 + 30_000.0, micros: 4 * HOUR };
        assert_eq!(regime.micros(Sum::Exposed, rise), 3 * HOUR);
        let fall = Line { from_mc: 31_111.0, to_mc: 11_111.0, micros: 4 * HOUR };
        assert_eq!((regime.micros(Sum::Hot, fall), regime.micros(Sum::Exposed, fall)), (2 * HOUR, 4 * HOUR));
    }
}

#[test]
fn a_gap_counts_at_the_worst_of_its_neighbours_and_the_limit() {
    let of = |rows: &[(i64, i64)]| chill(rows).wear(at(0), at(10 * HOUR));
    let held = |milli: i64| (10 * HOUR * (10_000 + milli) / 10_000) * (10_000 + milli) / 10_000;
    for (rows, counted, assumed) in [
        ([(0, 0), (10 * HOUR, 0)], held(2_000), 10 * HOUR),
        ([(0, 5_000), (10 * HOUR, 0)], held(5_000), 10 * HOUR),
        ([(0, 0), (10 * HOUR, 4_000)], held(4_000), 10 * HOUR),
    ] {
        let wear = of(&rows);
        assert_eq!((wear.raw_micros, wear.assumed_micros), (counted, assumed), "{rows:?}");
    }
    // As long as the allowance is no gap; a microsecond more is one.
    assert_eq!(chill(&[(0, 0), (HOUR, 0)]).wear(at(0), at(HOUR)).measured_micros, HOUR);
    assert_eq!(chill(&[(0, 0), (HOUR + 1, 0)]).wear(at(0), at(HOUR)).assumed_micros, HOUR);
}

#[test]
fn before_and_after_all_readings_and_without_any_the_limit_counts() {
    let lone = chill(&[(0, 0)]);
    let warm = chill(&[(0, 5_000)]);
    let none = chill(&[]);
    for (from, to) in [(-5 * HOUR, -3 * HOUR), (3 * HOUR, 5 * HOUR)] {
        for (curve, counted) in
            [(&lone, 2 * HOUR * 144 / 100), (&warm, 2 * HOUR * 225 / 100), (&none, 2 * HOUR * 144 / 100)]
        {
            let wear = curve.wear(at(from), at(to));
            assert!((wear.raw_micros - counted).abs() <= 1 && wear.measured_micros == 0, "{wear:?}");
        }
    }
    assert_eq!(lone.wear(at(5), at(5)), Wear::default());
    assert_eq!(lone.wear(at(9), at(5)), Wear::default());
    assert!(none.is_empty() && none.first_reading().is_none() && none.last_reading().is_none());
    assert_eq!(none.neighbours(at(0)), (None, None));
}

#[test]
fn what_is_projected_and_why() {
    let of = |temperature, because| Projection { temperature: mc(temperature), because };
    assert_eq!(chill(&[]).projection(at(0)), of(2_000, Because::NoSensor));
    assert_eq!(chill(&[(0, 1_000)]).projection(at(HOUR)), of(2_000, Because::UpperLimit));
    assert_eq!(chill(&[(0, 2_000)]).projection(at(HOUR)), of(2_000, Because::UpperLimit));
    assert_eq!(chill(&[(0, 4_000)]).projection(at(HOUR)), of(4_000, Because::LastReadingWarmer));
    let warm = chill(&[(0, 5_000)]);
    let kept = warm.projection(at(HOUR)).temperature;
    let lasts = |sum, amount| warm.span_at(sum, StorageMethod::Chill, kept, amount);
    let of_an_hour = [9 * HOUR / 4, 9 * HOUR / 4, HOUR, HOUR, HOUR];
    let spans: Vec<_> = Sum::ALL.into_iter().zip(of_an_hour).map(|(sum, amount)| lasts(sum, amount)).collect();
    assert_eq!(spans, [Some(HOUR), Some(HOUR), None, Some(HOUR), None]);
}

#[test]
fn a_temperature_is_read_or_interpolated_or_assumed() {
    let curve = chill(&[(0, 0), (HOUR, 1_000), (9 * HOUR, 500)]);
    for (micros, milli, measured) in [
        (0, 0, true),
        (HOUR / 2, 500, true),
        (HOUR, 1_000, true),
        (HOUR + 1, 2_000, false),
        (9 * HOUR, 500, true),
        (9 * HOUR + 1, 2_000, false),
        (-1, 2_000, false),
    ] {
        assert_eq!(curve.temperature_at(at(micros)), (mc(milli), measured), "{micros}");
    }
}

/// A place that changes: a line keeps its course over the border, a hold takes each era's own limit, and the gap rule is that of the era
/// the stretch starts in.
#[test]
fn eras_cut_what_crosses_them() {
    let second = Era { from: at(HOUR), ..era(StorageMethod::Superchill, -500, 2 * HOUR) };
    let eras = [era(StorageMethod::Chill, 5_000, 3 * HOUR), second];
    let line = Curve::new(rates(MODEL), &eras, readings(&[(0, -1_000), (2 * HOUR, -3_000)]));
    let pieces: Vec<_> = line.pieces(at(0), at(2 * HOUR)).collect();
    let seen = pieces.iter().map(|p| (p.from, p.to, p.from_temperature, p.to_temperature, p.method, p.upper_limit));
    assert_eq!(
        seen.collect::<Vec<_>>(),
        [
            (at(0), at(HOUR), mc(-1_000), mc(-2_000), StorageMethod::Chill, mc(5_000)),
            (at(HOUR), at(2 * HOUR), mc(-2_000), mc(-3_000), StorageMethod::Superchill, mc(-500)),
        ]
    );
    assert_eq!(pieces[0].wear.raw_micros, HOUR);
    assert!(pieces[1].wear.raw_micros < HOUR * 7 / 10);
    let mut gap = Curve::new(rates(MODEL), &eras, readings(&[(0, 0), (4 * HOUR, 0)]));
    assert_eq!(gap.wear(at(0), at(4 * HOUR)).raw_micros, HOUR * 9 / 4 + 3 * HOUR);
    gap.set_eras(&eras[..1]);
    assert_eq!(gap.wear(at(0), at(4 * HOUR)).raw_micros, HOUR * 9);
    // Before the first era the first one counts, and a place nobody described is a bench at the hot temperature.
    let late = Curve::new(rates(MODEL), &[Era { from: at(HOUR), ..eras[0] }], []);
    assert!((late.raw_micros(at(0), at(HOUR)) - HOUR * 9 / 4).abs() <= 1);
    let unknown = Curve::new(rates(MODEL), &[], []);
    assert!((unknown.raw_micros(at(0), at(HOUR)) as f64 / HOUR as f64 - 3.1111_f64.powi(2)).abs() < 1e-4);
}

/// Sums stay in range for the hottest sensor and the longest time there is.
#[test]
fn the_ends_of_time_and_temperature_are_counted() {
    let first = Reading { at: Instant::EPOCH, temperature: mc(100_000) };
    let last = Reading { at: Instant::EPOCH.plus_micros(i64::MAX), temperature: mc(-100_000) };
    for (method, _) in StorageMethod::ALL {
        for readings in [vec![], vec![first], vec![last], vec![first, last], readings(&[(0, 100_000)])] {
            let mut curve = Curve::new(rates(RawModel::Cautious), &[era(method, 2_000, HOUR)], readings.clone());
            // What is known already changes nothing, nor how it is counted.
            curve.insert(&readings);
            for (from, to) in [(first.at, at(0)), (at(0), at(DAY)), (at(0), last.at), (first.at, last.at)] {
                let wear = curve.wear(from, to);
                assert!(wear.raw_micros >= 0 && wear.frozen_micros >= 0 && wear.exposed_micros >= 0);
                assert_eq!(wear.measured_micros + wear.assumed_micros, to.since(from));
                assert!(curve.when(Sum::Raw, from, -1, to) == Some(from.plus_micros(-1)));
            }
            assert!(curve.raw_micros(at(0), at(DAY)) >= if method == StorageMethod::Frozen { 0 } else { DAY });
        }
    }
}

/// The longest cold stretch is measured throughout: a gap ends it, and so does a warm moment between readings.
#[test]
fn a_cold_spell_is_measured_throughout() {
    let place = [era(StorageMethod::Frozen, -18_000, HOUR)];
    let cold = |hours: std::ops::RangeInclusive<i64>| hours.map(|h| (h * HOUR, -20_000)).collect::<Vec<_>>();
    let spell = |rows: Vec<(i64, i64)>| {
        let curve = Curve::new(rates(MODEL), &place, readings(&rows));
        curve.coldest_spell(at(0), at(100 * HOUR), mc(-20_000))
    };
    assert_eq!(spell([cold(0..=10), cold(12..=40)].concat()), Some((at(12 * HOUR), at(40 * HOUR))));
    let warm = [cold(0..=10), vec![(11 * HOUR, -19_999)], cold(12..=20)].concat();
    assert_eq!(spell(warm), Some((at(0), at(10 * HOUR))));
    assert_eq!(spell(vec![(0, -18_000), (HOUR, -22_000)]), Some((at(HOUR / 2), at(HOUR))));
    assert_eq!(spell(vec![(0, -18_000), (HOUR, -19_000)]), None);
    assert_eq!(spell(vec![]), None);
}
