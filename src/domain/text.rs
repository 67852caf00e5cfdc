//! Text that people type: names, notes, codes of the catalogue. What a text means is decided elsewhere.

use super::refusal::{Code, Refusal};

/// Longest name of a thing, in characters.
pub const NAME_LIMIT: usize = 80;
/// Longest note or reason, in characters.
pub const NOTE_LIMIT: usize = 500;

fn invalid(field: &str, reason: String) -> Refusal {
    Refusal::new(Code::InvalidValue, field, reason)
}

/// Characters that may not stand in stored text: controls, and the marks that reorder what a reader sees.
fn forbidden(character: char) -> bool {
    character.is_control()
        || matches!(character, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

fn bounded(field: &str, text: &str, limit: usize) -> Result<String, Refusal> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(invalid(field, "must not be empty".into()));
    }
    if trimmed.chars().count() > limit {
        return Err(invalid(field, format!("must be at most {limit} characters")));
    }
    if trimmed.chars().any(forbidden) {
        return Err(invalid(field, "must not contain control or direction characters".into()));
    }
    Ok(trimmed.to_owned())
}

/// A name of 1 to 80 characters, trimmed.
pub fn name(field: &str, text: &str) -> Result<String, Refusal> {
    bounded(field, text, NAME_LIMIT)
}

/// A note or reason of 1 to 500 characters, trimmed.
pub fn note(field: &str, text: &str) -> Result<String, Refusal> {
    bounded(field, text, NOTE_LIMIT)
}

/// An optional note: absent stays absent, present must be a note.
pub fn optional_note(field: &str, text: Option<&str>) -> Result<Option<String>, Refusal> {
    text.map(|t| note(field, t)).transpose()
}

/// A code of the catalogue: 2 to 24 lower-case letters, digits and hyphens, beginning with a letter, so that it can stand in
/// an address and be typed.
pub fn catalogue_code(field: &str, text: &str) -> Result<String, Refusal> {
    let well_formed = (2..=24).contains(&text.len())
        && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
        && text.bytes().next().is_some_and(|b| b.is_ascii_lowercase());
    if well_formed {
        return Ok(text.to_owned());
    }
    Err(invalid(field, "must be 2 to 24 lower-case letters, digits and hyphens, beginning with a letter".into()))
}

/// A code given by someone else (a supplier's lot): 1 to 40 printable ASCII characters.
pub fn foreign_code(field: &str, text: &str) -> Result<String, Refusal> {
    let trimmed = text.trim();
    if (1..=40).contains(&trimmed.len()) && trimmed.bytes().all(|b| b.is_ascii_graphic() || b == b' ') {
        return Ok(trimmed.to_owned());
    }
    Err(invalid(field, "must be 1 to 40 printable ASCII characters".into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_keeps_its_bytes_or_is_refused() {
        assert_eq!(name("name", "  Chūtoro, 中とろ "), Ok("Chūtoro, 中とろ".to_owned()));
        for bad in ["", "   ", "a\u{0}b", "x\u{202e}y", &"n".repeat(81)] {
            assert!(name("name", bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn catalogue_codes_fit_an_address() {
        assert!(catalogue_code("code", "akami-saku").is_ok());
        for bad in ["a", "Akami", "-akami", "9akami", "akami saku", "ákami", &"a".repeat(25)] {
            assert!(catalogue_code("code", bad).is_err(), "{bad:?}");
        }
    }
}
