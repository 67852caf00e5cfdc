//! The date mark: calendar rules of the model food code of the United States, as read in state adoptions. The EU profile has none.

use crate::ground::{DAY, HOUR, answer, at, block, day, end, eu, kept, life, us, wish, with_number, zone};
use chrono::{Days, NaiveDate};
use proptest::prelude::{Strategy, prop_assert, prop_assert_eq, proptest};
use sakudana::domain::life::clocks::{Clock, reckon};
use sakudana::domain::life::date_mark::{
    Calendar, day_one_after_thaw, days_counted, discard_end, earliest, last_day, unmarked_end,
};
use sakudana::domain::place::StorageMethod;
use sakudana::domain::profile::own::Written;
use sakudana::domain::profile::{AcrossFreezing, Counting};
use sakudana::units::instant::Instant;

const A: AcrossFreezing = AcrossFreezing::ThawDayCounts;
const B: AcrossFreezing = AcrossFreezing::ThawDayFree;

fn plus(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap()
}

fn instant(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

/// 7 calendar days, the day of preparation being day 1 (FDA Food Code 3-501.17, read in Minnesota R. 4626.0400; source).
#[test]
fn the_day_of_cutting_is_day_one() {
    let rules = us();
    let mut fish = block(&rules);
    fish.date_day_one = Some(day("2026-11-25"));
    let ice = kept(&rules, StorageMethod::Chill, 0, &[]);
    let found = life(&rules, &fish, &ice, HOUR);
    assert_eq!(answer(&found, Clock::DateMark).ends_at, Some(instant("2026-12-01T23:59:59.999999Z")));
    // 7 of 168 hours of the calendar.
    assert_eq!(answer(&found, Clock::DateMark).used_permille, 42);
    // What was never cut, and what is under the profile of the EU, has no date mark.
    fish.date_day_one = None;
    assert_eq!(life(&rules, &fish, &ice, HOUR).clocks.of(Clock::DateMark), None);
    fish.date_day_one = Some(day("2026-11-25"));
    assert_eq!(life(&eu(), &fish, &ice, HOUR).clocks.of(Clock::DateMark), None);
    let five = with_number(eu(), "date_mark_days", 5).unwrap();
    let ends = answer(&life(&five, &fish, &ice, HOUR), Clock::DateMark).ends_at;
    assert_eq!(ends, Some(instant("2026-11-29T23:59:59.999999Z")));
}

/// Opened packages: the day of opening is day 1, and never past the maker's date (FDA Food Code 3-501.17, read in Minnesota R. 4626.0400
/// and Wisconsin ATCP 75; source).
#[test]
fn the_maker_s_date_is_never_passed() {
    let rules = us();
    let mut fish = block(&rules);
    fish.date_day_one = Some(day("2026-11-25"));
    let ice = kept(&rules, StorageMethod::Chill, 0, &[]);
    fish.supplier_until = Some(instant("2026-11-27T23:59:59Z"));
    let found = life(&rules, &fish, &ice, HOUR);
    assert_eq!((found.ends_at, found.limiting), (fish.supplier_until, Some(Clock::Supplier)));
    fish.supplier_until = Some(instant("2027-01-01T00:00:00Z"));
    let found = life(&rules, &fish, &ice, HOUR);
    assert_eq!(answer(&found, Clock::DateMark).ends_at, Some(instant("2026-12-01T23:59:59.999999Z")));
    // Freezing does not move it.
    fish.days_before_freezing = Some(1);
    fish.supplier_until = Some(instant("2026-11-27T23:59:59Z"));
    let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[]);
    let frozen = life(&rules, &fish, &freezer, HOUR);
    assert_eq!((frozen.ends_at, frozen.limiting), (fish.supplier_until, Some(Clock::Supplier)));
}

/// Mixed lots keep the earliest date of any part (FDA Food Code 3-501.17, same; source).
#[test]
fn a_mix_keeps_the_earliest_date() {
    let days = ["2026-11-25", "2026-11-23", "2026-11-24"].map(day);
    assert_eq!(earliest(days.map(Some)), Some(day("2026-11-23")));
    assert_eq!(earliest([None, Some(days[0])]), Some(days[0]));
    assert_eq!(earliest([None, None]), None);
}

/// Rule A: the day of freezing and the frozen time do not count, the day of thawing takes the next number, discard at the end of day 7
/// (Food Code Adoption in North Carolina: Date Marking; source); as a formula, thaw date + (6 - h) days (computed).
/// Rule B: thaw date + 7 days - days held before freezing (Minnesota R. 4626.0400, 2014 text; source). They differ by a day (computed).
#[test]
fn thawing_resumes_the_days() {
    let (day_one, thaw) = (day("2026-11-25"), day("2027-02-27"));
    for held in 0..=6 {
        let freeze = plus(day_one, held);
        assert_eq!(days_counted(day_one, freeze), i64::try_from(held).unwrap());
        let a = last_day(day_one_after_thaw(day_one, freeze, thaw, A), 7);
        let b = last_day(day_one_after_thaw(day_one, freeze, thaw, B), 7);
        assert_eq!(a, plus(thaw, 6 - held), "A, {held} days before");
        assert_eq!(b, plus(thaw, 7 - held), "B, {held} days before");
    }
    // Frozen and thawed on one day gains nothing under either rule.
    for rule in [A, B] {
        assert_eq!(day_one_after_thaw(day_one, plus(day_one, 2), plus(day_one, 2), rule), day_one);
    }
}

/// Frozen without a date mark: within 24 h of thawing (Minnesota Dairy and Food Inspection poster; source).
#[test]
fn what_was_frozen_without_a_date_has_a_day() {
    assert_eq!(unmarked_end(at(0)), at(DAY));
    let rules = us();
    let mut fish = block(&rules);
    fish.was_thawed = true;
    fish.unmarked_thaw = Some(at(0));
    let ice = kept(&rules, StorageMethod::Chill, 0, &[]);
    assert_eq!(end(&life(&rules, &fish, &ice, HOUR), Clock::DateMark), Some(DAY));
    // With a date beside it the earlier of both counts.
    fish.date_day_one = Some(day("2026-11-18"));
    assert!(end(&life(&rules, &fish, &ice, HOUR), Clock::DateMark).unwrap() < 0);
}

/// Prepared at 11 pm on 1/1: some discard on 1/7, others at 11 pm on 1/7 (Conference for Food Protection 2016, Issue I-034; source, a
/// conflict, so it is a setting; the calendar day is the default).
#[test]
fn days_end_by_the_calendar_or_by_the_hour() {
    let calendar = Calendar::new(zone("America/New_York"));
    let prepared = instant("2027-01-02T04:00:00Z");
    let ends = |counting| discard_end(day("2027-01-01"), 7, &calendar, counting, prepared);
    assert_eq!(ends(Counting::CalendarDays), instant("2027-01-08T04:59:59.999999Z"));
    assert_eq!(ends(Counting::ClockHours), instant("2027-01-08T04:00:00Z"));
    let strict = us().with_own(&[wish("date_mark_counting", Written::Word("clock_hours".into()), None)]).unwrap();
    let mut fish = block(&strict);
    (fish.since, fish.date_day_one) = (prepared, Some(day("2027-01-01")));
    let ice = kept(&strict, StorageMethod::Chill, 0, &[]);
    let found = reckon(&fish, (&ice.curve, ice.method), &strict, calendar.zone(), prepared);
    assert_eq!(answer(&found, Clock::DateMark).ends_at, Some(instant("2027-01-08T04:00:00Z")));
}

/// Leap day, zones whose last day ends without a midnight, nights of clock change (IANA tz database, release 2026f).
#[test]
fn the_calendar_is_that_of_the_zone() {
    for (name, day_one, ends) in [
        ("UTC", "2028-02-23", "2028-02-29T23:59:59.999999Z"),
        ("UTC", "2028-02-24", "2028-03-01T23:59:59.999999Z"),
        ("UTC", "2027-02-23", "2027-03-01T23:59:59.999999Z"),
        // The day after the last one begins at 1 o'clock: midnight is skipped there.
        ("Africa/Cairo", "2026-04-17", "2026-04-23T21:59:59.999999Z"),
        ("America/Santiago", "2026-08-30", "2026-09-06T03:59:59.999999Z"),
        ("Asia/Beirut", "2026-03-22", "2026-03-28T21:59:59.999999Z"),
        // The last day has 23, 25, 24.5 hours.
        ("Europe/London", "2026-03-23", "2026-03-29T22:59:59.999999Z"),
        ("Europe/London", "2026-10-19", "2026-10-25T23:59:59.999999Z"),
        ("Australia/Lord_Howe", "2026-03-30", "2026-04-05T13:29:59.999999Z"),
    ] {
        let calendar = Calendar::new(zone(name));
        let end = discard_end(day(day_one), 7, &calendar, Counting::CalendarDays, at(0));
        assert_eq!(end, instant(ends), "{day_one} in {name}");
        assert_eq!(calendar.zone().day_of(end), plus(day(day_one), 6));
        assert_eq!(calendar.zone().day_of(end.plus_micros(1)), plus(day(day_one), 7));
    }
    // 02:30 does not exist on the last day of March and becomes 03:00; in October it is there twice, and the first counts.
    for (prepared, day_one, ends) in [
        ("2026-03-23T01:30:00Z", "2026-03-23", "2026-03-29T01:00:00Z"),
        ("2026-10-19T01:30:00Z", "2026-10-19", "2026-10-25T02:30:00Z"),
        ("2026-10-19T00:30:00Z", "2026-10-19", "2026-10-25T00:30:00Z"),
    ] {
        let calendar = Calendar::new(zone("Europe/Berlin"));
        let end = discard_end(day(day_one), 7, &calendar, Counting::ClockHours, instant(prepared));
        assert_eq!(end, instant(ends), "{prepared}");
    }
}

/// In a freezer the date mark stands still with the days it had counted, and one that had ended stays ended.
#[test]
fn freezing_stops_the_date_mark() {
    let rules = us();
    let mut fish = block(&rules);
    fish.date_day_one = Some(day("2026-11-25"));
    let freezer = kept(&rules, StorageMethod::Frozen, -18_000, &[]);
    for (counted, permille, ends) in [(0, 0, None), (3, 429, None), (6, 858, None), (7, 1_000, Some(-1))] {
        fish.days_before_freezing = Some(counted);
        let found = answer(&life(&rules, &fish, &freezer, 300 * DAY), Clock::DateMark);
        assert_eq!(
            (found.used_permille, found.ends_at.map(|end| end.since(at(0)))),
            (permille, ends),
            "{counted} days"
        );
    }
}

proptest! {
    /// Freezing stops a date clock and never sets it back to zero (the reference's third trap; Minnesota Dairy and Food Inspection poster;
    /// source): however often it is frozen, the days it lies chilled, with the thaw days, are never more than seven.
    #[test]
    fn no_freezing_gives_more_than_seven_chilled_days(
        chilled in proptest::collection::vec(0_u64..9, 1..6),
        frozen in proptest::collection::vec(0_u64..400, 6),
    ) {
        let mut day_one = day("2026-11-25");
        let mut today = day_one;
        let mut counted = 0;
        for (chilled, frozen) in chilled.iter().zip(&frozen) {
            // Frozen after so many days: they count, the day of freezing does not, unless it is thawed on the same day.
            let freeze = plus(today, *chilled);
            let thaw = plus(freeze, *frozen);
            counted += chilled;
            let moved = day_one_after_thaw(day_one, freeze, thaw, A);
            prop_assert!(moved >= day_one);
            day_one = moved;
            today = thaw;
            prop_assert_eq!(days_counted(day_one, today), i64::try_from(counted).unwrap());
        }
        let discard = last_day(day_one, 7);
        let left = discard.signed_duration_since(today).num_days() + 1;
        prop_assert_eq!(left, 7 - i64::try_from(counted).unwrap());
    }

    /// The remembered days are those the zone says, in any order of asking.
    #[test]
    fn a_remembering_calendar_is_the_zone(
        days in proptest::collection::vec((0_u64..20_000).prop_map(|n| plus(day("1990-01-01"), n)), 1..80),
        name in proptest::sample::select(vec!["Africa/Cairo", "Australia/Lord_Howe", "Pacific/Apia", "America/St_Johns"]),
    ) {
        let calendar = Calendar::new(zone(name));
        for day in days.iter().chain(&days) {
            prop_assert_eq!(calendar.end_of(*day), calendar.zone().end_of(*day));
            prop_assert!(calendar.last_instant_of(*day) >= calendar.start_of(*day).plus_micros(-1));
        }
    }
}
