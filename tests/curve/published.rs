//! Published rows our models claim, each with its source: rates, shelf lives, time-temperature addition. Both coefficients of the rate
//! models are from memory (Olley & Ratkowsky 1973; Dalgaard & Huss 1997), and so is all that is computed from them.

use super::ground::*;
use sakudana::domain::life::curve::Curve;
use sakudana::domain::life::rate::Sum;
use sakudana::domain::life::rate::regime::{CROSSING_MC, Evidence, Line, Regime};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{Rates, RawModel};

const ROOT: RawModel = RawModel::SquareRoot;
const EXPONENTIAL: RawModel = RawModel::Exponential;
const CAUTIOUS: RawModel = RawModel::Cautious;

/// Rules that let a model speak below 0 °C: a superchill band from 0 °C down, and next to no cap on its credit.
fn unbound(model: RawModel) -> Rates {
    Rates { freezing_point: mc(0), band_depth_mc: 30_000, superchill_cap_permille: 1_000_000, ..rates(model) }
}

fn free_rate(model: RawModel, milli: i64) -> f64 {
    Regime::new(&unbound(model), StorageMethod::Superchill, Evidence::Measured).rate(Sum::Raw, mc(milli))
}

/// Days until `ice_days` are used up at one measured temperature.
fn days(model: RawModel, ice_days: f64, milli: i64) -> f64 {
    let steady = readings(&[(0, milli), (400 * DAY, milli)]);
    let curve = Curve::new(unbound(model), &[era(StorageMethod::Superchill, 0, 400 * DAY)], steady);
    let end = curve.when(Sum::Raw, at(0), (ice_days * DAY as f64) as i64, at(400 * DAY)).unwrap();
    end.since(at(0)) as f64 / DAY as f64
}

/// Rows G01 to G11: the golden grid of both models, computed from them; tolerance 1e-6.
#[test]
fn both_models_on_the_grid() {
    let rows = [
        (-4_000, 0.360_000, 0.618_783),
        (-3_000, 0.490_000, 0.697_676),
        (-2_200, 0.608_400, 0.767_974),
        (-2_000, 0.640_000, 0.786_628),
        (-1_000, 0.810_000, 0.886_920),
        (0, 1.000_000, 1.000_000),
        (2_000, 1.440_000, 1.271_249),
        (4_000, 1.960_000, 1.616_074),
        (5_000, 2.250_000, 1.822_119),
        (10_000, 4.000_000, 3.320_117),
        (20_000, 9.000_000, 11.023_176),
    ];
    for (milli, root, exponential) in rows {
        assert!((free_rate(ROOT, milli) - root).abs() <= 1e-6, "square root at {milli}");
        assert!((free_rate(EXPONENTIAL, milli) - exponential).abs() <= 1e-6, "exponential at {milli}");
        let envelope = free_rate(CAUTIOUS, milli);
        assert!((envelope - f64::max(root, exponential)).abs() <= 1e-6, "envelope at {milli}: {envelope}");
    }
}

/// Rows G12 and G13, trap T1: at -10 °C the square-root formula gives 0 and at -20 °C 1.0 again, as in ice. Neither is believed: the model
/// ends at -10 °C, and no place gives what lies below more credit than it earned (computed).
#[test]
fn the_square_root_never_climbs_again() {
    let least = 1_000.0 / 1_000_000.0;
    for milli in [-10_000, -15_000, -20_000, -30_000] {
        assert_eq!(free_rate(ROOT, milli), least, "{milli}");
        for (method, rate) in [(StorageMethod::Chill, 1.0), (StorageMethod::Ambient, 1.0), (StorageMethod::Frozen, 0.0)]
        {
            for evidence in [Evidence::Measured, Evidence::Assumed] {
                let got = Regime::new(&rates(ROOT), method, evidence).rate(Sum::Raw, mc(milli));
                assert_eq!(got, rate, "{method:?} {evidence:?} at {milli}");
            }
        }
    }
}

/// Row R12: the models cross at 0 °C and at 15.79 °C (computed, ±0.01); a line through both crossings is the sum of its parts.
#[test]
fn the_envelope_changes_sides_where_the_models_cross() {
    assert!((CROSSING_MC - 15_790.0).abs() <= 10.0);
    for (milli, faster) in [(-500, EXPONENTIAL), (500, ROOT), (15_780, ROOT), (15_800, EXPONENTIAL)] {
        assert_eq!(free_rate(CAUTIOUS, milli), free_rate(faster, milli), "{milli}");
    }
    let integral = |model, from_mc: f64, to_mc: f64| {
        let regime = Regime::new(&unbound(model), StorageMethod::Superchill, Evidence::Measured);
        let micros = ((to_mc - from_mc) * 3.6e6) as i64;
        regime.micros(Sum::Raw, Line { from_mc, to_mc, micros }) as f64
    };
    let whole = integral(CAUTIOUS, -3_000.0, 25_000.0);
    let parts = integral(EXPONENTIAL, -3_000.0, 0.0)
        + integral(ROOT, 0.0, CROSSING_MC)
        + integral(EXPONENTIAL, CROSSING_MC, 25_000.0);
    assert!((whole - parts).abs() / whole < 1e-9, "{whole} against {parts}");
}

/// Rows L01 to L03: shelf life in days from that in ice (computed from the square-root model; tolerance 0.001 d). Where FAO 348 Table 6.2
/// prints 5, 10 and 15 °C, its rounded print agrees (from memory).
#[test]
fn shelf_life_from_shelf_life_in_ice() {
    let columns = [-3_000, -2_000, -1_000, 4_000, 5_000, 10_000, 15_000];
    let rows = [
        (6.0, [12.245, 9.375, 7.407, 3.061, 2.667, 1.500, 0.960]),
        (10.0, [20.408, 15.625, 12.346, 5.102, 4.444, 2.500, 1.600]),
        (14.0, [28.571, 21.875, 17.284, 7.143, 6.222, 3.500, 2.240]),
    ];
    for (ice_days, lives) in rows {
        for (milli, life) in columns.into_iter().zip(lives) {
            let got = days(ROOT, ice_days, milli);
            assert!((got - life).abs() <= 0.001, "{ice_days} d in ice at {milli}: {got}");
        }
    }
    for (ice_days, milli, printed) in [
        (6.0, 5_000, 2.7),
        (6.0, 10_000, 1.5),
        (10.0, 5_000, 4.4),
        (10.0, 10_000, 2.5),
        (10.0, 15_000, 1.6),
        (14.0, 5_000, 6.2),
        (14.0, 10_000, 3.5),
        (14.0, 15_000, 2.2),
    ] {
        assert!((days(ROOT, ice_days, milli) - printed).abs() <= 0.05, "{ice_days} d in ice at {milli}");
    }
}

/// One observation: life in ice, a temperature, the lives by both models as the reference computes them, what was observed (from, to),
/// and by how many percent our envelope is longer (hopeful) or shorter (cautious, negative) than the nearer end of it.
struct Observed(&'static str, f64, i64, f64, f64, (f64, f64), f64);

/// Rows P01 to P09. Observations are checks of plausibility, not targets: of 23 our envelope outlasts five.
#[test]
fn the_models_against_published_observations() {
    let once = |days: f64| (days, days);
    let rows = [
        // Tray-packed cod and salmon: Fiskeriforskning (Esaiassen), 'Doubles shelf life at zero degrees' (secondary).
        Observed("P01", 14.0, 4_000, 7.14, 8.66, once(7.0), 2.0),
        Observed("P01", 14.0, 7_000, 4.84, 6.04, once(5.0), -3.1),
        // Cod fillets, 10 to 12 d in ice: Icelandic cold-chain guide, kaeligatt.is, 'Storage temperature of fish'.
        Observed("P02", 11.0, 4_000, 5.61, 6.81, (5.0, 6.0), 0.0),
        Observed("P02", 11.0, 5_000, 4.89, 6.04, (5.0, 6.0), -2.2),
        Observed("P02", 11.0, 10_000, 2.75, 3.31, (2.0, 3.0), 0.0),
        // Cod in ice, then cooled: Merritt 1965, quoted by Love, Timarit VFI 1967 p. 87 (secondary).
        Observed("P03", 14.0, -1_000, 17.28, 15.78, once(21.0), -24.8),
        Observed("P03", 14.0, -2_000, 21.88, 17.80, once(26.0), -31.5),
        Observed("P03", 14.0, -3_000, 28.57, 20.07, once(35.0), -42.7),
        // Whole gutted cod, freshness and not shelf life: kaeligatt.is, whole fish.
        Observed("P04", 8.5, 3_000, 5.03, 5.93, once(7.0), -28.1),
        // FAO 348 Table 6.1 (from memory): crab claws, salmon, sea bream, packed cod.
        Observed("P05a", 10.1, 5_000, 4.49, 5.54, once(5.5), -18.4),
        Observed("P05a", 10.1, 10_000, 2.52, 3.04, once(2.6), -2.9),
        Observed("P05b", 11.8, 5_000, 5.24, 6.48, once(8.0), -34.4),
        Observed("P05b", 11.8, 10_000, 2.95, 3.55, once(3.0), -1.7),
        Observed("P05c", 32.0, 10_000, 8.00, 9.64, once(8.0), 0.0),
        Observed("P05d", 14.0, 5_000, 6.22, 7.68, once(6.0), 3.7),
        Observed("P05d", 14.0, 10_000, 3.50, 4.22, once(3.0), 16.7),
        // Yellowfin, K value: Guizani et al. 2005, Food Res. Int. 38:215-222, abstract; and the thesis that contradicts it,
        // shuaa.om/en/node/10415. At 20 °C we err on the hopeful side of both.
        Observed("P06", 12.0, 8_000, 3.70, 4.59, once(5.0), -25.9),
        Observed("P06", 12.0, 20_000, 1.33, 1.09, once(1.0), 8.9),
        Observed("P07", 17.0, 8_000, 5.25, 6.51, once(6.0), -12.6),
        Observed("P07", 17.0, 20_000, 1.89, 1.54, once(1.0), 54.2),
        // Yellowfin, eaten raw by K value: Agustini, J. Coastal Development, abstract.
        Observed("P08", 4.0, 5_000, 1.78, 2.20, once(2.0), -11.1),
        // Yellowfin loins, TVB-N: Uva Wellassa University, item 6254, abstract. Not to be calibrated on.
        Observed("P09", 21.0, 4_000, 10.71, 12.99, once(17.0), -37.0),
        Observed("P09", 21.0, 7_000, 7.27, 9.07, once(12.0), -39.4),
    ];
    assert_eq!((rows.len(), rows.iter().filter(|row| row.6 > 0.0).count()), (23, 5));
    for Observed(row, ice_days, milli, root, exponential, (from, to), percent) in rows {
        let (by_root, by_exponential) = (days(ROOT, ice_days, milli), days(EXPONENTIAL, ice_days, milli));
        assert!((by_root - root).abs() <= 0.01, "{row} at {milli}: {by_root}");
        assert!((by_exponential - exponential).abs() <= 0.01, "{row} at {milli}: {by_exponential}");
        let ours = days(CAUTIOUS, ice_days, milli);
        assert!((ours - root.min(exponential)).abs() <= 0.01, "{row} at {milli}: the envelope is the shorter life");
        let nearest = ours.clamp(from, to);
        let off = (ours - nearest) / nearest * 100.0;
        assert!((off - percent).abs() <= 0.1, "{row} at {milli}: {off:.1} % off");
    }
}

const PHASES: [(i64, i64); 3] = [(48, 0), (6, 10_000), (24, 5_000)];

/// Hours at temperatures, one after another, with a step of a microsecond between.
fn phases(model: RawModel, rows: &[(i64, i64)]) -> (Curve, i64) {
    let mut readings = Vec::new();
    let mut reached = 0;
    for (hours, milli) in rows {
        readings.push((if reached == 0 { 0 } else { reached + 1 }, *milli));
        reached += hours * HOUR;
        readings.push((reached, *milli));
    }
    (curve(model, StorageMethod::Chill, &readings), reached)
}

/// Rows W01, W02, W06: 2 d at 0 °C + 6 h at 10 °C + 1 d at 5 °C, in any order (computed; tolerance 1e-6 d).
#[test]
fn phases_add_up_in_any_order() {
    for (model, expected) in [(ROOT, 5.25), (EXPONENTIAL, 4.652_148)] {
        for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
            let (curve, end) = phases(model, &order.map(|index| PHASES[index]));
            let used = curve.raw_micros(at(0), at(end)) as f64 / DAY as f64;
            assert!((used - expected).abs() < 1e-6, "{model:?} {order:?}: {used}");
        }
    }
}

/// Row W03: of 14 ice-days, what is left after those phases at 0 °C and at 4 °C (computed; tolerance 1e-6 d).
#[test]
fn what_is_left_after_the_phases() {
    for (model, milli, expected) in
        [(ROOT, 0, 8.75), (ROOT, 4_000, 4.464_286), (EXPONENTIAL, 0, 9.347_852), (EXPONENTIAL, 4_000, 5.784_296)]
    {
        let (curve, end) = phases(model, &[PHASES.as_slice(), &[(2_400, milli)]].concat()[..]);
        let phases_end = end - 2_400 * HOUR;
        let last = curve.when(Sum::Raw, at(0), 14 * DAY, at(end)).unwrap();
        let left = last.since(at(phases_end)) as f64 / DAY as f64;
        assert!((left - expected).abs() < 1e-6, "{model:?} at {milli}: {left}");
    }
}

/// Rows W04, W05: a day's even ramp from 0 to 10 °C, exact integral: 7/3 ice-days by the square-root model, (e^1.2 - 1)/1.2 by the
/// exponential one (computed). The rate at the mean temperature would give 2.25 and 1.822119: integrating the mean is wrong.
#[test]
fn a_ramp_is_integrated_exactly() {
    let of = |model| curve(model, StorageMethod::Chill, &[(0, 0), (DAY, 10_000)]).raw_micros(at(0), at(DAY));
    assert_eq!(of(ROOT), 7 * DAY / 3);
    let exponential = of(EXPONENTIAL) as f64 / DAY as f64;
    assert!((exponential - 1.933_431).abs() < 1e-6, "{exponential}");
    assert_eq!(of(CAUTIOUS), of(ROOT));
}

/// Row W07: a day at 5 °C is 24 times an hour at 5 °C, to the microsecond.
#[test]
fn a_day_is_24_hours() {
    let hourly: Vec<(i64, i64)> = (0..=24).map(|hour| (hour * HOUR, 5_000)).collect();
    for (model, expected) in [(ROOT, DAY * 9 / 4), (EXPONENTIAL, 0)] {
        let whole = curve(model, StorageMethod::Chill, &[(0, 5_000), (DAY, 5_000)]);
        let parts = curve(model, StorageMethod::Chill, &hourly);
        let by_hours: i64 = (0..24).map(|h| whole.raw_micros(at(h * HOUR), at((h + 1) * HOUR))).sum();
        assert_eq!(by_hours, whole.raw_micros(at(0), at(DAY)));
        let (one, other) = (whole.raw_micros(at(0), at(DAY)), parts.raw_micros(at(0), at(DAY)));
        assert!((other - one) as f64 / one as f64 <= 1e-9 && other >= one, "{one} {other}");
        assert!(model != ROOT || one == expected);
    }
}

/// Row C10: cod kept 1.5, 1.86 and 2.5 times as long at -1, -2 and -3 °C as in ice (ratios of P03: Merritt 1965, secondary; tolerance
/// 0.01). With the cap of 1.5 our rules give 1.13, 1.27 and 1.43 (computed): cautious at each.
#[test]
fn superchill_earns_less_than_was_published() {
    let regime = Regime::new(&rates(CAUTIOUS), StorageMethod::Superchill, Evidence::Measured);
    for (milli, life, published, ours) in
        [(-1_000, 21.0, 1.5, 1.127), (-2_000, 26.0, 1.86, 1.271), (-3_000, 35.0, 2.5, 1.433)]
    {
        assert!((life / 14.0_f64 - published).abs() <= 0.01);
        let factor = 1.0 / regime.rate(Sum::Raw, mc(milli));
        assert!((factor - ours).abs() <= 0.001 && factor < published, "{milli}: {factor}");
    }
}
