//! Cuts a line into cells, and makes text of its bytes. A quote that is not closed reaches to the end of its line and no further, so
//! that it spoils one line only.

use std::borrow::Cow;

/// Separators in the order they are tried: what a file with decimal commas is separated by comes before the comma.
pub const SEPARATORS: [u8; 3] = [b'\t', b';', b','];

/// More cells than this no logger writes; what follows is one cell.
const MOST: usize = 256;

/// UTF-8, or else Latin-1, in which every byte is a character: a degree sign is read either way.
pub fn decode(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect()),
    }
}

/// What a byte of a line stands in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Within {
    /// Nothing of the cell has come yet.
    Fresh,
    Plain,
    Quoted,
    /// After a quote that closes, or is the first of two that stand for one.
    Closed,
}

/// Where each cell begins and ends in a line; kept between lines, so that none needs memory of its own.
#[derive(Debug, Default)]
pub struct Cells {
    bounds: Vec<(usize, usize)>,
}

impl Cells {
    /// Cuts a line. What was cut before is forgotten.
    pub fn cut(&mut self, line: &str, separator: u8) {
        self.bounds.clear();
        let (mut start, mut within) = (0, Within::Fresh);
        for (at, byte) in line.bytes().enumerate() {
            if byte == separator && within != Within::Quoted && self.bounds.len() < MOST {
                self.bounds.push((start, at));
                (start, within) = (at + 1, Within::Fresh);
                continue;
            }
            within = match (within, byte) {
                (Within::Fresh | Within::Closed, b'"') => Within::Quoted,
                (Within::Quoted, b'"') => Within::Closed,
                (Within::Quoted, _) => Within::Quoted,
                (Within::Fresh, b' ') => Within::Fresh,
                _ => Within::Plain,
            };
        }
        self.bounds.push((start, line.len()));
    }

    pub fn len(&self) -> usize {
        self.bounds.len()
    }

    pub fn is_empty(&self) -> bool {
        self.bounds.is_empty()
    }

    /// A cell of the line that was cut, without its quotes and the blanks around it; empty when there is none.
    pub fn get<'a>(&self, line: &'a str, index: usize) -> &'a str {
        let inside = self.bounds.get(index).and_then(|(start, end)| line.get(*start..*end)).unwrap_or("").trim();
        let bare = inside.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
        bare.map_or(inside, str::trim)
    }

    /// All cells of the line that was cut.
    pub fn all<'a>(&self, line: &'a str) -> Vec<&'a str> {
        (0..self.len()).map(|index| self.get(line, index)).collect()
    }
}

/// Whether a line says nothing: blank, a comment, or separators alone. A `#` that is a cell of its own is the name of a column.
pub fn is_silent(line: &str) -> bool {
    let line = line.trim_start();
    let is_comment = line.strip_prefix('#').is_some_and(|rest| !rest.starts_with([',', ';', '\t']));
    is_comment || line.is_empty() || line.bytes().all(|b| matches!(b, b' ' | b',' | b';' | b'\t' | b'"'))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(line: &str, separator: u8) -> Vec<&str> {
        let mut cells = Cells::default();
        cells.cut(line, separator);
        cells.all(line)
    }

    #[test]
    fn separators_in_quotes_separate_nothing() {
        assert_eq!(cut(r#"1, "2,5" ,"a ""b"", c",d"#, b','), ["1", "2,5", r#"a ""b"", c"#, "d"]);
        assert_eq!(cut(";;", b';'), ["", "", ""]);
        assert_eq!(cut("\"open,1", b','), ["\"open,1"]);
        assert_eq!(cut("5\" pipe,2", b','), ["5\" pipe", "2"]);
        assert_eq!(cut("", b','), [""]);
    }

    #[test]
    fn bytes_that_are_no_utf_8_are_latin_1() {
        assert_eq!(decode(b"Temp (\xb0C)"), "Temp (°C)");
        assert_eq!(decode("Temp (°C)".as_bytes()), "Temp (°C)");
    }

    #[test]
    fn comments_and_blanks_say_nothing() {
        for line in ["", "   ", "# a comment", ";;;", "\"\",\"\""] {
            assert!(is_silent(line), "{line:?}");
        }
        assert!(!is_silent("0") && !is_silent("-") && !is_silent("#,time"));
    }
}
