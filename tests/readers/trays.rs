//! Random trays with everything their labels say, and what a reader must find of them. A tray is had again from its number.

use chrono::{Days, NaiveDate};
use sakudana::domain::gs1::own::{Article, Codes, Linear};
use sakudana::domain::gs1::restricted::{Layout, Measure};
use sakudana::domain::gs1::tray_link::TrayLink;
use sakudana::domain::label_fields::{Circumstances, Field, Pack, Presence, Sold, Template, Thawed, rules};
use sakudana::domain::label_words;
use sakudana::domain::lot::{Production, lot_code};
use sakudana::domain::shop::{Jurisdiction, RAW_CAUTION};
use sakudana::domain::tray_code::TrayCode;
use sakudana::labels::facts::{Captions, TrayLabel};
use sakudana::units::currency::{Currency, DecimalMark, WeightUnit};
use sakudana::units::mass::Grams;
use sakudana::units::money::{Cents, PricePerKg};
use sakudana::units::zone::write_day;
use serde_json::{Value, json};

// In each list the shortest stands first.

const SHOPS: [(&str, &str); 5] = [
    ("Kallio Fish", "Vaasankatu 7, Helsinki"),
    ("Fischhandlung Österström & Söhne", "Große Elbstraße 212, 22767 Hamburg"),
    ("Pier 9 Fish", "Seattle, WA 98101"),
    ("Peixaria São João", "Rua do Açougue 3, Porto"),
    ("魚のカッリオ", "東京都中央区築地4-16-2"),
];
const BASES: [&str; 4] = [
    "https://fish.example",
    "https://kallio.shop.example",
    "https://xn--sterstrm-m4ah.example",
    "https://f.example:8443",
];
const CUTS: [&str; 8] = [
    "Ō-toro",
    "Akami saku",
    "Chūtoro saku, sinew drawn",
    "Filet de thon à nageoires jaunes",
    "Rückenfilet, geputzt",
    "Nakaochi",
    "本まぐろ 中とろ 柵",
    "キハダ 赤身",
];
/// ASFIS code, market name, scientific name.
const SPECIES: [(&str, &str, &str); 5] = [
    ("SAL", "Salmon", "Salmo salar"),
    ("YFT", "Yellowfin tuna", "Thunnus albacares"),
    ("BFT", "Nördlicher Blauflossen-Thun", "Thunnus thynnus"),
    ("ALB", "Thon germon", "Thunnus alalunga"),
    ("PBF", "クロマグロ", "Thunnus orientalis"),
];
const AREAS: [&str; 4] =
    ["Norway", "Pacific, Western Central (FAO 71)", "Atlantic, Northeast (FAO 27)", "太平洋北西部（FAO 61）"];
const REASONS: [&str; 4] = ["本日限り", "Last day: −25 %", "Ends tonight", "Colour is going, taste is not"];
/// GS1 set 82 without letters and digits, for lot codes that other programs gave.
const AWKWARD: [&str; 4] = ["A%2F/7", "L+0&1=?", "lot:(3)!", "5;'_\"<>*"];

/// Numbers that look like chance and are the same every time. Of a terse tray everything is said as shortly as can be.
struct Dice {
    state: u64,
    terse: bool,
}

impl Dice {
    /// The dice of one tray: trays of neighbouring numbers have nothing in common.
    fn of(number: u64) -> Self {
        let mut dice = Self { state: number.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5a5a, terse: false };
        dice.terse = dice.below(3) == 0;
        dice
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.state ^ (self.state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % bound
    }

    fn one<T: Copy>(&mut self, things: &[T]) -> T {
        let place = self.below(things.len() as u64) as usize;
        things[if self.terse { 0 } else { place }]
    }

    fn amount(&mut self, from: u64, to: u64) -> i64 {
        i64::try_from(from + self.below(to - from)).unwrap()
    }
}

/// A label, and what must be read from it.
#[derive(Debug, Clone)]
pub struct Tray {
    pub label: TrayLabel,
    /// The text of the QR Code.
    pub address: String,
    /// The digits of the linear code, if it has one.
    pub linear: Option<String>,
    /// Identifier, value, number and date of each element, in the order of the address.
    pub elements: Vec<Value>,
}

/// What is drawn by lot before anything is said.
struct Drawn {
    template: Template,
    law: Jurisdiction,
    circumstances: Circumstances,
    currency: Currency,
    unit: WeightUnit,
    /// Whether weight and price are fixed when it is labelled.
    whole: bool,
    net: Grams,
    price: PricePerKg,
    use_by: Option<NaiveDate>,
    day: NaiveDate,
    codes: Codes,
    item_number: i64,
    lot_code: String,
    tray_code: TrayCode,
}

/// The tray of a number, labelled for a purpose.
pub fn tray(number: u64, template: Template) -> Tray {
    let mut dice = Dice::of(number);
    let drawn = Drawn::by(&mut dice, number, template);
    let code = drawn.tray_code.to_string();
    let total = drawn.price.for_weight(drawn.net);
    let link = TrayLink {
        base: dice.one(&BASES),
        article: drawn.codes.article(drawn.item_number),
        lot_code: &drawn.lot_code,
        tray_code: &code,
        weight_and_price: drawn.whole.then_some((drawn.net, total)),
        money_decimals: drawn.currency.decimals(),
        use_by: drawn.use_by,
        use_by_time: None,
    };
    let address = link.address().unwrap();
    let linear = if drawn.whole && dice.below(3) == 0 {
        // A price that the layout has too few digits for is refused: that tray gets no linear code.
        drawn.codes.linear_number(drawn.item_number, total, drawn.net).ok().flatten()
    } else {
        None
    };
    let label =
        drawn.label(&mut dice).with(Field::QrText, &address).with(Field::Linear, linear.as_deref().unwrap_or(""));
    // Two thirds of the labels say only what they must.
    let label = if dice.terse || dice.below(2) == 0 { bare(label, linear.is_some()) } else { label };
    Tray { label, address, linear, elements: drawn.elements(total) }
}

fn bare(label: TrayLabel, keeps_linear: bool) -> TrayLabel {
    let open = label.rules.clone().into_iter().filter(|rule| rule.presence == Presence::WhenGiven);
    let open = open.filter(|rule| !(keeps_linear && rule.field == Field::Linear));
    open.fold(label, |label, rule| label.with(rule.field, ""))
}

fn currency(dice: &mut Dice) -> Currency {
    let (code, sign, first, mark) = dice.one(&[
        ("EUR", "€", false, DecimalMark::Comma),
        ("EUR", "€", false, DecimalMark::Point),
        ("GBP", "£", true, DecimalMark::Point),
        ("USD", "$", true, DecimalMark::Point),
        ("JPY", "¥", true, DecimalMark::Point),
        ("SEK", "kr", false, DecimalMark::Comma),
        ("KWD", "KWD", true, DecimalMark::Point),
    ]);
    Currency::new(code, sign, first, mark).unwrap()
}

fn codes(dice: &mut Dice, money_decimals: u32) -> Codes {
    let layout = Layout::parse(dice.one(&["21IIIIIWWWWWC", "23IIIIVPPPPPC", "29IIIIPPPPPPC"])).unwrap();
    let decimals = if layout.measure() == Measure::Weight { 3 } else { money_decimals };
    let prefix = dice.one(&[None, Some("952012"), Some("4012345"), Some("49123456")]);
    Codes { gs1_prefix: prefix.map(str::to_owned), linear: Some(Linear { layout, decimals, money_decimals }) }
}

impl Drawn {
    fn by(dice: &mut Dice, number: u64, template: Template) -> Self {
        let sold = if template == Template::Tub { Sold::ByWeight } else { dice.one(&[Sold::Whole, Sold::ByWeight]) };
        let by_weight = template == Template::Tub || (template == Template::Markdown && sold == Sold::ByWeight);
        let circumstances = Circumstances {
            production: dice.one(&[Production::Farmed, Production::Wild]),
            thawed: dice.one(&[Thawed::No, Thawed::Defrosted, Thawed::FrozenForSafety]),
            pack: dice.one(&[Pack::Small, Pack::Usual]),
            sold,
        };
        let law = dice.one(&[Jurisdiction::Eu, Jurisdiction::Us]);
        let currency = currency(dice);
        let codes = codes(dice, currency.decimals());
        // Some numbers beyond the ordinary, where digits run over into the next.
        let net = if dice.below(8) == 0 { dice.amount(1, 1_000_000) } else { dice.amount(60, 2_000) };
        let price = if dice.below(8) == 0 { dice.amount(1, 1_000_000) } else { dice.amount(1_000, 30_000) };
        let day = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap().checked_add_days(Days::new(dice.below(730))).unwrap();
        // What is not sold has no date in its code (`ops::label`); those of a half here have one all the same.
        let dated = template.is_for_sale() || dice.below(2) == 0;
        let use_by = dated.then(|| day.checked_add_days(Days::new(dice.below(9))).unwrap());
        let lot = lot_code(dice.one(&SPECIES).0, day, dice.amount(1, 100));
        let lot_code = if dice.below(6) == 0 { dice.one(&AWKWARD).to_owned() } else { lot };
        Self {
            template,
            law,
            circumstances,
            currency,
            unit: if law == Jurisdiction::Us { WeightUnit::Pound } else { WeightUnit::Kilogram },
            whole: template.is_for_sale() && !by_weight,
            net: Grams::new(net).unwrap(),
            price: PricePerKg::new(price).unwrap(),
            use_by,
            day,
            codes,
            item_number: dice.amount(1, 1_000),
            lot_code,
            tray_code: (number..).find_map(TrayCode::from_number).unwrap(),
        }
    }

    fn label(&self, dice: &mut Dice) -> TrayLabel {
        let wild = self.circumstances.production == Production::Wild;
        let (shop_name, shop_address) = dice.one(&SHOPS);
        let (_, name, scientific) = dice.one(&SPECIES);
        let rules = rules(self.law, self.template, self.circumstances);
        let total = self.price.for_weight(self.net);
        let before = Cents::new(total.get() + 100).unwrap();
        let label = TrayLabel::new(self.template, rules, Captions::default())
            .with(Field::ShopName, shop_name)
            .with(Field::ShopAddress, shop_address)
            .with(Field::CutName, dice.one(&CUTS))
            .with(Field::CommercialName, name)
            .with(Field::ScientificName, scientific)
            .with(Field::ProductionMethod, if wild { "caught" } else { "farmed" })
            .with(Field::CatchArea, dice.one(&AREAS))
            .with(Field::Gear, dice.one(&["hooks and lines", "釣り・はえ縄"]))
            .with(Field::OriginCountry, dice.one(&["Product of Japan", "Product of Norway"]))
            .with(Field::Defrosted, dice.one(&["Defrosted", "Previously frozen. Do not refreeze."]))
            .with(Field::Storage, dice.one(&["Keep at 0 to 2 °C", "0～2℃で保存"]))
            .with(Field::CutOn, write_day(self.day))
            .with(Field::LotCode, &self.lot_code)
            .with(Field::TrayCode, self.tray_code.grouped())
            .with(Field::Allergen, label_words::allergen(self.law, name))
            .with(Field::Advisory, RAW_CAUTION)
            .with(Field::Notices, "Cook before eating.")
            .with(Field::Cautions, dice.one(&["", "Do not refreeze."]))
            .with(Field::NetWeight, self.unit.write(self.net, self.currency.mark))
            .with(Field::UnitPrice, self.unit.write_price(self.price, &self.currency))
            .with(Field::Price, if self.whole { self.currency.write(total) } else { String::new() })
            .with(Field::OldPrice, self.currency.write(before))
            .with(Field::MarkdownReason, dice.one(&REASONS));
        label.with(Field::UseBy, format!("{} 18:00", write_day(self.use_by.unwrap_or(self.day))))
    }

    /// Written here once more by hand, not by the crate: it is what the readers are compared with.
    fn elements(&self, total: Cents) -> Vec<Value> {
        let article: Article<'_> = self.codes.article(self.item_number);
        let mut elements = vec![
            json!(["01", article.number().unwrap(), null, null]),
            json!(["10", self.lot_code, null, null]),
            json!(["21", self.tray_code.to_string(), null, null]),
        ];
        let (grams, minor) = (self.net.get(), total.get());
        if self.whole {
            let kilograms = format!("{}.{:03}", grams / 1_000, grams % 1_000);
            elements.push(json!(["3103", format!("{grams:06}"), kilograms, null]));
        }
        if let Some(day) = self.use_by {
            elements.push(json!(["17", day.format("%y%m%d").to_string(), null, day.to_string()]));
        }
        if self.whole {
            let (ai, value, amount) = match self.currency.code.as_str() {
                "JPY" => ("3920", format!("{minor}"), format!("{minor}")),
                "KWD" => ("3923", format!("{minor:04}"), format!("{}.{:03}", minor / 1_000, minor % 1_000)),
                _ => ("3922", format!("{minor:03}"), format!("{}.{:02}", minor / 100, minor % 100)),
            };
            elements.push(json!([ai, value, amount, null]));
        }
        elements
    }
}
