//! Raw-eating limits, the superchill band and its cap, and the domain of the rate models.

use crate::ground::{DAY, HOUR, answer, at, block, end, ends_by, eu, kept, life, subject, us, wish, with_number};
use sakudana::domain::catalogue::{Cut, CutDraft};
use sakudana::domain::life::budget::{Form, OwnBudget, SpeciesGroup, budgets};
use sakudana::domain::life::clocks::{Clock, Life};
use sakudana::domain::life::warnings::Warning;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::Rules;
use sakudana::domain::profile::own::Written;

const LONG: i64 = 400 * DAY;

/// A block in a place measured at one temperature.
fn steady(rules: &Rules, method: StorageMethod, milli: i64) -> Life {
    let limit = if method == StorageMethod::Superchill { -500 } else { 0 };
    let place = kept(rules, method, limit, &[(0, milli), (LONG, milli)]);
    life(rules, &block(rules), &place, DAY)
}

fn names(life: &Life) -> Vec<&'static str> {
    life.warnings.iter().map(Warning::as_str).collect()
}

/// Tuna blocks may be eaten raw for 4 d at 0 °C and 2 d at 5 °C (yellowfin, K value: Agustini, J. Coastal Development, abstract; source),
/// 3 d at 4 °C (bluefin, K value: Seki et al. 2016, abstract; source); slices 4 h (Liu, Wang & Luo 2010, abstract; source). The first and
/// the last are the budgets; at 4 and 5 °C our cautious model, from memory, promises 23 h and 5.3 h less than was observed.
#[test]
fn the_raw_limits_are_those_published_or_shorter() {
    for rules in [us(), eu()] {
        for (milli, published, hours) in [(0, 96, 96.0), (4_000, 72, 48.980), (5_000, 48, 42.667)] {
            let place = kept(&rules, StorageMethod::Chill, 0, &[(0, milli), (LONG, milli)]);
            let found = life(&rules, &block(&rules), &place, 10 * DAY);
            let ends = end(&found, Clock::Raw).unwrap() as f64 / HOUR as f64;
            assert!((ends - hours).abs() < 0.001 && ends <= f64::from(published), "{milli}: {ends} h");
        }
        let ice = kept(&rules, StorageMethod::Chill, 0, &[(0, 0), (LONG, 0)]);
        let slices = subject(&rules, SpeciesGroup::Tuna, Form::Slices);
        ends_by(&life(&rules, &slices, &ice, HOUR), Clock::Raw, 4 * HOUR);
    }
}

/// Between the initial freezing point and about 2 °C below it (EFSA BIOHAZ 2021, EFSA J. 19(1):6378, abstract; source); outside the band a
/// named warning and no credit.
#[test]
fn superchill_earns_only_inside_its_band() {
    let rules = us();
    for (milli, expected, earns) in [
        (-500, vec!["not_superchilled"], false),
        (-999, vec!["not_superchilled"], false),
        (-1_000, vec![], true),
        (-3_000, vec![], true),
        (-3_001, vec!["partly_frozen", "model_doubtful"], false),
        (-5_000, vec!["partly_frozen", "outside_model"], false),
    ] {
        let found = steady(&rules, StorageMethod::Superchill, milli);
        assert_eq!(names(&found), expected, "{milli}");
        assert_eq!(found.wear.raw_micros < DAY, earns, "{milli}");
        assert_eq!(found.wear.measured_micros, DAY);
        // A chilled place of the same temperature earns nothing and has no band.
        let chilled = steady(&rules, StorageMethod::Chill, milli);
        assert_eq!(chilled.wear.raw_micros, DAY);
        assert!(!chilled.warnings.has(Warning::PartlyFrozen) && !chilled.warnings.has(Warning::NotSuperchilled));
    }
}

/// The credit is capped at one and a half times, unless the shop has validated more (cod: 1.5 at -1 °C, 1.86 at -2 °C; computed from
/// Merritt 1965, quoted by Love 1967; secondary; for tuna no more than skipjack + 3 d).
#[test]
fn the_credit_is_capped() {
    let rules = us();
    let used =
        |rules: &Rules, milli| steady(rules, StorageMethod::Superchill, milli).wear.raw_micros as f64 / DAY as f64;
    for (milli, rate) in [(-1_000, 0.886_920), (-2_000, 0.786_628), (-3_000, 0.697_676)] {
        assert!((used(&rules, milli) - rate).abs() < 1e-6, "the envelope, which lies above the cap: {milli}");
    }
    let mut square_root = us();
    square_root.rates.model = sakudana::domain::profile::RawModel::SquareRoot;
    assert!((used(&square_root, -1_500) - 0.7225).abs() < 1e-6);
    assert!((used(&square_root, -3_000) - 1.0 / 1.5).abs() < 1e-6, "0.49 by the model, capped");
    let none = with_number(us(), "superchill_cap_permille", 1_000).unwrap();
    assert!((used(&none, -2_000) - 1.0).abs() < 1e-9);
    let ground = Some("own panel of March, twelve blocks");
    let more = us().with_own(&[
        wish("superchill_cap_permille", Written::Number(1_860), ground),
        wish("raw_model", Written::Word("square_root".into()), ground),
    ]);
    let more = more.unwrap();
    assert!((used(&more, -3_000) - 1.0 / 1.86).abs() < 1e-6);
    assert!(steady(&more, StorageMethod::Superchill, -2_000).warnings.has(Warning::ValidatedByShop));
}

/// Superchill that nobody measures earns nothing.
#[test]
fn superchill_without_readings_is_ice() {
    let rules = eu();
    let place = kept(&rules, StorageMethod::Superchill, -1_500, &[]);
    let found = life(&rules, &block(&rules), &place, 2 * DAY);
    assert_eq!((found.wear.raw_micros, found.wear.assumed_micros), (2 * DAY, 2 * DAY));
    assert_eq!(names(&found), ["mostly_assumed"]);
    ends_by(&found, Clock::Raw, 4 * DAY);
    // After the last reading the band is no longer measured, but what was measured last is still said.
    let place = kept(&rules, StorageMethod::Superchill, -1_500, &[(0, 0), (DAY, 0)]);
    assert_eq!(names(&life(&rules, &block(&rules), &place, 25 * HOUR)), ["not_superchilled"]);
}

/// -3 to 15 °C is normal, -4 to -3 and 15 to 25 °C a warning, beyond that the models do not hold (memory, medium: FAO 348; Dalgaard; and
/// the square-root formula climbs again below -10 °C).
#[test]
fn the_models_warn_where_they_are_doubtful() {
    let rules = us();
    for (milli, expected) in [
        (-4_001, vec!["outside_model"]),
        (-4_000, vec!["model_doubtful"]),
        (-3_001, vec!["model_doubtful"]),
        (-3_000, vec![]),
        (15_000, vec![]),
        (15_001, vec!["model_doubtful"]),
        (25_000, vec!["model_doubtful"]),
        (25_001, vec!["outside_model"]),
    ] {
        assert_eq!(names(&steady(&rules, StorageMethod::Ambient, milli)), expected, "{milli}");
    }
    // At -20 °C the formula would be back at the rate of ice and at -30 °C at four times it: a freezer is not judged by it, and elsewhere
    // such a reading earns nothing and costs nothing.
    assert_eq!(names(&steady(&rules, StorageMethod::Frozen, -30_000)), [""; 0]);
    for milli in [-10_000, -20_000, -30_000] {
        assert_eq!(steady(&rules, StorageMethod::Chill, milli).wear.raw_micros, DAY);
        assert_eq!(
            steady(&rules, StorageMethod::Frozen, milli).wear.raw_micros,
            if milli == -10_000 { DAY } else { 0 }
        );
    }
}

/// A shop's own budget is stricter, or validated and then shown with every answer.
#[test]
fn a_budget_of_a_cut_is_stricter_or_validated() {
    let draft = |hours: Option<i64>, ground: Option<&str>| CutDraft {
        name: "Lean block".into(),
        names: std::collections::BTreeMap::new(),
        kind: "block".into(),
        form: "block".into(),
        price_per_kg_cents: 6_400,
        raw_budget_hours: hours,
        raw_budget_validated: ground.map(str::to_owned),
        item_number: 1,
        label_note: None,
    };
    let check = |hours, ground| Cut::check("lean", &draft(hours, ground)).map(|cut| cut.own_budget());
    let own = |hours, validated| Ok(OwnBudget { hours, validated });
    let ground = Some("K value by the laboratory, report 12 of 2026");
    assert_eq!(check(None, None), own(None, false));
    assert_eq!(check(Some(72), None), own(Some(72), false));
    assert_eq!(check(Some(120), ground), own(Some(120), true));
    for (hours, ground) in [
        (Some(97), None),
        (Some(0), None),
        (Some(0), ground),
        (Some(577), ground),
        (None, ground),
        (Some(120), Some("")),
    ] {
        assert!(check(hours, ground).is_err(), "{hours:?} {ground:?}");
    }
    let rules = us();
    let mut fish = block(&rules);
    fish.budgets = budgets(&rules, SpeciesGroup::Tuna, Form::Block, OwnBudget { hours: Some(120), validated: true });
    fish.raw_budget_validated = true;
    let ice = kept(&rules, StorageMethod::Chill, 0, &[(0, 0), (LONG, 0)]);
    let found = life(&rules, &fish, &ice, HOUR);
    ends_by(&found, Clock::Raw, 120 * HOUR);
    assert_eq!(names(&found), ["validated_by_shop"]);
}

/// The raw clock can be switched off by a shop with its ground; the others go on, and the answer says so.
#[test]
fn a_clock_that_is_off_is_silent() {
    let off = ["raw_clock", "exposure_clock", "frozen_clock", "colour_clock"]
        .map(|name| wish(name, Written::Word("off".into()), Some("plan of the shop, section 7")));
    let rules = us().with_own(&off).unwrap();
    let mut fish = block(&rules);
    fish.supplier_until = Some(at(DAY));
    let warm = kept(&rules, StorageMethod::Ambient, 25_000, &[]);
    let found = life(&rules, &fish, &warm, HOUR);
    assert_eq!(found.clocks.iter().map(|answer| answer.clock).collect::<Vec<_>>(), [Clock::Supplier]);
    assert_eq!((found.ends_at, found.limiting), (Some(at(DAY)), Some(Clock::Supplier)));
    assert!(found.warnings.has(Warning::ValidatedByShop));
    assert_eq!(answer(&found, Clock::Supplier).used_permille, 42);
}
