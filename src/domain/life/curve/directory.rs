//! The chunks of a curve in order, with the sums up to each, and how readings are taken into them. The first chunk is the time before the
//! first reading and holds none; every other one begins with its first reading.

use super::Reading;
use super::chunk::{Before, CAPACITY, Chunk, Ground, Stretch, settle};
use super::knot::Sums;
use std::sync::Arc;

#[derive(Debug, Clone, Default)]
pub struct Directory {
    chunks: Vec<Chunk>,
    /// Chunks that hold readings are guessed to begin evenly from here, so many of them in 2^44 ticks, each tick two to the power of
    /// `tick_bits` microseconds.
    from: i64,
    tick_bits: u32,
    chunks_per_tick: u64,
    /// Every sum fits with room to spare, from the beginning of time to its end.
    pub small: bool,
}

impl Directory {
    /// Of readings in order, no two at one instant.
    pub fn new(ground: Ground, readings: &[Reading]) -> Directory {
        let mut directory = Directory::default();
        directory.chunks.push(Chunk::new(ground, Arc::default(), readings.first().copied(), Before::Nothing));
        directory.chunks.extend(cut(ground, readings, None, None));
        directory.add_up(0);
        directory
    }

    pub fn chunks(&self) -> &[Chunk] {
        &self.chunks
    }

    /// The number of the chunk an instant lies in.
    pub fn number_at(&self, at: i64) -> usize {
        let begins = |number: usize| self.chunks.get(number).map_or(i64::MAX, |chunk| chunk.start);
        let last = self.chunks.len().saturating_sub(1);
        settle(self.guess(at).min(last), last, at, begins)
    }

    #[inline(always)]
    fn guess(&self, at: i64) -> usize {
        // What lies before the first reading comes out anywhere.
        let ticks = at.wrapping_sub(self.from).cast_unsigned() >> (self.tick_bits & 63);
        (ticks.wrapping_mul(self.chunks_per_tick) >> 44) as usize + 1
    }

    /// The chunk an instant lies in, and the stretch in it.
    #[inline(always)]
    pub fn at(&self, at: i64) -> Option<(&Chunk, Stretch<'_>)> {
        let chunk = match self.chunks.get(self.guess(at)) {
            Some(chunk) if chunk.start <= at && at < chunk.end => chunk,
            _ => self.searched(at)?,
        };
        chunk.at(at).map(|stretch| (chunk, stretch))
    }

    #[cold]
    #[inline(never)]
    fn searched(&self, at: i64) -> Option<&Chunk> {
        self.chunks.get(self.number_at(at))
    }

    pub fn first_reading(&self) -> Option<Reading> {
        self.first_of(1)
    }

    pub fn last_reading(&self) -> Option<Reading> {
        self.chunks.last().and_then(|chunk| chunk.readings.last().copied())
    }

    fn first_of(&self, number: usize) -> Option<Reading> {
        self.chunks.get(number).and_then(|chunk| chunk.readings.first().copied())
    }

    /// Takes in readings in order, no two at one instant; says how many were new instants.
    pub fn insert(&mut self, ground: Ground, mut readings: &[Reading]) -> usize {
        let mut added = 0;
        let mut lowest: Option<usize> = None;
        while let Some(first) = readings.first() {
            let number = self.number_at(first.at.micros()).max(1);
            let border = self.chunks.get(number + 1).map_or(i64::MAX, |chunk| chunk.start);
            let (run, rest) = readings.split_at(readings.partition_point(|reading| reading.at.micros() < border));
            readings = rest;
            if let Some(more) = self.insert_run(ground, number, run) {
                added += more;
                lowest = lowest.or(Some(number - 1));
            }
        }
        // Runs come in order, so the first that changed anything is the lowest.
        if let Some(lowest) = lowest {
            self.add_up(lowest);
        }
        added
    }

    /// Takes a run of readings into one chunk; none when they change nothing.
    fn insert_run(&mut self, ground: Ground, number: usize, run: &[Reading]) -> Option<usize> {
        let old = self.chunks.get(number);
        let before: &[Reading] = old.map_or(&[], |chunk| &chunk.readings);
        let merged = merge(before, run);
        if merged == before {
            return None;
        }
        let added = merged.len() - before.len();
        let begins_otherwise = merged.first() != before.first();
        let new = cut(ground, &merged, self.first_of(number + 1), old);
        let end = (number + 1).min(self.chunks.len());
        self.chunks.splice(number.min(end)..end, new);
        if begins_otherwise {
            self.lay_anew(ground, number - 1, merged.first().copied());
        }
        Some(added)
    }

    /// Lays the end of a chunk anew when the next chunk begins with another reading than before.
    fn lay_anew(&mut self, ground: Ground, number: usize, next: Option<Reading>) {
        if let Some(chunk) = self.chunks.get_mut(number) {
            let base = chunk.base;
            *chunk = Chunk::new(ground, chunk.readings.clone(), next, Before::OtherNext(chunk));
            chunk.base = base;
        }
    }

    /// What each chunk knows of those before and after it, from one on whose own sums are right.
    fn add_up(&mut self, from: usize) {
        let mut carried = self.chunks.get(from).map_or(Sums::default(), |chunk| chunk.base);
        let mut ends: Vec<i64> = self.chunks.iter().skip(from + 1).map(|chunk| chunk.start).collect();
        ends.push(i64::MAX);
        for (chunk, end) in self.chunks.iter_mut().skip(from).zip(ends) {
            chunk.base = carried;
            chunk.end = end;
            carried = carried.plus(chunk.total());
        }
        self.small = carried.largest() < i64::MAX - (1 << 32);
        let begins = |chunk: Option<&Chunk>| chunk.map_or(0, |chunk| chunk.start);
        self.from = begins(self.chunks.get(1));
        let span = (begins(self.chunks.last()) - self.from).max(0).cast_unsigned();
        self.tick_bits = (u64::BITS - span.leading_zeros()).saturating_sub(32);
        let steps = self.chunks.len().saturating_sub(2) as u64;
        self.chunks_per_tick = (steps << 44).checked_div(span >> self.tick_bits).unwrap_or(0);
    }
}

/// Cuts readings into chunks: full ones where the last reading is the newest of all, since more will come after it; even ones otherwise.
fn cut(ground: Ground, readings: &[Reading], next: Option<Reading>, old: Option<&Chunk>) -> Vec<Chunk> {
    let count = readings.len().div_ceil(CAPACITY).max(1);
    let size = if next.is_none() { CAPACITY } else { readings.len().div_ceil(count).max(1) };
    let mut chunks = Vec::with_capacity(count);
    let mut pieces = readings.chunks(size).peekable();
    while let Some(piece) = pieces.next() {
        let follower = pieces.peek().map_or(next, |following| following.first().copied());
        let before = match old {
            Some(old) if count == 1 => Before::SameNext(old),
            Some(old) if chunks.is_empty() => Before::OtherNext(old),
            _ => Before::Nothing,
        };
        chunks.push(Chunk::new(ground, piece.into(), follower, before));
    }
    chunks
}

/// Both in order; of two at one instant the warmer stays.
fn merge(one: &[Reading], other: &[Reading]) -> Vec<Reading> {
    let mut merged = [one, other].concat();
    order(&mut merged);
    merged
}

/// In order of time; of several readings at one instant the warmest stays.
pub fn order(readings: &mut Vec<Reading>) {
    readings.sort_by_key(|reading| (reading.at, std::cmp::Reverse(reading.temperature)));
    readings.dedup_by_key(|reading| reading.at);
}
