//! Takes what a logger says into the record of a place, some thousand lines at a time: each batch is one act, so that what was taken stays
//! when the rest does not come. Sending it again changes nothing.

use super::desk::{Actor, Desk};
use super::failure::{Failure, refuse};
use super::{freeze_parasites, repair, watch};
use crate::domain::life::curve::Reading as Measured;
use crate::domain::logger::Line;
use crate::domain::logger::tally::{Tally, storable, tally};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::store::catalogue::place;
use crate::store::error::StoreError;
use crate::store::readings::{self, Changed};
use crate::store::{Reading, Tx, evidence};
use crate::units::instant::Instant;
use std::sync::Arc;

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
    pub follows: Follows,
}

/// What followed from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Follows {
    /// Trays in stock whose past was another than had been reckoned.
    pub lives_changed: usize,
    /// Alarms raised, changed or cleared, and records of freezing that it refutes.
    pub alarms_changed: usize,
}

impl Follows {
    pub fn add(&mut self, other: Follows) {
        self.lives_changed += other.lives_changed;
        self.alarms_changed += other.alarms_changed;
    }
}

/// Begins a delivery to a place that exists.
pub fn begin(reading: &mut Reading<'_>, code: &str) -> Result<Delivery, Failure> {
    let Some(place) = place::find(reading, code)? else {
        return refuse(Code::NotFound, "code", "there is no such place");
    };
    let newest_before = readings::last(reading, &place.code)?.map(|newest| newest.at);
    Ok(Delivery { place: place.code, newest_before })
}

/// Takes some lines of a delivery as one act, and brings the curve of the place up to date for everyone: the next batch would else have to
/// begin with all that came since someone last looked.
pub fn deliver(
    desk: &Desk,
    actor: &Actor,
    now: Instant,
    delivery: &Arc<Delivery>,
    lines: Arc<Vec<Line>>,
) -> Result<Taken, Failure> {
    let (actor, same) = (actor.clone(), Arc::clone(delivery));
    let taken = desk.act(move |tx, shop| take(tx, shop, &actor, now, &same, &lines))?;
    desk.look(|reading, _| settle(reading, delivery))?;
    Ok(taken)
}

/// Takes some lines of a delivery.
pub fn take(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    delivery: &Delivery,
    lines: &[Line],
) -> Result<Taken, Failure> {
    let taken = readings::take(tx, &delivery.place, &storable(lines, now), now, &actor.name)?;
    let mut follows = Follows::default();
    if let Some(changed) = &taken.changed {
        follows = follow(tx, shop, now, &delivery.place, changed)?;
    }
    let tally = tally(lines, now, &taken.fates, delivery.newest_before);
    Ok(Taken { tally, changed: taken.changed, follows })
}

/// What other temperatures mean for the shop: lives told anew, alarms.
fn follow(tx: &mut Tx<'_>, shop: &Shop, now: Instant, code: &str, changed: &Changed) -> Result<Follows, Failure> {
    let place = place::find(tx, code)?.ok_or_else(|| StoreError::impossible("place", code))?;
    let curve = evidence::curve(tx, &place)?;
    // A reading changes the line from the one before it to the one after it, and everything after the last.
    let from = curve.neighbours(changed.first_at).0.unwrap_or(Instant::EPOCH);
    let to = curve.neighbours(changed.last_at).1;
    let lives_changed = repair::after_readings(tx, &place.code, from, to)?;
    let mut alarms_changed = watch::after_readings(tx, &place, from, to, now)?;
    alarms_changed += freeze_parasites::after_readings(tx, shop, &place, from, to, now)?;
    if lives_changed > 0 {
        alarms_changed += watch::go_round(tx, shop, now)?;
    }
    Ok(Follows { lives_changed, alarms_changed })
}

/// Brings the curve of a place up to date for everyone, after a batch was taken.
fn settle(reading: &mut Reading<'_>, delivery: &Delivery) -> Result<(), Failure> {
    if let Some(place) = place::find(reading, &delivery.place)? {
        evidence::curve(reading, &place)?;
    }
    Ok(())
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
