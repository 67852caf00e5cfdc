//! The table of identifiers: what of it can be counted or computed another way.

use sakudana::domain::gs1::codes::{is_country, is_currency};
use sakudana::domain::gs1::table::{ROWS, Row, find, length_of};
use sakudana::domain::gs1::values::{self, fixed_length};

/// The identifiers of a row.
fn identifiers(row: &Row) -> Vec<String> {
    let number = |text: &str| text.parse::<u32>().unwrap();
    (number(row.first)..=number(row.last)).map(|n| format!("{n:0width$}", width = row.first.len())).collect()
}

#[test]
fn every_row_is_found_by_each_of_its_identifiers_and_by_no_other() {
    let all: Vec<String> = ROWS.iter().flat_map(identifiers).collect();
    assert_eq!((ROWS.len(), all.len()), (206, 541), "DICT: 206 rows in 224 entries");
    for row in ROWS {
        for ai in identifiers(row) {
            assert_eq!(find(&ai), Some(row), "{ai}");
        }
    }
    for number in 0..10_000 {
        for ai in [format!("{number:02}"), format!("{number:03}"), format!("{number:04}")] {
            assert_eq!(find(&ai).is_some(), all.contains(&ai), "{ai}");
        }
    }
    for ai in ["", "0", "1", "3", "01 ", "0x", "31０3", "99999"] {
        assert_eq!(find(ai), None, "{ai:?}");
    }
    // A3, DICT: 3106 to 3109 and 3206 to 3209 do not exist.
    assert!((6..10).all(|n| find(&format!("310{n}")).is_none() && find(&format!("320{n}")).is_none()));
}

/// A2, ENG `test_ai_checkAIlengthByPrefix`.
#[test]
fn the_first_two_digits_tell_the_length() {
    let two = "00 01 02 03 10 11 12 13 15 16 17 20 21 22 30 37 90 91 92 93 94 95 96 97 98 99";
    let three = "23 24 25 40 41 42 71";
    let four = "31 32 33 34 35 36 39 43 70 72 80 81 82";
    for number in 0..100 {
        let prefix = format!("{number:02}");
        let said = |list: &str| list.split(' ').any(|one| one == prefix);
        let expected = [(two, 2), (three, 3), (four, 4)].into_iter().find(|(list, _)| said(list)).map(|(_, n)| n);
        assert_eq!(length_of(&prefix), expected, "{prefix}");
    }
}

/// A1, GENSPECS figure 7.8.4-2 as DLT quotes it: total length of identifier and value; every other one needs a separator.
#[test]
fn what_needs_no_separator_is_of_predefined_length() {
    let predefined = |ai: &str| match ai.get(..2).unwrap() {
        "00" => Some(20),
        "01" | "02" | "03" => Some(16),
        "04" => Some(18),
        "11" | "12" | "13" | "14" | "15" | "16" | "17" | "18" => Some(8),
        "19" | "20" => Some(4),
        "31" | "32" | "33" | "34" | "35" | "36" => Some(10),
        "41" => Some(16),
        _ => None,
    };
    for row in ROWS {
        assert_eq!(row.separated, predefined(row.first).is_none(), "{}", row.first);
        if let Some(total) = predefined(row.first) {
            assert_eq!(fixed_length(row.format).map(|length| length + row.first.len()), Some(total), "{}", row.first);
        }
    }
}

/// Every word of every row is one that the rules read: a slip of the pen in the table would pass for "nothing needed".
#[test]
fn every_row_can_be_read() {
    let checks = "csum gcppos1 gcppos2 yymmd0 yymmdd yyyymmdd hhmi hh mi ss iso3166 iso3166999 iso3166alpha2 iso4217 pcenc yesno zero \
                  nonzero nozeroprefix hasnondigit hyphen winding iso5218 pieceoftotal posinseqslash latitude longitude mediatype \
                  importeridx iban csumalpha couponcode couponposoffer packagetype";
    for row in ROWS {
        for component in row.format.split(' ') {
            let (shape, words) = component.split_once(',').unwrap_or((component, ""));
            let bare = shape.trim_start_matches('[').trim_end_matches(']');
            let length = bare[1..].trim_start_matches("..");
            assert!(
                "NXYZ".contains(&bare[..1]) && (1..=90).contains(&length.parse().unwrap()),
                "{}: {shape}",
                row.first
            );
            let known = |word: &str| checks.split_whitespace().any(|known| known == word);
            assert!(words.split(',').filter(|word| !word.is_empty()).all(known), "{}: {words}", row.first);
        }
        let patterns = row.needs.split([',', '+']).chain(row.excludes.split(','));
        for pattern in patterns.chain(row.key.unwrap_or("").split([',', '|'])).filter(|pattern| !pattern.is_empty()) {
            assert!(find(&pattern.replace('n', "0")).is_some(), "{}: {pattern}", row.first);
        }
    }
}

/// A4, A5, DICT lint_cset82.
#[test]
fn character_set_82() {
    let set: Vec<u8> = (0..=255).filter(|b| values::is_of_set_82(*b)).collect();
    assert_eq!(set.len(), 82);
    let written = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
    assert_eq!(String::from_utf8(set).unwrap(), written);
    for outside in [" ", "#", "$", "@", "[", "\\", "]", "^", "`", "{", "|", "}", "~", "\u{7f}", "é", "魚", "\u{0}"] {
        assert!(values::check("X..20", &format!("A{outside}")).is_err(), "{outside:?}");
    }
}

/// Appendix B, DICT lint_iso3166 and lint_iso4217: how many, and some of each.
#[test]
fn countries_and_currencies() {
    let count = |is: fn(&str) -> bool| (0..1_000).filter(|n| is(&format!("{n:03}"))).count();
    assert_eq!((count(is_country), count(is_currency)), (249, 179));
    for (country, currency) in
        [("840", "840"), ("392", "392"), ("004", "008"), ("894", "999"), ("578", "978"), ("724", "710")]
    {
        assert!(is_country(country) && is_currency(currency), "{country} {currency}");
    }
    for nothing in ["999", "000", "987", "84", "0840", "8 0", ""] {
        assert!(!is_country(nothing), "{nothing}");
    }
    assert!(!is_currency("000") && !is_currency("998"));
}

/// A6 is from memory: which words of (7010) mean what is not checked, as in DICT. A7, A8 say what stands in (7005) and that day 00 stays
/// allowed for food: nothing refuses them.
#[test]
fn catch_facts_of_a_supplier_pass() {
    for (format, value) in [("X..2", "01"), ("X..12", "27.2.a"), ("X..12", "71"), ("X..3", "YFT"), ("X..10", "LHP")] {
        assert_eq!(values::check(format, value), Ok(()), "{value}");
    }
    assert_eq!(find("7005").unwrap().format, "X..12");
}
