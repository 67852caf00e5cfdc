//! Broken exports, each with the exact tally of its lines or the reason why the whole file is refused.

use sakudana::domain::logger::settle::settle;
use sakudana::domain::logger::tally::{Tally, storable, tally};
use sakudana::domain::logger::{Column, DateOrder, Options, Outcome};

use crate::{instant, lisbon, read};

/// The tally of a file into a place without readings, as words: only what was counted.
fn told(options: &Options, bytes: &[u8]) -> String {
    let (lines, end) = read(options, bytes);
    if let Err(refusal) = end {
        return format!("refused {}: {}", refusal.findings[0].field, refusal.findings[0].reason);
    }
    let now = instant("2026-11-26T00:00:00Z");
    let readings = storable(&lines, now);
    let tally = tally(&lines, now, &settle(&[], &[], &readings).fates, None);
    assert_eq!(tally.lines(), u64::try_from(lines.len()).unwrap(), "every line is counted once");
    words(&tally)
}

fn words(tally: &Tally) -> String {
    let counted = Outcome::ALL.into_iter().filter(|outcome| tally.count(*outcome) > 0);
    counted.map(|outcome| format!("{} {}", outcome.as_str(), tally.count(outcome))).collect::<Vec<_>>().join(", ")
}

const GOOD: &str = "2026-11-25 08:00,1.0\n";
const TWO: &str = "time,temp\n2026-11-25 08:00,1.0\n2026-11-25 08:15,1.5\n";

fn after_two(line: &str) -> Vec<u8> {
    format!("{TWO}{line}\n2026-11-25 08:30,2.0\n").into_bytes()
}

/// One line between good ones, and what becomes of it.
const LINES: &[(&str, &str)] = &[
    ("2026-11-25 08:20,", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,---", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,ERR", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,NaN", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,85.000", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,-127.00", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,1e99", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,99999999999999999999999999999999", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,-273.15", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,185 °F", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,60.001", "accepted 3, sensor_fault 1"),
    ("2026-11-25 08:20,60", "accepted 4"),
    ("2026-11-25 08:20,warm", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20,1.2.3", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20,1,2", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20,\"1,2\"", "accepted 4"),
    ("2026-11-25 08:20,\"1,2", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20;1.2", "accepted 3, unreadable 1"),
    (",1.2", "accepted 3, unreadable 1"),
    ("08:20,1.2", "accepted 3, unreadable 1"),
    ("2026-11-25,1.2", "accepted 3, unreadable 1"),
    ("2026-02-30 08:20,1.2", "accepted 3, unreadable 1"),
    ("2026-11-25 25:00,1.2", "accepted 3, unreadable 1"),
    ("25/11/2026 08:20,1.2", "accepted 3, unreadable 1"),
    ("03/04/2026 08:20,1.2", "accepted 3, unreadable 1"),
    ("2026-03-29 01:30,1.2", "accepted 3, unreadable 1"),
    ("2026-10-25 01:30,1.2", "accepted 3, unreadable 1"),
    ("2026-11-26 00:02,1.2", "accepted 4"),
    ("2026-11-26 00:03,1.2", "accepted 3, in_future 1"),
    ("9999-12-31 23:59,1.2", "accepted 3, in_future 1"),
    ("4102444800,1.2", "accepted 3, in_future 1"),
    ("2025-10-22 01:00,1.2", "accepted 4"),
    ("2025-10-22 00:59,1.2", "accepted 3, too_old 1"),
    ("1970-01-01 00:00,1.2", "accepted 3, too_old 1"),
    ("1900-01-01 00:00,1.2", "accepted 3, too_old 1"),
    ("0000-01-01 00:00,1.2", "accepted 3, too_old 1"),
    ("2026-11-25 08:15,1.5", "accepted 3, repeated 1"),
    ("2026-11-25 08:15,1.500", "accepted 3, repeated 1"),
    ("2026-11-25T08:15:00Z,\"34,7 °F\"", "accepted 3, repeated 1"),
    ("2026-11-25 08:15,1.6", "accepted 3, contradicting 1"),
    ("2026-11-25 08:15,1.4", "accepted 3, contradicting 1"),
    ("2026-11-25 08:15,1.6\n2026-11-25 08:15,1.5\n2026-11-25 08:15,1.6", "accepted 3, repeated 2, contradicting 1"),
    ("", "accepted 3"),
    ("   \n;;;\n,,,", "accepted 3"),
    ("# the door stood open", "accepted 3"),
    ("Maximum,1.5", "accepted 3, unreadable 1"),
    ("time,temp", "accepted 3"),
    ("\0\0\0\0,\0", "accepted 3, unreadable 1"),
    ("'; DROP TABLE readings; --,1.0", "accepted 3, unreadable 1"),
    ("=2+5,1.0", "accepted 3, unreadable 1"),
    ("\u{202e}2026-11-25 08:20,1.0", "accepted 3, unreadable 1"),
    ("２０２６-11-25 08:20,1.0", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20,１.0", "accepted 3, unreadable 1"),
    ("2026-11-25 08:20,1.0,,,,", "accepted 4"),
    ("2026-11-25 08:20,1.0,,,5", "accepted 3, unreadable 1"),
    ("-1795593600,1.0", "accepted 3, unreadable 1"),
    ("99999999999999999999,1.0", "accepted 3, unreadable 1"),
];

#[test]
fn a_bad_line_never_loses_the_good_ones() {
    assert!(LINES.len() >= 55, "{}", LINES.len());
    for (line, expected) in LINES {
        assert_eq!(told(&Options::plain(lisbon()), &after_two(line)), *expected, "{line:?}");
    }
}

#[test]
fn bytes_that_are_no_text_spoil_their_line_only() {
    for (line, expected) in [
        (&b"\xff\xfe\xfd,\x80"[..], "accepted 3, unreadable 1"),
        (&b"2026-11-25 08:20,1.0\xb0C"[..], "accepted 4"),
        (&b"2026-11-25 08:20,\xe2\x82"[..], "accepted 3, unreadable 1"),
        (&[b'x'; 5_000][..], "accepted 3, unreadable 1"),
        (&[b'"'; 4_096][..], "accepted 3"),
        (&[b','; 4_096][..], "accepted 3"),
        (&[b';'; 4_097][..], "accepted 3, unreadable 1"),
    ] {
        let bytes = [TWO.as_bytes(), line, b"\n2026-11-25 08:30,2.0\n"].concat();
        let shown = String::from_utf8_lossy(&line[..line.len().min(20)]).into_owned();
        assert_eq!(told(&Options::plain(lisbon()), &bytes), expected, "{shown:?}");
    }
}

/// Whole files, with nothing said of them.
#[test]
fn a_file_is_refused_only_when_nothing_in_it_can_be_understood() {
    let swapped = "temp,time\n1.0,2026-11-25 08:00\n".to_owned();
    let long_preamble = "a line of text\n".repeat(300) + TWO;
    let preamble = "a line of text\n".repeat(150) + TWO;
    let binary = "\u{1}PNG\0\0\0\n\0\0\n\0".repeat(50);
    let utf_16: String = TWO.chars().flat_map(|c| [c, '\0']).collect();
    let bad_first = format!("time,temp\n{}{GOOD}", "nonsense,1\n".repeat(500));
    let slashed = "time,temp\n".to_owned() + &"03/04/2026 08:00,1.0\n".repeat(500);
    let slashed_at_first = "time,temp\n03/04/2026 08:00,1.0\n".to_owned() + GOOD;
    let joined = TWO.to_owned() + "\"Temp, °F\";Date;Time\n34,7;25.11.2026;09:00\n";
    let late_header = GOOD.to_owned() + TWO;
    for (name, text, expected) in [
        ("nothing", "", "refused : the file is empty"),
        ("blanks", "\n\n   \n", "refused : the file is empty"),
        ("a header alone", "time,temp\n", ""),
        ("no line end", "time,temp\n2026-11-25 08:00,1.0", "accepted 1"),
        ("the columns the other way round", &swapped, "accepted 1"),
        ("no temperature", "time,humidity\n2026-11-25 08:00,80%\n", "refused : no line names"),
        ("no time", "sensor,temp\na,1.0\n", "refused : no line names"),
        ("days since somewhen", "day,time,celsius\n-20,00:00,0.5\n-20,00:15,0.4\n", "unreadable 2"),
        ("text", "Dear sir, the case was cold all day.\n", "refused : no line names"),
        ("a page", "<!DOCTYPE html><html><body>time, temp</body></html>", "refused : no line names"),
        ("json", "{\"readings\": [{\"at\": \"2026-11-25T08:00:00Z\", \"celsius\": 1}]}", "refused : no line names"),
        ("binary", &binary, "refused : the file is binary"),
        ("utf-16", &utf_16, "refused : the file is binary"),
        ("one line without an end", &"x".repeat(100_000), "refused : no line names"),
        ("a preamble without an end", &long_preamble, "refused : no line names"),
        ("a long preamble", &preamble, "accepted 2"),
        ("bad lines first", &bad_first, "accepted 1, unreadable 500"),
        ("two probes", "time,temp 1,temp 2\n2026-11-25 08:00,1.0,2.0\n", "refused column: several columns"),
        (
            "decimal commas that are not quoted",
            "2026-11-25 08:00,1,5\n2026-11-25 08:15,2\n",
            "refused column: whole numbers",
        ),
        ("whole numbers", "2026-11-25 08:00,1\n2026-11-25 08:15,2\n", "accepted 2"),
        (
            "whole numbers with a humidity",
            "2026-11-25 08:00,1,80\n2026-11-25 08:15,2,81\n",
            "refused column: whole numbers",
        ),
        ("one of them with a point", "2026-11-25 08:00,1.5,80\n2026-11-25 08:15,2,81\n", "accepted 2"),
        ("day or month first", &slashed, "refused date_order: every date may have"),
        ("day or month first in one line", &slashed_at_first, "accepted 1, unreadable 1"),
        ("two exports in one", &joined, "accepted 3"),
        ("a reading before the header", &late_header, "accepted 2, unreadable 1"),
        ("a separator is announced", "sep=;\ntime;temp\n2026-11-25 08:00;1,0\n", "accepted 1"),
        (
            "only temperatures that are none",
            "time,temp\n2026-11-25 08:00,ERR\n2026-11-25 08:15,ERR\n",
            "sensor_fault 2",
        ),
    ] {
        let found = told(&Options::plain(lisbon()), text.as_bytes());
        let fits = if expected.starts_with("refused") { found.starts_with(expected) } else { found == expected };
        assert!(fits, "{name}: {found}");
    }
}

#[test]
fn what_the_caller_says_is_held_against_the_file() {
    let options = |column: Option<Column>, date_order| Options { column, date_order, ..Options::plain(lisbon()) };
    let named = |name: &str| Some(Column::Name(name.to_owned()));
    let number = |number| Some(Column::Number(number));
    let slashed = "time,temp\n13/04/2026 08:00,1.0\n04/13/2026 08:00,1.0\n";
    let probes = "time,Probe A,Probe B\n2026-11-25 08:00,1.0,ERR\n";
    for (name, options, text, expected) in [
        ("a name", options(named("probe a"), None), probes, "accepted 1"),
        ("another", options(named("Probe B"), None), probes, "sensor_fault 1"),
        ("no such name", options(named("Probe C"), None), probes, "refused column: no column is called \"Probe C\""),
        ("a number", options(number(2), None), probes, "accepted 1"),
        ("the time", options(number(1), None), probes, "unreadable 1"),
        ("no such number", options(number(9), None), probes, "refused column: no line has a time and a column 9"),
        ("a number without a header", options(number(3), None), "2026-11-25 08:00,1,2\n", "accepted 1"),
        ("day first", options(None, Some(DateOrder::DayFirst)), slashed, "accepted 1, unreadable 1"),
        ("month first", options(None, Some(DateOrder::MonthFirst)), slashed, "accepted 1, unreadable 1"),
    ] {
        assert!(told(&options, text.as_bytes()).starts_with(expected), "{name}: {}", told(&options, text.as_bytes()));
    }
}

/// Loggers that contradict themselves: the warmest counts, whatever the order.
#[test]
fn the_list_of_lines_ends_and_the_counts_do_not() {
    let text = "time,temp\n".to_owned() + &"nonsense,1.0\n".repeat(1_000) + GOOD;
    let (lines, _) = read(&Options::plain(lisbon()), text.as_bytes());
    let tally = tally(&lines, instant("2026-11-26T00:00:00Z"), &[], None);
    assert_eq!((tally.lines(), tally.listed.len(), tally.unlisted()), (1_001, 200, 800));
    let listed: Vec<u64> = tally.listed.iter().map(|listed| listed.line).collect();
    assert_eq!((listed[0], listed[199]), (2, 201));
}
