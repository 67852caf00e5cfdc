//! The shop's own settings: stricter ones count, looser ones need a ground and then show.

use crate::ground::{at, block, eu, kept, life, us, wish};
use sakudana::domain::life::clocks::Clock;
use sakudana::domain::life::warnings::Warning;
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::Rules;
use sakudana::domain::profile::own::{Written, in_words, names};
use sakudana::domain::shop::Jurisdiction;

/// Each setting with a stricter value and a looser one than the profile of the United States, as the settings file writes them. Where no
/// value is plainly stricter, both are looser.
const ROWS: [(&str, Option<&str>, &str); 23] = [
    ("raw_model", None, "square_root"),
    ("raw_clock", None, "off"),
    ("colour_clock", None, "off"),
    ("exposure_clock", None, "off"),
    ("frozen_clock", None, "off"),
    ("cold_limit_mc", Some("3000"), "5001"),
    ("freezing_point_mc", None, "-1500"),
    ("superchill_depth_mc", Some("1000"), "2001"),
    ("superchill_cap_permille", Some("1000"), "1501"),
    ("exposure_safe_mc", Some("4000"), "4445"),
    ("exposure_hot_mc", Some("20000"), "21112"),
    ("exposure_minutes", Some("120"), "481"),
    ("exposure_hot_minutes", Some("0"), "241"),
    ("exposure_previously_frozen_minutes", Some("1439"), "1441"),
    ("exposure_previously_frozen_hot_minutes", Some("60"), "721"),
    ("date_mark_days", Some("1"), "none"),
    ("date_mark_counting", Some("clock_hours"), ""),
    ("date_mark_across_freezing", None, "thaw_day_free"),
    ("frozen_through_mc", Some("-18000"), "-14999"),
    ("frozen_days_at_minus_18", Some("59"), "61"),
    ("frozen_q10_permille", None, "3500"),
    ("frozen_coldest_credit_mc", Some("-30000"), "-40001"),
    ("thawed_colour_permille", Some("499"), "501"),
];

fn written(text: &str) -> Written {
    text.parse().map_or_else(|_| Written::Word(text.to_owned()), Written::Number)
}

fn value(rules: &Rules, name: &str) -> String {
    in_words(rules).find(|(known, _)| *known == name).unwrap().1
}

#[test]
fn every_setting_has_its_row() {
    assert_eq!(ROWS.map(|(name, _, _)| name).to_vec(), names().collect::<Vec<_>>());
}

#[test]
fn a_stricter_value_is_in_force_and_recorded() {
    for (name, stricter, _) in ROWS {
        let Some(stricter) = stricter else { continue };
        let rules = us().with_own(&[wish(name, written(stricter), None)]).unwrap();
        assert_eq!(value(&rules, name), stricter);
        let [own] = rules.own.as_slice() else { panic!("{name}") };
        assert_eq!((own.name, own.value.as_str(), own.profile_value.clone()), (name, stricter, value(&us(), name)));
        assert_eq!((own.validated.as_ref(), rules.validated().count()), (None, 0));
        assert_eq!(value(&us(), name), value(&Rules::of(Jurisdiction::Us), name), "the profile itself stays as it is");
    }
}

#[test]
fn a_looser_value_is_refused_without_its_ground_and_shown_with_it() {
    for (name, _, looser) in ROWS {
        if looser.is_empty() {
            continue;
        }
        let refused = us().with_own(&[wish(name, written(looser), None)]).unwrap_err();
        assert_eq!(refused.len(), 1, "{name}");
        assert!(
            refused[0].name == name
                && refused[0].must.contains("looser")
                && refused[0].must.contains(&value(&us(), name))
        );
        let ground = Some("A. Cutter, plan of May 2026, section 4");
        let rules = us().with_own(&[wish(name, written(looser), ground)]).unwrap();
        assert_eq!(value(&rules, name), looser);
        let validated: Vec<_> = rules.validated().collect();
        assert_eq!((validated.len(), validated[0].validated.as_deref()), (1, ground), "{name}");
        let ice = kept(&rules, StorageMethod::Chill, 0, &[]);
        assert!(life(&rules, &block(&rules), &ice, 0).warnings.has(Warning::ValidatedByShop), "{name}");
    }
}

/// A lower freezing point gives credit further down, a higher one further up: both need their ground. So does another Q10.
#[test]
fn a_property_of_the_fish_has_no_stricter_side() {
    for (name, values) in [("freezing_point_mc", [-1_001, -999]), ("frozen_q10_permille", [2_999, 3_001])] {
        for value in values {
            assert!(us().with_own(&[wish(name, Written::Number(value), None)]).is_err(), "{name} {value}");
            assert!(us().with_own(&[wish(name, Written::Number(value), Some("own measurement"))]).is_ok());
        }
    }
}

#[test]
fn the_profile_s_own_values_change_nothing() {
    for profile in [us(), eu()] {
        let wishes: Vec<_> = in_words(&profile).map(|(name, value)| wish(name, written(&value), None)).collect();
        assert_eq!(profile.clone().with_own(&wishes), Ok(profile.clone()));
        // A ground for what needs none is no looser setting.
        let wishes: Vec<_> =
            in_words(&profile).map(|(name, value)| wish(name, written(&value), Some("why not"))).collect();
        assert_eq!(profile.clone().with_own(&wishes), Ok(profile));
    }
}

#[test]
fn everything_wrong_is_said_at_once() {
    let wishes = [
        wish("exposure_minutes", Written::Number(-1), None),
        wish("exposure_hot_minutes", Written::Word("few".into()), None),
        wish("raw_model", Written::Number(1), Some("x")),
        wish("date_mark_days", Written::Word("never".into()), Some("x")),
        wish("supplier_clock", Written::Word("off".into()), Some("x")),
        wish("frozen_days_at_minus_18", Written::Number(61), Some("  ")),
        wish("thawed_colour_permille", Written::Number(501), Some("a\nb")),
        wish("cold_limit_mc", Written::Number(4_000), None),
        wish("cold_limit_mc", Written::Number(3_000), None),
        wish("exposure_safe_mc", Written::Number(4_000), None),
    ];
    let refused = us().with_own(&wishes).unwrap_err();
    let found: Vec<&str> = refused.iter().map(|r| r.name.as_str()).collect();
    let expected: Vec<&str> =
        wishes.iter().map(|w| w.name.as_str()).filter(|name| *name != "exposure_safe_mc").collect();
    assert_eq!(found, [&expected[..7], &["cold_limit_mc"]].concat());
    assert_eq!(refused[7].must, "stands twice");
}

/// Profiles hold their own dates, limits and parasite rules; neither takes any from the other.
#[test]
fn profiles_are_not_mixed() {
    let (us, eu) = (us(), eu());
    assert_eq!((us.jurisdiction, eu.jurisdiction), (Jurisdiction::Us, Jurisdiction::Eu));
    assert_eq!((us.date_mark.days, eu.date_mark.days), (Some(7), None));
    assert_eq!((us.parasites.exempt.len(), eu.parasites.exempt.len()), (6, 0));
    // 41 °F (FDA Food Code 3-501.16, read in WAC 246-215-03525; source); approaching melting ice (Reg. (EC) 853/2004, quoted; secondary)
    // read as 2 °C (common practice, no source).
    assert_eq!((us.cold_limit.get(), eu.cold_limit.get()), (5_000, 2_000));
    assert!(us.own.is_empty() && eu.own.is_empty());
}

/// A date mark of the shop's own where the profile has none is a clock like any other.
#[test]
fn a_shop_may_set_days_where_the_profile_has_none() {
    let rules = eu().with_own(&[wish("date_mark_days", Written::Number(2), None)]).unwrap();
    let mut fish = block(&rules);
    fish.date_day_one = Some(crate::ground::day("2026-11-25"));
    let ice = kept(&rules, StorageMethod::Chill, 0, &[]);
    let found = life(&rules, &fish, &ice, 0);
    assert_eq!(found.limiting, Some(Clock::DateMark));
    // From six o'clock to the end of the next day.
    assert_eq!(found.ends_at, Some(at(42 * crate::ground::HOUR - 1)));
}
