//! The table `[shop.codes]`: what the codes on labels are made of.

use super::reader::Section;
use crate::domain::gs1::own::{Codes, Linear};
use crate::domain::gs1::restricted::{Layout, Measure};
use toml::Value;

const PREFIX: &str = "must be 4 to 11 digits and no restricted number: not beginning with 2, 02 or 04";
const LINEAR: &str = "must be \"none\", \"price\" or \"weight\"";
const LAYOUT: &str = "must be 2 and eleven letters, or 2, a digit and eleven letters: whole runs of I for the item and P for the price, or W \
for the weight; if wanted one V, its verifier, where the run has 4 or 5; C, the check digit, last. It must fit shop.codes.linear";

/// Reads `[shop.codes]`; what is wrong with it goes to the section's problems.
pub fn read(shop: &mut Section<'_>, money_decimals: u32) -> Codes {
    let table = match shop.value("codes") {
        None => return Codes::default(),
        Some(Value::Table(table)) => table,
        Some(other) => {
            shop.wrong("codes", &other, "must be a table, [shop.codes]");
            return Codes::default();
        }
    };
    shop.inner("codes", table, |section| {
        let gs1_prefix =
            section.text("gs1_prefix", None, PREFIX, |text| is_prefix(text).then(|| Some(text.to_owned())));
        let measure = section.text("linear", None, LINEAR, |text| match text {
            "none" => Some(None),
            "price" => Some(Some(Measure::Price)),
            "weight" => Some(Some(Measure::Weight)),
            _ => None,
        });
        // Both are read whether or not they are used, so that a wrong one is told before somebody needs it.
        let fits = |layout: &Layout| measure.is_none_or(|measure| layout.measure() == measure);
        let layout = section.text("linear_layout", None, LAYOUT, |text| {
            Layout::parse(text).ok().filter(|layout| fits(layout)).map(Some)
        });
        let decimals =
            section.count("linear_decimals", if measure == Some(Measure::Weight) { 3 } else { money_decimals }, 0..=4);
        let layout = layout.or_else(|| measure.and_then(standard));
        Codes { gs1_prefix, linear: measure.and(layout).map(|layout| Linear { layout, decimals, money_decimals }) }
    })
}

/// Places for prices to 999.99 or weights to 99.999 kg, for items to 9999, and for the verifier that the price or weight should have (GS1
/// General Specifications 2.1.14.2).
fn standard(measure: Measure) -> Option<Layout> {
    let text = match measure {
        Measure::Price => "29IIIIVPPPPPC",
        Measure::Weight => "29IIIIVWWWWWC",
    };
    Layout::parse(text).ok()
}

/// Twelve digits would leave none to tell the cuts apart.
fn is_prefix(text: &str) -> bool {
    (4..=11).contains(&text.len())
        && text.bytes().all(|b| b.is_ascii_digit())
        && !["2", "02", "04"].iter().any(|restricted| text.starts_with(restricted))
}
