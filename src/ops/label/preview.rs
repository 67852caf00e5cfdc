//! A label before it is printed: how large it is, which rules it keeps and by how much, and what its code says part by part.

use super::{Drawn, Wanted, drawn};
use crate::domain::label_fields::{Field, Presence};
use crate::domain::shop::Shop;
use crate::labels::stock::{Dpi, LabelStock};
use crate::ops::failure::Failure;
use crate::ops::press::Press;
use crate::store::Reading;
use crate::units::zone::write_day;
use chrono::NaiveDate;

/// Everything the preview of a label shows; the pictures themselves are at the addresses of its forms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    pub tray_code: String,
    /// What it is a label of, in words.
    pub title: String,
    pub width_dots: i32,
    pub height_dots: i32,
    pub width_um: u32,
    pub height_um: u32,
    pub dpi: u32,
    pub checks: Vec<Check>,
    pub qr_text: String,
    /// The text of the code, part by part.
    pub qr_parts: Vec<Part>,
    /// Side of a module of the code.
    pub module_um: u32,
    /// The stock it is laid out on.
    pub stock: String,
    /// What may be chosen instead.
    pub stocks: Vec<String>,
    pub resolutions: Vec<u32>,
}

/// A field of the label, who asks for it, and how it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    pub field: &'static str,
    /// Without it there is no label.
    pub mandatory: bool,
    pub text: String,
    pub required_by: &'static str,
    /// Height of the letter x it must have, and the one it has; 0 for what is not type.
    pub least_um: u32,
    pub set_um: u32,
}

impl Check {
    /// Whether it is there if it must be, and large enough.
    pub fn holds(&self) -> bool {
        let there = !self.text.trim().is_empty();
        (there || !self.mandatory) && (!there || self.set_um >= self.least_um)
    }
}

/// A part of the text of the code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// The application identifier; empty for the address itself.
    pub ai: String,
    pub value: String,
    pub meaning: String,
}

/// The label of a tray as last issued, on a stock.
pub fn preview(
    reading: &mut Reading<'_>,
    shop: &Shop,
    press: &Press,
    code: &str,
    wanted: &Wanted,
) -> Result<Preview, Failure> {
    let drawn = drawn(reading, shop, press, code, wanted)?;
    let dpi = drawn.stock.dpi();
    let qr_text = drawn.says.text(Field::QrText).to_owned();
    Ok(Preview {
        tray_code: drawn.tray.code.to_string(),
        title: drawn.title(),
        width_dots: drawn.stock.width_dots(),
        height_dots: drawn.stock.height_dots(),
        width_um: dpi.um_of(drawn.stock.width_dots()),
        height_um: dpi.um_of(drawn.stock.height_dots()),
        dpi: dpi.per_inch(),
        checks: checks(&drawn),
        qr_parts: parts(shop, &qr_text),
        module_um: dpi.um_of(drawn.layout.dots_per_module()),
        stock: drawn.stock.name().to_owned(),
        stocks: stocks(press),
        resolutions: Dpi::ALL.iter().map(|dpi| dpi.per_inch()).collect(),
        qr_text,
    })
}

fn stocks(press: &Press) -> Vec<String> {
    let mut names: Vec<String> =
        press.stocks().all().iter().map(|stock: &LabelStock| stock.name().to_owned()).collect();
    names.dedup();
    names
}

/// The check list of the layout: all that must be there, and all else that is.
fn checks(drawn: &Drawn) -> Vec<Check> {
    let told = drawn.layout.checks().iter().map(|check| Check {
        field: check.field.as_str(),
        mandatory: check.presence == Presence::Mandatory,
        text: check.text.clone(),
        required_by: check.required_by,
        least_um: check.least_um,
        set_um: check.set_um,
    });
    told.filter(|check| check.mandatory || !check.text.is_empty()).collect()
}

/// The parts of an address of ours. What it does not know it shows as it stands.
fn parts(shop: &Shop, address: &str) -> Vec<Part> {
    let (before, query) = address.split_once('?').unwrap_or((address, ""));
    let path = before.strip_prefix(shop.web_address.as_str()).unwrap_or(before);
    let mut parts = vec![Part {
        ai: String::new(),
        value: before.strip_suffix(path).unwrap_or_default().to_owned(),
        meaning: "This shop: where a customer's phone looks".to_owned(),
    }];
    let mut segments = path.split('/').skip(1);
    while let Some((ai, value)) = segments.next().zip(segments.next()) {
        parts.push(part(shop, ai, value));
    }
    let attributes = query.split('&').filter_map(|pair| pair.split_once('='));
    parts.extend(attributes.map(|(ai, value)| part(shop, ai, value)));
    parts
}

/// What an application identifier says (GS1 Barcode Syntax Dictionary, commit ff2eb4b of 2026-07-27).
fn part(shop: &Shop, ai: &str, value: &str) -> Part {
    let decimals = ai.get(3..).and_then(|digit| digit.parse::<usize>().ok()).unwrap_or(0);
    let number = with_decimals(value, decimals);
    let meaning = match ai {
        "01" if value.starts_with("02") => "Article, numbered by the shop for itself".to_owned(),
        "01" => "Article (GTIN)".to_owned(),
        "10" => "Lot the fish came in with".to_owned(),
        "21" => "Tray: no other has this code".to_owned(),
        "15" | "17" => {
            let day = NaiveDate::parse_from_str(&format!("20{value}"), "%Y%m%d").map(write_day);
            let words = if ai == "17" { "Use by" } else { "Best before" };
            day.map_or_else(|_| words.to_owned(), |day| format!("{words} {day}"))
        }
        _ if ai.starts_with("310") => format!("Net weight {number} kg"),
        _ if ai.starts_with("320") => format!("Net weight {number} lb"),
        _ if ai.starts_with("392") => format!("Price {number} {}", shop.currency.code),
        _ => String::new(),
    };
    Part { ai: ai.to_owned(), value: value.to_owned(), meaning }
}

/// Digits with a mark before the last of them, and no idle zero at the front.
fn with_decimals(digits: &str, decimals: usize) -> String {
    let (whole, rest) = digits.split_at_checked(digits.len().saturating_sub(decimals)).unwrap_or((digits, ""));
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        some => some,
    };
    if rest.is_empty() { whole.to_owned() } else { format!("{whole}.{rest}") }
}

#[cfg(test)]
mod tests {
    use super::with_decimals;

    #[test]
    fn digits_get_their_mark() {
        let read = [("000268", 3), ("1997", 2), ("05", 2), ("120", 0), ("", 2)].map(|(d, n)| with_decimals(d, n));
        assert_eq!(read, ["0.268", "19.97", "0.05", "120", "0"]);
    }
}
