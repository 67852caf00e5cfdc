//! Cuts bytes into lines as they come, however they are split on the way. Lines end with LF, CRLF or CR. One that is longer than any
//! logger writes is not kept, only counted.

/// Longest line, in bytes.
pub const LIMIT: usize = 4 * 1024;

/// A line without its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Raw<'a> {
    Whole(&'a [u8]),
    TooLong,
}

/// What has come of the line that has not ended yet.
#[derive(Debug)]
pub struct Splitter {
    limit: usize,
    held: Vec<u8>,
    too_long: bool,
    /// The last byte was CR: an LF that follows belongs to it.
    after_return: bool,
    number: u64,
}

impl Default for Splitter {
    fn default() -> Splitter {
        Splitter::with_limit(LIMIT)
    }
}

impl Splitter {
    /// For lines of at most so many bytes.
    pub const fn with_limit(limit: usize) -> Splitter {
        Splitter { limit, held: Vec::new(), too_long: false, after_return: false, number: 0 }
    }

    /// Takes some bytes and gives each line that ends in them, with its number from 1.
    pub fn push(&mut self, bytes: &[u8], take: &mut dyn FnMut(u64, Raw<'_>)) {
        let mut rest = bytes;
        if self.after_return && !rest.is_empty() {
            self.after_return = false;
            rest = rest.strip_prefix(b"\n").unwrap_or(rest);
        }
        while let Some(end) = rest.iter().position(|byte| matches!(byte, b'\n' | b'\r')) {
            let (line, tail) = rest.split_at(end);
            self.end_line(line, take);
            rest = match tail {
                [b'\r', b'\n', after @ ..] => after,
                [b'\r'] => {
                    self.after_return = true;
                    &[]
                }
                [_, after @ ..] => after,
                [] => &[],
            };
        }
        self.hold(rest);
    }

    /// Gives the last line when it has no end.
    pub fn finish(&mut self, take: &mut dyn FnMut(u64, Raw<'_>)) {
        if self.too_long || !self.held.is_empty() {
            self.end_line(&[], take);
        }
    }

    fn end_line(&mut self, line: &[u8], take: &mut dyn FnMut(u64, Raw<'_>)) {
        self.number += 1;
        if self.held.is_empty() && !self.too_long && line.len() <= self.limit {
            return take(self.number, Raw::Whole(line));
        }
        self.hold(line);
        let raw = if self.too_long { Raw::TooLong } else { Raw::Whole(&self.held) };
        take(self.number, raw);
        self.held.clear();
        self.too_long = false;
    }

    fn hold(&mut self, bytes: &[u8]) {
        if self.too_long || self.held.len() + bytes.len() > self.limit {
            self.too_long = true;
            self.held.clear();
        } else {
            self.held.extend_from_slice(bytes);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(pieces: &[&[u8]]) -> Vec<(u64, Option<String>)> {
        let (mut splitter, mut found) = (Splitter::default(), Vec::new());
        let mut take = |number, raw: Raw<'_>| match raw {
            Raw::Whole(line) => found.push((number, Some(String::from_utf8_lossy(line).into_owned()))),
            Raw::TooLong => found.push((number, None)),
        };
        for piece in pieces {
            splitter.push(piece, &mut take);
        }
        splitter.finish(&mut take);
        found
    }

    #[test]
    fn every_line_end_is_one_wherever_the_bytes_are_split() {
        let text = b"a\r\nb\nc\rd\r\n\r\ne";
        let whole = split(&[text]);
        let words: Vec<&str> = whole.iter().filter_map(|(_, line)| line.as_deref()).collect();
        assert_eq!(words, ["a", "b", "c", "d", "", "e"]);
        for at in 0..=text.len() {
            assert_eq!(split(&[&text[..at], &text[at..]]), whole, "split at {at}");
        }
        assert_eq!(split(&[b""]), []);
        assert_eq!(split(&[b"a\n"]).len(), 1);
    }

    #[test]
    fn a_line_of_any_length_takes_no_more_room_than_the_limit() {
        let long = vec![b'x'; LIMIT + 1];
        let fits = vec![b'x'; LIMIT];
        let found = split(&[b"a\n", &long, &long, b"\nb\n", &fits, b"\n", &long]);
        let kept: Vec<bool> = found.iter().map(|(_, line)| line.is_some()).collect();
        assert_eq!(kept, [true, false, true, true, false]);
        assert_eq!(found.last().map(|(number, _)| *number), Some(5));
    }
}
