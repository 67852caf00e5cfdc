//! Restricted numbers for use inside a shop: EAN-13 or UPC-A with an item and a price or weight in it, by a layout that the shop chose
//! (GS1 General Specifications 2.1.11 to 2.1.14).

use super::check;
use super::fault::{Fault, What};

/// What the measure of a layout is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    Price,
    Weight,
}

/// A layout such as `29IIIIVPPPPPC`: a prefix of restricted numbers, I for the item, P for a price or W for a weight, V for the digit that
/// verifies it, C for the check digit. Its fields are whole runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    text: String,
    measure: Measure,
}

/// What a number of the layout says; the measure is its digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parts {
    pub item: u64,
    pub measure: u64,
}

impl Layout {
    /// Reads a layout. Twelve places begin with `2`, thirteen with `2` and one more digit.
    pub fn parse(text: &str) -> Result<Layout, Fault> {
        let wrong = || Fault::new(What::Layout);
        let digits = text.bytes().take_while(u8::is_ascii_digit).count();
        let whole = matches!((text.len(), digits), (12, 1) | (13, 2)) && text.starts_with('2');
        let fields =
            text.get(digits..).and_then(|fields| fields.strip_suffix('C')).filter(|_| whole).ok_or_else(wrong)?;
        let count = |letter: char| fields.matches(letter).count();
        let (items, verifiers, prices, weights) = (count('I'), count('V'), count('P'), count('W'));
        let known = items + verifiers + prices + weights == fields.len();
        let runs = ['I', 'P', 'W'].iter().all(|letter| is_one_run(fields, *letter));
        let measured = if prices > 0 { prices } else { weights };
        let verified = verifiers == 0 || (verifiers == 1 && matches!(measured, 4 | 5));
        if !known || !runs || !verified || items == 0 || measured == 0 || (prices > 0 && weights > 0) {
            return Err(wrong());
        }
        let measure = if prices > 0 { Measure::Price } else { Measure::Weight };
        Ok(Layout { text: text.to_owned(), measure })
    }

    pub fn as_str(&self) -> &str {
        &self.text
    }

    pub const fn measure(&self) -> Measure {
        self.measure
    }

    /// The number of an item with a measure in its digits; refused when either does not fit its places. Measure 0 gives the number that
    /// price tables are kept under.
    pub fn build(&self, item: u64, measure: u64) -> Result<String, Fault> {
        let field = |letter: char, value: u64| {
            let width = self.text.matches(letter).count();
            let digits = format!("{value:0width$}");
            if digits.len() > width { Err(Fault::new(What::DoesNotFit)) } else { Ok(digits) }
        };
        let measure = field(self.letter(), measure)?;
        let item = field('I', item)?;
        let verifier = check::verifier(&measure).map_or(String::new(), |digit| digit.to_string());
        let (mut items, mut measures) = (item.chars(), measure.chars());
        let mut body = String::with_capacity(13);
        for place in self.text.chars() {
            match place {
                'I' => body.extend(items.next()),
                'V' => body.push_str(&verifier),
                'P' | 'W' => body.extend(measures.next()),
                'C' => {}
                digit => body.push(digit),
            }
        }
        check::with_check_digit(&body).ok_or_else(|| Fault::new(What::Layout))
    }

    /// Reads a number of this layout, with or without the zeros that scanners and files put before it.
    pub fn read(&self, number: &str) -> Result<Parts, Fault> {
        if !(8..=14).contains(&number.len()) || !number.bytes().all(|b| b.is_ascii_digit()) {
            return Err(Fault::new(What::NotNumber));
        }
        if !check::fits(number) {
            return Err(Fault::at(What::CheckDigit, number.len() - 1));
        }
        let zeros = number.len().saturating_sub(self.text.len());
        let (before, number) = number.split_at_checked(zeros).ok_or_else(|| Fault::new(What::NotNumber))?;
        let of_layout = |(place, digit): (u8, u8)| !place.is_ascii_digit() || place == digit;
        let fits = number.len() == self.text.len() && self.text.bytes().zip(number.bytes()).all(of_layout);
        if !fits || before.bytes().any(|b| b != b'0') {
            return Err(Fault::new(What::OtherLayout));
        }
        let field = |letter: char| -> String {
            self.text
                .chars()
                .zip(number.chars())
                .filter(|(place, _)| *place == letter)
                .map(|(_, digit)| digit)
                .collect()
        };
        let measure = field(self.letter());
        let verifier = field('V');
        if !verifier.is_empty() && check::verifier(&measure).map(|digit| digit.to_string()) != Some(verifier) {
            return Err(Fault::new(What::Verifier));
        }
        let value = |digits: &str| digits.parse().map_err(|_| Fault::new(What::NotADigit));
        Ok(Parts { item: value(&field('I'))?, measure: value(&measure)? })
    }

    const fn letter(&self) -> char {
        match self.measure {
            Measure::Price => 'P',
            Measure::Weight => 'W',
        }
    }
}

fn is_one_run(fields: &str, letter: char) -> bool {
    let trimmed = fields.trim_matches(|other| other != letter);
    trimmed.chars().all(|inside| inside == letter)
}

/// Whether an article number in fourteen digits is a restricted one: 02, 04 and 20 to 29 before twelve or eleven digits (GS1 General
/// Specifications 2.1.11 and 2.1.12).
pub fn is_restricted(article: &str) -> bool {
    article.len() == 14 && ["002", "004", "02"].iter().any(|prefix| article.starts_with(prefix))
}
