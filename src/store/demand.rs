//! What was offered and sold lately, of all cuts at once: a fixed number of questions, however many trays there were.

use super::error::StoreError;
use super::read::Reading;
use super::schema::offline::return_lines;
use super::schema::{entries, held_trays, holds, markdowns, places, sale_lines, sales, stays, trays};
use super::trays::instant;
use crate::domain::place::StorageMethod;
use crate::domain::tray::Kind;
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::collections::BTreeMap;

/// A stretch in which a tray that is sold stood in a place that is not a freezer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stood {
    pub tray: i64,
    pub cut: String,
    pub from: Instant,
    pub to: Option<Instant>,
    pub use_by: Option<Instant>,
    pub price_cents: i64,
    pub list_price_cents: i64,
}

/// A tray's price fell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lowered {
    pub tray: i64,
    pub at: Instant,
    pub old_cents: i64,
    pub new_cents: i64,
}

/// A line of a standing sale, less what came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub cut: String,
    pub kind: Kind,
    pub at: Instant,
    pub grams: i64,
    pub price_cents: i64,
    pub list_price_cents: i64,
}

type StoodRow = (i64, String, i64, Option<i64>, Option<i64>, i64, i64);

/// What stood to be sold at some time since an instant.
pub fn stood(reading: &mut Reading<'_>, since: Instant) -> Result<Vec<Stood>, StoreError> {
    let somewhere: Vec<String> = places::table.select(places::code).load(reading.conn)?;
    let sold_from = stays::table
        .inner_join(trays::table.on(trays::id.eq(stays::tray_id)))
        .filter(trays::kind.ne(Kind::Bulk.as_str()))
        .filter(stays::method.ne(StorageMethod::Frozen.as_str()))
        .select((
            stays::tray_id,
            trays::cut_code,
            stays::from_at,
            stays::to_at,
            trays::use_by,
            trays::price_per_kg_cents,
            trays::list_price_per_kg_cents,
        ));
    // Two questions, each by an index of its own: one with an OR between them would read every stay there ever was.
    let mut rows: Vec<StoodRow> = sold_from
        .filter(stays::place_code.eq_any(somewhere).and(stays::to_at.gt(since.micros())))
        .load(reading.conn)?;
    rows.extend(sold_from.filter(stays::to_at.is_null()).load::<StoodRow>(reading.conn)?);
    let read = |(tray, cut, from, to, use_by, price_cents, list_price_cents): StoodRow| {
        let moment = |at: Option<i64>| at.map(instant).transpose();
        let (from, to, use_by) = (instant(from)?, moment(to)?, moment(use_by)?);
        Ok(Stood { tray, cut, from, to, use_by, price_cents, list_price_cents })
    };
    rows.into_iter().map(read).collect()
}

/// Markdowns since an instant, by tray, each tray's in order.
pub fn lowered(reading: &mut Reading<'_>, since: Instant) -> Result<BTreeMap<i64, Vec<Lowered>>, StoreError> {
    let rows: Vec<(i64, i64, i64, i64)> = markdowns::table
        .filter(markdowns::at.gt(since.micros()))
        .order((markdowns::at, markdowns::id))
        .select((
            markdowns::tray_id,
            markdowns::at,
            markdowns::old_price_per_kg_cents,
            markdowns::new_price_per_kg_cents,
        ))
        .load(reading.conn)?;
    let mut by_tray: BTreeMap<i64, Vec<Lowered>> = BTreeMap::new();
    for (tray, at, old_cents, new_cents) in rows {
        by_tray.entry(tray).or_default().push(Lowered { tray, at: instant(at)?, old_cents, new_cents });
    }
    Ok(by_tray)
}

/// From when to when trays were on hold at some time since an instant, by tray: by a hold of their own, of their batch, of a lot in them.
pub fn held(reading: &mut Reading<'_>, since: Instant) -> Result<BTreeMap<i64, Vec<Held>>, StoreError> {
    let rows: Vec<(i64, String, i64, i64, Option<i64>)> = holds::table
        .filter(holds::released_at.is_null().or(holds::released_at.gt(since.micros())))
        .order(holds::placed_at)
        .select((holds::id, holds::scope, holds::target_id, holds::placed_at, holds::released_at))
        .load(reading.conn)?;
    let of_scope = |scope: &str| -> Vec<i64> {
        let those = rows.iter().filter(|row| row.1 == scope);
        those.map(|(id, _, target, ..)| if scope == "batch" { *id } else { *target }).collect()
    };
    let batches: Vec<(i64, i64)> = held_trays::table
        .filter(held_trays::hold_id.eq_any(of_scope("batch")))
        .select((held_trays::hold_id, held_trays::tray_id))
        .load(reading.conn)?;
    // What lay on a tray that is gone is told by the ledger alone.
    let lots: Vec<(i64, Option<i64>)> = entries::table
        .filter(entries::lot_id.eq_any(of_scope("lot")).and(entries::tray_id.is_not_null()))
        .select((entries::lot_id, entries::tray_id))
        .distinct()
        .load(reading.conn)?;
    let mut by_tray: BTreeMap<i64, Vec<Held>> = BTreeMap::new();
    for (id, scope, target, from, to) in rows {
        let held = (instant(from)?, to.map(instant).transpose()?);
        let reached: Vec<i64> = match scope.as_str() {
            "batch" => batches.iter().filter(|(hold, _)| *hold == id).map(|(_, tray)| *tray).collect(),
            "lot" => lots.iter().filter(|(lot, _)| *lot == target).filter_map(|(_, tray)| *tray).collect(),
            _ => vec![target],
        };
        for tray in reached {
            by_tray.entry(tray).or_default().push(held);
        }
    }
    Ok(by_tray)
}

/// From, to; none while it lasts.
pub type Held = (Instant, Option<Instant>);

type LineRow = (i64, i64, String, String, i64, i64, i64, i64);

/// What was sold since an instant, at the time at which it happened. A sale that was reversed never was one, and what came back was not sold.
pub fn sold(reading: &mut Reading<'_>, since: Instant) -> Result<Vec<Line>, StoreError> {
    let rows: Vec<LineRow> = sales::table
        .inner_join(sale_lines::table.on(sale_lines::sale_id.eq(sales::id)))
        .inner_join(trays::table.on(trays::id.eq(sale_lines::tray_id)))
        .filter(sales::at.gt(since.micros()))
        .filter(sales::reversed_by_act_id.is_null())
        // In the order of time: without it, SQLite reads all lines there ever were and looks up the sale of each.
        .order((sales::at, sale_lines::id))
        .select((
            sales::id,
            sale_lines::tray_id,
            trays::cut_code,
            trays::kind,
            sales::at,
            sale_lines::grams,
            sale_lines::price_per_kg_cents,
            trays::list_price_per_kg_cents,
        ))
        .load(reading.conn)?;
    let mut back = came_back(reading, since)?;
    let mut lines = Vec::with_capacity(rows.len());
    for (sale, tray, cut, kind, at, grams, price_cents, list_price_cents) in rows {
        let off = back.get_mut(&(sale, tray)).map_or(0, |left| {
            let off = grams.min(*left);
            *left -= off;
            off
        });
        if grams > off {
            let kind = Kind::parse(&kind).ok_or_else(|| StoreError::impossible("kind", &kind))?;
            let (at, grams) = (instant(at)?, grams - off);
            lines.push(Line { cut, kind, at, grams, price_cents, list_price_cents });
        }
    }
    Ok(lines)
}

/// Grams that customers brought back of sales since an instant, by sale and tray.
fn came_back(reading: &mut Reading<'_>, since: Instant) -> Result<BTreeMap<(i64, i64), i64>, StoreError> {
    let rows: Vec<(i64, i64, i64)> = return_lines::table
        .inner_join(sales::table.on(sales::id.eq(return_lines::sale_id)))
        .filter(sales::at.gt(since.micros()))
        .select((return_lines::sale_id, return_lines::tray_id, return_lines::grams))
        .load(reading.conn)?;
    let mut back = BTreeMap::new();
    for (sale, tray, grams) in rows {
        *back.entry((sale, tray)).or_insert(0) += grams;
    }
    Ok(back)
}
