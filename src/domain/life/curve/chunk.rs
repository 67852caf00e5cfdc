//! A chunk of a curve: some readings in a row and the knots laid from the first of them to the first of the next chunk, with sums that
//! begin at the chunk. What stands before or after does not reach into it, so a late reading touches only the chunk it falls into.

use super::Reading;
use super::knot::{Bend, Knot, Laid, Regimes, Rest, Sums, rounded};
use super::laying::{Eras, Laying};
use crate::domain::life::rate::Sum;
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
    /// Cells of an even length, in 2^58 ticks; inside one, knots are guessed to stand evenly.
    cells_per_tick: u64,
    /// From the first knot to the last, counted in ticks of two to the power of `tick_bits` microseconds: fewer than 2^32.
    ticks: u32,
    tick_bits: u8,
    /// Borders are counted in parts of a knot, two to this power of them.
    part_bits: u8,
    /// The sums up to the chunk.
    pub base: Sums,
    rests: Arc<[Rest]>,
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
        self.knot.bend.at()
    }

    pub fn to(&self) -> i64 {
        self.knot.bend.at() + self.length
    }

    /// Rounded up to a whole milli-degree.
    pub fn temperature(&self, at: i64) -> MilliCelsius {
        rounded(self.knot.bend.mc_after(at - self.from(), self.length))
    }

    pub fn measured(&self) -> bool {
        self.knot.bend.kind().evidence == Evidence::Measured
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
        let head_of = |old: &Chunk| old.laid(0, old.knot_of(readings.get(first)));
        let (laid, sums) = old.filter(|_| first > 0).map(head_of).unwrap_or_default();
        let tail_from = readings.len() - behind;
        let tail_of = |old: &Chunk| old.laid(old.knot_of(readings.get(tail_from)), old.knots.len()).0;
        let tail = old.filter(|_| behind > 0).map(tail_of).unwrap_or_default();
        let mut laying = Laying { eras: ground.eras, regimes: ground.regimes, laid, sums };
        if readings.is_empty() {
            laying.between(None, next);
        }
        for index in first..tail_from {
            laying.between(readings.get(index).copied(), readings.get(index + 1).copied().or(next));
        }
        let laid = laying.join(&tail, next.map_or(Instant::MAXIMUM, |reading| reading.at.micros()));
        Chunk::of(readings, &laid)
    }

    /// Knots as they were laid, and the sums up to the one after them.
    fn laid(&self, from: usize, to: usize) -> (Vec<Laid>, Sums) {
        let some = self.knots.get(from..to).unwrap_or(&[]);
        let laid = some.iter().map(|knot| Laid { bend: knot.bend, sums: self.sums_at(knot) }).collect();
        (laid, self.knots.get(to).map_or(Sums::default(), |knot| self.sums_at(knot)))
    }

    /// All sums from the beginning of the chunk to a knot.
    #[inline(always)]
    pub fn sums_at(&self, knot: &Knot) -> Sums {
        match self.rests.get(knot.rest as usize) {
            Some(rest) => rest.with(knot.raw),
            None => Sums::default(),
        }
    }

    /// One sum from the beginning of the chunk to a knot.
    pub fn sum_at(&self, knot: &Knot, sum: Sum) -> i64 {
        if sum == Sum::Raw { knot.raw } else { self.sums_at(knot).of(sum) }
    }

    fn knot_of(&self, reading: Option<&Reading>) -> usize {
        reading.map_or(0, |reading| self.knots.partition_point(|knot| knot.bend.at() < reading.at.micros()))
    }

    fn of(readings: Arc<[Reading]>, laid: &[Laid]) -> Chunk {
        let mut rests: Vec<Rest> = Vec::new();
        let mut keep = |laid: &Laid| {
            let rest = Rest::of(&laid.sums);
            if rests.last() != Some(&rest) {
                rests.push(rest);
            }
            Knot { bend: laid.bend, raw: laid.sums.raw, rest: rests.len() as u32 - 1 }
        };
        let knots: Arc<[Knot]> = laid.iter().map(&mut keep).collect();
        let start = knots.first().map_or(0, |knot| knot.bend.at());
        let last = knots.iter().rev().nth(1).map_or(start, |knot| knot.bend.at());
        let bits = |number: usize| usize::BITS - number.leading_zeros();
        let part_bits = 16_u32.saturating_sub(bits(knots.len()));
        let span = (last - start).cast_unsigned();
        let tick_bits = (u64::BITS - span.leading_zeros()).saturating_sub(32);
        let ticks = span >> tick_bits;
        let cells_per_tick = ALL_CELLS.checked_div(ticks).unwrap_or(0);
        let border = |number: usize| {
            let at = start + (span as f64 * (number as f64 / CELLS as f64)) as i64;
            let after = knots.partition_point(|knot| knot.bend.at() <= at);
            let stretch =
                after.checked_sub(1).and_then(|index| Some((knots.get(index)?.bend.at(), knots.get(after)?.bend.at())));
            let share = stretch.map_or(0.0, |(from, to)| (at - from) as f64 / (to - from) as f64);
            ((after.saturating_sub(1) as f64 + share) * f64::from(1 << part_bits)) as u16
        };
        let borders = std::array::from_fn(border);
        Chunk {
            start,
            end: Instant::MAXIMUM,
            knots,
            ticks: ticks as u32,
            cells_per_tick,
            tick_bits: tick_bits as u8,
            part_bits: part_bits as u8,
            base: Sums::default(),
            rests: rests.into(),
            readings,
            borders,
        }
    }

    /// The sums from the beginning of the chunk to its end.
    pub fn total(&self) -> Sums {
        self.knots.last().map_or(Sums::default(), |end| self.sums_at(end))
    }

    /// The stretch an instant of the chunk lies in; an instant at a knot lies after it.
    #[inline(always)]
    pub fn at(&self, at: i64) -> Option<Stretch<'_>> {
        match self.beside(self.guess(at), at) {
            None => self.searched(at),
            found => found,
        }
    }

    /// The same, if it is no more than one beside a guess. It is put right without a branch: the processor would have to guess as well, and
    /// wait for memory to learn that it was wrong.
    #[inline(always)]
    fn beside(&self, guess: usize, at: i64) -> Option<Stretch<'_>> {
        let through = Bend::through(at);
        let (other, one) = (self.knots.get(guess + 1)?, self.knots.get(guess)?);
        let next =
            guess + usize::from(one.bend.begins_within(through)) + usize::from(other.bend.begins_within(through));
        let (next, knot) = (self.knots.get(next)?, self.knots.get(next.wrapping_sub(1))?);
        let good = knot.bend.begins_within(through) && !next.bend.begins_within(through);
        good.then(|| Stretch { knot, length: next.bend.at() - knot.bend.at() })
    }

    /// The number of the knot after which an instant should lie, going by the cells alone.
    #[inline(always)]
    fn guess(&self, at: i64) -> usize {
        let ticks = ((at - self.start).cast_unsigned() >> (self.tick_bits & 63)).min(u64::from(self.ticks));
        let cells = ticks * self.cells_per_tick;
        let number = (cells >> CELL_BITS) as usize;
        let border = |number: usize| self.borders.get(number).map_or(0, |border| u64::from(*border));
        let (low, high, into) = (border(number), border(number + 1), u64::from((cells >> (CELL_BITS - 32)) as u32));
        let parts = low + ((into * (high - low)) >> 32);
        (parts as u32 >> (self.part_bits & 31)) as usize
    }

    /// Where hours are missing, the guess is off by what is missing: from there on knots are counted by their mean distance, which leads
    /// to the right one, or over the gap and then to the right one, unless the instant lies in the gap.
    #[cold]
    #[inline(never)]
    fn searched(&self, at: i64) -> Option<Stretch<'_>> {
        let last = self.knots.len().saturating_sub(2);
        let begins = |index: usize| self.knots.get(index).map_or(i64::MAX, |knot| knot.bend.at());
        let knots_per_micro = last as f64 / (begins(last) - self.start) as f64;
        let (mut low, mut high) = (0, last + 1);
        let mut guess = self.guess(at).min(last);
        for _ in 0..3 {
            let off = at - begins(guess);
            if off < 0 {
                high = guess
            } else {
                low = guess
            }
            guess = guess.saturating_add_signed((off as f64 * knots_per_micro).floor() as isize).clamp(low, high);
            if let Some(stretch) = self.beside(guess, at) {
                return Some(stretch);
            }
        }
        self.stretch(halve((low, high), at, begins))
    }

    fn stretch(&self, index: usize) -> Option<Stretch<'_>> {
        let end = self.knots.get(index + 1)?.bend.at();
        self.knots.get(index).map(|knot| Stretch { knot, length: end - knot.bend.at() })
    }

    /// All stretches from the one an instant lies in.
    pub fn stretches_from(&self, at: i64) -> impl Iterator<Item = Stretch<'_>> {
        let first = self.knots.partition_point(|knot| knot.bend.at() <= at).saturating_sub(1);
        (first..self.knots.len()).map_while(|index| self.stretch(index))
    }

    /// The last stretch that begins while a sum is still within a bound. Most ask how long what is projected may last, so the last of all
    /// is tried first.
    pub fn last_beginning(&self, sum: Sum, bound: i64) -> Option<Stretch<'_>> {
        let last = self.knots.len().saturating_sub(2);
        let within = |knot: &Knot| self.sum_at(knot, sum) <= bound;
        if self.knots.get(last).is_some_and(within) {
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
    halve((0, last + 1), at, begins)
}

/// The last of the things between two numbers that begins at or before an instant; the first of them does, or is the first of all.
fn halve((mut low, mut high): (usize, usize), at: i64, begins: impl Fn(usize) -> i64) -> usize {
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if begins(middle) <= at { low = middle } else { high = middle }
    }
    low
}
