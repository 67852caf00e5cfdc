//! Colour on display and in the freezer, and the time fish keeps frozen.

use crate::ground::{DAY, HOUR, answer, block, end, ends_by, eu, kept, life, mc, subject, us, with_number};
use sakudana::domain::life::budget::{Form, OwnBudget, SpeciesGroup, budgets};
use sakudana::domain::life::clocks::Clock;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::RawModel;

const LONG: i64 = 400 * DAY;

/// Bluefin never frozen keeps its colour 6 d at 4 °C, thawed it deteriorates after 3 d: half the colour life (Seki et al. 2016, Asian
/// Fisheries Science 29(4):232-244, abstract; source). Counted at 0 °C by our model, which comes from memory.
#[test]
fn thawed_tuna_keeps_its_colour_half_as_long() {
    for rules in [us(), eu()] {
        let case = kept(&rules, StorageMethod::Chill, 4_000, &[(0, 4_000), (LONG, 4_000)]);
        let mut fish = block(&rules);
        ends_by(&life(&rules, &fish, &case, HOUR), Clock::Colour, 6 * DAY);
        ends_by(&life(&rules, &fish, &case, 30 * DAY), Clock::Colour, 6 * DAY);
        fish.was_thawed = true;
        ends_by(&life(&rules, &fish, &case, HOUR), Clock::Colour, 3 * DAY);
        ends_by(&life(&rules, &fish, &case, 30 * DAY), Clock::Colour, 3 * DAY);
    }
}

/// The six days hold whichever model a shop has validated: a slower one gets a smaller budget.
#[test]
fn a_slower_model_does_not_lengthen_the_colour() {
    for model in [RawModel::Cautious, RawModel::SquareRoot, RawModel::Exponential] {
        let mut rules = us();
        rules.rates.model = model;
        let case = kept(&rules, StorageMethod::Chill, 4_000, &[(0, 4_000), (LONG, 4_000)]);
        let found = end(&life(&rules, &block(&rules), &case, HOUR), Clock::Colour).unwrap();
        assert!(found <= 6 * DAY && found > 6 * DAY - HOUR / 60, "{model:?}: {found}");
    }
}

/// Sliced yellowfin on ice: 4 h (Liu, Wang & Luo 2010, Food Science (China) 31(2):273-276, abstract; source).
#[test]
fn only_tuna_that_is_looked_at_has_a_colour() {
    let rules = us();
    let ice = kept(&rules, StorageMethod::Chill, 0, &[(0, 0), (LONG, 0)]);
    ends_by(&life(&rules, &subject(&rules, SpeciesGroup::Tuna, Form::Slices), &ice, HOUR), Clock::Colour, 4 * HOUR);
    for (group, form, has) in [
        (SpeciesGroup::Tuna, Form::Loin, true),
        (SpeciesGroup::Tuna, Form::Scrape, true),
        (SpeciesGroup::Tuna, Form::Whole, false),
        (SpeciesGroup::Tuna, Form::ForCooking, false),
        (SpeciesGroup::Salmonid, Form::Block, false),
        (SpeciesGroup::White, Form::Slices, false),
        (SpeciesGroup::Oily, Form::Block, false),
    ] {
        let found = life(&rules, &subject(&rules, group, form), &ice, HOUR);
        assert_eq!(found.clocks.of(Clock::Colour).is_some(), has, "{group:?} {form:?}");
    }
    let mut off = us();
    off.running.colour = false;
    assert_eq!(budgets(&off, SpeciesGroup::Tuna, Form::Block, OwnBudget::default()).colour_micros, None);
    assert_eq!(life(&off, &block(&rules), &ice, HOUR).clocks.of(Clock::Colour), None);
}

/// Belly at -18 °C passes 30 % metmyoglobin after 14 days (Yang et al. 2016, Meat Research 30(2):26-30, abstract; source): no red colour is
/// promised past that, whatever a table of storage life says; at -30 °C up to 28 days (same).
#[test]
fn at_minus_18_no_colour_is_promised_past_two_weeks() {
    for rules in [us(), eu()] {
        for (milli, days) in [(-18_000, 14), (-30_000, 28)] {
            let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[(0, milli), (LONG, milli)]);
            let found = life(&rules, &block(&rules), &freezer, 100 * DAY);
            let ends = end(&found, Clock::Colour).unwrap();
            // Q10 1.78 is rounded: at -30 °C it gives 27.97 days.
            assert!(ends <= days * DAY && ends > days * DAY - HOUR, "{milli}: {}", ends as f64 / DAY as f64);
            assert!(end(&found, Clock::Frozen).is_none_or(|frozen| frozen > ends));
        }
    }
}

/// What of the colour went in the freezer does not come back, and the halving comes on top.
#[test]
fn colour_goes_on_after_thawing() {
    let rules = us();
    let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[(0, -18_000), (LONG, -18_000)]);
    let frozen = life(&rules, &block(&rules), &freezer, 3 * DAY);
    let mut thawed = block(&rules);
    (thawed.wear, thawed.was_thawed) = (frozen.wear, true);
    let case = kept(&rules, StorageMethod::Chill, 4_000, &[(0, 4_000), (LONG, 4_000)]);
    let found = life(&rules, &thawed, &case, 0);
    // Half of the budget less 3/14 of it: 2/7 of 6 days.
    let ends = end(&found, Clock::Colour).unwrap();
    assert!((ends - 6 * DAY * 2 / 7).abs() < HOUR / 60, "{}", ends as f64 / DAY as f64);
    // After eight days of the fourteen nothing is left of the half.
    thawed.wear = life(&rules, &block(&rules), &freezer, 8 * DAY).wear;
    assert_eq!(end(&life(&rules, &thawed, &case, 0), Clock::Colour), Some(-1));
}

/// Fish generally: good quality at -18 °C not beyond 2 to 3 months (Howgate 2001, seafood mailing list, UC Davis; source; the lower end).
/// Q10 3 (Labuza 2001, same list; source): at -28 °C three times that, at -8 °C a third; no more credit below -40 °C.
#[test]
fn frozen_fish_keeps_two_months_at_minus_18() {
    for rules in [us(), eu()] {
        for (milli, days) in [
            (-18_000, 60.0),
            (-28_000, 180.0),
            (-8_000, 20.0),
            (-23_000, 103.923),
            (-40_000, 672.695),
            (-60_000, 672.695),
        ] {
            let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[(0, milli), (900 * DAY, milli)]);
            let ends =
                end(&life(&rules, &block(&rules), &freezer, 899 * DAY), Clock::Frozen).unwrap() as f64 / DAY as f64;
            assert!((ends - days).abs() < 0.001, "{milli}: {ends} d");
        }
    }
}

/// The frozen clock says what was used when the fish has left the freezer, and stands still; when it had ended, it stays ended.
#[test]
fn frozen_time_is_not_forgotten() {
    let rules = us();
    let ice = kept(&rules, StorageMethod::Chill, 0, &[]);
    let mut fish = block(&rules);
    assert_eq!(life(&rules, &fish, &ice, HOUR).clocks.of(Clock::Frozen), None);
    fish.wear.frozen_micros = 30 * DAY;
    let half = answer(&life(&rules, &fish, &ice, HOUR), Clock::Frozen);
    assert_eq!((half.used_permille, half.ends_at), (500, None));
    fish.wear.frozen_micros = 60 * DAY + 1;
    assert_eq!(end(&life(&rules, &fish, &ice, HOUR), Clock::Frozen), Some(-1));
}

/// Fish in a freezer uses up nothing of its raw budget while it is frozen through, and as much as in ice when it is not.
#[test]
fn the_raw_clock_stands_still_in_a_freezer() {
    let rules = us();
    assert_eq!(rules.rates.frozen_through, mc(-15_000));
    for (milli, used) in [(-18_000, 0), (-15_000, 0), (-14_999, 2 * DAY)] {
        let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[(0, milli), (2 * DAY, milli)]);
        let found = life(&rules, &block(&rules), &freezer, 2 * DAY);
        assert_eq!(found.wear.raw_micros, used, "{milli}");
        // What was measured last goes on where it is warmer than the upper limit.
        assert_eq!(end(&found, Clock::Raw), (used > 0).then_some(4 * DAY), "{milli}");
    }
}

/// A shop may promise less: seven weeks of frozen storage, a quarter of the colour after thawing.
#[test]
fn shorter_promises_are_kept() {
    let rules = with_number(us(), "frozen_days_at_minus_18", 49)
        .and_then(|r| with_number(r, "thawed_colour_permille", 250))
        .unwrap();
    let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[]);
    ends_by(&life(&rules, &block(&rules), &freezer, HOUR), Clock::Frozen, 49 * DAY);
    let case = kept(&rules, StorageMethod::Chill, 4_000, &[]);
    let mut fish = block(&rules);
    fish.was_thawed = true;
    ends_by(&life(&rules, &fish, &case, HOUR), Clock::Colour, 36 * HOUR);
}
