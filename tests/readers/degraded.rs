//! Spoiled pictures of labels at 203 dpi with 4 dots a module, the smallest we print: zxing-cpp must read the mild
//! set; how often the others are read is told, and may not fall far below what was measured.
//!
//! All spoiling is by program (`degrade.py`): the rates compare readers and ways of spoiling, and say nothing about a shop.

use sakudana::domain::label_fields::Template;
use sakudana::labels;
use sakudana::labels::layout::{Layout, lay_out};
use sakudana::labels::stock::Dpi;
use sakudana::labels::stocks::Stocks;
use sakudana::labels::symbol::QUIET_MODULES;
use serde_json::{Value, json};

use crate::every_label::FONTS;
use crate::reader::Reader;
use crate::report::{count_or, table};
use crate::trays::{Tray, tray};

const STOCKS: [&str; 3] = ["50x30", "58x40", "62x40"];

/// Every how many labels are spoiled harshly too, where not all are.
const HARSH_EVERY: usize = 3;

/// How often, in percent, zxing-cpp and zbar read harshly spoiled labels at the least: what was measured of 300 labels less a fifth of all,
/// since few labels are spoiled every day.
const FLOORS: [(&str, usize, usize); 22] = [
    ("blur, sigma 2 pixels", 80, 80),
    ("blur, sigma 3 pixels", 80, 70),
    ("blur, sigma 4 pixels", 55, 0),
    ("grey noise, deviation 60", 80, 0),
    ("grey noise, deviation 100", 78, 0),
    ("2 % of the dots black or white", 78, 78),
    ("5 % of the dots, then blur 2", 80, 80),
    ("turned by 30 degrees", 80, 80),
    ("turned by 45 degrees", 80, 80),
    ("perspective, 15 %", 80, 80),
    ("perspective, 30 %", 80, 80),
    ("contrast 120 to 140, noise 4", 80, 0),
    ("light falling to a third", 80, 80),
    ("ink spread by half a dot", 80, 80),
    ("scratch of 1 module", 69, 72),
    ("scratch of 2 modules", 35, 40),
    ("3 dead dots", 57, 38),
    ("3 dead dots, then blur 2", 79, 48),
    ("8 x 8 modules white", 80, 78),
    ("8 x 8 modules black", 80, 74),
    ("12 x 12 modules white", 23, 20),
    ("camera: contrast 60 to 200, 12 degrees, perspective 10 %, blur 2, noise 10", 80, 0),
];

/// The one mild row that zxing-cpp may miss once in 300: there the scratch ran along the middle of a finder pattern, from which no level of
/// error correction brings a symbol back.
const SCRATCH: &str = "one scratch of 1 dot";

/// And how often zbar reads the mild set.
const MILD_FLOOR_OF_ZBAR: usize = 80;

/// Set, name, texts by zxing-cpp, texts by zbar.
type Spoiled = (String, String, Vec<String>, Vec<String>);

/// Readings of one way of spoiling: right, and wrong, by zxing-cpp and by zbar.
#[derive(Debug, Default, Clone)]
struct Rate {
    set: String,
    name: String,
    of: usize,
    right: [usize; 2],
    wrong: [usize; 2],
}

impl Rate {
    fn count(&mut self, address: &str, texts: [&[String]; 2]) {
        self.of += 1;
        for (reader, texts) in texts.iter().enumerate() {
            self.right[reader] += usize::from(*texts == [address]);
            self.wrong[reader] += usize::from(texts.iter().any(|text| text != address));
        }
    }

    fn row(&self) -> Vec<String> {
        let mut row = vec![self.name.clone(), self.of.to_string()];
        row.extend(self.right.map(|right| format!("{:.1}", 100.0 * right as f64 / self.of as f64)));
        row.extend(self.wrong.map(|wrong| wrong.to_string()));
        row
    }
}

/// Labels for sale without a linear code, with 4 dots a module.
fn labels_to_spoil(count: usize) -> impl Iterator<Item = (Tray, Layout)> {
    let numbered = (1..).map(|number: usize| {
        let stock = Stocks::built_in().find(STOCKS[number % STOCKS.len()], Dpi::D203).expect("a built-in stock");
        let template = Template::ALL[number / STOCKS.len() % Template::ALL.len()];
        let tray = tray(77_000_000 + number as u64, template);
        let layout = lay_out(&FONTS, &tray.label, &stock).ok();
        layout.filter(|layout| tray.linear.is_none() && layout.dots_per_module() == 4).map(|layout| (tray, layout))
    });
    numbered.flatten().take(count)
}

/// Where the modules lie, and what is asked.
fn asked(layout: &Layout, number: usize, harsh: bool) -> Value {
    let (symbol, module) = (layout.symbol_box(), layout.dots_per_module());
    let quiet = QUIET_MODULES * module;
    let sets: &[&str] = if harsh { &["mild", "harsh"] } else { &["mild"] };
    let mut asked = json!({
        "x": symbol.x + quiet, "y": symbol.y + quiet, "module": module, "modules": symbol.width / module - 2 * QUIET_MODULES,
        "seed": number, "sets": sets,
    });
    if let Some(folder) = std::env::var("SAKUDANA_READERS").ok().filter(|_| number == 0) {
        asked["keep"] = json!(folder);
    }
    asked
}

fn rates() -> Vec<Rate> {
    let mut reader = Reader::running("answer_all(spoil)");
    let mut rates: Vec<Rate> = Vec::new();
    let count = count_or(24);
    for (number, (tray, layout)) in labels_to_spoil(count).enumerate() {
        let png = labels::png(&layout.paint(&FONTS), Dpi::D203);
        let harsh = count > 100 || number.is_multiple_of(HARSH_EVERY);
        let answers: Vec<Spoiled> = reader.ask(&png, &asked(&layout, number, harsh));
        for (set, name, zxing, zbar) in answers {
            let place = rates.iter().position(|rate| rate.name == name).unwrap_or_else(|| {
                rates.push(Rate { set, name, ..Rate::default() });
                rates.len() - 1
            });
            rates[place].count(&tray.address, [&zxing, &zbar]);
        }
    }
    rates
}

#[test]
fn spoiled_labels_are_read() {
    let rates = rates();
    let head = ["spoiled by", "pictures", "zxing-cpp %", "zbar %", "zxing-cpp wrong", "zbar wrong"];
    for set in ["mild", "harsh"] {
        let rows: Vec<Vec<String>> = rates.iter().filter(|rate| rate.set == set).map(Rate::row).collect();
        table(&format!("spoiled-{set}"), &head, &rows);
    }
    for rate in rates.iter().filter(|rate| rate.set == "mild") {
        let missed = if rate.name == SCRATCH { rate.of / 300 } else { 0 };
        assert!(rate.right[0] + missed >= rate.of && rate.wrong == [0, 0], "{rate:?}");
        assert!(rate.right[1] * 100 >= MILD_FLOOR_OF_ZBAR * rate.of, "{rate:?}");
    }
    let harsh: Vec<&Rate> = rates.iter().filter(|rate| rate.set == "harsh").collect();
    let names: Vec<&str> = harsh.iter().map(|rate| rate.name.as_str()).collect();
    assert_eq!(names, FLOORS.map(|(name, ..)| name));
    for (rate, (_, zxing, zbar)) in harsh.iter().zip(FLOORS) {
        let enough = [zxing, zbar].iter().zip(rate.right).all(|(floor, right)| right * 100 >= floor * rate.of);
        assert!(enough, "{rate:?}: at least {zxing} and {zbar} of 100");
    }
}
