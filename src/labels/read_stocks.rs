//! Reads a file of label stocks. Every problem is told, with the place it is in, so that a file is mended in one go.

use super::stock::{Dpi, HEIGHTS, LabelStock, MARGINS, Margins, Sheet, WIDTHS};
use std::collections::BTreeSet;
use std::ops::RangeInclusive;
use toml::{Table, Value};

/// How far the dots of a printer may be from what fits into the size: a dot column or two at the edge, or bytes filled up.
const DOTS_TOLERANCE_UM: u32 = 1_100;

const KEYS: [&str; 7] = ["name", "width_mm", "height_mm", "margin_mm", "dpi", "dots", "sheet"];
const SHEET_KEYS: [&str; 7] = ["paper", "columns", "rows", "left_mm", "top_mm", "pitch_x_mm", "pitch_y_mm"];
const SIDES: [&str; 4] = ["left", "top", "right", "bottom"];

/// All stocks of a file, or all that is wrong with it.
pub fn read(text: &str) -> Result<Vec<LabelStock>, Vec<String>> {
    let file: Table = text.parse().map_err(|error: toml::de::Error| vec![error.message().to_owned()])?;
    let mut problems: Vec<String> =
        file.keys().filter(|key| *key != "stock").map(|key| format!("{key} is not known")).collect();
    let mut stocks = Vec::new();
    match file.get("stock").and_then(Value::as_array) {
        Some(entries) => {
            for (number, entry) in (1..).zip(entries) {
                let mut place = Place::new(number, entry, &mut problems);
                match entry.as_table() {
                    Some(entry) => stocks.extend(place.stocks(entry)),
                    None => place.tell("", "must be a table"),
                }
            }
        }
        None => problems.push("there is no [[stock]]".to_owned()),
    }
    problems.extend(twice(&stocks));
    let stocks = stocks.into_iter().map(|(_, stock)| stock).collect();
    if problems.is_empty() { Ok(stocks) } else { Err(problems) }
}

/// Names that stand twice for one resolution.
fn twice(stocks: &[(String, LabelStock)]) -> Vec<String> {
    let mut seen = BTreeSet::new();
    let again = stocks.iter().filter(|(_, stock)| !seen.insert((stock.name(), stock.dpi())));
    let told =
        again.map(|(place, stock)| format!("{place}: the name with {} dpi stands twice", stock.dpi().per_inch()));
    told.collect()
}

/// One stock of the file, and where its problems go.
struct Place<'a> {
    name: String,
    problems: &'a mut Vec<String>,
}

impl<'a> Place<'a> {
    fn new(number: usize, entry: &Value, problems: &'a mut Vec<String>) -> Self {
        let name = entry.get("name").and_then(Value::as_str).map(|name| format!(" ({name})")).unwrap_or_default();
        Self { name: format!("stock {number}{name}"), problems }
    }

    fn tell(&mut self, key: &str, problem: &str) {
        let space = if key.is_empty() { "" } else { " " };
        self.problems.push(format!("{}: {key}{space}{problem}", self.name));
    }

    /// The stock at each of its resolutions.
    fn stocks(&mut self, entry: &Table) -> Vec<(String, LabelStock)> {
        self.known(entry, "", &KEYS);
        let name = entry.get("name").and_then(Value::as_str).unwrap_or_default();
        let well_formed = |name: &str| name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if !(1..=24).contains(&name.len()) || !well_formed(name) {
            self.tell("name", "must be 1 to 24 small letters, digits and hyphens");
        }
        let width = self.length(entry, "", "width_mm", &WIDTHS);
        let height = self.length(entry, "", "height_mm", &HEIGHTS);
        let margins = self.margins(entry);
        let resolutions = self.resolutions(entry);
        let (Some(width), Some(height)) = (width, height) else { return Vec::new() };
        let dots = self.dots(entry, width, height, &resolutions);
        let sheet = entry.get("sheet").and_then(|sheet| self.sheet(sheet, width, height));
        let Some(margins) = margins else { return Vec::new() };
        let mut stocks = Vec::new();
        for dpi in resolutions {
            let of_printer = dots.iter().find(|(of, ..)| *of == dpi).map(|(_, width, height)| (*width, *height));
            let Ok(stock) = LabelStock::new(width, height, margins.left_um, dpi) else { continue };
            let stock = stock.named(name).with_margins(margins).with_dots(of_printer).on_sheet(sheet);
            stocks.push((self.name.clone(), stock));
        }
        stocks
    }

    fn known(&mut self, table: &Table, under: &str, keys: &[&str]) {
        for key in table.keys().filter(|key| !keys.contains(&key.as_str())) {
            self.tell(&format!("{under}{key}"), "is not known");
        }
    }

    /// A length in millimetres, as whole micrometres.
    fn length(&mut self, table: &Table, under: &str, key: &str, allowed: &RangeInclusive<u32>) -> Option<u32> {
        let place = format!("{under}{key}");
        match table.get(key) {
            None => self.tell(&place, "is missing"),
            Some(value) => match micrometres(value) {
                None => self.tell(&place, "must be a number of millimetres"),
                Some(um) if allowed.contains(&um) => return Some(um),
                Some(_) => {
                    let (least, most) = (millimetres(*allowed.start()), millimetres(*allowed.end()));
                    self.tell(&place, &format!("must be from {least} to {most}"));
                }
            },
        }
        None
    }

    fn margins(&mut self, entry: &Table) -> Option<Margins> {
        let Some(sides) = entry.get("margin_mm").and_then(Value::as_table) else {
            return self.length(entry, "", "margin_mm", &MARGINS).map(Margins::even);
        };
        self.known(sides, "margin_mm.", &SIDES);
        let [left, top, right, bottom] = SIDES.map(|side| self.length(sides, "margin_mm.", side, &MARGINS));
        Some(Margins { left_um: left?, top_um: top?, right_um: right?, bottom_um: bottom? })
    }

    fn resolutions(&mut self, entry: &Table) -> Vec<Dpi> {
        let numbers = match entry.get("dpi") {
            Some(Value::Array(numbers)) => numbers.iter().collect(),
            one => one.into_iter().collect::<Vec<&Value>>(),
        };
        let known =
            |number: &&Value| number.as_integer().and_then(|n| u32::try_from(n).ok()).and_then(Dpi::from_number);
        let found: Vec<Dpi> = numbers.iter().filter_map(known).collect();
        if found.len() < numbers.len() || found.is_empty() {
            self.tell("dpi", "must be one or more of 203, 300, 600");
        }
        let mut once = Vec::new();
        for dpi in found {
            if once.contains(&dpi) {
                self.tell("dpi", &format!("names {} twice", dpi.per_inch()));
            } else {
                once.push(dpi);
            }
        }
        once
    }

    fn dots(&mut self, entry: &Table, width: u32, height: u32, resolutions: &[Dpi]) -> Vec<(Dpi, i32, i32)> {
        let Some(value) = entry.get("dots") else { return Vec::new() };
        let Some(table) = value.as_table() else {
            self.tell("dots", "must be a table of resolutions, such as { 203 = [496, 320] }");
            return Vec::new();
        };
        let mut found = Vec::new();
        for (key, value) in table {
            let place = format!("dots.{key}");
            let dpi = key.parse().ok().and_then(Dpi::from_number).filter(|dpi| resolutions.contains(dpi));
            let Some(dpi) = dpi else {
                self.tell(&place, "is for a resolution dpi does not name");
                continue;
            };
            let pair = value.as_array().map(|pair| pair.iter().map(Value::as_integer).collect::<Vec<_>>());
            let near = |dots: i64, um: u32| {
                let dots = i32::try_from(dots).ok().filter(|dots| *dots > 0)?;
                (dpi.um_of(dots).abs_diff(um) <= DOTS_TOLERANCE_UM).then_some(dots)
            };
            match pair.as_deref() {
                Some([Some(across), Some(down)]) => match near(*across, width).zip(near(*down, height)) {
                    Some((across, down)) => found.push((dpi, across, down)),
                    None => self.tell(&place, "is more than a millimetre away from the size of the label"),
                },
                _ => self.tell(&place, "must be two whole numbers, width and height"),
            }
        }
        found
    }

    fn sheet(&mut self, value: &Value, width: u32, height: u32) -> Option<Sheet> {
        let Some(table) = value.as_table() else {
            self.tell("sheet", "must be a table");
            return None;
        };
        self.known(table, "sheet.", &SHEET_KEYS);
        let paper = self.paper(table);
        let [columns, rows] = ["columns", "rows"].map(|key| self.count(table, key));
        let edge = 0..=500_000;
        let [left, top] = ["left_mm", "top_mm"].map(|key| self.length(table, "sheet.", key, &edge));
        let pitch_x = self.length(table, "sheet.", "pitch_x_mm", &(width..=500_000));
        let pitch_y = self.length(table, "sheet.", "pitch_y_mm", &(height..=500_000));
        if let (Some((paper_width, _)), Some(columns), Some(left)) = (paper, columns, left) {
            self.on_paper("across", left, columns, pitch_x.unwrap_or(width), width, paper_width);
        }
        if let (Some((_, paper_height)), Some(rows), Some(top)) = (paper, rows, top) {
            self.on_paper("down", top, rows, pitch_y.unwrap_or(height), height, paper_height);
        }
        let (paper_width_um, paper_height_um) = paper?;
        Some(Sheet {
            paper_width_um,
            paper_height_um,
            columns: columns?,
            rows: rows?,
            left_um: left?,
            top_um: top?,
            pitch_x_um: pitch_x?,
            pitch_y_um: pitch_y?,
        })
    }

    fn on_paper(&mut self, way: &str, first: u32, count: u32, pitch: u32, size: u32, paper: u32) {
        let end = u64::from(first) + u64::from(count.saturating_sub(1)) * u64::from(pitch) + u64::from(size);
        if end > u64::from(paper) {
            self.tell("", &format!("the labels do not lie on the paper: {way} they end at {end} of {paper} µm"));
        }
    }

    fn paper(&mut self, sheet: &Table) -> Option<(u32, u32)> {
        match sheet.get("paper") {
            Some(Value::String(name)) if name == "A4" => return Some((210_000, 297_000)),
            Some(Value::String(name)) if name == "Letter" => return Some((215_900, 279_400)),
            Some(Value::Table(size)) => {
                self.known(size, "sheet.paper.", &["width_mm", "height_mm"]);
                let sides = ["width_mm", "height_mm"];
                let [width, height] = sides.map(|key| self.length(size, "sheet.paper.", key, &(50_000..=500_000)));
                return width.zip(height);
            }
            _ => self.tell("sheet.paper", "must be \"A4\", \"Letter\" or { width_mm, height_mm }"),
        }
        None
    }

    fn count(&mut self, sheet: &Table, key: &str) -> Option<u32> {
        let number = sheet.get(key).and_then(Value::as_integer).and_then(|number| u32::try_from(number).ok());
        let count = number.filter(|count| (1..=50).contains(count));
        if count.is_none() {
            self.tell(&format!("sheet.{key}"), "must be a whole number from 1 to 50");
        }
        count
    }
}

/// Millimetres to the nearest micrometre.
fn micrometres(value: &Value) -> Option<u32> {
    let mm = match value {
        Value::Integer(whole) => u16::try_from(*whole).ok().map(f64::from)?,
        Value::Float(decimal) => *decimal,
        _ => return None,
    };
    (0.0..=10_000.0).contains(&mm).then(|| (mm * 1_000.0).round() as u32)
}

fn millimetres(um: u32) -> f64 {
    f64::from(um) / 1_000.0
}
