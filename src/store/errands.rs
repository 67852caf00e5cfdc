//! What is still to be carried to the kitchen or the freezer because of a decision, and what the kitchen took.

use super::error::StoreError;
use super::read::Reading;
use super::schema::reviewing::{decisions, errands};
use super::schema::{acts, entries, trays};
use super::trays::instant;
use super::write::Tx;
use crate::domain::tray::Tray;
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::collections::BTreeMap;

/// An errand that is still to be done: its tray is in stock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Errand {
    pub id: i64,
    pub decision_id: i64,
    pub tray_id: i64,
    pub cut: String,
    /// kitchen or freeze.
    pub kind: String,
    /// Of a tub, what is still to be carried; none for a block, which goes as a whole.
    pub grams: Option<i64>,
    pub created_at: Instant,
    pub decided_by: String,
}

pub fn insert(
    tx: &mut Tx<'_>,
    decision_id: i64,
    tray_id: i64,
    kind: &str,
    grams: Option<i64>,
    at: Instant,
) -> Result<(), StoreError> {
    let row = (
        errands::decision_id.eq(decision_id),
        errands::tray_id.eq(tray_id),
        errands::kind.eq(kind),
        errands::grams.eq(grams),
        errands::created_at.eq(at.micros()),
    );
    diesel::insert_into(errands::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// The open errands, the oldest first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Errand>, StoreError> {
    type Row = (i64, i64, i64, String, String, Option<i64>, i64, String);
    let rows: Vec<Row> = errands::table
        .inner_join(trays::table.on(trays::id.eq(errands::tray_id)))
        .inner_join(decisions::table.on(decisions::id.eq(errands::decision_id)))
        .filter(errands::done_at.is_null().and(errands::dropped_at.is_null()))
        .filter(trays::fate.is_null())
        .order(errands::id)
        .select((
            errands::id,
            errands::decision_id,
            errands::tray_id,
            trays::cut_code,
            errands::kind,
            errands::grams,
            errands::created_at,
            decisions::decided_by,
        ))
        .load(reading.conn)?;
    rows.into_iter()
        .map(|(id, decision_id, tray_id, cut, kind, grams, created_at, decided_by)| {
            let created_at = instant(created_at)?;
            Ok(Errand { id, decision_id, tray_id, cut, kind, grams, created_at, decided_by })
        })
        .collect()
}

/// The kitchen got so much of a tray in an act: its errands are done as far as that reaches, the named one first and the others by age. All
/// of them are where the kitchen got the last of it.
pub fn kitchen_got(
    tx: &mut Tx<'_>,
    tray: &Tray,
    grams: i64,
    named: Option<i64>,
    (act_id, at, by): (i64, Instant, &str),
) -> Result<(), StoreError> {
    let mut waiting: Vec<(i64, Option<i64>)> = errands::table
        .filter(errands::tray_id.eq(tray.id).and(errands::kind.eq("kitchen")))
        .filter(errands::done_at.is_null().and(errands::dropped_at.is_null()))
        .order(errands::id)
        .select((errands::id, errands::grams))
        .load(tx.changing())?;
    waiting.sort_by_key(|(id, _)| (named != Some(*id), *id));
    let mut got = grams;
    for (id, wanted) in waiting {
        let done = tray.net.is_zero() || wanted.is_some_and(|wanted| wanted <= got);
        let Some(wanted) = wanted.filter(|_| !done) else {
            complete(tx, id, at, by, act_id)?;
            got -= wanted.unwrap_or(got).min(got);
            continue;
        };
        let left = errands::grams.eq(Some(wanted - got));
        diesel::update(errands::table.filter(errands::id.eq(id))).set(left).execute(tx.changing())?;
        got = 0;
    }
    Ok(())
}

/// A tray was frozen in an act: what was to be frozen is, and what was to go to the kitchen does not any more.
pub fn frozen(tx: &mut Tx<'_>, tray_id: i64, (act_id, at, by): (i64, Instant, &str)) -> Result<(), StoreError> {
    let waiting: Vec<i64> = errands::table
        .filter(errands::tray_id.eq(tray_id).and(errands::kind.eq("freeze")))
        .filter(errands::done_at.is_null().and(errands::dropped_at.is_null()))
        .order(errands::id)
        .select(errands::id)
        .load(tx.changing())?;
    for id in waiting {
        complete(tx, id, at, by, act_id)?;
    }
    drop_of_tray(tx, tray_id, at)
}

/// Closes an errand in the act that did it.
fn complete(tx: &mut Tx<'_>, id: i64, at: Instant, by: &str, act_id: i64) -> Result<(), StoreError> {
    let changes =
        (errands::done_at.eq(Some(at.micros())), errands::done_by.eq(Some(by)), errands::done_act_id.eq(Some(act_id)));
    let open = errands::id.eq(id).and(errands::done_at.is_null()).and(errands::dropped_at.is_null());
    match diesel::update(errands::table.filter(open)).set(changes).execute(tx.changing())? {
        1 => Ok(()),
        _ => Err(StoreError::Collision(format!("errand {id} was done meanwhile"))),
    }
}

/// How far an errand is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    Open,
    Done,
    Dropped,
}

pub fn state(reading: &mut Reading<'_>, id: i64) -> Result<Option<State>, StoreError> {
    let found: Option<(Option<i64>, Option<i64>)> = errands::table
        .filter(errands::id.eq(id))
        .select((errands::done_at, errands::dropped_at))
        .get_result(reading.conn)
        .optional()?;
    Ok(found.map(|ended| match ended {
        (Some(_), _) => State::Done,
        (None, Some(_)) => State::Dropped,
        (None, None) => State::Open,
    }))
}

/// Drops an open errand.
pub fn drop_one(tx: &mut Tx<'_>, id: i64, at: Instant, act_id: i64) -> Result<(), StoreError> {
    let open = errands::id.eq(id).and(errands::done_at.is_null()).and(errands::dropped_at.is_null());
    let dropped = (errands::dropped_at.eq(Some(at.micros())), errands::dropped_act_id.eq(Some(act_id)));
    match diesel::update(errands::table.filter(open)).set(dropped).execute(tx.changing())? {
        1 => Ok(()),
        _ => Err(StoreError::Collision(format!("errand {id} was done meanwhile"))),
    }
}

/// Opens again what a decision that is taken back had dropped, where its tray is still there and its own decision stands.
pub fn open_again(tx: &mut Tx<'_>, act_id: i64) -> Result<(), StoreError> {
    let here = trays::table.filter(trays::fate.is_null().and(trays::frozen_at.is_null())).select(trays::id);
    let standing = decisions::table.filter(decisions::undone_at.is_null()).select(decisions::id);
    let dropped = errands::table
        .filter(errands::dropped_act_id.eq(act_id))
        .filter(errands::tray_id.eq_any(here))
        .filter(errands::decision_id.eq_any(standing));
    let open = (errands::dropped_at.eq(None::<i64>), errands::dropped_act_id.eq(None::<i64>));
    diesel::update(dropped).set(open).execute(tx.changing())?;
    Ok(())
}

/// Drops what is open of a decision, in the newest act.
pub fn drop_of(tx: &mut Tx<'_>, decision_id: i64, at: Instant) -> Result<usize, StoreError> {
    let open = errands::decision_id.eq(decision_id).and(errands::done_at.is_null()).and(errands::dropped_at.is_null());
    let dropped = (errands::dropped_at.eq(Some(at.micros())), errands::dropped_act_id.eq(tx.last_act()));
    Ok(diesel::update(errands::table.filter(open)).set(dropped).execute(tx.changing())?)
}

/// Drops what is open of a tray, for good: it went elsewhere in the newest act.
pub fn drop_of_tray(tx: &mut Tx<'_>, tray_id: i64, at: Instant) -> Result<(), StoreError> {
    let open = errands::tray_id.eq(tray_id).and(errands::done_at.is_null()).and(errands::dropped_at.is_null());
    let dropped = (errands::dropped_at.eq(Some(at.micros())), errands::dropped_act_id.eq(tx.last_act()));
    diesel::update(errands::table.filter(open)).set(dropped).execute(tx.changing())?;
    Ok(())
}

/// What the kitchen took since an instant, by cut, in grams.
pub fn kitchen_took(reading: &mut Reading<'_>, since: Instant) -> Result<BTreeMap<String, i64>, StoreError> {
    let rows: Vec<(String, i64)> = entries::table
        .inner_join(acts::table.on(acts::id.eq(entries::act_id)))
        .inner_join(trays::table.on(trays::id.nullable().eq(entries::tray_id)))
        // Written out, so that the index of just these acts is used.
        .filter(diesel::dsl::sql::<diesel::sql_types::Bool>("acts.kind = 'kitchen'"))
        .filter(acts::at.ge(since.micros()))
        .select((trays::cut_code, entries::grams))
        .load(reading.conn)?;
    let mut took = BTreeMap::new();
    for (cut, grams) in rows {
        *took.entry(cut).or_insert(0) -= grams;
    }
    Ok(took)
}
