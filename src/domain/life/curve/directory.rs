//! The chunks of a curve in order, with the sums up to each, and how readings are taken into them. The first chunk is the time before the
//! first reading and holds none; every other one begins with its first reading.

use super::Reading;
use super::chunk::{CAPACITY, Chunk, Ground, Stretch};
use super::knot::Sums;
use crate::units::instant::Instant;
use std::sync::Arc;

/// A chunk and where it begins, in time and in sums.
#[derive(Debug, Clone)]
pub struct Slot {
    pub start: i64,
    pub base: Sums,
    pub chunk: Arc<Chunk>,
}

#[derive(Debug, Clone, Default)]
pub struct Directory {
    slots: Vec<Slot>,
    /// Time from the second slot to the last is shared out evenly; each bucket knows the last slot that begins before it.
    buckets: Vec<u32>,
    buckets_per_micro: f64,
    origin: i64,
}

impl Directory {
    /// Of readings in order, no two at one instant.
    pub fn new(ground: Ground, readings: &[Reading]) -> Directory {
        let mut directory = Directory::default();
        let head = Chunk::new(ground, Box::default(), readings.first().copied(), None);
        directory.slots.push(slot(Instant::MINIMUM, head));
        directory.slots.extend(cut(ground, readings, None, None));
        directory.add_up(0);
        directory.index();
        directory
    }

    pub fn slots(&self) -> &[Slot] {
        &self.slots
    }

    /// The number of the slot an instant lies in.
    pub fn number_at(&self, at: i64) -> usize {
        let number = ((at - self.origin) as f64 * self.buckets_per_micro) as usize;
        let last = self.buckets.len().saturating_sub(1);
        let entry = |number: usize| self.buckets.get(number).map(|entry| *entry as usize);
        let mut found = entry(number.min(last)).unwrap_or(0);
        let furthest = entry(number + 1).unwrap_or(self.slots.len());
        if furthest > found + 8 {
            let rest = self.slots.get(found..).unwrap_or(&[]);
            found += rest.partition_point(|slot| slot.start <= at).saturating_sub(1);
        }
        while self.slots.get(found + 1).is_some_and(|next| next.start <= at) {
            found += 1;
        }
        found
    }

    /// The slot an instant lies in, and the stretch in it.
    pub fn at(&self, at: i64) -> Option<(&Slot, Stretch<'_>)> {
        let slot = self.slots.get(self.number_at(at))?;
        slot.chunk.at(at).map(|stretch| (slot, stretch))
    }

    pub fn first_reading(&self) -> Option<Reading> {
        self.first_of(1)
    }

    pub fn last_reading(&self) -> Option<Reading> {
        self.slots.last().and_then(|slot| slot.chunk.readings.last().copied())
    }

    fn first_of(&self, number: usize) -> Option<Reading> {
        self.slots.get(number).and_then(|slot| slot.chunk.readings.first().copied())
    }

    /// Takes in readings in order, no two at one instant; says how many were new instants.
    pub fn insert(&mut self, ground: Ground, mut readings: &[Reading]) -> usize {
        let mut added = 0;
        let mut lowest = self.slots.len();
        while let Some(first) = readings.first() {
            let number = self.number_at(first.at.micros()).max(1);
            let border = self.slots.get(number + 1).map_or(i64::MAX, |next| next.start);
            let (run, rest) = readings.split_at(readings.partition_point(|reading| reading.at.micros() < border));
            readings = rest;
            if let Some(more) = self.insert_run(ground, number, run) {
                added += more;
                lowest = lowest.min(number.saturating_sub(1));
            }
        }
        self.add_up(lowest);
        added
    }

    /// Takes a run of readings into one slot; none when they change nothing.
    fn insert_run(&mut self, ground: Ground, number: usize, run: &[Reading]) -> Option<usize> {
        let old = self.slots.get(number).map(|slot| slot.chunk.clone());
        let before: &[Reading] = old.as_ref().map_or(&[], |chunk| &chunk.readings);
        let merged = merge(before, run);
        if merged == before {
            return None;
        }
        let added = merged.len() - before.len();
        let begins_otherwise = merged.first() != before.first();
        let next = self.first_of(number + 1);
        let new = cut(ground, &merged, next, old.as_deref());
        let same_starts = new.len() == 1 && !begins_otherwise;
        let end = (number + 1).min(self.slots.len());
        self.slots.splice(number.min(end)..end, new);
        if begins_otherwise {
            self.lay_anew(ground, number - 1, merged.first().copied());
        }
        if !same_starts {
            self.index();
        }
        Some(added)
    }

    /// Lays a chunk anew whose next chunk begins with another reading than before.
    fn lay_anew(&mut self, ground: Ground, number: usize, next: Option<Reading>) {
        if let Some(slot) = self.slots.get_mut(number) {
            let chunk = Chunk::new(ground, slot.chunk.readings.clone(), next, Some(&slot.chunk));
            slot.chunk = Arc::new(chunk);
        }
    }

    /// The sums up to each slot, from one on whose own are right.
    fn add_up(&mut self, from: usize) {
        let mut carried = self.slots.get(from).map_or(Sums::default(), |slot| slot.base);
        for slot in self.slots.iter_mut().skip(from) {
            slot.base = carried;
            carried = carried.plus(slot.chunk.total);
        }
    }

    fn index(&mut self) {
        self.origin = self.slots.get(1).map_or(0, |slot| slot.start);
        let last = self.slots.last().map_or(0, |slot| slot.start);
        let count = self.slots.len() * 2;
        self.buckets_per_micro = count as f64 / (last - self.origin + 1) as f64;
        self.buckets.clear();
        let mut before = 0;
        for number in 0..count {
            while self.slots.get(before).is_some_and(|slot| self.bucket(slot.start, count) < number) {
                before += 1;
            }
            self.buckets.push(u32::try_from(before.saturating_sub(1)).unwrap_or(u32::MAX));
        }
    }

    fn bucket(&self, at: i64, count: usize) -> usize {
        (((at - self.origin) as f64 * self.buckets_per_micro) as usize).min(count.saturating_sub(1))
    }
}

fn slot(start: i64, chunk: Chunk) -> Slot {
    Slot { start, base: Sums::default(), chunk: Arc::new(chunk) }
}

/// Cuts readings into slots. Full ones first where the last reading is the newest of all, since more will come after it; even ones
/// otherwise.
fn cut(ground: Ground, readings: &[Reading], next: Option<Reading>, old: Option<&Chunk>) -> Vec<Slot> {
    let count = readings.len().div_ceil(CAPACITY).max(1);
    let size = if next.is_none() { CAPACITY } else { readings.len().div_ceil(count).max(1) };
    let mut slots = Vec::with_capacity(count);
    let mut pieces = readings.chunks(size).peekable();
    while let Some(piece) = pieces.next() {
        let follower = pieces.peek().map_or(next, |following| following.first().copied());
        let start = piece.first().map_or(0, |reading| reading.at.micros());
        let chunk = Chunk::new(ground, piece.into(), follower, old.filter(|_| slots.is_empty()));
        slots.push(slot(start, chunk));
    }
    slots
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
