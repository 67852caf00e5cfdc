//! Packed rows to a zlib stream (RFC 1950, RFC 1951): one block with codes of its own.

use super::huffman::{Code, code_lengths, codes};
use super::repeats::{LONGEST, SHORTEST, TOKENS, Tokens, tokens};

/// How far back a repetition may lie. Half of what the standard allows: a token then has at most 33 bits, and a row 131,000 dots.
const WINDOW: usize = 16_384;

const END_OF_BLOCK: usize = 256;

/// Bytes, the end of the block, lengths.
const SYMBOLS: usize = 286;

const LONGEST_CODE: u8 = 15;
const LONGEST_CODE_OF_LENGTHS: u8 = 7;

/// The order in which the codes for code lengths are described (RFC 1951, 3.2.7).
const ORDER: [usize; 19] = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];

/// Appends the stream. A row, its filter byte included, has `row` bytes.
pub(super) fn zlib(file: &mut Vec<u8>, data: &[u8], row: usize) {
    // Deflate with the largest window, no dictionary, a fast level; together a multiple of 31.
    file.extend([0x78, 0x01]);
    let above = row.min(WINDOW);
    let mut bits = Bits { file, waiting: 0, count: 0 };
    block(&mut bits, &tokens(data, above), above);
    bits.end();
    file.extend(simd_adler32::adler32(&data).to_be_bytes());
}

/// The only block: a description of its codes, then the tokens.
fn block(bits: &mut Bits<'_>, tokens: &Tokens, above: usize) {
    let mut counts = [0; SYMBOLS];
    let mut count = |symbol: usize, times: u32| {
        if let Some(count) = counts.get_mut(symbol) {
            *count += times;
        }
    };
    count(END_OF_BLOCK, 1);
    for (token, times) in tokens.counts.iter().enumerate().filter(|(_, times)| **times > 0) {
        count(Sent::new(token, above).symbol, *times);
    }
    let lengths = code_lengths(&counts, LONGEST_CODE);
    describe(bits, &lengths, above);
    let codes = codes(&lengths);
    let code = |symbol: usize| codes.get(symbol).copied().unwrap_or_default();
    let mut written = [Written::default(); TOKENS];
    for (token, (written, _)) in
        written.iter_mut().zip(&tokens.counts).enumerate().filter(|(_, (_, times))| **times > 0)
    {
        *written = Sent::new(token, above).written(code);
    }
    for token in &tokens.all {
        if let Some(written) = written.get(usize::from(*token)) {
            bits.put(written.bits, written.count);
        }
    }
    let end = code(END_OF_BLOCK);
    bits.put(end.bits.into(), end.length.into());
}

/// A token as RFC 1951, 3.2.5, says it: a symbol and what follows its code.
struct Sent {
    symbol: usize,
    /// Bits without a code, and how many.
    rest: u64,
    count: u32,
}

/// The bits of a token, first one lowest.
#[derive(Clone, Copy, Default)]
struct Written {
    bits: u64,
    count: u32,
}

impl Sent {
    fn new(token: usize, above: usize) -> Self {
        let Some(repeat) = token.checked_sub(256) else { return Self { symbol: token, rest: 0, count: 0 } };
        let longer = repeat / 2;
        let (symbol, extra, count) = match longer + SHORTEST {
            LONGEST => (285, 0, 0),
            3..=10 => (257 + longer, 0, 0),
            _ => {
                let count = longer.ilog2() - 2;
                (261 + 4 * count as usize + (longer >> count & 3), longer & ((1 << count) - 1), count)
            }
        };
        // The two distances there are have codes of one bit, the nearer 0.
        let far = repeat & 1;
        let (_, extra_distance, distance_count) = distance(if far == 1 { above } else { 1 });
        let rest = extra | far << count | extra_distance << (count + 1);
        Self { symbol, rest: rest as u64, count: count + 1 + distance_count }
    }

    fn written(&self, code: impl Fn(usize) -> Code) -> Written {
        let code = code(self.symbol);
        Written { bits: u64::from(code.bits) | self.rest << code.length, count: self.count + u32::from(code.length) }
    }
}

/// The symbol of a distance, and its bits without a code.
const fn distance(back: usize) -> (usize, usize, u32) {
    let less = back - 1;
    if less < 4 {
        return (less, 0, 0);
    }
    let count = less.ilog2() - 1;
    (2 * count as usize + 2 + (less >> count & 1), less & ((1 << count) - 1), count)
}

/// Describes the codes: their lengths, which have codes themselves.
fn describe(bits: &mut Bits<'_>, lengths: &[u8], above: usize) {
    let (far, _, _) = distance(above);
    let used = lengths.iter().rposition(|length| *length > 0).map_or(0, |last| last + 1).max(END_OF_BLOCK + 1);
    let distances = (0..=far).map(|symbol| u8::from(symbol == 0 || symbol == far));
    let all: Vec<u8> = lengths.iter().copied().take(used).chain(distances).collect();
    let steps = steps(&all);
    let mut counts = [0; 19];
    for step in &steps {
        if let Some(count) = counts.get_mut(usize::from(step.symbol)) {
            *count += 1;
        }
    }
    let lengths = code_lengths(&counts, LONGEST_CODE_OF_LENGTHS);
    let length = |symbol: usize| lengths.get(symbol).copied().unwrap_or(0);
    let told = ORDER.iter().rposition(|symbol| length(*symbol) > 0).map_or(4, |last| (last + 1).max(4));
    // The last block there is, with codes of its own.
    bits.put(0b101, 3);
    bits.put((used - 257) as u64, 5);
    bits.put(far as u64, 5);
    bits.put((told - 4) as u64, 4);
    for symbol in ORDER.iter().take(told) {
        bits.put(length(*symbol).into(), 3);
    }
    let codes = codes(&lengths);
    for step in steps {
        let code = codes.get(usize::from(step.symbol)).copied().unwrap_or_default();
        bits.put(code.bits.into(), code.length.into());
        bits.put(step.extra.into(), step.count);
    }
}

/// A length, or how often one is repeated.
struct Step {
    symbol: u8,
    extra: u8,
    count: u32,
}

/// Code lengths with their repetitions: 16 repeats the one before 3 to 6 times, 17 and 18 are 3 to 10 and 11 to 138 zeros.
fn steps(lengths: &[u8]) -> Vec<Step> {
    let mut steps = Vec::new();
    for same in lengths.chunk_by(|one, other| one == other) {
        let mut left = same.len();
        let value = same.first().copied().unwrap_or(0);
        if value > 0 {
            steps.push(Step { symbol: value, extra: 0, count: 0 });
            left -= 1;
        }
        while left > 0 {
            let (symbol, least, most, count) = match (value, left) {
                (_, 1 | 2) => (value, 1, 1, 0),
                (0, 3..=10) => (17, 3, 10, 3),
                (0, _) => (18, 11, 138, 7),
                _ => (16, 3, 6, 2),
            };
            let times = left.min(most);
            steps.push(Step { symbol, extra: (times - least) as u8, count });
            left -= times;
        }
    }
    steps
}

/// Bits on their way into bytes, the first lowest.
struct Bits<'a> {
    file: &'a mut Vec<u8>,
    waiting: u64,
    /// How many wait, fewer than 32 between calls.
    count: u32,
}

impl Bits<'_> {
    /// Sends up to 33 bits.
    fn put(&mut self, bits: u64, count: u32) {
        self.waiting |= bits << self.count;
        self.count += count;
        if self.count >= 32 {
            self.file.extend((self.waiting as u32).to_le_bytes());
            self.waiting >>= 32;
            self.count -= 32;
        }
    }

    fn end(self) {
        let bytes = self.waiting.to_le_bytes();
        self.file.extend(bytes.iter().take(self.count.div_ceil(8) as usize));
    }
}

#[cfg(test)]
mod tests {
    use super::distance;

    /// RFC 1951, 3.2.5, the table of distances: symbol, bits, first and last.
    #[test]
    fn distances_have_the_symbols_of_the_standard() {
        let table = [
            (0, 0, 1, 1),
            (3, 0, 4, 4),
            (4, 1, 5, 6),
            (9, 3, 25, 32),
            (10, 4, 33, 48),
            (16, 7, 257, 384),
            (29, 13, 24_577, 32_768),
        ];
        for (symbol, count, first, last) in table {
            assert_eq!(distance(first), (symbol, 0, count));
            assert_eq!(distance(last), (symbol, last - first, count));
        }
    }
}
