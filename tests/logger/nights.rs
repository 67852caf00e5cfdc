//! Nights of clock change, a leap day, a zone without a local midnight. Offsets and changes: IANA tz database, release 2026f.

use sakudana::domain::logger::{Options, Outcome};

use crate::{instant, read, zone};

/// Reads lines of local times with the temperature 1 °C; `None` where a line was refused.
fn instants(zone_name: &str, locals: &[&str]) -> Vec<Option<String>> {
    let text = locals.iter().fold("time,temp\n".to_owned(), |text, local| text + local + ",1.0\n");
    let (lines, end) = read(&Options::plain(zone(zone_name)), text.as_bytes());
    assert_eq!(end, Ok(()));
    assert_eq!(lines.len(), locals.len(), "a line for each");
    assert!(lines.iter().zip(2..).all(|(line, number)| line.number == number), "in order");
    lines
        .into_iter()
        .map(|line| match line.found {
            Ok(reading) => Some(reading.at.to_string()[5..16].to_owned()),
            Err(fault) => {
                assert_eq!(fault.outcome, Outcome::Unreadable);
                None
            }
        })
        .collect()
}

fn are(zone_name: &str, rows: &[(&str, Option<&str>)]) {
    let locals: Vec<&str> = rows.iter().map(|(local, _)| *local).collect();
    let expected: Vec<Option<String>> = rows.iter().map(|(_, utc)| utc.map(str::to_owned)).collect();
    assert_eq!(instants(zone_name, &locals), expected, "{zone_name} {locals:?}");
}

#[test]
fn an_hour_that_is_skipped_was_on_no_clock() {
    are(
        "Europe/Helsinki",
        &[
            ("2026-03-29 02:45", Some("03-29T00:45")),
            ("2026-03-29 03:00", None),
            ("2026-03-29 03:59", None),
            ("2026-03-29 04:00", Some("03-29T01:00")),
        ],
    );
    are(
        "America/New_York",
        &[
            ("2026-03-08 01:59", Some("03-08T06:59")),
            ("2026-03-08 02:30", None),
            ("2026-03-08 03:00", Some("03-08T07:00")),
        ],
    );
    // Half an hour.
    are(
        "Australia/Lord_Howe",
        &[
            ("2026-10-04 01:59", Some("10-03T15:29")),
            ("2026-10-04 02:15", None),
            ("2026-10-04 02:30", Some("10-03T15:30")),
        ],
    );
}

#[test]
fn an_hour_that_comes_twice_is_told_by_the_order_of_the_file() {
    are(
        "Europe/Helsinki",
        &[
            ("2026-10-25 02:30", Some("10-24T23:30")),
            ("2026-10-25 03:00", Some("10-25T00:00")),
            ("2026-10-25 03:30", Some("10-25T00:30")),
            ("2026-10-25 03:00", Some("10-25T01:00")),
            ("2026-10-25 03:30", Some("10-25T01:30")),
            ("2026-10-25 04:00", Some("10-25T02:00")),
        ],
    );
    // The newest first.
    are(
        "America/New_York",
        &[
            ("2026-11-01 02:00", Some("11-01T07:00")),
            ("2026-11-01 01:40", Some("11-01T06:40")),
            ("2026-11-01 01:20", Some("11-01T06:20")),
            ("2026-11-01 01:00", Some("11-01T06:00")),
            ("2026-11-01 01:40", Some("11-01T05:40")),
            ("2026-11-01 01:20", Some("11-01T05:20")),
            ("2026-11-01 01:00", Some("11-01T05:00")),
            ("2026-11-01 00:40", Some("11-01T04:40")),
        ],
    );
    are(
        "Australia/Lord_Howe",
        &[
            ("2026-04-05 01:15", Some("04-04T14:15")),
            ("2026-04-05 01:30", Some("04-04T14:30")),
            ("2026-04-05 01:45", Some("04-04T14:45")),
            ("2026-04-05 01:30", Some("04-04T15:00")),
            ("2026-04-05 01:45", Some("04-04T15:15")),
            ("2026-04-05 02:00", Some("04-04T15:30")),
        ],
    );
    // The file begins and ends within the night.
    are(
        "Europe/Helsinki",
        &[
            ("2026-10-25 03:40", Some("10-25T00:40")),
            ("2026-10-25 03:50", Some("10-25T00:50")),
            ("2026-10-25 03:00", Some("10-25T01:00")),
            ("2026-10-25 03:10", Some("10-25T01:10")),
        ],
    );
}

#[test]
fn a_step_as_long_as_the_change_shows_the_same_time_twice() {
    are(
        "Europe/Helsinki",
        &[
            ("2026-10-25 02:00", Some("10-24T23:00")),
            ("2026-10-25 03:00", Some("10-25T00:00")),
            ("2026-10-25 03:00", Some("10-25T01:00")),
            ("2026-10-25 04:00", Some("10-25T02:00")),
        ],
    );
    // A line that merely stands there twice is no second showing.
    are(
        "Europe/Helsinki",
        &[
            ("2026-10-25 03:00", Some("10-25T00:00")),
            ("2026-10-25 03:20", Some("10-25T00:20")),
            ("2026-10-25 03:20", Some("10-25T00:20")),
            ("2026-10-25 03:40", Some("10-25T00:40")),
            ("2026-10-25 03:00", Some("10-25T01:00")),
            ("2026-10-25 04:20", Some("10-25T02:20")),
        ],
    );
}

#[test]
fn what_the_file_does_not_show_is_not_guessed() {
    // Shown once: earlier or later?
    are(
        "Europe/Helsinki",
        &[
            ("2026-10-25 02:30", Some("10-24T23:30")),
            ("2026-10-25 03:00", None),
            ("2026-10-25 03:30", None),
            ("2026-10-25 04:00", Some("10-25T02:00")),
        ],
    );
    are("Europe/Helsinki", &[("2026-10-25 03:30", None)]);
    // Back and forth: no order at all.
    are(
        "Europe/Helsinki",
        &[
            ("2026-10-25 02:50", Some("10-24T23:50")),
            ("2026-10-25 03:30", None),
            ("2026-10-25 03:10", None),
            ("2026-10-25 03:40", None),
            ("2026-10-25 03:20", None),
            ("2026-10-25 04:00", Some("10-25T02:00")),
        ],
    );
    // With an offset nothing is ambiguous.
    are(
        "Europe/Helsinki",
        &[("2026-10-25 03:30+02:00", Some("10-25T01:30")), ("2026-10-25 03:30+03:00", Some("10-25T00:30"))],
    );
}

#[test]
fn two_nights_a_year_apart_are_two_nights() {
    are(
        "Europe/Helsinki",
        &[
            ("2025-10-26 03:30", None),
            ("2026-10-25 03:40", Some("10-25T00:40")),
            ("2026-10-25 03:00", Some("10-25T01:00")),
            ("2026-10-25 03:10", Some("10-25T01:10")),
        ],
    );
}

#[test]
fn a_leap_day_and_a_night_without_midnight() {
    are("Asia/Tokyo", &[("2028-02-29 23:59", Some("02-29T14:59")), ("2028-03-01 00:00", Some("02-29T15:00"))]);
    // The clocks go from 23:59 to 01:00.
    are(
        "America/Santiago",
        &[
            ("2026-09-05 23:59", Some("09-06T03:59")),
            ("2026-09-06 00:00", None),
            ("2026-09-06 00:30", None),
            ("2026-09-06 01:00", Some("09-06T04:00")),
        ],
    );
}

/// Every quarter of an hour of a year comes out as the instants it was made of, in both directions of the file.
#[test]
fn a_year_of_quarters_comes_back() {
    let (begin, quarter) = (instant("2026-01-01T00:00:00Z"), 15 * 60 * 1_000_000);
    for name in
        ["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Asia/Tokyo", "Africa/Cairo"]
    {
        let tz: chrono_tz::Tz = name.parse().unwrap();
        let mut instants: Vec<_> = (0..365 * 96).map(|n| begin.plus_micros(n * quarter)).collect();
        for direction in ["forwards", "backwards"] {
            let mut text = "time;temp\n".to_owned();
            for at in &instants {
                text += &format!("{};1.0\n", at.to_chrono().with_timezone(&tz).format("%Y-%m-%d %H:%M"));
            }
            let (lines, end) = read(&Options::plain(zone(name)), text.as_bytes());
            assert_eq!(end, Ok(()));
            let found: Vec<_> = lines.into_iter().map(|line| line.found.unwrap().at).collect();
            assert!(found == instants, "{name} {direction}");
            instants.reverse();
        }
    }
}
