//! A label before it is printed: how large it is, which rules it keeps and by how much, and what its code says part by part.

use super::forms::title;
use super::{Wanted, drawn};
use crate::domain::gs1::message::Element;
use crate::domain::gs1::numbers::Decimal;
use crate::domain::gs1::restricted::is_restricted;
use crate::domain::gs1::{dates, link};
use crate::domain::label_fields::{Field, Presence};
use crate::domain::shop::Shop;
use crate::labels::facts::FieldCheck;
use crate::labels::stock::Dpi;
use crate::ops::failure::Failure;
use crate::ops::press::Press;
use crate::store::Reading;
use crate::units::instant::Instant;
use crate::units::zone::write_day;
use chrono::Datelike;

/// Everything the preview of a label shows; the pictures themselves are at the addresses of its forms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    pub tray_code: String,
    /// What it is a label of, in words.
    pub title: String,
    /// The stock it was laid out on.
    pub stock: String,
    pub dpi: u32,
    pub width_dots: i32,
    pub height_dots: i32,
    pub width_um: u32,
    pub height_um: u32,
    pub checks: Vec<Check>,
    pub qr_text: String,
    /// The text of the code, part by part.
    pub qr_parts: Vec<Part>,
    /// Side of a module of the code.
    pub module_um: u32,
}

/// What a label may be looked at on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choices {
    pub stocks: Vec<String>,
    pub resolutions: Vec<u32>,
}

/// A line of the check list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    pub field: &'static str,
    pub text: String,
    pub required_by: &'static str,
    /// Height of the letter x it must have, and the one it has; 0 for what is not type.
    pub least_um: u32,
    pub set_um: u32,
    pub came_out: CameOut,
}

/// How a field came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CameOut {
    Kept,
    /// It is printed where there is something to say, and there is nothing.
    NotGiven,
    Missing,
    TooSmall,
}

impl From<&FieldCheck> for Check {
    fn from(check: &FieldCheck) -> Check {
        let came_out = match (check.text.trim().is_empty(), check.presence) {
            (true, Presence::Mandatory) => CameOut::Missing,
            (true, Presence::WhenGiven) => CameOut::NotGiven,
            (false, _) if check.set_um < check.least_um => CameOut::TooSmall,
            (false, _) => CameOut::Kept,
        };
        Check {
            field: check.field.as_str(),
            text: check.text.clone(),
            required_by: check.required_by,
            least_um: check.least_um,
            set_um: check.set_um,
            came_out,
        }
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

/// The newest label of a tray, laid out for a stock.
pub fn preview(
    reading: &mut Reading<'_>,
    shop: &Shop,
    press: &Press,
    now: Instant,
    code: &str,
    wanted: &Wanted,
) -> Result<Preview, Failure> {
    let label = drawn(reading, press, code, wanted)?;
    let (drawing, dpi) = (label.layout.drawing(), label.stock.dpi());
    let qr_text = label.says.text(Field::QrText).to_owned();
    Ok(Preview {
        tray_code: label.tray.code.to_string(),
        title: title(&label),
        stock: label.stock.name().to_owned(),
        dpi: dpi.per_inch(),
        width_dots: drawing.width,
        height_dots: drawing.height,
        width_um: dpi.um_of(drawing.width),
        height_um: dpi.um_of(drawing.height),
        checks: label.layout.checks().iter().map(Check::from).collect(),
        qr_parts: parts(shop, &qr_text, shop.zone.day_of(now).year()),
        module_um: dpi.um_of(label.layout.dots_per_module()),
        qr_text,
    })
}

/// The stocks of the shop by name, and the resolutions labels are drawn for.
pub fn choices(press: &Press) -> Choices {
    let mut stocks: Vec<String> = Vec::new();
    for stock in press.stocks().all() {
        if !stocks.iter().any(|name| name == stock.name()) {
            stocks.push(stock.name().to_owned());
        }
    }
    Choices { stocks, resolutions: Dpi::ALL.map(Dpi::per_inch).to_vec() }
}

/// The parts of an address of ours; of what is none of GS1's, nothing.
fn parts(shop: &Shop, address: &str, year: i32) -> Vec<Part> {
    let Ok(link) = link::read(address) else { return Vec::new() };
    let own = Part {
        ai: String::new(),
        value: shop.web_address.clone(),
        meaning: "This shop: where a customer's phone looks".to_owned(),
    };
    let said = link.message.elements().iter().map(|element| Part {
        ai: element.ai.clone(),
        value: element.value.clone(),
        meaning: meaning(shop, element, year),
    });
    std::iter::once(own).chain(said).collect()
}

/// What an element says on a tray; of what stands on none, its title.
fn meaning(shop: &Shop, element: &Element, year: i32) -> String {
    let number = || Decimal::of(element).map(|number| number.to_string()).unwrap_or_default();
    let day = || dates::day(&element.value, year).map(write_day).unwrap_or_default();
    match element.ai.as_str() {
        "01" if is_restricted(&element.value) => "Article, numbered by the shop for itself".to_owned(),
        "01" => "Article (GTIN)".to_owned(),
        "10" => "Lot the fish came in with".to_owned(),
        "21" => "Tray: no other has this code".to_owned(),
        "15" => format!("Best before {}", day()),
        "17" => format!("Use by {}", day()),
        ai if ai.starts_with("310") => format!("Net weight {} kg", number()),
        ai if ai.starts_with("320") => format!("Net weight {} lb", number()),
        ai if ai.starts_with("392") => format!("Price {} {}", number(), shop.currency.code),
        _ => element.row.title.to_owned(),
    }
}
