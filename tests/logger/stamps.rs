//! Times as they are written, one by one.

use sakudana::domain::logger::DateOrder;
use sakudana::domain::logger::stamp::{NoStamp, Stamp, offset, read, read_two};

use crate::instant;

fn shown(stamp: Result<Stamp, NoStamp>) -> Result<String, NoStamp> {
    stamp.map(|stamp| match stamp {
        Stamp::At(at) => at.to_string(),
        Stamp::Local(local) => local.to_string(),
    })
}

/// The first three are examples of RFC 3339, section 5.8; the others are computed by hand.
#[test]
fn times_with_offsets_are_instants() {
    for (text, expected) in [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52Z"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"),
        ("2026-11-25 08:00+0100", "2026-11-25T07:00:00Z"),
        ("2026-11-25T08:00:00,250 +1", "2026-11-25T07:00:00.25Z"),
        ("2026/11/25 08:00 UTC", "2026-11-25T08:00:00Z"),
        ("2026-11-25t08:00:00z", "2026-11-25T08:00:00Z"),
        ("25.11.2026 08:00 GMT-05:30", "2026-11-25T13:30:00Z"),
        ("1795593600", "2026-11-25T08:00:00Z"),
        ("1795593600.5", "2026-11-25T08:00:00.5Z"),
        ("1795593600250", "2026-11-25T08:00:00.25Z"),
    ] {
        assert_eq!(read(text, None), Ok(Stamp::At(instant(expected))), "{text}");
    }
}

#[test]
fn local_times_are_what_the_clock_shows() {
    let month = Some(DateOrder::MonthFirst);
    let day = Some(DateOrder::DayFirst);
    for (text, order, expected) in [
        ("2026-11-25 8:05", None, "2026-11-25 08:05:00"),
        ("2026-11-25T08:05:06.789", None, "2026-11-25 08:05:06.789"),
        ("2028-02-29 00:00", None, "2028-02-29 00:00:00"),
        ("03.04.2026 12:00", month, "2026-04-03 12:00:00"),
        ("3/4/2026 12:00:00 PM", month, "2026-03-04 12:00:00"),
        ("3/4/2026 12:00:00 AM", day, "2026-04-03 00:00:00"),
        ("03-04-26 1:05 p.m.", day, "2026-04-03 13:05:00"),
        ("4 Mar 2026 23:59:60", None, "2026-03-05 00:00:00"),
        ("2026-3-4, 7:00", None, "2026-03-04 07:00:00"),
    ] {
        assert_eq!(shown(read(text, order)).as_deref(), Ok(expected), "{text}");
    }
    assert_eq!(shown(read_two("25.11.26", "08:00", None)).as_deref(), Ok("2026-11-25 08:00:00"));
    assert_eq!(read_two("2026-11-25", "08:00+01:00", None), Ok(Stamp::At(instant("2026-11-25T07:00:00Z"))));
}

#[test]
fn what_is_ambiguous_or_no_time_is_told_why() {
    for (text, why) in [
        ("03/04/2026 08:00", NoStamp::OrderUnknown),
        // Even where it could only be one of both: the next line could be the other.
        ("25/11/2026 08:00", NoStamp::OrderUnknown),
        ("03-04-2026 08:00", NoStamp::OrderUnknown),
        ("2026-11-25", NoStamp::DateOnly),
        ("08:00", NoStamp::TimeOnly),
        ("2027-02-29 08:00", NoStamp::NoSuchTime),
        ("2026-13-01 08:00", NoStamp::NoSuchTime),
        ("2026-11-25 24:00", NoStamp::NoSuchTime),
        ("2026-11-25 13:00 PM", NoStamp::NoSuchTime),
        ("1969-12-31 23:59", NoStamp::Before1970),
        ("1970-01-01T00:00+01:00", NoStamp::Before1970),
        ("", NoStamp::NotATime),
        ("yesterday", NoStamp::NotATime),
        ("2026-11-25 08", NoStamp::NotATime),
        ("2026-11-25 08:00 CET", NoStamp::NotATime),
        ("2026-11-25 08:00:00 +25:00", NoStamp::NotATime),
        ("2026-11.25 08:00", NoStamp::NotATime),
        ("20261125", NoStamp::NotATime),
        ("12345678901", NoStamp::NotATime),
        ("46351.3333", NoStamp::NotATime),
    ] {
        assert_eq!(read(text, None), Err(why), "{text}");
    }
    assert_eq!(read_two("2026-11-25 09:00", "08:00", None), Err(NoStamp::NotATime));
}

#[test]
fn offsets_are_read_alone() {
    for (text, minutes) in
        [("Z", Some(0)), ("+01:00", Some(60)), ("UTC-0530", Some(-330)), ("GMT", Some(0)), ("", None), ("+17", None)]
    {
        assert_eq!(offset(text).map(|micros| micros / 60_000_000), minutes, "{text}");
    }
}
