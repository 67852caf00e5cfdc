//! Which sums of weights can be had, one bit a gram: what every choice by weight rests on.

const WORD: usize = 64;

/// A set of whole numbers from 0 to a limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bits {
    words: Vec<u64>,
    limit: usize,
}

impl Bits {
    /// The set with nothing but 0 in it: what no weight at all comes to.
    pub fn zero(limit: usize) -> Bits {
        let mut words = vec![0; limit / WORD + 1];
        if let Some(first) = words.first_mut() {
            *first = 1;
        }
        Bits { words, limit }
    }

    /// This set together with all of it moved up by a weight; what passes the limit is dropped.
    #[must_use]
    pub fn with(&self, weight: usize) -> Bits {
        let (whole, rest) = (weight / WORD, weight % WORD);
        let mut words = self.words.clone();
        let mut carried = 0;
        for (target, source) in words.iter_mut().skip(whole).zip(&self.words) {
            *target |= source << rest | carried;
            carried = if rest == 0 { 0 } else { source >> (WORD - rest) };
        }
        Bits { words, limit: self.limit }
    }

    /// The least number of the set from `low` to `high`.
    pub fn least(&self, low: usize, high: usize) -> Option<usize> {
        self.in_words(low, high).find(|(_, word)| *word != 0).map(|(at, word)| at * WORD + trailing(word))
    }

    /// The greatest number of the set from `low` to `high`.
    pub fn greatest(&self, low: usize, high: usize) -> Option<usize> {
        let last = self.in_words(low, high).filter(|(_, word)| *word != 0).last();
        last.map(|(at, word)| at * WORD + WORD - 1 - leading(word))
    }

    /// The words that hold `low` to `high`, without the bits outside.
    fn in_words(&self, low: usize, high: usize) -> impl Iterator<Item = (usize, u64)> + '_ {
        let high = high.min(self.limit);
        let (first, last) = (low / WORD, high / WORD);
        let count = if low > high { 0 } else { last - first + 1 };
        self.words.iter().enumerate().skip(first).take(count).map(move |(at, word)| {
            let from = if at == first { u64::MAX << (low % WORD) } else { u64::MAX };
            let to = if at == last { u64::MAX >> (WORD - 1 - high % WORD) } else { u64::MAX };
            (at, word & from & to)
        })
    }
}

const fn trailing(word: u64) -> usize {
    word.trailing_zeros() as usize
}

const fn leading(word: u64) -> usize {
    word.leading_zeros() as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    proptest::proptest! {
        #[test]
        fn it_is_the_set_of_all_sums(weights in proptest::collection::vec(0_usize..200, 0..9), limit in 0_usize..700, (low, span) in (0_usize..700, 0_usize..200)) {
            let (mut bits, mut naive) = (Bits::zero(limit), BTreeSet::from([0]));
            for weight in weights {
                bits = bits.with(weight);
                naive.extend(naive.clone().into_iter().map(|sum: usize| sum + weight));
            }
            let high = low + span;
            let inside = || naive.range(low..=high).filter(|sum| **sum <= limit).copied();
            proptest::prop_assert_eq!(bits.least(low, high), inside().min());
            proptest::prop_assert_eq!(bits.greatest(low, high), inside().max());
        }
    }

    #[test]
    fn a_range_turned_round_holds_nothing() {
        assert_eq!(Bits::zero(10).least(3, 2), None);
        assert_eq!(Bits::zero(10).greatest(11, 20), None);
    }
}
