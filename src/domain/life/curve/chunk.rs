//! A chunk of a curve: some readings in a row and the knots laid from the first of them to the first of the next chunk, with sums that
//! begin at the chunk. What stands before or after does not reach into it, so a late reading touches only the chunk it falls into.

use super::Reading;
use super::knot::{Knot, Regimes, Sums, rounded};
use super::laying::{Eras, Laying};
use crate::domain::life::rate::regime::Evidence;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;
use std::sync::Arc;

/// Readings a chunk may hold: many, so that the chunks of all places stay in the cache; few enough to be copied for one late reading.
pub const CAPACITY: usize = 2_048;
/// So many that few readings share one: where hours are missing, only the guesses in the cells at their ends go wrong.
const CELLS: usize = 63;
/// The number of a cell stands in the first six bits of 64, and how much of it has passed in the rest.
const CELL_BITS: u32 = 58;
const ALL_CELLS: u64 = ((CELLS as u64) << CELL_BITS) - 1;

/// What knots are laid by.
#[derive(Clone, Copy)]
pub struct Ground<'a> {
    pub eras: &'a Eras,
    pub regimes: &'a Regimes,
}

/// What a chunk looked like before its readings changed.
#[derive(Clone, Copy)]
pub enum Before<'a> {
    Nothing,
    /// What follows the chunk is as it was.
    SameNext(&'a Chunk),
    OtherNext(&'a Chunk),
}

/// What a question reads of it are three lines of the processor's cache, which all chunks together keep in the nearer caches.
#[derive(Debug, Clone)]
#[repr(C, align(64))]
pub struct Chunk {
    pub start: i64,
    /// Where the next chunk starts.
    pub end: i64,
    /// In order; the last one only ends the chunk.
    knots: Arc<[Knot]>,
    /// From the first knot to the last, counted in ticks of two to the power of `tick_bits` microseconds: fewer than 2^32.
    ticks: u64,
    /// Cells of an even length, in 2^58 ticks; inside one, knots are guessed to stand evenly.
    cells_per_tick: u64,
    tick_bits: u8,
    /// Borders are counted in parts of a knot, two to this power of them.
    part_bits: u8,
    /// The sums up to the end of the chunk fit, and so do all before.
    pub small: bool,
    /// The sums up to the chunk.
    pub base: Sums,
    pub readings: Arc<[Reading]>,
    /// Where among the knots each cell begins, and the last one ends.
    borders: [u16; CELLS + 1],
}

const _: () = assert!(size_of::<Chunk>() == 256);

/// A knot, and how far it is to the next one.
#[derive(Clone, Copy)]
pub struct Stretch<'a> {
    pub knot: &'a Knot,
    pub length: i64,
}

impl Stretch<'_> {
    pub fn from(&self) -> i64 {
        self.knot.at()
    }

    pub fn to(&self) -> i64 {
        self.knot.at() + self.length
    }

    /// Rounded up to a whole milli-degree.
    pub fn temperature(&self, at: i64) -> MilliCelsius {
        rounded(self.knot.mc_after(at - self.from(), self.length))
    }

    pub fn measured(&self) -> bool {
        self.knot.kind().evidence == Evidence::Measured
    }
}

impl Chunk {
    /// A chunk of these readings, of which the next chunk's first one is `next`. Without readings it is the time before the first one.
    /// Of an older form of the chunk, everything is taken over but the stretches that begin or end at another reading.
    pub fn new(ground: Ground, readings: Arc<[Reading]>, next: Option<Reading>, before: Before) -> Chunk {
        let (old, follower_stays) = match before {
            Before::Nothing => (None, false),
            Before::SameNext(old) => (Some(old), true),
            Before::OtherNext(old) => (Some(old), false),
        };
        let same = |pairs: &mut dyn Iterator<Item = (&Reading, &Reading)>| pairs.take_while(|(a, b)| a == b).count();
        let ahead = old.map_or(0, |old| same(&mut old.readings.iter().zip(readings.iter())));
        let behind = old.filter(|_| follower_stays).map_or(0, |old| {
            let room = old.readings.len().min(readings.len()) - ahead;
            same(&mut old.readings.iter().rev().zip(readings.iter().rev()).take(room))
        });
        // The last of the same readings leads to another one, or may.
        let first = ahead.saturating_sub(1);
        let kept = |old: &'_ Chunk| old.knot_of(readings.get(first));
        let head = old.filter(|_| first > 0).and_then(|old| old.knots.get(..kept(old))).unwrap_or(&[]);
        let tail_from = readings.len() - behind;
        let tail = old.filter(|_| behind > 0).and_then(|old| old.knots.get(old.knot_of(readings.get(tail_from))..));
        let sums = old
            .filter(|_| first > 0)
            .and_then(|old| old.knots.get(head.len()))
            .map_or(Sums::default(), |knot| knot.sums);
        let mut laying =
            Laying { eras: ground.eras, regimes: ground.regimes, knots: Vec::with_capacity(tail_from - first), sums };
        if readings.is_empty() {
            laying.between(None, next);
        }
        for index in first..tail_from {
            laying.between(readings.get(index).copied(), readings.get(index + 1).copied().or(next));
        }
        let knots =
            laying.join(head, tail.unwrap_or(&[]), next.map_or(Instant::MAXIMUM, |reading| reading.at.micros()));
        Chunk::of(readings, knots)
    }

    fn knot_of(&self, reading: Option<&Reading>) -> usize {
        reading.map_or(0, |reading| self.knots.partition_point(|knot| knot.at() < reading.at.micros()))
    }

    fn of(readings: Arc<[Reading]>, knots: Arc<[Knot]>) -> Chunk {
        let start = knots.first().map_or(0, Knot::at);
        let last = knots.iter().rev().nth(1).map_or(start, Knot::at);
        let bits = |number: usize| usize::BITS - number.leading_zeros();
        let part_bits = 16_u32.saturating_sub(bits(knots.len()));
        let span = (last - start).cast_unsigned();
        let tick_bits = (u64::BITS - span.leading_zeros()).saturating_sub(32);
        let ticks = span >> tick_bits;
        let cells_per_tick = ALL_CELLS.checked_div(ticks).unwrap_or(0);
        let border = |number: usize| {
            let at = start + (span as f64 * (number as f64 / CELLS as f64)) as i64;
            let after = knots.partition_point(|knot| knot.at() <= at);
            let stretch = after.checked_sub(1).and_then(|index| Some((knots.get(index)?.at(), knots.get(after)?.at())));
            let share = stretch.map_or(0.0, |(from, to)| (at - from) as f64 / (to - from) as f64);
            ((after.saturating_sub(1) as f64 + share) * f64::from(1 << part_bits)) as u16
        };
        let borders = std::array::from_fn(border);
        Chunk {
            start,
            end: Instant::MAXIMUM,
            knots,
            ticks,
            cells_per_tick,
            tick_bits: tick_bits as u8,
            part_bits: part_bits as u8,
            small: false,
            base: Sums::default(),
            readings,
            borders,
        }
    }

    /// The sums from the beginning of the chunk to its end.
    pub fn total(&self) -> Sums {
        self.knots.last().map_or(Sums::default(), |end| end.sums)
    }

    /// The stretch an instant of the chunk lies in; an instant at a knot lies after it. A guess that is one beside it is put right without a
    /// branch: the processor would have to guess as well, and wait for memory to learn that it was wrong.
    #[inline(always)]
    pub fn at(&self, at: i64) -> Option<Stretch<'_>> {
        let guess = self.guess(at);
        let through = Knot::through(at);
        if let (Some(other), Some(one)) = (self.knots.get(guess + 1), self.knots.get(guess)) {
            let next = guess + usize::from(one.begins_within(through)) + usize::from(other.begins_within(through));
            if let (Some(next), Some(knot)) = (self.knots.get(next), self.knots.get(next.wrapping_sub(1)))
                && knot.begins_within(through)
                && !next.begins_within(through)
            {
                return Some(Stretch { knot, length: next.at() - knot.at() });
            }
        }
        self.searched(at)
    }

    /// The number of the knot after which an instant should lie, going by the cells alone.
    #[inline(always)]
    fn guess(&self, at: i64) -> usize {
        let ticks = ((at - self.start).cast_unsigned() >> (self.tick_bits & 63)).min(self.ticks);
        let cells = ticks * self.cells_per_tick;
        let Some([low, high, ..]) = self.borders.get((cells >> CELL_BITS) as usize..) else { return 0 };
        let (low, high, into) = (u64::from(*low), u64::from(*high), u64::from((cells >> (CELL_BITS - 32)) as u32));
        let parts = low + (into * (high - low) >> 32);
        (parts as u32 >> (self.part_bits & 31)) as usize
    }

    #[cold]
    #[inline(never)]
    fn searched(&self, at: i64) -> Option<Stretch<'_>> {
        let last = self.knots.len().saturating_sub(2);
        let guess = self.guess(at).min(last);
        self.stretch(settle(guess, last, at, |index| self.knots.get(index).map_or(i64::MAX, Knot::at)))
    }

    fn stretch(&self, index: usize) -> Option<Stretch<'_>> {
        let end = self.knots.get(index + 1)?.at();
        self.knots.get(index).map(|knot| Stretch { knot, length: end - knot.at() })
    }

    /// All stretches from the one an instant lies in.
    pub fn stretches_from(&self, at: i64) -> impl Iterator<Item = Stretch<'_>> {
        let first = self.knots.partition_point(|knot| knot.at() <= at).saturating_sub(1);
        (first..self.knots.len()).map_while(|index| self.stretch(index))
    }

    /// The last stretch that begins while something is still within its bound. Most ask how long what is projected may last, so the last
    /// of all is tried first.
    pub fn last_beginning(&self, within: impl Fn(&Knot) -> bool) -> Option<Stretch<'_>> {
        let last = self.knots.len().saturating_sub(2);
        if self.knots.get(last).is_some_and(&within) {
            return self.stretch(last);
        }
        self.stretch(self.knots.partition_point(within).saturating_sub(1))
    }
}

/// The last of the things numbered to `last` that begins at or before an instant, or the first of all, looked for from a guess. One that is
/// next to it is put right without a branch: the processor would have to guess as well, and wait for memory to learn that it was wrong.
pub fn settle(guess: usize, last: usize, at: i64, begins: impl Fn(usize) -> i64) -> usize {
    let steps = usize::from(begins(guess) <= at) + usize::from(begins(guess + 1) <= at);
    let index = (guess + steps).saturating_sub(1).min(last);
    if (begins(index) <= at || index == 0) && (begins(index + 1) > at || index == last) {
        return index;
    }
    let (mut low, mut high) = (0, last + 1);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if begins(middle) <= at { low = middle } else { high = middle }
    }
    low
}
