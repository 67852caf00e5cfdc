//! Element strings: bracketed for people, with FNC1 for symbols, and as a scanner sends them with its symbology identifier.
//!
//! In texts of this program FNC1 is written `^`, which stands in no value; a scanner sends it as the control character GS.

use super::check;
use super::fault::{Fault, What};
use super::message::Message;
use super::table;
use super::values;

/// FNC1 between elements, as scanners send it.
pub const GS: char = '\u{1d}';
/// FNC1 as written.
pub const FNC1: char = '^';
/// Longest text that is looked at: more than any symbol holds.
pub const LIMIT: usize = 8_000;

fn within_limit(text: &str) -> Result<(), Fault> {
    if text.len() > LIMIT { Err(Fault::new(What::TextTooLong)) } else { Ok(()) }
}

/// Reads `(01)09521234543213(10)ABC`. A bracket inside a value is written `\(`.
pub fn read_bracketed(text: &str) -> Result<Message, Fault> {
    within_limit(text)?;
    let mut message = Message::default();
    let mut rest = text;
    while let Some(after) = rest.strip_prefix('(') {
        let (ai, behind) = after.split_once(')').ok_or_else(|| Fault::new(What::Bracket))?;
        let (value, next) = bracketed_value(behind);
        message.push(ai, &value)?;
        rest = next;
    }
    match (rest.is_empty(), message.is_empty()) {
        (false, _) => Err(Fault::at(What::Bracket, text.len() - rest.len())),
        (true, true) => Err(Fault::new(What::Empty)),
        (true, false) => Ok(message),
    }
}

/// A value up to the next bracket that opens, and what follows.
fn bracketed_value(text: &str) -> (String, &str) {
    let mut value = String::new();
    let mut escaped = false;
    for (at, character) in text.char_indices() {
        match character {
            '(' if escaped => {
                value.pop();
                value.push('(');
            }
            '(' => return (value, text.get(at..).unwrap_or("")),
            other => value.push(other),
        }
        escaped = character == '\\';
    }
    (value, "")
}

/// Reads `^0109521234543213^10ABC`: FNC1 before the first element and after each that needs it.
pub fn read_with_fnc1(text: &str) -> Result<Message, Fault> {
    within_limit(text)?;
    let data =
        text.strip_prefix(FNC1).ok_or_else(|| Fault::new(if text.is_empty() { What::Empty } else { What::NoStart }))?;
    read_data(data, FNC1)
}

/// Reads elements without the leading FNC1, parted by `separator`. One at the end, or where none is needed, is let pass.
pub fn read_data(data: &str, separator: char) -> Result<Message, Fault> {
    within_limit(data)?;
    let mut message = Message::default();
    let mut rest = data;
    while !rest.is_empty() {
        let unknown = || Fault::at(What::UnknownIdentifier, data.len() - rest.len());
        let length = rest.get(..2).and_then(table::length_of).ok_or_else(unknown)?;
        let (ai, behind) = rest.split_at_checked(length).ok_or_else(unknown)?;
        let row = table::find(ai).ok_or_else(unknown)?;
        let until = if row.separated { None } else { values::fixed_length(row.format) };
        let (value, next) = match until {
            Some(length) => behind.split_at_checked(length).ok_or_else(|| Fault::of(What::ValueTooShort, ai))?,
            None => behind.split_at(behind.find(separator).unwrap_or(behind.len())),
        };
        message.push(ai, value)?;
        rest = next.strip_prefix(separator).unwrap_or(next);
    }
    if message.is_empty() { Err(Fault::new(What::Empty)) } else { Ok(message) }
}

/// The message for people: identifiers in brackets.
pub fn bracketed(message: &Message) -> String {
    let one = |(ai, value): (&str, &str)| format!("({ai}){}", value.replace('(', "\\("));
    message.elements().iter().map(|element| one((&element.ai, &element.value))).collect()
}

/// The message with FNC1 written out, the leading one too.
pub fn with_fnc1(message: &Message) -> String {
    format!("{FNC1}{}", data(message, FNC1))
}

/// The message as a symbol holds it behind its leading FNC1.
pub fn data(message: &Message, separator: char) -> String {
    let mut text = String::new();
    let mut open = false;
    for element in message.elements() {
        if open {
            text.push(separator);
        }
        text.push_str(&element.ai);
        text.push_str(&element.value);
        open = element.row.separated;
    }
    text
}

/// What a scanner sent, by its symbology identifier (ISO/IEC 15424).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ScanData<'a> {
    Elements(Message),
    /// EAN-13, or UPC-A with a zero before it.
    Ean13(&'a str),
    Ean8(&'a str),
    /// QR Code or Data Matrix without FNC1: plain text, an address among it.
    Plain(&'a str),
}

/// Whether a symbology with this identifier carries element strings: GS1 QR, GS1 DataMatrix, GS1-128, GS1 DataBar.
pub fn carries_elements(identifier: &str) -> bool {
    matches!(identifier, "]Q3" | "]d2" | "]C1" | "]e0")
}

/// Reads a scan that begins with its symbology identifier.
pub fn read_scan_data(text: &str) -> Result<ScanData<'_>, Fault> {
    within_limit(text)?;
    let (identifier, data) = text.split_at_checked(3).ok_or_else(|| Fault::new(What::NoSymbology))?;
    let number = |length: usize| {
        if data.len() != length || !data.bytes().all(|b| b.is_ascii_digit()) {
            return Err(Fault::new(What::NotNumber));
        }
        if check::fits(data) { Ok(data) } else { Err(Fault::at(What::CheckDigit, length - 1)) }
    };
    match identifier {
        "]E0" => number(13).map(ScanData::Ean13),
        "]E4" => number(8).map(ScanData::Ean8),
        "]Q1" | "]d1" => Ok(ScanData::Plain(data)),
        _ if carries_elements(identifier) => read_data(data, GS).map(ScanData::Elements),
        _ => Err(Fault::new(What::NoSymbology)),
    }
}

/// The message as a scanner sends it out of a symbol with this identifier.
pub fn scan_data(message: &Message, identifier: &str) -> String {
    format!("{identifier}{}", data(message, GS))
}
