//! What is wrong with a GS1 text or value: a stable word, and where.

use std::fmt;

macro_rules! whats {
    ($($name:ident, $word:literal, $says:literal;)*) => {
        /// Everything that can be wrong.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum What { $($name,)* }

        impl What {
            pub const ALL: &'static [What] = &[$(What::$name,)*];

            /// The stable word.
            pub const fn as_str(self) -> &'static str {
                match self { $(What::$name => $word,)* }
            }

            /// The same in a sentence's part.
            pub const fn says(self) -> &'static str {
                match self { $(What::$name => $says,)* }
            }
        }
    };
}

whats! {
    TextTooLong, "text_too_long", "the text is longer than any code";
    Empty, "empty", "there is nothing in it";
    NoStart, "no_start", "an element string begins with FNC1 or a bracket";
    NoSymbology, "no_symbology", "the symbology identifier is missing or unknown";
    NotNumber, "not_a_number_of_this_length", "the number has another length, or a character that is no digit";
    Bracket, "bracket", "a bracket is missing or not closed";
    UnknownIdentifier, "unknown_identifier", "there is no such application identifier";
    TooManyElements, "too_many_elements", "more than 64 elements";
    ValueEmpty, "value_empty", "the value is empty";
    ValueTooShort, "value_too_short", "the value is too short";
    ValueTooLong, "value_too_long", "the value is too long";
    NotADigit, "not_a_digit", "a character is no digit";
    CharacterSet, "character_set", "a character does not belong to the character set";
    CheckDigit, "check_digit", "the check digit does not fit";
    CompanyPrefix, "company_prefix", "a GS1 company prefix begins with four digits";
    Month, "month", "there is no such month";
    Day, "day", "there is no such day";
    Time, "time", "there is no such time";
    SpanReversed, "span_reversed", "the end lies before the start";
    Country, "country", "there is no such country code";
    Currency, "currency", "there is no such currency code";
    Content, "content", "the value is none of those allowed";
    Required, "required", "it needs another element beside it";
    Excluded, "excluded", "it may not stand beside another element";
    RepeatedDifferently, "repeated_differently", "the same element stands twice with different values";
    IndicatorNine, "indicator_nine", "a weight needs an article of variable measure, whose number begins with 9";
    TwoUnits, "two_units", "the net weight stands twice, in different units";
    Illegal, "illegal_character", "a character may not stand in an address";
    Scheme, "scheme", "an address begins with http:// or https://, in one case";
    Domain, "domain", "the address names no host, or a host that cannot be";
    NoKey, "no_key", "the address names no article or other thing";
    EmptySegment, "empty_segment", "a part of the path is empty";
    QualifierOrder, "qualifier_order", "the parts of the path do not belong together in this order";
    NotAnAttribute, "not_an_attribute", "this element may not stand in the query of an address";
    Twice, "twice", "the same element stands twice";
    NulByte, "nul_byte", "an encoded NUL";
    Layout, "layout", "the layout is none of a restricted number of 12 or 13 digits";
    OtherLayout, "other_layout", "the number is not of this layout";
    Verifier, "verifier", "the verifier digit does not fit the price or weight";
    DoesNotFit, "does_not_fit", "the value does not fit its digits";
}

/// One thing that is wrong. `ai` is empty when it concerns the text as a whole; `at` is the byte in the value, or in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    pub what: What,
    pub ai: String,
    pub at: usize,
}

impl Fault {
    pub fn new(what: What) -> Fault {
        Fault { what, ai: String::new(), at: 0 }
    }

    pub fn at(what: What, at: usize) -> Fault {
        Fault { what, ai: String::new(), at }
    }

    pub fn of(what: What, ai: &str) -> Fault {
        Fault { what, ai: ai.to_owned(), at: 0 }
    }

    /// The same fault, said of an identifier.
    pub fn in_value_of(mut self, ai: &str) -> Fault {
        ai.clone_into(&mut self.ai);
        self
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.ai.is_empty() {
            write!(f, "({}) ", self.ai)?;
        }
        write!(f, "{}: {}", self.what.as_str(), self.what.says())
    }
}

impl std::error::Error for Fault {}
