//! Published rows on ice, frozen storage and colour, each with its source, against our frozen tariffs.

use super::ground::*;
use sakudana::domain::life::curve::Curve;
use sakudana::domain::life::rate::ice::{Band, band, ice_fraction, ice_fraction_bound, practical_storage_life};
use sakudana::domain::life::rate::{COLOUR_BUDGET_MICROS, Sum};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{Rates, RawModel};

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got} instead of {expected}");
}

fn steady(method: StorageMethod, milli: i64, q10_permille: i64) -> Curve {
    let rates = Rates { frozen_q10_permille: q10_permille, ..rates(RawModel::Cautious) };
    Curve::new(rates, &[era(method, -18_000, 4_000 * DAY)], readings(&[(0, milli), (4_000 * DAY, milli)]))
}

/// Days until an amount is used up at one measured temperature.
fn days(method: StorageMethod, sum: Sum, amount: i64, milli: i64) -> f64 {
    let end = steady(method, milli, 3_000).when(sum, at(0), amount, at(4_000 * DAY)).unwrap();
    end.since(at(0)) as f64 / DAY as f64
}

/// Rows C16 to C18 (ideal freezing-point depression; from memory) against what FAO Fisheries Technical Paper 340, s. 19, measured for a
/// freezing point of about -1 °C: 55 % at -2.2 °C, where it agrees, and 70 % at -5 °C, where it is 10 points too high.
#[test]
fn ice_by_freezing_point_depression() {
    let of = |milli| ice_fraction(mc(-1_000), mc(milli));
    for (milli, share) in [(-2_000, 0.5), (-3_000, 0.666_667), (-1_000, 0.0), (0, 0.0), (2_000, 0.0)] {
        close(of(milli), share, 1e-6);
    }
    close(of(-2_200), 0.5455, 1e-4);
    close(of(-2_200), 0.55, 0.005);
    close(of(-5_000), 0.800, 1e-4);
    close(of(-5_000) - 0.70, 0.10, 1e-4);
}

/// Rows C19, C20: corrected for bound water (ASHRAE Refrigeration, ch. 9; from memory), cod.
#[test]
fn ice_less_bound_water() {
    for (milli, share) in [(-2_200, 0.498), (-5_000, 0.730)] {
        close(ice_fraction_bound(mc(-1_000), mc(milli), 0.8122, 0.1781), share, 0.001);
    }
}

/// The range of superchilling: EFSA BIOHAZ 2021, EFSA J. 19(1):6378, abstract, 1 to 2 °C below the initial freezing point.
#[test]
fn the_band_has_two_edges_inside() {
    for (milli, expected) in
        [(-999, Band::NotSuperchilled), (-1_000, Band::Inside), (-3_000, Band::Inside), (-3_001, Band::PartlyFrozen)]
    {
        assert_eq!(band(mc(-1_000), 2_000, mc(milli)), expected, "{milli}");
    }
}

/// Rows F09-t1 to t3: Q10 3, 9 months at -18 °C (computed from the rule of Labuza 2001, seafood mailing list, UC Davis; tolerance 0.001).
/// Our frozen sum uses the life up at the same rate.
#[test]
fn practical_storage_life_by_q10() {
    for (milli, months) in [(-28_000, 27.0), (-23_000, 15.588), (-8_000, 3.0)] {
        close(practical_storage_life(9.0, mc(milli), 3_000), months, 0.001);
        close(days(StorageMethod::Frozen, Sum::Frozen, 9 * DAY, milli), months, 0.001);
    }
}

/// Rows F08, F09: deterioration halves per about 6 °C (Howgate 2001: Q10 3.17 computed), Q10 is 3 to 3.5 (Labuza 2001: halving per 6.3 to
/// 5.5 °C computed).
#[test]
fn halving_and_q10_are_one_rule() {
    let rate =
        |milli, q10| steady(StorageMethod::Frozen, milli, q10).micros(Sum::Frozen, at(0), at(DAY)) as f64 / DAY as f64;
    close(rate(-12_000, 3_170), 2.0, 0.01);
    close(rate(-24_000, 3_170), 0.5, 0.01);
    close(rate(-18_000 + 6_300, 3_000), 2.0, 0.01);
    close(rate(-18_000 + 5_500, 3_500), 2.0, 0.01);
    close(rate(-18_000, 3_000), 1.0, 1e-9);
}

/// Row F10: 49 to 84 kJ/mol, yellowfin slices among the fish (Tsironi, Stoforos & Taoukis 2020, Foods 9:1893, abstract), is a Q10 of 2.42
/// to 4.56 between -20 and -10 °C (computed, tolerance 0.01). Ours lies between.
#[test]
fn the_q10_lies_within_measured_activation_energies() {
    let q10 = |joules: f64| (joules / 8.314 * (1.0 / 253.15 - 1.0 / 263.15)).exp();
    close(q10(49_000.0), 2.42, 0.01);
    close(q10(84_000.0), 4.56, 0.01);
    assert!(q10(49_000.0) < 3.0 && 3.0 < q10(84_000.0));
}

/// Rows F01 to F04 (IIR 1986 and 1972, from memory, in conflict with each other), F05 (Howgate 2001) and F11 (the Q10 they imply):
/// months at -18 °C, a temperature, months there, the Q10 implied, and by how many percent ours is longer (hopeful) or shorter.
/// Ours errs on the hopeful side of the older table below -24 °C, and for lean fish at -12 °C.
#[test]
fn storage_lives_of_the_tables() {
    let rows = [
        ("F01 fatty 1986", 5.0, -12_000, 3.0, Some(2.3), -13.8),
        ("F01 fatty 1986, 'over'", 5.0, -24_000, 9.0, Some(2.7), 7.4),
        ("F02 lean 1986", 9.0, -12_000, 4.0, Some(3.9), 16.4),
        ("F02 lean 1986, 'over'", 9.0, -24_000, 12.0, Some(1.6), 45.0),
        ("F03 fatty 1972", 4.0, -25_000, 8.0, Some(2.7), 7.9),
        ("F03 fatty 1972", 4.0, -30_000, 12.0, None, 24.6),
        ("F04 lean 1972", 8.0, -25_000, 18.0, Some(3.2), -4.1),
        ("F04 lean 1972", 8.0, -30_000, 24.0, None, 24.6),
        ("F05, 2 to 3 at -18 °C, 'over'", 2.5, -30_000, 12.0, None, -22.1),
    ];
    for (row, base, milli, months, implied, percent) in rows {
        let ours = days(StorageMethod::Frozen, Sum::Frozen, (base * DAY as f64) as i64, milli);
        close(ours, practical_storage_life(base, mc(milli), 3_000), 1e-6);
        let off = (ours - months) / months * 100.0;
        assert!((off - percent).abs() <= 0.1, "{row} at {milli}: {off:.1} % off");
        if let Some(q10) = implied {
            close(f64::powf(base / months, 10_000.0 / (milli + 18_000) as f64), q10, 0.06);
        }
    }
    // From -25 to -30 °C, as F11 has them: 2.3 and 1.8.
    close(f64::powf(12.0 / 8.0, 2.0), 2.3, 0.06);
    close(f64::powf(24.0 / 18.0, 2.0), 1.8, 0.06);
}

/// Row F12: the share used is the sum of times over lives (Boegh-Soerensen, IIR, fridoc 18686): 100 d at -18, 20 d at -12, 60 d at -30 °C.
#[test]
fn shares_of_storage_life_add_up() {
    let phases = [(100, -18_000), (20, -12_000), (60, -30_000)];
    let mut rows = Vec::new();
    let (mut reached, mut share) = (0, 0.0);
    for (days, milli) in phases {
        rows.push((if reached == 0 { 0 } else { reached + 1 }, milli));
        reached += days * DAY;
        rows.push((reached, milli));
        share += days as f64 / practical_storage_life(270.0, mc(milli), 3_000);
    }
    let used = curve(RawModel::Cautious, StorageMethod::Frozen, &rows).micros(Sum::Frozen, at(0), at(reached));
    close(used as f64 / (270 * DAY) as f64, share, 1e-9);
}

/// Rows F14, F15: belly of tuna passes 30 % metmyoglobin after 14 d at -18 °C and keeps up to 28 d at -30 °C (Yang et al. 2016, Meat
/// Research 30(2):26-30, abstract). Ours is never longer. No promise goes on below the coldest temperature that earns any.
#[test]
fn colour_in_the_freezer() {
    let of = |milli| days(StorageMethod::Frozen, Sum::Colour, COLOUR_BUDGET_MICROS, milli);
    close(of(-18_000), 14.0, 1e-6);
    close(of(-30_000), 27.97, 0.01);
    assert!(of(-18_000) <= 14.0 && of(-30_000) <= 28.0);
    assert_eq!(of(-60_000), of(-80_000));
}

/// Row F19: autoxidation is fastest at -10 °C (Chow, Ochiai & Watabe 2004, J. Food Biochem., abstract): no warmer freezer is better.
#[test]
fn colour_is_worst_at_minus_ten() {
    let of = |milli| days(StorageMethod::Frozen, Sum::Colour, COLOUR_BUDGET_MICROS, milli);
    for milli in [-9_999, -5_000, -1_000, 0, 500] {
        assert_eq!(of(milli), of(-10_000), "{milli}");
    }
    assert!(of(-10_001) > of(-10_000) && of(4_000) < of(0));
    close(of(4_000), 6.0, 1e-6);
}

/// Rows K01 to K03. Bluefin at 4 °C kept its colour 6 d, thawed 3 d, half of it (Seki et al. 2016, Asian Fisheries Science 29(4):232-244,
/// abstract). Of southern bluefin at 4 °C browning was evident after 6 d, metmyoglobin 35.08 % from 27.52 % (abstract of 'Changes in
/// quality
/// characteristics of southern bluefin tuna …'): by the limit of 30 % (Yang et al. 2016) it ended after 2 d, so there we are 4 d hopeful.
#[test]
fn colour_in_the_case() {
    for method in [StorageMethod::Chill, StorageMethod::Superchill, StorageMethod::Ambient] {
        close(days(method, Sum::Colour, COLOUR_BUDGET_MICROS, 4_000), 6.0, 1e-6);
        close(days(method, Sum::Colour, COLOUR_BUDGET_MICROS / 2, 4_000), 3.0, 1e-6);
    }
    let slope = (35.08 - 27.52) / 6.0;
    close(slope, 1.26, 0.001);
    close(6.0 - (30.0 - 27.52) / slope, 4.0, 0.05);
}
