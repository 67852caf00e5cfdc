//! What was measured in places. Readings are kept for good; of each instant the warmest counts, and what contradicts it is kept beside it.
//! Every transaction that changes something leaves a delivery: who knows its generation can ask what came since.

use super::dialect::{ReadingRow, ReadingsChange, ReadingsTable, change_readings, readings_at};
use super::error::StoreError;
use super::schema::{places, reading_deliveries as deliveries, readings};
use super::trays::instant;
use super::write::Tx;
use crate::domain::life::curve::Reading;
use crate::domain::logger::settle::{Fate, Settled, settle};
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;
use diesel::dsl::{max, min};
use diesel::prelude::*;

/// What a transaction changed: everything between these instants may be different now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Changed {
    pub first_at: Instant,
    pub last_at: Instant,
    /// Of the place, after the change.
    pub generation: i64,
}

/// The fate of each reading, in the order given, and what was changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    pub fates: Vec<Fate>,
    pub changed: Option<Changed>,
}

/// Takes readings of a place that exists, in any order.
pub fn take(
    tx: &mut Tx<'_>,
    place: &str,
    incoming: &[Reading],
    now: Instant,
    actor: &str,
) -> Result<Taken, StoreError> {
    let settled = settle_here(tx, place, incoming)?;
    write(tx, place, now, &settled)?;
    let changes = settled.inserted.iter().chain(&settled.raised).map(|reading| reading.at);
    let changed = match (changes.clone().min(), changes.clone().max()) {
        (Some(first_at), Some(last_at)) => {
            let generation = generation(tx, place)? + 1;
            let changed = Changed { first_at, last_at, generation };
            note(tx, place, &changed, changes.count(), now, actor)?;
            Some(changed)
        }
        _ => None,
    };
    Ok(Taken { fates: settled.fates, changed })
}

/// Settles readings against what is there at their instants; nothing is there at instants after the last.
fn settle_here(tx: &mut Tx<'_>, place: &str, incoming: &[Reading]) -> Result<Settled, StoreError> {
    let Some(first) = incoming.iter().map(|reading| reading.at).min() else { return Ok(Settled::default()) };
    if last(tx, place)?.is_none_or(|last| last.at < first) {
        return Ok(settle(&[], &[], incoming));
    }
    let instants: Vec<i64> = incoming.iter().map(|reading| reading.at.micros()).collect();
    let mut found = |table| -> Result<Vec<Reading>, StoreError> {
        readings_at(tx.conn, table, place, &instants)?.into_iter().map(TryInto::try_into).collect()
    };
    let there = found(ReadingsTable::Readings)?;
    let aside = if there.is_empty() { Vec::new() } else { found(ReadingsTable::Contradictions)? };
    Ok(settle(&there, &aside, incoming))
}

fn write(tx: &mut Tx<'_>, place: &str, now: Instant, settled: &Settled) -> Result<(), StoreError> {
    let aside = ReadingsChange::SetAside { recorded_at: now.micros() };
    for (change, readings) in
        [(ReadingsChange::Insert, &settled.inserted), (ReadingsChange::Raise, &settled.raised), (aside, &settled.aside)]
    {
        if readings.is_empty() {
            continue;
        }
        let rows: Vec<ReadingRow> = readings.iter().map(ReadingRow::from).collect();
        let written = change_readings(tx.changing(), place, change, &rows)?;
        if written != rows.len() {
            return Err(StoreError::impossible("readings written of those settled", written));
        }
    }
    Ok(())
}

fn note(
    tx: &mut Tx<'_>,
    place: &str,
    changed: &Changed,
    count: usize,
    now: Instant,
    actor: &str,
) -> Result<(), StoreError> {
    let row = (
        deliveries::place_code.eq(place),
        deliveries::generation.eq(changed.generation),
        deliveries::first_at.eq(changed.first_at.micros()),
        deliveries::last_at.eq(changed.last_at.micros()),
        deliveries::accepted.eq(i64::try_from(count).unwrap_or(i64::MAX)),
        deliveries::recorded_at.eq(now.micros()),
        deliveries::actor.eq(actor),
    );
    diesel::insert_into(deliveries::table).values(row).execute(tx.changing())?;
    // Beside the settings of the place, where every judgement finds it without asking for more.
    let of_place = places::table.filter(places::code.eq(place));
    diesel::update(of_place).set(places::readings_generation.eq(changed.generation)).execute(tx.changing())?;
    Ok(())
}

impl From<&Reading> for ReadingRow {
    fn from(reading: &Reading) -> ReadingRow {
        ReadingRow { at: reading.at.micros(), temperature_mc: reading.temperature.get() }
    }
}

impl TryFrom<ReadingRow> for Reading {
    type Error = StoreError;

    fn try_from(row: ReadingRow) -> Result<Reading, StoreError> {
        let temperature =
            MilliCelsius::new(row.temperature_mc).map_err(|e| StoreError::impossible("temperature of a reading", e))?;
        Ok(Reading { at: instant(row.at)?, temperature })
    }
}

fn read(rows: Vec<(i64, i64)>) -> Result<Vec<Reading>, StoreError> {
    rows.into_iter().map(|(at, temperature_mc)| ReadingRow { at, temperature_mc }.try_into()).collect()
}

/// Readings of a place from one instant to another, both included, by time.
pub fn between(
    reading: &mut super::Reading<'_>,
    place: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<Reading>, StoreError> {
    let rows = readings::table
        .filter(readings::place_code.eq(place))
        .filter(readings::at.between(from.micros(), to.micros()))
        .order(readings::at)
        .select((readings::at, readings::temperature_mc))
        .load(reading.conn)?;
    read(rows)
}

/// All readings of a place, by time.
pub fn all(reading: &mut super::Reading<'_>, place: &str) -> Result<Vec<Reading>, StoreError> {
    between(reading, place, Instant::EPOCH, instant(Instant::MAXIMUM)?)
}

/// The newest readings of a place from one instant to another, both included, newest first.
pub fn page(
    reading: &mut super::Reading<'_>,
    place: &str,
    from: Instant,
    to: Instant,
    limit: i64,
) -> Result<Vec<Reading>, StoreError> {
    let rows = readings::table
        .filter(readings::place_code.eq(place))
        .filter(readings::at.between(from.micros(), to.micros()))
        .order(readings::at.desc())
        .limit(limit)
        .select((readings::at, readings::temperature_mc))
        .load(reading.conn)?;
    read(rows)
}

/// The newest reading of a place.
pub fn last(reading: &mut super::Reading<'_>, place: &str) -> Result<Option<Reading>, StoreError> {
    let newest = page(reading, place, Instant::EPOCH, instant(Instant::MAXIMUM)?, 1)?;
    Ok(newest.first().copied())
}

/// How many deliveries have changed the readings of a place; 0 before the first.
pub fn generation(reading: &mut super::Reading<'_>, place: &str) -> Result<i64, StoreError> {
    let newest = deliveries::table.filter(deliveries::place_code.eq(place)).select(max(deliveries::generation));
    Ok(newest.get_result::<Option<i64>>(reading.conn)?.unwrap_or(0))
}

/// What was changed after a generation; none when nothing was.
pub fn changed_since(
    reading: &mut super::Reading<'_>,
    place: &str,
    generation: i64,
) -> Result<Option<Changed>, StoreError> {
    let since = deliveries::table
        .filter(deliveries::place_code.eq(place))
        .filter(deliveries::generation.gt(generation))
        .select((min(deliveries::first_at), max(deliveries::last_at), max(deliveries::generation)));
    let found: (Option<i64>, Option<i64>, Option<i64>) = since.get_result(reading.conn)?;
    let (Some(first), Some(last), Some(generation)) = found else { return Ok(None) };
    Ok(Some(Changed { first_at: instant(first)?, last_at: instant(last)?, generation }))
}
