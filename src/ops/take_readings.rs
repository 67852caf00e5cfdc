//! Takes what a logger says into the record of a place, some thousand lines at a time: each batch is one act, so that what was taken stays
//! when the rest does not come. Sending it again changes nothing.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use crate::domain::life::curve::Reading as Measured;
use crate::domain::logger::Line;
use crate::domain::logger::tally::{Tally, storable, tally};
use crate::domain::refusal::Code;
use crate::store::catalogue::place;
use crate::store::readings::{self, Changed};
use crate::store::{Reading, Tx};
use crate::units::instant::Instant;

/// A delivery that has begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Code of the place.
    pub place: String,
    /// How far its readings went before: what is accepted and older is late.
    pub newest_before: Option<Instant>,
}

/// What became of a batch of lines, and what it changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    pub tally: Tally,
    pub changed: Option<Changed>,
}

/// Begins a delivery to a place that exists.
pub fn begin(reading: &mut Reading<'_>, code: &str) -> Result<Delivery, Failure> {
    let Some(place) = place::find(reading, code)? else {
        return refuse(Code::NotFound, "code", "there is no such place");
    };
    let newest_before = readings::last(reading, &place.code)?.map(|newest| newest.at);
    Ok(Delivery { place: place.code, newest_before })
}

/// Takes some lines of a delivery.
pub fn take(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    delivery: &Delivery,
    lines: &[Line],
) -> Result<Taken, Failure> {
    let taken = readings::take(tx, &delivery.place, &storable(lines, now), now, &actor.name)?;
    let tally = tally(lines, now, &taken.fates, delivery.newest_before);
    Ok(Taken { tally, changed: taken.changed })
}

/// Readings of a place, newest first.
pub fn page(
    reading: &mut Reading<'_>,
    code: &str,
    from: Instant,
    to: Instant,
    limit: i64,
) -> Result<Vec<Measured>, Failure> {
    let Some(place) = place::find(reading, code)? else {
        return refuse(Code::NotFound, "code", "there is no such place");
    };
    Ok(readings::page(reading, &place.code, from, to, limit)?)
}
