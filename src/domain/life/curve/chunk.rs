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
const BUCKETS: usize = 16;

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

/// Two lines of the processor's cache: the first finds the knot, the second completes the sums.
#[derive(Debug, Clone)]
#[repr(align(64))]
pub struct Chunk {
    pub start: i64,
    /// Time from the first knot to the last is shared out evenly among buckets; inside one, knots are guessed to stand evenly.
    buckets_per_micro: f64,
    /// In order; the last one only ends the chunk.
    knots: Arc<[Knot]>,
    /// How many knots stand before the end of each bucket.
    borders: [u16; BUCKETS],
    /// The sums up to the chunk.
    pub base: Sums,
    pub readings: Arc<[Reading]>,
}

const _: () = assert!(size_of::<Chunk>() == 128);

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
        let width = (last - start) as f64 / BUCKETS as f64;
        let border = |number: usize| {
            let end = start + (width * (number + 1) as f64) as i64;
            u16::try_from(knots.partition_point(|knot| knot.at() < end)).unwrap_or(u16::MAX)
        };
        let borders = std::array::from_fn(border);
        let buckets_per_micro = if width > 0.0 { 1.0 / width } else { 0.0 };
        Chunk { start, buckets_per_micro, knots, borders, base: Sums::default(), readings }
    }

    /// The sums from the beginning of the chunk to its end.
    pub fn total(&self) -> Sums {
        self.knots.last().map_or(Sums::default(), |end| end.sums)
    }

    /// The stretch an instant lies in; an instant at a knot lies after it.
    pub fn at(&self, at: i64) -> Option<Stretch<'_>> {
        self.near(self.guess(at), at)
    }

    /// The number of the knot after which an instant should lie, going by the buckets alone.
    pub fn guess(&self, at: i64) -> usize {
        let place = (at - self.start) as f64 * self.buckets_per_micro;
        let number = (place as usize).min(BUCKETS - 1);
        let border = |number: usize| self.borders.get(number).map_or(0.0, |border| f64::from(*border));
        let (low, high) = (if number == 0 { 0.0 } else { border(number - 1) }, border(number));
        (low + (place - number as f64) * (high - low)) as usize
    }

    /// The stretch an instant lies in, looked for from a guess.
    pub fn near(&self, guess: usize, at: i64) -> Option<Stretch<'_>> {
        let last = self.knots.len().saturating_sub(2);
        self.stretch(settle(guess.min(last), last, at, |index| self.knots.get(index).map_or(i64::MAX, Knot::at)))
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
