//! Packed rows as bytes and repetitions. A repetition is looked for in two places only, one byte back and one row back: on a label
//! hardly any lies elsewhere.

/// The shortest and the longest repetition (RFC 1951, 3.2.5).
pub(super) const SHORTEST: usize = 3;
pub(super) const LONGEST: usize = 258;

/// A byte (0 to 255), or 256 and twice what a repetition is longer than [`SHORTEST`], and 1 more when it is of the row above.
pub(super) type Token = u16;
pub(super) const TOKENS: usize = 256 + 2 * (LONGEST - SHORTEST + 1);

/// The tokens in their order, and how often each occurs.
pub(super) struct Tokens {
    pub(super) all: Vec<Token>,
    pub(super) counts: [u32; TOKENS],
}

/// Takes the data apart. `above` is how many bytes back the row above lies.
pub(super) fn tokens(data: &[u8], above: usize) -> Tokens {
    let rows = Rows::new(data, above);
    let mut tokens = Tokens { all: Vec::with_capacity(data.len() / 2), counts: [0; TOKENS] };
    let mut at = 0;
    while at < data.len() {
        let (token, length) = rows.token(at);
        at += length;
        tokens.all.push(token);
        if let Some(count) = tokens.counts.get_mut(usize::from(token)) {
            *count += 1;
        }
    }
    tokens
}

/// The data with a word of padding at both ends, so that every place and the byte before it can be read as a word.
struct Rows {
    padded: Vec<u8>,
    length: usize,
    above: usize,
}

const PADDING: usize = 8;

impl Rows {
    fn new(data: &[u8], above: usize) -> Self {
        let mut padded = Vec::with_capacity(data.len() + 2 * PADDING);
        padded.resize(PADDING, 0);
        padded.extend_from_slice(data);
        padded.extend([0; PADDING]);
        Self { padded, length: data.len(), above }
    }

    /// Eight bytes; the first of the data is at [`PADDING`].
    fn word(&self, place: usize) -> u64 {
        self.padded.get(place..).and_then(|rest| rest.first_chunk()).map_or(0, |bytes| u64::from_le_bytes(*bytes))
    }

    /// The longest token at a place, and its length.
    fn token(&self, at: usize) -> (Token, usize) {
        let place = at + PADDING;
        let here = self.word(place);
        let beside = if at >= 1 { here ^ self.word(place - 1) } else { u64::MAX };
        let over = if at >= self.above { here ^ self.word(place - self.above) } else { u64::MAX };
        let least = u64::MAX >> (64 - 8 * SHORTEST);
        if beside & least == 0 || over & least == 0 {
            let (by_side, by_row) = (self.run(at, beside, 1), self.run(at, over, self.above));
            let (length, row) = if by_row >= by_side { (by_row, 1) } else { (by_side, 0) };
            if length >= SHORTEST {
                return (256 + 2 * (length - SHORTEST) as Token + row, length);
            }
        }
        ((here & 0xFF) as Token, 1)
    }

    /// How many bytes are as those so far back, when the first eight differ so.
    fn run(&self, at: usize, difference: u64, back: usize) -> usize {
        let most = LONGEST.min(self.length - at);
        let mut length = alike(difference);
        while length % 8 == 0 && length > 0 && length < most {
            let place = at + PADDING + length;
            let more = alike(self.word(place) ^ self.word(place - back));
            if more == 0 {
                break;
            }
            length += more;
        }
        length.min(most)
    }
}

/// How many bytes from the first on are zero.
const fn alike(difference: u64) -> usize {
    (difference.trailing_zeros() / 8) as usize
}

#[cfg(test)]
mod tests {
    use super::{SHORTEST, Token, tokens};

    fn put_together(tokens: &[Token], above: usize) -> Vec<u8> {
        let mut data: Vec<u8> = Vec::new();
        for token in tokens {
            match u8::try_from(*token) {
                Ok(byte) => data.push(byte),
                Err(_) => {
                    let length = (usize::from(*token) - 256) / 2 + SHORTEST;
                    let back = if token % 2 == 0 { 1 } else { above };
                    (0..length).for_each(|_| data.push(data[data.len() - back]));
                }
            }
        }
        data
    }

    #[test]
    fn tokens_put_together_are_the_data() {
        let mut state = 3_u32;
        for round in 0..2_000_usize {
            let above = 2 + round % 37;
            let mut thrown = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 24) as u8
            };
            let data: Vec<u8> = (0..round % 700).map(|_| if thrown() < 200 { 0 } else { thrown() & 3 }).collect();
            let found = tokens(&data, above);
            assert_eq!(put_together(&found.all, above), data);
            assert_eq!(found.counts.iter().sum::<u32>() as usize, found.all.len());
        }
    }

    #[test]
    fn the_longest_repetitions_are_taken() {
        assert_eq!(tokens(&[9; 600], 50).all, [9, 256 + 2 * 255, 256 + 2 * 255 + 1, 256 + 2 * 80 + 1]);
        let row: Vec<u8> = (0..40).collect();
        assert_eq!(tokens(&row.repeat(3), 40).all.last(), Some(&(256 + 2 * 77 + 1)));
    }
}
