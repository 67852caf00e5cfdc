//! Percent-encoding of values in an address. Everything but letters, digits and `-._~` is encoded (RFC 3986, section 2.3).

use super::fault::{Fault, What};

/// Where in an address a value stands: a plus is a plus in the path and a blank in the query.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    Path,
    Query,
}

pub fn encode(value: &str) -> String {
    const HEX: [char; 16] = ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'A', 'B', 'C', 'D', 'E', 'F'];
    let mut encoded = String::with_capacity(value.len());
    for b in value.bytes() {
        if b.is_ascii_alphanumeric() || b"-._~".contains(&b) {
            encoded.push(char::from(b));
        } else {
            let digit = |nibble: u8| HEX.get(usize::from(nibble)).copied().unwrap_or('0');
            encoded.extend(['%', digit(b >> 4), digit(b & 15)]);
        }
    }
    encoded
}

/// What does not decode stays as it is; an encoded NUL is refused. Bytes beyond ASCII come out as one character that no value allows.
pub fn decode(text: &str, part: Part) -> Result<String, Fault> {
    let bytes = text.as_bytes();
    let hex = |at: usize| bytes.get(at).and_then(|b| char::from(*b).to_digit(16));
    let mut decoded = String::with_capacity(text.len());
    let mut at = 0;
    while let Some(b) = bytes.get(at) {
        let pair = if *b == b'%' { hex(at + 1).zip(hex(at + 2)) } else { None };
        match pair {
            Some((0, 0)) => return Err(Fault::at(What::NulByte, at)),
            Some((high, low)) => {
                let character = char::from_u32(high * 16 + low).filter(char::is_ascii);
                decoded.push(character.unwrap_or(char::REPLACEMENT_CHARACTER));
                at += 2;
            }
            None if *b == b'+' && part == Part::Query => decoded.push(' '),
            None if b.is_ascii() => decoded.push(char::from(*b)),
            None => decoded.push(char::REPLACEMENT_CHARACTER),
        }
        at += 1;
    }
    Ok(decoded)
}
