//! What a tray lived through, told from the beginning: through the trays it came of, the places they stood in and the temperatures there.
//! Every tray keeps the outcome as its anchor; readings that come late move the anchors of the trays that had left the place meanwhile.

use super::failure::Failure;
use crate::domain::life::wear::{Budgets, Wear, inherit};
use crate::domain::tray::Tray;
use crate::store::catalogue::place;
use crate::store::error::StoreError;
use crate::store::lineage::{self, TakeOver};
use crate::store::stays::{self, Stay};
use crate::store::{Reading, Tx, evidence, lives, trays};
use crate::units::instant::Instant;
use std::collections::HashMap;
use std::rc::Rc;

/// What is known of one tray's past.
struct Past {
    budgets: Budgets,
    cutting: Option<TakeOver>,
    poured: Vec<TakeOver>,
    stays: Vec<Stay>,
}

/// Tells lives; every tray's past is loaded once, every question answered once.
#[derive(Default)]
struct Teller {
    pasts: HashMap<i64, Rc<Past>>,
    told: HashMap<(i64, Instant, i64), Wear>,
}

impl Teller {
    fn past(&mut self, reading: &mut Reading<'_>, tray_id: i64) -> Result<Rc<Past>, Failure> {
        if let Some(past) = self.pasts.get(&tray_id) {
            return Ok(Rc::clone(past));
        }
        let past = Rc::new(Past {
            budgets: lives::of_tray(reading, tray_id)?.budgets,
            cutting: lineage::cutting(reading, tray_id)?,
            poured: lineage::poured_into(reading, tray_id)?,
            stays: stays::of_tray(reading, tray_id)?,
        });
        self.pasts.insert(tray_id, Rc::clone(&past));
        Ok(past)
    }

    /// What a tray had lived through at an instant, after the acts written down before one. An act reaches only what was written before
    /// it, so the telling ends.
    fn tell(&mut self, reading: &mut Reading<'_>, tray_id: i64, at: Instant, before: i64) -> Result<Wear, Failure> {
        if let Some(told) = self.told.get(&(tray_id, at, before)) {
            return Ok(*told);
        }
        let past = self.past(reading, tray_id)?;
        let (mut wear, mut since) = match &past.cutting {
            None => (Wear::default(), past.stays.first().map_or(at, |first| first.from)),
            Some(cutting) => (self.take_over(reading, &[], cutting, &past.budgets)?, cutting.at),
        };
        for pouring in past.poured.iter().filter(|p| p.act_id < before && p.at <= at) {
            wear = wear.plus(stretch(reading, &past.stays, since, pouring.at)?);
            wear = self.take_over(reading, &[(wear, past.budgets)], pouring, &past.budgets)?;
            since = pouring.at;
        }
        wear = wear.plus(stretch(reading, &past.stays, since, at)?);
        self.told.insert((tray_id, at, before), wear);
        Ok(wear)
    }

    fn take_over(
        &mut self,
        reading: &mut Reading<'_>,
        own: &[(Wear, Budgets)],
        act: &TakeOver,
        budgets: &Budgets,
    ) -> Result<Wear, Failure> {
        let mut inputs = own.to_vec();
        for source in &act.sources {
            let wear = self.tell(reading, *source, act.at, act.act_id)?;
            inputs.push((wear, self.past(reading, *source)?.budgets));
        }
        Ok(inherit(&inputs, budgets))
    }
}

/// One act by which a tray took over from others, and what that added to its wear: all of it at a cutting, at a pouring what the source was
/// ahead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenOver {
    pub at: Instant,
    pub poured: bool,
    pub sources: Vec<i64>,
    pub added: Wear,
}

/// What a tray took over, in order. With the cost of its stays that is all it lived through.
pub fn taken_over(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<TakenOver>, Failure> {
    let mut teller = Teller::default();
    let past = teller.past(reading, tray_id)?;
    let mut all = Vec::new();
    let cut = past.cutting.iter().map(|act| (act, false));
    for (act, poured) in cut.chain(past.poured.iter().map(|act| (act, true))) {
        let before = if poured { Some(teller.tell(reading, tray_id, act.at, act.act_id)?) } else { None };
        let own: Vec<(Wear, Budgets)> = before.iter().map(|wear| (*wear, past.budgets)).collect();
        let after = teller.take_over(reading, &own, act, &past.budgets)?;
        let added = after.minus(before.unwrap_or_default());
        all.push(TakenOver { at: act.at, poured, sources: act.sources.clone(), added });
    }
    Ok(all)
}

/// What the stays of a tray cost between two instants.
fn stretch(reading: &mut Reading<'_>, stays: &[Stay], from: Instant, to: Instant) -> Result<Wear, Failure> {
    let mut sum = Wear::default();
    for stay in stays {
        let (begin, end) = (stay.from.max(from), stay.to.map_or(to, |end| end.min(to)));
        if begin < end {
            let place = place::find(reading, &stay.place_code)?
                .ok_or_else(|| StoreError::impossible("place", &stay.place_code))?;
            sum = sum.plus(evidence::curve(reading, &place)?.wear(begin, end));
        }
    }
    Ok(sum)
}

/// What a tray had lived through when its present stay began.
pub fn wear_at_anchor(reading: &mut Reading<'_>, tray: &Tray) -> Result<Wear, Failure> {
    Teller::default().tell(reading, tray.id, tray.lived.as_of, i64::MAX)
}

/// Moves the anchors of the trays in stock that a stretch of a place's time concerns, since readings of it came late: those that stood there
/// and have left it, and those that took over from any that stood there, even where the source stands there still. Gives how many lives
/// changed.
pub fn after_readings(tx: &mut Tx<'_>, place: &str, from: Instant, to: Option<Instant>) -> Result<usize, Failure> {
    let stood = stays::stood_in(tx, place, from, to)?;
    let mut concerned = lineage::heirs_since(tx, stood.iter().map(|(tray, _)| *tray).collect(), from)?;
    concerned.extend(stood.iter().filter(|(_, left)| *left).map(|(tray, _)| *tray));
    let mut teller = Teller::default();
    let mut changed = 0;
    for id in lineage::in_stock(tx, &concerned)? {
        let mut tray = trays::by_id(tx, id)?;
        let wear = teller.tell(tx, id, tray.lived.as_of, i64::MAX)?;
        if wear != tray.lived.wear {
            tray.lived.wear = wear;
            trays::save_with_life(tx, &mut tray)?;
            changed += 1;
        }
    }
    Ok(changed)
}

/// Trays in stock whose anchor is not what the telling gives: none, on a sound database.
pub fn wrong_anchors(reading: &mut Reading<'_>) -> Result<(i64, Vec<String>), Failure> {
    let mut teller = Teller::default();
    let (mut checked, mut wrong) = (0, Vec::new());
    for (code, id, lived) in lives::in_stock(reading)? {
        checked += 1;
        if teller.tell(reading, id, lived.as_of, i64::MAX)? != lived.wear {
            wrong.push(format!("tray {code}"));
        }
    }
    wrong.truncate(20);
    Ok((checked, wrong))
}
