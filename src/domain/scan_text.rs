//! What a scanner or a hand sends, read to what it names: a tray with what its code claims, or a linear code. Every legal form is understood, in
//! either case, with the noise that scanners add. What it then means for a sale is `claims`' and `verdict`'s.

use super::claims::Claims;
use super::gs1::check;
use super::gs1::elements::{self, GS};
use super::gs1::fault::{Fault, What};
use super::gs1::link;
use super::gs1::message::Message;
use super::gs1::numbers::Decimal;
use super::gs1::own::Carried;
use super::gs1::rules;
use super::refusal::{Code, Refusal};
use super::shop::Shop;
use super::tray_code::TrayCode;
use crate::units::mass::Grams;
use crate::units::money::Cents;

/// Longest text that is looked at.
pub const LIMIT: usize = 400;

/// What was scanned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scanned {
    Tray {
        code: TrayCode,
        claims: Claims,
    },
    /// A cut and a price or weight: which tray that is, the stock must tell.
    Linear {
        item_number: i64,
        carried: Carried,
    },
}

fn not_a_code(reason: impl Into<String>) -> Refusal {
    Refusal::new(Code::NotACode, "text", reason)
}

fn of_fault(fault: &Fault) -> Refusal {
    match fault.what {
        What::CheckDigit | What::Verifier => Refusal::new(Code::WrongCheckDigit, "text", fault.what.says()),
        _ => not_a_code(fault.to_string()),
    }
}

/// Reads a scan. The code of another shop is refused as such, even if it carries a tray code of ours.
pub fn read(text: &str, shop: &Shop) -> Result<Scanned, Refusal> {
    if text.len() > LIMIT {
        return Err(not_a_code("longer than any code this shop reads"));
    }
    let (identifier, scan) = without_noise(text);
    if scan.is_empty() {
        return Err(not_a_code("nothing was scanned"));
    }
    let is_number = matches!(scan.len(), 8 | 12 | 13 | 14) && scan.bytes().all(|b| b.is_ascii_digit());
    match scan {
        address if address.contains("://") => of_address(address, shop),
        number if is_number => of_number(number, shop),
        bracketed if bracketed.starts_with('(') => {
            of_message(&elements::read_bracketed(bracketed).map_err(|fault| of_fault(&fault))?, shop)
        }
        data if elements::carries_elements(identifier) || may_be_elements(data) => of_elements(data, shop),
        typed => TrayCode::parse("text", typed).map(|code| Scanned::Tray { code, claims: Claims::default() }),
    }
}

/// Takes off what scanners put around a code: control characters, blanks, and the symbology identifier (ISO/IEC 15424: `]Q1`), which is told.
fn without_noise(text: &str) -> (&str, &str) {
    let trim = |text| str::trim_matches(text, |c: char| c.is_control() || c.is_whitespace() || c == '\u{feff}');
    let trimmed = trim(text);
    if !trimmed.starts_with(']') {
        return ("", trimmed);
    }
    match trimmed.split_at_checked(3) {
        Some((identifier, rest)) if identifier.bytes().skip(1).all(|b| b.is_ascii_alphanumeric()) => {
            (identifier, trim(rest))
        }
        _ => (trimmed, ""),
    }
}

/// Without a symbology identifier: an article and a tray code are longer than any code that is typed, and begin with an identifier.
fn may_be_elements(data: &str) -> bool {
    let begins = data.as_bytes().first_chunk::<2>().is_some_and(|two| two.iter().all(u8::is_ascii_digit));
    let written = ["^", "<GS>", "<gs>", "{GS}", "{gs}"].iter().any(|separator| data.starts_with(separator));
    (begins && data.len() > 16) || written
}

fn of_address(address: &str, shop: &Shop) -> Result<Scanned, Refusal> {
    let own = |authority: &str| host(authority).eq_ignore_ascii_case(host(after_scheme(&shop.web_address)));
    let authority = after_scheme(address).split(['/', '?', '#']).next().unwrap_or("");
    match link::read(address) {
        Ok(link) if own(&link.authority) => of_message(&link.message, shop),
        // Whatever is wrong with its values, the code is somebody else's.
        Err(Fault { ai, .. }) if ai.is_empty() || own(authority) => {
            link::read(address).map_err(|fault| of_fault(&fault)).and_then(|link| of_message(&link.message, shop))
        }
        _ => {
            let printed_for: String = authority.chars().take(60).collect();
            Err(Refusal::new(Code::OtherShop, "text", format!("the label was printed for {printed_for}")))
        }
    }
}

fn after_scheme(address: &str) -> &str {
    address.split_once("://").map_or(address, |(_, rest)| rest)
}

/// A host without the port that goes without saying, and without the dot that ends a full name.
fn host(authority: &str) -> &str {
    let bare = [":443", ":80"].iter().find_map(|port| authority.strip_suffix(port)).unwrap_or(authority);
    bare.strip_suffix('.').unwrap_or(bare)
}

/// A separator that a scanner writes out is taken for one: `^` and `{GS}` stand in no value. `<GS>` might; then the reading must be the only
/// one that names a tray.
fn of_elements(data: &str, shop: &Shop) -> Result<Scanned, Refusal> {
    let separator = GS.to_string();
    let plain = data.replace("{GS}", &separator).replace("{gs}", &separator).replace('^', &separator);
    let spelt = plain.replace("<GS>", &separator).replace("<gs>", &separator);
    let reading = |data: &str| {
        let message = elements::read_data(data.trim_start_matches(GS), GS).map_err(|fault| of_fault(&fault))?;
        of_message(&message, shop)
    };
    let first = reading(&spelt);
    if spelt == plain {
        return first;
    }
    match (first, reading(&plain)) {
        (Ok(first), Ok(second)) if first != second => Err(not_a_code("it can be read in two ways; scan the QR")),
        (Ok(one), _) | (Err(_), Ok(one)) => Ok(one),
        (Err(refusal), Err(_)) => Err(refusal),
    }
}

/// What a message names: our article, our tray.
fn of_message(message: &Message, shop: &Shop) -> Result<Scanned, Refusal> {
    rules::check(message).map_err(|fault| of_fault(&fault))?;
    let article = message.value("01").ok_or_else(|| not_a_code("the code names no article"))?;
    if !shop.codes.is_own(article) {
        return Err(Refusal::new(Code::OtherShop, "text", format!("the article {article} is not of this shop")));
    }
    let serial = message.value("21").ok_or_else(|| not_a_code("the code names no tray"))?;
    let claims = Claims {
        article: Some(article.to_owned()),
        lot: message.value("10").map(str::to_owned),
        net_weight: weight(message)?,
        price: price(message, shop.currency.decimals())?,
        use_by: message.value("17").map(str::to_owned),
        use_by_time: message.value("7003").map(str::to_owned),
    };
    Ok(Scanned::Tray { code: TrayCode::parse("text", serial)?, claims })
}

fn contradicts(reason: &str) -> Refusal {
    Refusal::new(Code::CodeContradicts, "text", reason)
}

fn weight(message: &Message) -> Result<Option<Grams>, Refusal> {
    // Our labels never say pounds in their code.
    if message.first_like("320n").is_some() {
        return Err(contradicts("no label of this shop says pounds in its code"));
    }
    let Some(element) = message.first_like("310n") else { return Ok(None) };
    let grams = Decimal::of(element).and_then(|number| number.in_parts(3)).and_then(|grams| Grams::new(grams).ok());
    grams.map(Some).ok_or_else(|| contradicts("no label of this shop says such a weight"))
}

fn price(message: &Message, money_decimals: u32) -> Result<Option<Cents>, Refusal> {
    if ["393n", "395n"].iter().any(|pattern| message.first_like(pattern).is_some()) {
        return Err(contradicts("no label of this shop says its price in this form"));
    }
    let Some(element) = message.first_like("392n") else { return Ok(None) };
    let cents = Decimal::of(element)
        .and_then(|number| number.in_parts(money_decimals))
        .and_then(|cents| Cents::new(cents).ok());
    cents.map(Some).ok_or_else(|| contradicts("no label of this shop says such a price"))
}

fn of_number(number: &str, shop: &Shop) -> Result<Scanned, Refusal> {
    if !check::fits(number) {
        return Err(of_fault(&Fault::new(What::CheckDigit)));
    }
    let foreign = || not_a_code("none of the numbers this shop prints for a tray");
    let linear = shop.codes.linear.as_ref().ok_or_else(foreign)?;
    match linear.read(number) {
        Ok((item_number, carried)) => Ok(Scanned::Linear { item_number, carried }),
        // Also a tray's article number, which has no verifier: item numbers of cuts have five digits.
        Err(fault) if fault.what == What::Verifier && !number.trim_start_matches('0').starts_with("2900000") => {
            Err(of_fault(&fault))
        }
        Err(_) => Err(foreign()),
    }
}

#[cfg(test)]
mod tests;
