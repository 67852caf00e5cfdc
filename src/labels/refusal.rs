//! Why a label is not drawn. Each reason has a stable code; what a web page or an API makes of it is decided above.

use std::fmt;

/// A label is drawn whole or not at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LabelRefusal {
    /// Mandatory text is empty; all empty fields are listed.
    MissingField {
        /// Names of the empty fields.
        fields: Vec<&'static str>,
    },
    /// At the smallest allowed type the text is still too much for this stock.
    DoesNotFit {
        /// Where one field is to blame: each field that, shortened alone, would let the label fit. Otherwise all the
        /// fields that are too long together.
        fields: Vec<&'static str>,
    },
    /// The label's typefaces have no glyph for a character, or cannot set its script properly.
    NoGlyph {
        /// The character.
        character: char,
        /// The field it is in.
        field: &'static str,
    },
    /// The text of the symbol is longer than a tray label carries.
    CodeTooLong {
        /// Its length in characters.
        characters: usize,
        /// The longest allowed.
        limit: usize,
    },
    /// The text of the symbol holds a character outside printable ASCII, which readers guess differently.
    CodeNotAscii {
        /// The first such character.
        character: char,
    },
    /// With the smallest module that may be printed, the symbol and its quiet zone leave no room on this stock.
    CodeDoesNotFit,
    /// The text of the linear code is not thirteen digits.
    LinearNotDigits {
        /// Its length in characters.
        characters: usize,
    },
    /// The last digit of the linear code is not the check digit of the others.
    LinearCheckDigit {
        /// The digit given.
        given: u8,
        /// The digit that follows from the others.
        expected: u8,
    },
    /// A measure of the stock is outside what can be drawn.
    StockOutOfRange {
        /// Which measure.
        measure: &'static str,
        /// What was asked, in micrometres.
        value_um: u32,
        /// Smallest allowed, in micrometres.
        min_um: u32,
        /// Largest allowed, in micrometres.
        max_um: u32,
    },
}

impl LabelRefusal {
    /// The stable code of the refusal.
    pub fn code(&self) -> &'static str {
        match self {
            Self::MissingField { .. } => "label_missing_field",
            Self::DoesNotFit { .. } => "label_does_not_fit",
            Self::NoGlyph { .. } => "label_no_glyph",
            Self::CodeTooLong { .. } => "label_code_too_long",
            Self::CodeNotAscii { .. } => "label_code_not_ascii",
            Self::CodeDoesNotFit => "label_code_does_not_fit",
            Self::LinearNotDigits { .. } => "label_linear_not_digits",
            Self::LinearCheckDigit { .. } => "label_linear_check_digit",
            Self::StockOutOfRange { .. } => "label_stock_out_of_range",
        }
    }
}

impl fmt::Display for LabelRefusal {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MissingField { fields } => write!(out, "the label lacks: {}", fields.join(", ")),
            Self::DoesNotFit { fields } => {
                write!(out, "the label does not fit the stock; shorten: {}", fields.join(", "))
            }
            Self::NoGlyph { character, field } => {
                let point = u32::from(*character);
                write!(
                    out,
                    "{field} holds a character the label cannot set: {} (U+{point:04X})",
                    character.escape_debug()
                )
            }
            Self::CodeTooLong { characters, limit } => {
                write!(out, "the text of the symbol has {characters} characters; at most {limit} are allowed")
            }
            Self::CodeNotAscii { character } => {
                let point = u32::from(*character);
                write!(out, "the text of the symbol may hold printable ASCII only, not U+{point:04X}")
            }
            Self::CodeDoesNotFit => write!(out, "the symbol does not fit the stock at the smallest allowed module"),
            Self::LinearNotDigits { characters } => {
                write!(out, "the linear code must be 13 digits; these are {characters} characters")
            }
            Self::LinearCheckDigit { given, expected } => {
                write!(out, "the linear code ends in {given}; its check digit is {expected}")
            }
            Self::StockOutOfRange { measure, value_um, min_um, max_um } => {
                write!(out, "{measure} of the stock is {value_um} µm; allowed are {min_um} to {max_um} µm")
            }
        }
    }
}

impl std::error::Error for LabelRefusal {}
