//! A chunk of a curve: some readings in a row and the knots laid from the first of them to the first of the next chunk, with sums that
//! begin at the chunk. What stands before or after does not reach into it, so a late reading touches only the chunk it falls into.

use super::Reading;
use super::knot::{Knot, Regimes, Sums, rounded};
use super::laying::{Eras, Laying};
use crate::domain::life::rate::regime::Evidence;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

/// Readings a chunk may hold.
pub const CAPACITY: usize = 256;
const BUCKETS: usize = 256;
/// A bucket's entry counts to here; what lies further is found by halving.
const FURTHEST: usize = u8::MAX as usize;

/// What knots are laid by.
#[derive(Clone, Copy)]
pub struct Ground<'a> {
    pub eras: &'a Eras,
    pub regimes: &'a Regimes,
}

#[derive(Debug)]
pub struct Chunk {
    knots: Box<[Knot]>,
    /// Where the last knot leads to, and the sums up to there.
    end: i64,
    start: i64,
    /// Time from the first knot to the last is shared out evenly among buckets; each knows the last knot that lies before it.
    buckets_per_micro: f64,
    buckets: [u8; BUCKETS],
    pub total: Sums,
    pub readings: Box<[Reading]>,
}

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
    /// Knots of an older form of the chunk are taken over as far as it had the same readings.
    pub fn new(ground: Ground, readings: Box<[Reading]>, next: Option<Reading>, old: Option<&Chunk>) -> Chunk {
        let (kept, sums, done) = old.map_or((Vec::new(), Sums::default(), 0), |old| old.same_as_in(&readings));
        let mut knots = kept;
        knots.reserve(readings.len().saturating_sub(done));
        let mut laying = Laying { eras: ground.eras, regimes: ground.regimes, knots, sums };
        let rest = readings.get(done..).unwrap_or(&[]);
        let followers = rest.iter().skip(1).copied().map(Some).chain([next]);
        if readings.is_empty() {
            laying.between(None, next);
        }
        for (reading, follower) in rest.iter().zip(followers) {
            laying.between(Some(*reading), follower);
        }
        let Laying { knots, sums, .. } = laying;
        let end = next.map_or(Instant::MAXIMUM, |reading| reading.at.micros());
        Chunk::of(readings, knots.into_boxed_slice(), end, sums)
    }

    /// The knots that stay when the readings change to these, the sums where they end, and how many readings they take care of: the
    /// stretch before the first reading that differs is laid anew.
    fn same_as_in(&self, readings: &[Reading]) -> (Vec<Knot>, Sums, usize) {
        let same = self.readings.iter().zip(readings).take_while(|(old, new)| old == new).count();
        let done = same.saturating_sub(1);
        let from = readings.get(done).map_or(0, |reading| reading.at.micros());
        let kept = self.knots.partition_point(|knot| knot.at() < from);
        match (done, self.knots.get(kept)) {
            (1.., Some(next)) => {
                let mut knots = Vec::with_capacity(readings.len() + kept - done);
                knots.extend_from_slice(self.knots.get(..kept).unwrap_or(&[]));
                (knots, next.sums, done)
            }
            _ => (Vec::with_capacity(readings.len()), Sums::default(), 0),
        }
    }

    fn of(readings: Box<[Reading]>, knots: Box<[Knot]>, end: i64, total: Sums) -> Chunk {
        let start = knots.first().map_or(0, Knot::at);
        let last = knots.last().map_or(0, Knot::at);
        let buckets_per_micro = BUCKETS as f64 / (last - start + 1) as f64;
        let mut chunk = Chunk { knots, end, start, buckets_per_micro, buckets: [0; BUCKETS], total, readings };
        let mut buckets = [0; BUCKETS];
        let mut before = 0;
        for (number, entry) in buckets.iter_mut().enumerate() {
            while chunk.knots.get(before).is_some_and(|knot| chunk.bucket(knot.at()) < number) {
                before += 1;
            }
            *entry = u8::try_from(before.saturating_sub(1)).unwrap_or(u8::MAX);
        }
        chunk.buckets = buckets;
        chunk
    }

    fn bucket(&self, at: i64) -> usize {
        // A cast from a negative float saturates at zero.
        (((at - self.start) as f64 * self.buckets_per_micro) as usize).min(BUCKETS - 1)
    }

    /// The stretch an instant lies in; an instant at a knot lies after it.
    pub fn at(&self, at: i64) -> Option<Stretch<'_>> {
        let number = self.bucket(at);
        let mut index = self.buckets.get(number).map_or(0, |entry| usize::from(*entry));
        let next = self.buckets.get(number + 1).map_or(FURTHEST, |entry| usize::from(*entry));
        if next == FURTHEST || next > index + 8 {
            let rest = self.knots.get(index..).unwrap_or(&[]);
            index += rest.partition_point(|knot| knot.at() <= at).saturating_sub(1);
        }
        loop {
            match self.knots.get(index + 1) {
                Some(next) if next.at() <= at => index += 1,
                _ => return self.stretch(index),
            }
        }
    }

    fn stretch(&self, index: usize) -> Option<Stretch<'_>> {
        let end = self.knots.get(index + 1).map_or(self.end, Knot::at);
        self.knots.get(index).map(|knot| Stretch { knot, length: end - knot.at() })
    }

    /// All stretches from the one an instant lies in.
    pub fn stretches_from(&self, at: i64) -> impl Iterator<Item = Stretch<'_>> {
        let first = self.knots.partition_point(|knot| knot.at() <= at).saturating_sub(1);
        (first..self.knots.len()).filter_map(|index| self.stretch(index))
    }

    /// The last stretch that begins while something is still within its bound.
    pub fn last_beginning(&self, within: impl Fn(&Knot) -> bool) -> Option<Stretch<'_>> {
        self.stretch(self.knots.partition_point(within).saturating_sub(1))
    }
}
