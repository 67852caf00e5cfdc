//! What stands in an answer, read without trust: an attribute that is missing or of another kind is absent, never a failure.

use ipp::attribute::IppAttribute;
use ipp::model::DelimiterTag;
use ipp::request::IppRequestResponse;
use ipp::value::IppValue;

/// An answer of a printer.
pub struct Answer(IppRequestResponse);

impl Answer {
    pub(super) const fn of(answer: IppRequestResponse) -> Answer {
        Answer(answer)
    }

    /// The status as the printer sent it, known to anybody or not (RFC 8011, appendix B).
    pub fn status(&self) -> u16 {
        u16::from_ne_bytes(self.0.header().operation_or_status.to_ne_bytes())
    }

    /// The status in words: its number, what the printer says to it, and which attributes it did not take.
    pub fn in_words(&self) -> String {
        let said = self.text(DelimiterTag::OperationAttributes, "status-message");
        let groups = self.0.attributes().groups_of(DelimiterTag::UnsupportedAttributes);
        let names: Vec<String> =
            groups.flat_map(|group| group.attributes()).map(|attribute| attribute.name().to_string()).collect();
        let mut words = format!("{} (0x{:04x})", status_in_words(self.status()), self.status());
        if let Some(said) = said {
            words.push_str(&format!(": {said}"));
        }
        if !names.is_empty() {
            words.push_str(&format!("; not taken: {}", names.join(", ")));
        }
        words
    }

    fn all<'a>(&'a self, group: DelimiterTag, name: &'a str) -> impl Iterator<Item = &'a IppAttribute> {
        let groups = self.0.attributes().groups_of(group);
        groups.flat_map(|group| group.attributes()).filter(move |attribute| attribute.name().as_str() == name)
    }

    /// The values of an attribute, one after the other. Some printers send one twice: all values count.
    fn values<'a>(&'a self, group: DelimiterTag, name: &'a str) -> impl Iterator<Item = &'a IppValue> {
        self.all(group, name).flat_map(|attribute| attribute.value())
    }

    pub fn number(&self, group: DelimiterTag, name: &str) -> Option<i32> {
        self.values(group, name).find_map(number)
    }

    pub fn flag(&self, group: DelimiterTag, name: &str) -> Option<bool> {
        self.values(group, name).find_map(|value| value.as_boolean().copied())
    }

    pub fn text(&self, group: DelimiterTag, name: &str) -> Option<String> {
        self.values(group, name).find_map(text)
    }

    pub fn texts(&self, group: DelimiterTag, name: &str) -> Vec<String> {
        self.values(group, name).filter_map(text).collect()
    }

    /// Resolutions in dots per inch that are the same across and along.
    pub fn resolutions(&self, group: DelimiterTag, name: &str) -> Vec<u32> {
        const PER_INCH: i8 = 3;
        let square = |value: &IppValue| match value {
            IppValue::Resolution { cross_feed, feed, units: PER_INCH } if cross_feed == feed => {
                u32::try_from(*feed).ok()
            }
            _ => None,
        };
        self.values(group, name).filter_map(square).collect()
    }

    /// The largest number of an attribute that is a range or a number.
    pub fn most(&self, group: DelimiterTag, name: &str) -> Option<i32> {
        self.values(group, name).filter_map(range).map(|(_, most)| most).max()
    }

    /// Sizes as ranges across and along, in hundredths of a millimetre.
    pub fn sizes(&self, group: DelimiterTag, name: &str) -> Vec<Size> {
        let member = |value: &IppValue, name: &str| value.as_collection().and_then(|c| c.get(name)).and_then(range);
        let size = |value: &IppValue| {
            Some(Size { across: member(value, "x-dimension")?, along: member(value, "y-dimension")? })
        };
        self.values(group, name).filter_map(size).collect()
    }
}

/// A size a printer takes: least and most, across and along, in hundredths of a millimetre.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    pub across: (i32, i32),
    pub along: (i32, i32),
}

fn number(value: &IppValue) -> Option<i32> {
    match value {
        IppValue::Integer(number) | IppValue::Enum(number) => Some(*number),
        _ => None,
    }
}

fn range(value: &IppValue) -> Option<(i32, i32)> {
    match value {
        IppValue::Integer(number) => Some((*number, *number)),
        IppValue::RangeOfInteger { min, max } => Some((*min, *max)),
        _ => None,
    }
}

fn text(value: &IppValue) -> Option<String> {
    Some(match value {
        IppValue::Keyword(text) => text.to_string(),
        IppValue::TextWithoutLanguage(text) | IppValue::TextWithLanguage { text, .. } => text.to_string(),
        IppValue::NameWithoutLanguage(name) | IppValue::NameWithLanguage { name, .. } => name.to_string(),
        IppValue::Uri(text) => text.to_string(),
        IppValue::MimeMediaType(text) => text.to_string(),
        _ => return None,
    })
}

/// Status codes of RFC 8011, appendix B (4.1 and 5.1 there; numbers seen at real printers where the peers' page has them, else from memory).
fn status_in_words(status: u16) -> &'static str {
    match status {
        0x0000..=0x00ff => "done",
        0x0401..=0x0403 => "the printer wants to know who asks",
        0x0404 => "the printer cannot do that now",
        0x0406 => "the printer does not know it",
        0x0408 => "the document is too large for the printer",
        0x040a => "the printer does not take this document format",
        0x040b => "the printer does not take this format, paper or setting",
        0x0501 => "the printer does not know this operation",
        0x0502 => "the printer is out of service",
        0x0504 => "the printer reports a fault of its own",
        0x0505 => "the printer cannot take it for the moment",
        0x0506 => "the printer takes no jobs now",
        0x0507 => "the printer is busy",
        0x0508 => "the job was cancelled at the printer",
        0x0500.. => "the printer failed",
        _ => "the printer refused",
    }
}
