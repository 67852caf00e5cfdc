//! A message: elements in order, each an application identifier with a value that its format allows. Every reader gives one and every
//! builder takes one. Which elements may stand together is `rules`'.

use super::fault::{Fault, What};
use super::table::{self, Row};
use super::values;

/// Most elements of a message (the GS1 Barcode Syntax Engine takes as many).
pub const ELEMENT_LIMIT: usize = 64;

/// An identifier and its value, in the identifier's format.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Element {
    pub ai: String,
    pub value: String,
    pub row: &'static Row,
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Message {
    elements: Vec<Element>,
}

impl Message {
    /// Adds an element whose value is checked against its format.
    pub fn push(&mut self, ai: &str, value: &str) -> Result<(), Fault> {
        if self.elements.len() >= ELEMENT_LIMIT {
            return Err(Fault::new(What::TooManyElements));
        }
        let row = table::find(ai).ok_or_else(|| Fault::of(What::UnknownIdentifier, ai))?;
        values::check(row.format, value).map_err(|fault| fault.in_value_of(ai))?;
        self.elements.push(Element { ai: ai.to_owned(), value: value.to_owned(), row });
        Ok(())
    }

    /// A message of these elements.
    pub fn of(elements: &[(&str, &str)]) -> Result<Message, Fault> {
        let mut message = Message::default();
        for (ai, value) in elements {
            message.push(ai, value)?;
        }
        Ok(message)
    }

    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    pub fn is_empty(&self) -> bool {
        self.elements.is_empty()
    }

    /// The value of an identifier.
    pub fn value(&self, ai: &str) -> Option<&str> {
        self.elements.iter().find(|element| element.ai == ai).map(|element| element.value.as_str())
    }

    /// The first element whose identifier fits a pattern such as `310n`.
    pub fn first_like(&self, pattern: &str) -> Option<&Element> {
        self.elements.iter().find(|element| is_like(&element.ai, pattern))
    }
}

/// Whether an identifier fits a pattern in which `n` stands for any digit.
pub fn is_like(ai: &str, pattern: &str) -> bool {
    ai.len() == pattern.len()
        && ai.bytes().zip(pattern.bytes()).all(|(digit, wanted)| wanted == b'n' || digit == wanted)
}
