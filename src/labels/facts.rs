//! The facts a label shows, as finished text, and the rules they must keep. Nothing here computes a date, a price or a weight, and nothing
//! here knows how the picture is arranged.

use super::refusal::LabelRefusal;
use crate::domain::label_fields::{Field, FieldRule, Presence, Template};

/// Everything one label says. Every text is already in the shop's language and formatted; the label decides nothing about dates or money.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrayLabel {
    /// What it is for.
    pub template: Template,
    /// What it must say and how large, in reading order (`domain::label_fields::rules`).
    pub rules: Vec<FieldRule>,
    /// The few words the label puts in front of values.
    pub captions: Captions,
    /// By the number of the field; what is not given is empty.
    texts: Vec<String>,
}

/// Words of the label itself, in the shop's language. An empty one is left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Captions {
    /// In front of the use-by.
    pub use_by: String,
    /// In front of the day of cutting.
    pub cut_on: String,
    /// In front of the day of receiving.
    pub received_on: String,
    /// In front of the lot code.
    pub lot: String,
    /// Beside a price per kilogram that nothing is multiplied with yet.
    pub by_weight: String,
    /// At the head of a label for the kitchen.
    pub kitchen: String,
    /// At the head of a label of stock that is not sold.
    pub bulk: String,
}

impl Default for Captions {
    fn default() -> Self {
        Self {
            use_by: "USE BY".to_owned(),
            cut_on: "Cut".to_owned(),
            received_on: "Received".to_owned(),
            lot: "Lot".to_owned(),
            by_weight: "by weight".to_owned(),
            kitchen: "KITCHEN".to_owned(),
            bulk: "NOT FOR SALE".to_owned(),
        }
    }
}

impl TrayLabel {
    /// A label that says nothing yet.
    pub fn new(template: Template, rules: Vec<FieldRule>, captions: Captions) -> Self {
        Self { template, rules, captions, texts: vec![String::new(); Field::ALL.len()] }
    }

    /// The same label with this text for a field. A blank text is no text.
    #[must_use]
    pub fn with(mut self, field: Field, text: impl Into<String>) -> Self {
        let text = text.into();
        if let Some(place) = self.texts.get_mut(field as usize) {
            *place = if text.trim().is_empty() { String::new() } else { text };
        }
        self
    }

    /// The same label with other words of its own.
    #[must_use]
    pub fn in_words(self, captions: Captions) -> Self {
        Self { captions, ..self }
    }

    /// The text of a field; empty where none was given.
    pub fn text(&self, field: Field) -> &str {
        self.texts.get(field as usize).map_or("", String::as_str)
    }

    /// The text of a field if the label's rules know it: what a template has no place for is not printed, such as a price on a label for the
    /// kitchen.
    pub(super) fn shown(&self, field: Field) -> &str {
        if self.rule(field).is_some() { self.text(field) } else { "" }
    }

    /// The word at the head of a label that is not for sale.
    pub fn heading(&self) -> &str {
        match self.template {
            Template::Kitchen => &self.captions.kitchen,
            Template::Bulk => &self.captions.bulk,
            Template::Block | Template::Tub | Template::Markdown => "",
        }
    }

    /// The same label with one field cut down to almost nothing, or the linear code left out: asked when a label does not fit, to find out
    /// which field, shortened, would let it.
    pub(super) fn shortened(&self, field: Field) -> Self {
        self.clone().with(field, if field == Field::Linear { "" } else { "-" })
    }

    /// The rule of a field; none where the label's rules do not know it.
    pub fn rule(&self, field: Field) -> Option<&FieldRule> {
        self.rules.iter().find(|rule| rule.field == field)
    }

    /// Refuses a label with gaps, naming all of them at once.
    pub(super) fn check_complete(&self) -> Result<(), LabelRefusal> {
        let lacking = |rule: &&FieldRule| {
            let text = if rule.field == Field::Captions { self.heading() } else { self.text(rule.field) };
            rule.presence == Presence::Mandatory && text.trim().is_empty()
        };
        let fields: Vec<&'static str> = self.rules.iter().filter(lacking).map(|rule| rule.field.as_str()).collect();
        if fields.is_empty() { Ok(()) } else { Err(LabelRefusal::MissingField { fields }) }
    }
}

/// One line of the check list beside a preview: what must be there, who asks for it, and how it came out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldCheck {
    /// What the label says.
    pub field: Field,
    /// Whether it must.
    pub presence: Presence,
    /// The law, or that it is practice.
    pub required_by: &'static str,
    /// The smallest x-height allowed, in micrometres; 0 for what is not type.
    pub least_um: u32,
    /// The x-height it has, in micrometres; 0 for what is not type.
    pub set_um: u32,
    /// The text.
    pub text: String,
}
