//! Chance that repeats itself: one seed, one course of events. Knows nothing of fish.
#![allow(dead_code, reason = "several test programs share this file and each uses part of it")]

/// Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators" (constants from memory): small, and
/// the same on every machine and in every version.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A whole number from `low` to `high`, both included.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        assert!(low <= high, "{low} to {high}");
        let width = u64::try_from(high - low).unwrap() + 1;
        low + i64::try_from(self.next() % width).unwrap()
    }

    /// True once in `times`.
    pub fn one_in(&mut self, times: i64) -> bool {
        self.between(1, times) == 1
    }

    /// One of the things.
    pub fn pick<'a, T>(&mut self, things: &'a [T]) -> &'a T {
        &things[usize::try_from(self.between(0, i64::try_from(things.len()).unwrap() - 1)).unwrap()]
    }

    /// A number below `count`.
    pub fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.between(0, i64::try_from(count).unwrap() - 1)).unwrap()
    }
}
