//! Freezing against parasites: the United States (FDA Food Code 3-402.11, read in WAC 246-215-03425 and Minnesota R. 4626.0350; source)
//! and the EU (Reg. (EU) 1276/2011 amending Reg. (EC) 853/2004 Annex III s. VIII ch. III D, German text; source).

use crate::ground::{HOUR, Kept, at, eu, kept, mc, us};
use sakudana::domain::catalogue::ParasiteRule;
use sakudana::domain::parasites::{Enough, Freezing, Letter, check_exemption, is_listed, judge, judge_letter};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::{CountsFrom, Rules};
use sakudana::domain::refusal::{Code, Refusal};
use sakudana::units::instant::Instant;

/// A freezer held at a temperature from the start to so long after it.
fn freezer(rules: &Rules, milli: i64, micros: i64) -> Kept {
    kept(rules, StorageMethod::Frozen, -18_000, &[(0, milli), (micros, milli)])
}

fn judged(rules: &Rules, place: &Kept, solid_after: Option<i64>, until: i64) -> Result<Enough, Refusal> {
    let freezing = Freezing { from: at(0), to: at(until), solid_since: solid_after.map(at) };
    judge(&rules.parasites, &freezing, &|from: Instant, to: Instant, limit| place.curve.coldest_spell(from, to, limit))
}

fn rule(found: Result<Enough, Refusal>) -> Option<&'static str> {
    found.ok().map(|enough| enough.rule.name)
}

/// At or below -20 °C for 168 h; 167.9 h are not enough (computed).
#[test]
fn the_united_states_ask_for_seven_days_at_minus_20() {
    let rules = us();
    for (micros, milli, enough) in [
        (168 * HOUR, -20_000, true),
        (168 * HOUR - 1, -20_000, false),
        (1_679 * HOUR / 10, -20_000, false),
        (168 * HOUR, -19_999, false),
        (200 * HOUR, -60_000, true),
    ] {
        let found = rule(judged(&rules, &freezer(&rules, milli, micros), None, micros));
        assert_eq!(found, enough.then_some("us_168_h_at_minus_20"), "{micros} at {milli}");
    }
    let short = judged(&rules, &freezer(&rules, -20_000, 1_679 * HOUR / 10), None, 200 * HOUR).unwrap_err();
    assert_eq!(short.code, Code::InvalidValue);
    assert!(short.findings[0].reason.contains("167.9 h") && short.findings[0].reason.contains("168 h"), "{short}");
    assert_eq!(short.findings.len(), 3, "each way says what is missing");
}

/// Frozen at or below -35 °C until solid, and then held there for 15 h, or at or below -20 °C for 24 h.
#[test]
fn the_united_states_know_two_shorter_ways() {
    let rules = us();
    let cold = freezer(&rules, -35_000, 30 * HOUR);
    assert_eq!(rule(judged(&rules, &cold, Some(6 * HOUR), 21 * HOUR)), Some("us_solid_and_15_h_at_minus_35"));
    assert_eq!(rule(judged(&rules, &cold, Some(6 * HOUR), 21 * HOUR - 1)), None);
    // A logger of the air cannot see when fish is solid.
    assert_eq!(rule(judged(&rules, &cold, None, 30 * HOUR)), None);
    assert_eq!(rule(judged(&rules, &cold, Some(31 * HOUR), 30 * HOUR)), None);
    let rows = [(0, -35_000), (6 * HOUR, -35_000), (6 * HOUR + 1, -20_000), (40 * HOUR, -20_000)];
    let then_mild = kept(&rules, StorageMethod::Frozen, -18_000, &rows);
    assert_eq!(
        rule(judged(&rules, &then_mild, Some(6 * HOUR), 30 * HOUR)),
        Some("us_solid_at_minus_35_and_24_h_at_minus_20")
    );
    assert_eq!(rule(judged(&rules, &then_mild, Some(6 * HOUR), 30 * HOUR - 1)), None);
    // Not solid before the freezer warmed to -20 °C.
    assert_eq!(rule(judged(&rules, &then_mild, Some(7 * HOUR), 40 * HOUR)), None);
}

/// All parts at or below -20 °C for at least 24 h, or -35 °C for 15 h; 24.0 h are enough (computed).
#[test]
fn the_eu_asks_for_a_day_in_all_parts() {
    let rules = eu();
    let cold = freezer(&rules, -20_000, 100 * HOUR);
    assert_eq!(rule(judged(&rules, &cold, Some(0), 24 * HOUR)), Some("eu_24_h_at_minus_20_in_all_parts"));
    assert_eq!(rule(judged(&rules, &cold, Some(0), 24 * HOUR - 1)), None);
    assert_eq!(rule(judged(&rules, &cold, Some(10 * HOUR), 33 * HOUR)), None);
    assert_eq!(rule(judged(&rules, &cold, None, 100 * HOUR)), None, "air is not all parts");
    let colder = freezer(&rules, -35_000, 100 * HOUR);
    assert_eq!(rule(judged(&rules, &colder, Some(5 * HOUR), 20 * HOUR)), Some("eu_15_h_at_minus_35_in_all_parts"));
    assert_eq!(rule(judged(&rules, &colder, Some(5 * HOUR), 20 * HOUR - 1)), None);
    let enough = judged(&rules, &cold, Some(2 * HOUR), 50 * HOUR).unwrap();
    assert_eq!((enough.from, enough.to, enough.hours()), (at(2 * HOUR), at(50 * HOUR), 48));
}

/// The times at -20 °C differ sevenfold: what is enough in the EU is not in the United States.
#[test]
fn one_profile_s_freezing_does_not_serve_the_other() {
    let hold = |rules: &Rules| rules.parasites.freezing[0];
    assert_eq!(hold(&us()).hold_hours, 7 * hold(&eu()).hold_hours);
    assert_eq!((hold(&us()).hold_at, hold(&eu()).hold_at), (mc(-20_000), mc(-20_000)));
    for hours in [24, 100, 167] {
        let place = freezer(&us(), -20_000, hours * HOUR);
        assert!(judged(&eu(), &place, Some(0), hours * HOUR).is_ok());
        assert!(judged(&us(), &place, Some(0), hours * HOUR).is_err(), "{hours} h");
    }
    let names: Vec<&str> = [us(), eu()].iter().flat_map(|r| r.parasites.freezing).map(|rule| rule.name).collect();
    assert!(names.iter().all(|name| name.starts_with("us_") != name.starts_with("eu_")));
    assert!(eu().parasites.freezing.iter().all(|rule| rule.counts_from == CountsFrom::AllParts));
}

/// Only what was measured in one stretch counts.
#[test]
fn gaps_and_warm_hours_begin_the_count_anew() {
    let rules = us();
    let door =
        [(0, -20_000), (100 * HOUR, -20_000), (100 * HOUR + 1, -19_000), (101 * HOUR, -20_000), (260 * HOUR, -20_000)];
    let place = kept(&rules, StorageMethod::Frozen, -18_000, &door);
    assert!(judged(&rules, &place, None, 260 * HOUR).is_err(), "159 h after the door");
    assert!(
        judged(&rules, &freezer(&rules, -20_000, 100 * HOUR), None, 300 * HOUR).is_err(),
        "nothing measured after 100 h"
    );
    let unmeasured = kept(&rules, StorageMethod::Frozen, -50_000, &[]);
    let short = judged(&rules, &unmeasured, None, 300 * HOUR).unwrap_err();
    assert!(short.findings[0].reason.contains("measured 0.0 h"), "{short}");
    assert!(judged(&rules, &freezer(&rules, -20_000, 200 * HOUR), None, -HOUR).is_err(), "an end before the beginning");
}

/// Exempt tunas: *Thunnus alalunga, albacares, atlanticus, maccoyii, obesus, thynnus*; not on the printed list are Pacific bluefin, longtail
/// tuna and skipjack. FAO codes from memory (high). The EU has no list in the part read.
#[test]
fn the_united_states_exempt_six_tunas_by_name() {
    let listed = [
        ("ALB", "Thunnus alalunga"),
        ("YFT", "Thunnus albacares"),
        ("BLF", "Thunnus atlanticus"),
        ("SBF", "Thunnus maccoyii"),
        ("BET", "Thunnus obesus"),
        ("BFT", "Thunnus thynnus"),
    ];
    assert_eq!(us().parasites.exempt.len(), listed.len());
    for (code, name) in listed {
        assert!(is_listed(&us().parasites, code, name) && !is_listed(&eu().parasites, code, name), "{name}");
        assert!(is_listed(&us().parasites, code, &format!(" {}  ", name.to_lowercase())));
    }
    for (code, name) in [
        ("PBF", "Thunnus orientalis"),
        ("LOT", "Thunnus tonggol"),
        ("SKJ", "Katsuwonus pelamis"),
        ("SAL", "Salmo salar"),
        // A code and a name that are not of one fish.
        ("YFT", "Thunnus orientalis"),
        ("PBF", "Thunnus thynnus"),
        ("", ""),
    ] {
        assert!(!is_listed(&us().parasites, code, name), "{code} {name}");
    }
}

/// Other exemptions rest on a ground the shop names: fish farmed on pellets (United States), authority approval or feed free of parasites
/// (EU).
#[test]
fn what_the_profile_does_not_exempt_needs_a_ground() {
    let check = |rules: &Rules, code: &str, name: &str, note: Option<&str>| {
        check_exemption(&rules.parasites, code, name, ParasiteRule::Exempt, note)
    };
    assert_eq!(check(&us(), "YFT", "Thunnus albacares", None), Ok(None));
    let refused = check(&eu(), "YFT", "Thunnus albacares", None).unwrap_err();
    assert_eq!((refused.code, refused.findings[0].field.as_str()), (Code::InvalidValue, "parasite_note"));
    assert!(refused.findings[0].reason.contains("approval"));
    assert!(check(&us(), "SAL", "Salmo salar", None).unwrap_err().findings[0].reason.contains("pellets"));
    let ground = "Farmed on pellets; declaration of the farm of 3 May 2026";
    assert_eq!(check(&us(), "SAL", "Salmo salar", Some(ground)), Ok(Some(ground.to_owned())));
    assert_eq!(check(&eu(), "SAL", "Salmo salar", Some(ground)), Ok(Some(ground.to_owned())));
    assert!(check(&eu(), "SAL", "Salmo salar", Some("")).is_err());
    let due = |note| check_exemption(&eu().parasites, "BON", "Sarda sarda", ParasiteRule::FreezeBeforeRaw, note);
    assert_eq!(due(None), Ok(None));
}

/// A letter tells species, temperature and time (FDA Food Code 3-402.12, in a CDC vessel inspection text; secondary), and is held against
/// the same ways.
#[test]
fn a_letter_is_held_against_the_same_ways() {
    let letter = |species: &str, milli, hours, solid: Option<i64>| Letter {
        species: species.into(),
        temperature: mc(milli),
        hours,
        solid_at: solid.map(mc),
    };
    let judged = |rules: &Rules, letter: &Letter| {
        judge_letter(&rules.parasites, letter, "BON", "Sarda sarda").map(|rule| rule.name)
    };
    for (rules, milli, hours, solid, expected) in [
        (us(), -20_000, 168, None, Some("us_168_h_at_minus_20")),
        (us(), -20_000, 167, None, None),
        (us(), -19_999, 1_000, None, None),
        (us(), -35_000, 15, None, Some("us_solid_and_15_h_at_minus_35")),
        (us(), -35_000, 14, None, None),
        (us(), -35_000, 15, Some(-30_000), None),
        (us(), -20_000, 24, None, None),
        (us(), -20_000, 24, Some(-35_000), Some("us_solid_at_minus_35_and_24_h_at_minus_20")),
        (us(), -20_000, 24, Some(-34_999), None),
        (eu(), -20_000, 24, None, Some("eu_24_h_at_minus_20_in_all_parts")),
        (eu(), -20_000, 23, None, None),
        (eu(), -35_000, 15, None, Some("eu_15_h_at_minus_35_in_all_parts")),
        // United Kingdom, advice for the home: -15 °C for 4 days (Food Standards Agency, quoted; secondary); enough in neither profile.
        (us(), -15_000, 96, None, None),
        (eu(), -15_000, 96, None, None),
    ] {
        let found = judged(&rules, &letter("BON", milli, hours, solid));
        assert_eq!(found.clone().ok(), expected, "{milli} {hours} {solid:?}");
        if let Err(refusal) = found {
            assert_eq!(refusal.findings[0].field, "hours");
        }
    }
    assert!(judged(&eu(), &letter("sarda  Sarda", -20_000, 24, None)).is_ok());
    for other in ["SAL", "Salmo salar", "", "bon"] {
        assert_eq!(
            judged(&eu(), &letter(other, -60_000, 900, None)).unwrap_err().findings[0].field,
            "species",
            "{other}"
        );
    }
}

/// Records are kept 90 calendar days after sale (FDA Food Code 3-402.12, in a CDC vessel inspection text; secondary); no number in the EU
/// text read.
#[test]
fn records_are_kept_for_ninety_days() {
    assert_eq!((us().parasites.record_days_after_sale, eu().parasites.record_days_after_sale), (Some(90), None));
}
