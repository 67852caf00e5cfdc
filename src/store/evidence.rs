//! The temperature curve of each place, kept in memory and brought up to date from the readings that came since. The readings are the
//! truth; a curve is thrown away with the process.

use super::catalogue::place;
use super::error::StoreError;
use super::read::Reading;
use super::readings;
use super::schema::place_eras;
use super::trays::instant;
use super::write::Tx;
use crate::domain::life::curve::{Curve, Era};
use crate::domain::place::{Place, StorageMethod};
use crate::domain::profile::Rates;
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;
use diesel::prelude::*;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// A curve, and which state of its place it shows.
#[derive(Clone)]
pub struct Known {
    generation: i64,
    version: i64,
    curve: Arc<Curve>,
}

impl Known {
    const fn shows(&self, place: &Place) -> bool {
        self.generation >= place.generation && self.version >= place.version
    }
}

/// Curves by the code of their place.
pub type Curves = HashMap<String, Known>;

/// The curves of all places, shared by everyone who reads.
pub struct Evidence {
    rates: Rates,
    known: Mutex<Curves>,
}

impl Evidence {
    pub fn new(rates: Rates) -> Evidence {
        Evidence { rates, known: Mutex::default() }
    }

    fn known(&self, place: &str) -> Option<Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner).get(place).cloned()
    }

    /// Keeps the newer of two states.
    fn keep(&self, place: &str, fresh: &Known) {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let older = known.get(place).is_none_or(|k| (k.generation, k.version) < (fresh.generation, fresh.version));
        if older {
            known.insert(place.to_owned(), fresh.clone());
        }
    }
}

/// The curve of a place as this transaction sees it. Readings that another transaction brought since are evidence too, and do no harm.
pub fn curve(reading: &mut Reading<'_>, place: &Place) -> Result<Arc<Curve>, StoreError> {
    let own = reading.unsettled.as_ref().and_then(|own| own.get(&place.code)).cloned();
    let known = own.or_else(|| reading.evidence.known(&place.code));
    if let Some(known) = known.as_ref().filter(|known| known.shows(place)) {
        return Ok(Arc::clone(&known.curve));
    }
    let fresh = match known {
        Some(known) => follow(reading, place, known)?,
        None => build(reading, place)?,
    };
    match &mut reading.unsettled {
        // An act may ask for the same curve once for every tray.
        Some(own) => drop(own.insert(place.code.clone(), fresh.clone())),
        None => reading.evidence.keep(&place.code, &fresh),
    }
    Ok(fresh.curve)
}

/// Reads the curve of every place, so that no act waits for one.
pub fn warm(reading: &mut Reading<'_>) -> Result<(), StoreError> {
    for place in place::list(reading)? {
        curve(reading, &place)?;
    }
    Ok(())
}

fn build(reading: &mut Reading<'_>, place: &Place) -> Result<Known, StoreError> {
    let eras = eras(reading, place)?;
    let all = readings::all(reading, &place.code)?;
    let curve = Arc::new(Curve::new(reading.evidence.rates, &eras, all));
    Ok(Known { generation: place.generation, version: place.version, curve })
}

/// Brings a curve up to date with what changed since.
fn follow(reading: &mut Reading<'_>, place: &Place, known: Known) -> Result<Known, StoreError> {
    let mut curve = Curve::clone(&known.curve);
    if known.version < place.version {
        curve.set_eras(&eras(reading, place)?);
    }
    if let Some(changed) = readings::changed_since(reading, &place.code, known.generation)? {
        curve.insert(&readings::between(reading, &place.code, changed.first_at, changed.last_at)?);
    }
    Ok(Known { generation: place.generation, version: place.version, curve: Arc::new(curve) })
}

fn eras(reading: &mut Reading<'_>, place: &Place) -> Result<Vec<Era>, StoreError> {
    let rows: Vec<(i64, String, i64, i64, i64)> = place_eras::table
        .filter(place_eras::place_code.eq(&place.code))
        .order(place_eras::from_at)
        .select((
            place_eras::from_at,
            place_eras::method,
            place_eras::upper_limit_mc,
            place_eras::gap_minutes,
            place_eras::warm_minutes,
        ))
        .load(reading.conn)?;
    let read = |(from, method, limit, gap, warm): (i64, String, i64, i64, i64)| {
        Ok(Era {
            from: instant(from)?,
            method: StorageMethod::parse(&method).ok_or_else(|| StoreError::impossible("storage method", &method))?,
            upper_limit: MilliCelsius::new(limit).map_err(|e| StoreError::impossible("temperature", e))?,
            gap_micros: gap * MICROS_PER_MINUTE,
            warm_micros: warm * MICROS_PER_MINUTE,
        })
    };
    rows.into_iter().map(read).collect()
}

/// Begins an era of a place: its settings count from here on. What was lived through keeps those it was lived through under. A clock that
/// was set back does not put a new era before one that has begun.
pub fn begin_era(tx: &mut Tx<'_>, place: &Place, from: Instant) -> Result<(), StoreError> {
    let of_place = place_eras::table.filter(place_eras::place_code.eq(&place.code));
    let newest: Option<i64> = of_place.select(diesel::dsl::max(place_eras::from_at)).get_result(tx.changing())?;
    let from = newest.map(instant).transpose()?.map_or(from, |before| from.max(before.plus_micros(1)));
    let row = (
        place_eras::place_code.eq(&place.code),
        place_eras::from_at.eq(from.micros()),
        place_eras::method.eq(place.method.as_str()),
        place_eras::upper_limit_mc.eq(place.upper_limit.get()),
        place_eras::gap_minutes.eq(place.gap_minutes),
        place_eras::warm_minutes.eq(place.warm_minutes),
    );
    diesel::insert_into(place_eras::table).values(row).execute(tx.changing())?;
    Ok(())
}
