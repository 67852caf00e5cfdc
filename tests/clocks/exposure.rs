//! Time above the safety temperature (scombrotoxin). The limits of the guidance are from memory (high): FDA, Fish and Fishery Products
//! Hazards and Controls Guidance, 4th ed., ch. 7; the EU has no number in the law read and uses the same. 40 °F = 4.444 °C, 70 °F = 21.111 °C.

use crate::ground::{DAY, GRAIN, HOUR, answer, at, block, end, ends_by, eu, kept, life, phases, us, with_number};
use sakudana::domain::life::clocks::Clock;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::Rules;

const BENCH: StorageMethod = StorageMethod::Ambient;

/// When exposure ends, in microseconds, for fish that was never frozen, or wholly frozen before; reckoned after a month.
fn ends(rules: &Rules, frozen_before: bool, hours_at: &[(i64, i64)]) -> Option<i64> {
    let place = phases(rules, BENCH, 0, hours_at);
    let mut fish = block(rules);
    fish.wholly_frozen_before = frozen_before;
    end(&life(rules, &fish, &place, 30 * DAY), Clock::Exposure)
}

fn close(found: Option<i64>, hours: i64) {
    let found = found.expect("it ends");
    // The steps of the test are lines of a microsecond, which may count as above the edge or not.
    assert!((found - hours * HOUR).abs() <= GRAIN, "{} h, not {hours}", found as f64 / HOUR as f64);
}

/// Guidance as above, both tests computed from it. 3 h at 6 °C + 2 h at 22 °C: 5 h are counted, the limit is 4 h: FAIL. 24 h at 4.4 °C: 0 h.
#[test]
fn five_hours_with_heat_fail_and_the_edge_counts_nothing() {
    for rules in [us(), eu()] {
        let place = phases(&rules, BENCH, 0, &[(3, 6_000), (2, 22_000)]);
        let after = life(&rules, &block(&rules), &place, 5 * HOUR);
        assert!((after.wear.exposed_micros - 5 * HOUR).abs() <= GRAIN);
        assert_eq!(answer(&after, Clock::Exposure).used_permille, 1_000);
        close(end(&after, Clock::Exposure), 4);

        let edge = phases(&rules, BENCH, 0, &[(24, 4_400)]);
        let after = life(&rules, &block(&rules), &edge, DAY);
        assert_eq!(after.wear.exposed_micros, 0);
        assert_eq!((answer(&after, Clock::Exposure).used_permille, end(&after, Clock::Exposure)), (0, None));
        // Strictly above: 40 °F itself is not above 40 °F, a thousandth of a degree more is.
        for (milli, hours) in [(4_444, 0), (4_445, 24)] {
            let place = kept(&rules, BENCH, 0, &[(0, milli), (DAY, milli)]);
            assert_eq!(life(&rules, &block(&rules), &place, DAY).wear.exposed_micros, hours * HOUR, "{milli}");
        }
    }
}

/// At most 8 h, or 4 h if any part was above 70 °F; previously frozen 24 h and 12 h. The limit itself is within.
#[test]
fn each_limit_is_the_last_that_is_within() {
    for rules in [us(), eu()] {
        for (frozen_before, milli, limit) in [
            (false, 10_000, 8),
            (false, 22_000, 4),
            (true, 10_000, 24),
            (true, 22_000, 12),
            (false, 21_000, 8),
            (true, 21_111, 24),
        ] {
            close(ends(&rules, frozen_before, &[(limit + 1, milli)]), limit);
            assert_eq!(ends(&rules, frozen_before, &[(limit - 1, milli)]), None, "{frozen_before} {milli}");
        }
    }
}

/// A second of heat is enough for the shorter limit: what was within the longer one ends with the heat.
#[test]
fn late_heat_shortens_what_was_within() {
    let rules = us();
    close(ends(&rules, false, &[(6, 10_000), (1, 22_000)]), 6);
    close(ends(&rules, false, &[(2, 10_000), (1, 22_000), (2, 10_000)]), 4);
    close(ends(&rules, false, &[(1, 22_000), (48, 0), (4, 10_000)]), 52);
    close(ends(&rules, true, &[(13, 10_000), (1, 22_000)]), 13);
}

/// The sum never resets: not by cold hours between, not by what it took over from the tray it was cut from.
#[test]
fn exposure_never_resets() {
    let rules = us();
    close(ends(&rules, false, &[(3, 10_000), (48, 0), (3, 10_000), (48, 0), (3, 10_000)]), 104);
    let place = phases(&rules, BENCH, 0, &[(3, 10_000)]);
    let mut heir = block(&rules);
    heir.wear.exposed_micros = 6 * HOUR;
    close(end(&life(&rules, &heir, &place, DAY), Clock::Exposure), 2);
    heir.wear.hot_micros = 1;
    // With the heat it took over it had ended before it came here; when, its stay does not know.
    assert_eq!(answer(&life(&rules, &heir, &place, DAY), Clock::Exposure).ends_at, Some(at(-1)));
}

/// What is warm now and not measured goes on being exposed: the end is foretold.
#[test]
fn an_end_is_foretold_where_the_place_is_too_warm() {
    let rules = us();
    let warm = kept(&rules, BENCH, 10_000, &[]);
    ends_by(&life(&rules, &block(&rules), &warm, HOUR), Clock::Exposure, 8 * HOUR);
    let hot = kept(&rules, BENCH, 22_000, &[]);
    ends_by(&life(&rules, &block(&rules), &hot, HOUR), Clock::Exposure, 4 * HOUR);
    // Warm for 3 h and hot from then on: the heat begins the shorter limit.
    let place = kept(&rules, BENCH, 22_000, &[(0, 10_000), (3 * HOUR - 1, 10_000), (3 * HOUR, 10_000)]);
    close(end(&life(&rules, &block(&rules), &place, 3 * HOUR), Clock::Exposure), 4);
}

/// A stricter national rule as a shop's own setting: above 4 °C for no more than 2 h in all (Legal Notice 67/2003, The Factory Vessel
/// Regulations, art. 12(1)(c); source).
#[test]
fn two_hours_above_four_degrees_can_be_set() {
    let strict =
        with_number(us(), "exposure_safe_mc", 4_000).and_then(|r| with_number(r, "exposure_minutes", 120)).unwrap();
    close(ends(&strict, false, &[(3, 4_200)]), 2);
    assert_eq!(ends(&us(), false, &[(3, 4_200)]), None);
    // Heat never allows more than there would be without it, though the limit with heat was left at 4 h.
    close(ends(&strict, false, &[(3, 22_000)]), 2);
    // Nothing at all may be allowed, and fish that was never warm is still good.
    let none = with_number(us(), "exposure_minutes", 0).unwrap();
    assert_eq!(ends(&none, false, &[(24, 2_000)]), None);
}

/// The histamine counter stands apart from the spoilage rate: hours in ice use the one and not the other, and heat can end a life of which
/// spoilage has used a tenth.
#[test]
fn exposure_is_not_spoilage() {
    let rules = us();
    let ice = kept(&rules, StorageMethod::Chill, 0, &[(0, 0), (2 * DAY, 0)]);
    let cold = life(&rules, &block(&rules), &ice, 2 * DAY);
    assert_eq!((answer(&cold, Clock::Raw).used_permille, answer(&cold, Clock::Exposure).used_permille), (500, 0));
    let mild = phases(&rules, BENCH, 0, &[(9, 5_000)]);
    let warm = life(&rules, &block(&rules), &mild, 9 * HOUR);
    assert_eq!(warm.limiting, Some(Clock::Exposure));
    assert!(answer(&warm, Clock::Raw).used_permille < 250);
}
