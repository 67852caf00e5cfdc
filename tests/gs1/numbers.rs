//! Check digits, dates, times and implied decimals.

use sakudana::domain::gs1::check::{check_digit, fits};
use sakudana::domain::gs1::dates::{self, DayZero};
use sakudana::domain::gs1::fault::What;
use sakudana::domain::gs1::message::Message;
use sakudana::domain::gs1::numbers::Decimal;
use sakudana::domain::gs1::values;

#[test]
fn published_check_digits() {
    let rows = [
        ("CD1", "629104150021", 3),      // GS1, "How to calculate a check digit manually"
        ("CD2", "890400021003", 7),      // GS1 India, check-digit page
        ("CD3", "501234567890", 0),      // GS1 UK, check-digit sheet
        ("CD4", "37610425002123456", 9), // BIIP, "example from reference"
        ("CD5", "950110153100", 0),      // BIIP docstring
        ("CD6", "9501234", 6),           // BIIP docstring
        ("CD7", "703801005447", 1),      // BIIP tests
        ("CD7", "978820551237", 5),      // BIIP tests
        ("CD7", "708000382434", 9),      // BIIP tests
        ("CD10", "2401234567890", 5),    // ENG scandata.c
        ("CD10", "211223378965", 7),     // ENG scandata.c
        ("CD10", "41600033610", 8),      // ENG scandata.c
        ("CD10", "0234568", 0),          // ENG scandata.c
        ("CD11", "0952012345678", 8),    // ENG dl.c
        ("CD12", "0952123454321", 3),    // BWIPP documentation, "GS1 Digital Link URIs"
        ("CD13", "9952012345678", 1),    // computed: indicator 9 on CD11; ENG accepts it and no other digit
    ];
    for (id, digits, expected) in rows {
        assert_eq!(check_digit(digits), Some(expected), "{id} {digits}");
        assert!(fits(&format!("{digits}{expected}")), "{id}");
        assert!(!fits(&format!("{digits}{}", (expected + 1) % 10)), "{id}");
    }
    // CD8: DICT lint_csum.
    for number in ["02345673", "416000336108", "1234567890128", "12345678901231", "123456789012345675"] {
        assert!(fits(number), "CD8 {number}");
    }
    // CD9: DICT lint_csum. Not a wrong digit, but no number at all.
    assert_eq!(["", "12a4", "１２"].map(check_digit), [None; 3]);
    assert!(!fits("") && !fits("1x") && !fits("x1"));
}

fn refused(format: &str, value: &str) -> Option<What> {
    values::check(format, value).err().map(|fault| fault.what)
}

/// D1 to D6, D12: DICT lint_yymmd0 and lint_yymmdd; BIIP tests.
#[test]
fn days() {
    let both = "000606 250606 500606 750606 990606 200131 000229 040229 200229 240229 960229 210228 220228 230228 \
                200331 200430 200531 200630 200731 200831 200930 201031 201130 201231";
    for day in both.split_whitespace() {
        assert_eq!(dates::check_day(day, DayZero::LastOfMonth), Ok(()), "D5 {day}");
        assert_eq!(dates::check_day(day, DayZero::Refused), Ok(()), "D5 {day}");
    }
    let neither = "210229 220229 230229 240230 000230 040230 960230 200132 200230 200332 200431 200532 200631 200732 200832 \
                   200931 201032 201131 201232 200010 201310 209910 x00131 2001x1 11111 1111111";
    for day in neither.split_whitespace().chain([""]) {
        assert!(dates::check_day(day, DayZero::LastOfMonth).is_err(), "D6 {day}");
        assert!(dates::check_day(day, DayZero::Refused).is_err(), "D6 {day}");
    }
    assert_eq!(dates::check_day("200600", DayZero::LastOfMonth), Ok(()), "D1");
    assert_eq!(dates::check_day("200600", DayZero::Refused).map_err(|f| f.what), Err(What::Day), "D3");
    assert_eq!(refused("N6,yymmd0", "990229"), Some(What::Day), "D12 15990229");
    assert_eq!(refused("N6,yymmd0", "120230"), Some(What::Day), "D12 11120230");
}

/// D2: BIIP tests; GENSPECS, "130200 is 2013 February 28, 160200 is 2016 February 29". D8: GENSPECS 7.12 as BIIP `_get_century` has it; the
/// rows with the clock in other years are computed from the rule.
#[test]
fn two_digits_of_a_year_and_day_zero() {
    let rows = [
        ("200200", 2026, "2020-02-29"),
        ("210200", 2026, "2021-02-28"),
        ("211200", 2026, "2021-12-31"),
        ("130200", 2018, "2013-02-28"),
        ("160200", 2018, "2016-02-29"),
        ("261127", 2026, "2026-11-27"),
        ("000101", 2026, "2000-01-01"),
        ("760101", 2026, "2076-01-01"), // 50 ahead
        ("770101", 2026, "1977-01-01"), // 49 back
        ("990101", 2050, "2099-01-01"),
        ("000101", 2050, "2100-01-01"),
        ("490101", 2099, "2149-01-01"),
        ("500101", 2099, "2050-01-01"),
    ];
    for (digits, year, expected) in rows {
        assert_eq!(dates::day(digits, year).unwrap().to_string(), expected, "D2/D8 {digits} in {year}");
    }
    // 29 February 2000 is a day, 29 February 2100 is none.
    assert!(dates::day("000229", 2026).is_ok() && dates::day("000229", 2060).is_err());
    for year in 1970..2200 {
        for two in 0..100 {
            let full = dates::full_year(two, year);
            assert!(full.rem_euclid(100) == two && (-49..=50).contains(&(full - year)), "{two} in {year}: {full}");
        }
    }
}

/// D7: DICT lint_hhmi. D10, D11: ENG verdicts and ai.c.
#[test]
fn times() {
    for time in ["0000", "0059", "2300", "2359"] {
        assert_eq!(dates::check_hour_and_minute(time), Ok(()), "D7 {time}");
    }
    for time in ["2400", "0060", "x000", "000x", "111", "11111", ""] {
        assert!(dates::check_hour_and_minute(time).is_err() || time.len() != 4, "D7 {time}");
        assert!(values::check("N4,hhmi", time).is_err(), "D7 {time}");
    }
    let rows = [
        ("7003", "2703151830", None),
        ("7003", "2703152400", Some(What::Time)),
        ("7003", "270315183", Some(What::ValueTooShort)),
        ("7003", "2703001830", Some(What::Day)), // D4
        ("7006", "270300", Some(What::Day)),     // D4
        ("17", "270431", Some(What::Day)),       // D9
        ("17", "270229", Some(What::Day)),       // D9
        ("8008", "27031209", None),
        ("8008", "270312091530", None),
        ("8008", "2703120960", Some(What::Time)),
        ("8008", "201225230060", Some(What::Time)),
    ];
    for (ai, value, expected) in rows {
        let found = Message::of(&[(ai, value)]).err().map(|fault| fault.what);
        assert_eq!(found, expected, "D10/D11 ({ai}){value}");
    }
}

/// N1 to N5: BIIP tests; ENG dl.c.
#[test]
fn implied_decimals() {
    let rows = [
        ("N1", "3105", "123456", "1.23456"),
        ("N1", "3103", "000195", "0.195"),
        ("N1", "3150", "123456", "123456"),
        ("N1", "3161", "123456", "12345.6"),
        ("N2", "3114", "123456", "12.3456"),
        ("N2", "3123", "123456", "123.456"),
        ("N2", "3132", "123456", "1234.56"),
        ("N2", "3372", "123456", "1234.56"),
        ("N3", "3921", "123", "12.3"),
        ("N3", "3921", "123456", "12345.6"),
        ("N3", "3923", "123456789012345", "123456789012.345"),
        ("N3", "3929", "123456789012345", "123456.789012345"),
        ("N4", "3922", "0299", "2.99"),
        ("N5", "3932", "7101230", "12.30"),
        ("N5", "3931", "7101230", "123.0"),
        ("N5", "3930", "97812301", "12301"),
    ];
    for (id, ai, value, expected) in rows {
        let message = Message::of(&[(ai, value)]).unwrap();
        assert_eq!(Decimal::of(&message.elements()[0]).unwrap().to_string(), expected, "{id}");
    }
    let of = |ai, value| Decimal::of(&Message::of(&[(ai, value)]).unwrap().elements()[0]);
    assert_eq!(of("17", "270315"), None, "a date has no decimals");
    let number = |digits, scale| Decimal { digits, scale };
    assert_eq!(number(268, 3).in_parts(3), Some(268));
    assert_eq!(number(1_997, 2).in_parts(2), Some(1_997));
    assert_eq!(number(12, 0).in_parts(2), Some(1_200));
    assert_eq!((number(12_340, 3).in_parts(2), number(12_345, 3).in_parts(2)), (Some(1_234), None));
    assert_eq!(number(999_999_999_999_999, 0).in_parts(9), None, "too large to say");
}
