//! The table `[labels]`: which stocks the shop prints on, how finely, and in which typefaces. The files it names are read by `cli::press`.

use super::reader::Section;
use crate::ops::press::USUAL_STOCKS;
use toml::{Table, Value};

/// What is said of labels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelSettings {
    /// Names of stocks, tried in this order.
    pub stocks: Vec<String>,
    pub dpi: u32,
    /// Font files for scripts that the built-in typeface lacks.
    pub fonts: Vec<String>,
    /// A file of the shop's own stocks.
    pub stock_file: Option<String>,
    /// Whether the largest face of the packs is below 80 cm².
    pub small_packs: bool,
}

/// Reads `[labels]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> LabelSettings {
    let mut section = Section::take(file, "labels", problems);
    let names = "must be a list of 1 to 8 names, such as [\"62x40\", \"80x50\"]";
    let files = "must be a list of at most 8 file names";
    let stocks = texts(&mut section, "stocks", names).filter(|stocks| !stocks.is_empty());
    let dpi = section.number("dpi", 203, 203..=600);
    let dpi = match u32::try_from(dpi) {
        Ok(dpi @ (203 | 300 | 600)) => dpi,
        _ => {
            section.wrong("dpi", &Value::Integer(dpi), "must be 203, 300 or 600");
            203
        }
    };
    let settings = LabelSettings {
        stocks: stocks.unwrap_or_else(|| USUAL_STOCKS.map(str::to_owned).to_vec()),
        dpi,
        fonts: texts(&mut section, "fonts", files).unwrap_or_default(),
        stock_file: section.text("stock_file", None, "must be the name of a file, or empty for none", |text| {
            Some(Some(text.to_owned()).filter(|text| !text.is_empty()))
        }),
        small_packs: section.flag("small_packs", false),
    };
    section.finish();
    settings
}

/// A list of texts; none when the key is absent.
fn texts(section: &mut Section<'_>, key: &'static str, must: &str) -> Option<Vec<String>> {
    let found = section.value(key)?;
    let text = |value: &Value| value.as_str().map(str::to_owned).filter(|text| (1..=400).contains(&text.len()));
    let list = found.as_array().filter(|list| list.len() <= 8);
    let texts = list.and_then(|list| list.iter().map(text).collect::<Option<Vec<String>>>());
    if texts.as_ref().is_none_or(|texts| texts.is_empty() && key == "stocks") {
        section.wrong(key, &found, must);
        return None;
    }
    texts
}
