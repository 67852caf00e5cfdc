//! What a label says, as passages: the fields that are set together as one text, with the smallest size the rules allow it. Where a passage
//! stands is not known here.

use super::facts::TrayLabel;
use super::text::{Fonts, Type};
use super::wrap::{Breakable, CLAUSE, Measured, is_dense};
use crate::domain::label_fields::{Field, Template};
use std::cell::RefCell;
use std::rc::Rc;

/// A piece of a label that is set as one text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// What a label that is not for sale is for.
    Heading,
    /// The cut's name.
    Name,
    /// Commercial and scientific name.
    Species,
    /// How and where it was caught or farmed.
    Origin,
    /// What stands out: defrosted, notices, the allergen.
    Statements,
    /// The words in front of the use-by.
    Caption,
    /// The use-by.
    UseBy,
    /// The storage condition.
    Storage,
    /// Why the price was lowered.
    Reason,
    /// The price before.
    OldPrice,
    /// The net weight.
    NetWeight,
    /// Price per kilogram or pound.
    UnitPrice,
    /// The price.
    Price,
    /// That the price depends on the weight.
    ByWeight,
    /// The tray code.
    TrayCode,
    /// The lots.
    Lot,
    /// The day of cutting.
    Cut,
    /// The day of receiving.
    Received,
    /// The shop with its address.
    Shop,
    /// Advice and cautions.
    SmallPrint,
    /// The linear code's digits.
    Linear,
}

/// How many parts there are.
pub const PARTS: usize = Part::ALL.len();

impl Part {
    /// All parts, in the order of their numbers.
    pub const ALL: [Self; 21] = [
        Self::Heading,
        Self::Name,
        Self::Species,
        Self::Origin,
        Self::Statements,
        Self::Caption,
        Self::UseBy,
        Self::Storage,
        Self::Reason,
        Self::OldPrice,
        Self::NetWeight,
        Self::UnitPrice,
        Self::Price,
        Self::ByWeight,
        Self::TrayCode,
        Self::Lot,
        Self::Cut,
        Self::Received,
        Self::Shop,
        Self::SmallPrint,
        Self::Linear,
    ];

    /// The fields whose texts it shows, in this order.
    pub const fn fields(self) -> &'static [Field] {
        match self {
            Self::Heading | Self::Caption | Self::ByWeight => &[Field::Captions],
            Self::Name => &[Field::CutName],
            Self::Species => &[Field::CommercialName, Field::ScientificName],
            Self::Origin => &[Field::ProductionMethod, Field::OriginCountry, Field::CatchArea, Field::Gear],
            Self::Statements => &[Field::Defrosted, Field::Notices, Field::Allergen],
            Self::UseBy => &[Field::UseBy],
            Self::Storage => &[Field::Storage],
            Self::Reason => &[Field::MarkdownReason],
            Self::OldPrice => &[Field::OldPrice],
            Self::NetWeight => &[Field::NetWeight],
            Self::UnitPrice => &[Field::UnitPrice],
            Self::Price => &[Field::Price],
            Self::TrayCode => &[Field::TrayCode],
            Self::Lot => &[Field::LotCode],
            Self::Cut => &[Field::CutOn],
            Self::Received => &[Field::ReceivedOn],
            Self::Shop => &[Field::ShopName, Field::ShopAddress],
            Self::SmallPrint => &[Field::Advisory, Field::Cautions],
            Self::Linear => &[Field::Linear],
        }
    }
}

/// One text with its smallest size.
#[derive(Debug, Clone, Default)]
pub struct Passage {
    /// What is set; empty where the label does not say it.
    pub text: Breakable,
    /// Its smallest x-height in micrometres: the strictest rule among its fields.
    pub least_um: u32,
}

/// All passages of a label.
#[derive(Debug, Clone)]
pub struct Passages {
    all: Vec<Passage>,
    template: Template,
}

impl Passages {
    /// What a label says.
    pub fn of(label: &TrayLabel) -> Self {
        let passage = |part: Part| {
            let text = text_of(label, part);
            let shown =
                part.fields().iter().filter(|field| **field == Field::Captions || !label.shown(**field).is_empty());
            let rules = shown.filter_map(|field| label.rule(*field));
            let least_um = rules.map(|rule| rule.least_x_height_um).max().unwrap_or(0);
            Passage { text: Breakable::new(&text), least_um }
        };
        Self { all: Part::ALL.into_iter().map(passage).collect(), template: label.template }
    }

    /// One of them; empty where the label does not say it.
    pub fn get(&self, part: Part) -> &Passage {
        static NOTHING: Passage = Passage { text: Breakable::nothing(), least_um: 0 };
        self.all.get(part as usize).unwrap_or(&NOTHING)
    }

    /// Whether the label says it.
    pub fn has(&self, part: Part) -> bool {
        !self.get(part).text.is_empty()
    }

    /// What the label is for.
    pub const fn template(&self) -> Template {
        self.template
    }
}

/// The passages of a label as they were measured: each at each size once, however often it is tried.
pub struct Measures<'a> {
    fonts: &'a Fonts,
    passages: &'a Passages,
    known: [RefCell<Vec<Known>>; PARTS],
}

type Known = (Type, Rc<Measured>);

impl<'a> Measures<'a> {
    /// Nothing is measured yet.
    pub fn new(fonts: &'a Fonts, passages: &'a Passages) -> Self {
        Self { fonts, passages, known: [const { RefCell::new(Vec::new()) }; PARTS] }
    }

    /// The typefaces.
    pub const fn fonts(&self) -> &'a Fonts {
        self.fonts
    }

    /// What is measured.
    pub const fn passages(&self) -> &'a Passages {
        self.passages
    }

    /// A part at a size.
    pub fn at(&self, part: Part, size: Type) -> Rc<Measured> {
        let text = &self.passages.get(part).text;
        let Some(known) = self.known.get(part as usize) else { return Rc::new(text.measure(self.fonts, size)) };
        if let Some((_, measured)) = known.borrow().iter().find(|(of, _)| *of == size) {
            return Rc::clone(measured);
        }
        let measured = Rc::new(text.measure(self.fonts, size));
        known.borrow_mut().push((size, Rc::clone(&measured)));
        measured
    }
}

fn text_of(label: &TrayLabel, part: Part) -> String {
    let texts = || part.fields().iter().map(|field| label.shown(*field)).filter(|text| !text.is_empty());
    match part {
        Part::Heading => label.heading().to_owned(),
        Part::Caption => label.captions.use_by.clone(),
        Part::ByWeight => {
            let open = label.template.is_for_sale() && label.shown(Field::Price).is_empty();
            if open { label.captions.by_weight.clone() } else { String::new() }
        }
        Part::Species => joined(texts(), |_| CLAUSE),
        Part::Origin => capitalised(joined(texts(), comma)),
        Part::Shop => joined(texts(), comma),
        Part::Statements | Part::SmallPrint => joined(texts(), run_together),
        Part::Lot => captioned(&label.captions.lot, label.shown(Field::LotCode)),
        Part::Cut => captioned(&label.captions.cut_on, &unbroken(label.shown(Field::CutOn))),
        Part::Received => captioned(&label.captions.received_on, &unbroken(label.shown(Field::ReceivedOn))),
        // Its digits are set one by one.
        Part::Linear => String::new(),
        _ => joined(texts(), |_| " "),
    }
}

fn joined<'a>(texts: impl Iterator<Item = &'a str>, joint: impl Fn(&str) -> &'static str) -> String {
    let mut whole = String::new();
    for text in texts {
        if !whole.is_empty() {
            whole.push_str(joint(&whole));
        }
        whole.push_str(text.trim());
    }
    whole
}

/// Sentences follow each other; what is no sentence is parted by a dot.
fn run_together(before: &str) -> &'static str {
    if before.ends_with(['.', '!', '?', '。']) { " " } else { CLAUSE }
}

/// Between the items of a list.
fn comma(before: &str) -> &'static str {
    if before.ends_with(is_dense) { "、" } else { ", " }
}

/// A date stays on one line.
fn unbroken(date: &str) -> String {
    date.trim().replace(' ', "\u{A0}")
}

fn captioned(caption: &str, value: &str) -> String {
    if caption.trim().is_empty() || value.is_empty() { value.to_owned() } else { format!("{caption} {value}") }
}

/// The words of the law for how fish was caught are written small; at the head of a line they begin with a capital.
fn capitalised(mut text: String) -> String {
    if let Some(first) = text.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    text
}
