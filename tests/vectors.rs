//! Our codes against implementations that have nothing to do with us: check characters and check digits as python-stdnum
//! computes them, and the budgets row by row. Rates have their published rows beside them, in `domain::life`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod support;

use sakudana::domain::gs1::check::check_digit;
use sakudana::domain::gs1::own::Article;
use sakudana::domain::life::budget::{Form, SpeciesGroup, budget_hours};
use sakudana::domain::tray_code::{TrayCode, mod_37_2};
use support::python::lines as python;

/// Reads one number a line and answers with its check character, a line each.
const MOD_37_2: &str = "
import sys
from stdnum.iso7064 import mod_37_2
for line in sys.stdin:
    print(mod_37_2.calc_check_digit(line.strip()))
";

/// Whether python-stdnum takes whole codes for valid ones.
const MOD_37_2_VALID: &str = "
import sys
from stdnum.iso7064 import mod_37_2
for line in sys.stdin:
    print(mod_37_2.is_valid(line.strip()))
";

const EAN: &str = "
import sys
from stdnum import ean
for line in sys.stdin:
    print(ean.calc_check_digit(line.strip()))
";

const EAN_VALID: &str = "
import sys
from stdnum import ean
for line in sys.stdin:
    print(ean.is_valid(line.strip()))
";

/// Every seven-hundredth number of the shop's life and the first thousand.
fn tray_codes() -> Vec<String> {
    let numbers = (0..1_000).chain((1_000..7_000_000).step_by(701));
    numbers.filter_map(TrayCode::from_number).map(|code| code.to_string()).collect()
}

#[test]
fn every_tray_code_is_valid_under_iso_7064_mod_37_2() {
    let codes = tray_codes();
    assert!(codes.len() > 5_000, "{} codes", codes.len());
    for (code, valid) in codes.iter().zip(python(MOD_37_2_VALID, &codes)) {
        assert_eq!(valid, "True", "{code}");
    }
}

#[test]
fn a_code_with_two_neighbours_swapped_is_valid_for_neither() {
    let swapped: Vec<String> = tray_codes()
        .into_iter()
        .take(500)
        .enumerate()
        .filter_map(|(number, code)| {
            let mut letters: Vec<char> = code.chars().collect();
            letters.swap(number % 6, number % 6 + 1);
            let swapped: String = letters.into_iter().collect();
            (swapped != code).then_some(swapped)
        })
        .collect();
    for (code, valid) in swapped.iter().zip(python(MOD_37_2_VALID, &swapped)) {
        assert_eq!(valid, "False", "{code}");
        assert!(TrayCode::parse("code", code).is_err(), "{code}");
    }
}

#[test]
fn check_characters_agree_over_the_whole_alphabet() {
    let alphabet: Vec<char> = ('0'..='9').chain('A'..='Z').collect();
    let body = |number: usize| -> String {
        (0..number % 9 + 1).map(|place| alphabet[(number * 31 + place * place * 7 + number / 36) % 36]).collect()
    };
    let bodies: Vec<String> = (0..3_000).map(body).collect();
    let theirs = python(MOD_37_2, &bodies);
    for (body, theirs) in bodies.iter().zip(&theirs) {
        assert_eq!(mod_37_2(body.as_bytes()).map(|c| char::from(c).to_string()).as_ref(), Some(theirs), "{body}");
    }
    // All 37 check characters, the asterisk among them, have been seen.
    let mut seen = theirs;
    seen.sort();
    seen.dedup();
    assert_eq!(seen.len(), 37);
}

#[test]
fn gs1_check_digits_agree() {
    let numbers: Vec<String> = [7, 11, 12, 13]
        .into_iter()
        .flat_map(|length| (0..500_u64).map(move |n| (length, n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 20)))
        .map(|(length, number)| format!("{number:020}")[20 - length..].to_owned())
        .collect();
    for (number, theirs) in numbers.iter().zip(python(EAN, &numbers)) {
        assert_eq!(check_digit(number).map(|digit| digit.to_string()), Some(theirs), "{number}");
    }
}

#[test]
fn every_article_number_is_a_valid_gtin() {
    let articles: Vec<String> =
        (1..=99_999).step_by(37).map(|item_number| Article::Restricted { item_number }.number().unwrap()).collect();
    for (article, valid) in articles.iter().zip(python(EAN_VALID, &articles)) {
        assert_eq!((article.len(), valid.as_str()), (14, "True"), "{article}");
    }
}

/// Hours at 0 °C. Tuna 96: the 4 days at 0 °C of Agustini (yellowfin, K value); slices 4: Liu, Wang & Luo 2010, Food
/// Science (China) 31(2):273-276. The other numbers are common practice, no source: a change of one should be seen.
#[test]
fn budgets_are_what_the_table_says() {
    let forms = [Form::Whole, Form::Loin, Form::Block, Form::Slices, Form::Scrape, Form::ForCooking];
    for (group, hours) in [
        (SpeciesGroup::Tuna, [96, 96, 96, 4, 48, 144]),
        (SpeciesGroup::Salmonid, [72, 72, 72, 4, 36, 108]),
        (SpeciesGroup::White, [72, 72, 72, 4, 36, 108]),
        (SpeciesGroup::Oily, [48, 48, 48, 4, 24, 72]),
    ] {
        assert_eq!(forms.map(|form| budget_hours(group, form)), hours, "{group:?}");
    }
}
