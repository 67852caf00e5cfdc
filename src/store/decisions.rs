//! What was decided at reviews: each decision with what was expected of it, and the trays it looked at.

use super::error::StoreError;
use super::read::Reading;
use super::schema::reviewing::{decision_trays, decisions};
use super::schema::trays;
use super::trays::instant;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

/// What is expected of the stock, in whole grams and minor units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Queryable)]
pub struct Expected {
    pub sold_g: i64,
    pub revenue_cents: i64,
    pub kitchen_g: i64,
    pub kitchen_cents: i64,
    pub frozen_g: i64,
    pub frozen_cents: i64,
    pub wasted_g: i64,
    pub waste_cents: i64,
    pub total_cents: i64,
}

/// A decision as it was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decision {
    pub id: i64,
    pub act_id: i64,
    pub at: Instant,
    /// `YYYY-MM-DD`, the local business day.
    pub day: String,
    pub cut: String,
    /// accepted, changed or declined.
    pub way: String,
    pub decided_by: String,
    pub note: Option<String>,
    pub basis: String,
    pub price_per_kg_cents: Option<i64>,
    pub expected: Expected,
    /// Expected had nothing been done.
    pub alone: Expected,
    /// JSON, word for word what was shown.
    pub explanation: String,
    pub undone: Option<Undone>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    pub at: Instant,
    pub by: String,
    pub act_id: i64,
}

/// A tray as the advice looked at it.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct DecidedTray {
    pub tray_id: i64,
    pub tray_code: String,
    /// Of its weight, what was free: not promised to the kitchen already.
    pub net_g: i64,
    pub ends_at: i64,
    pub old_price: i64,
    pub new_price: i64,
    /// keep, mark_down, kitchen or freeze.
    pub course: String,
    pub sold_permille: i64,
    pub advised_course: String,
    pub advised_price: Option<i64>,
    /// What goes to the kitchen, of a tub maybe a part, and what was advised to.
    pub kitchen_g: i64,
    pub advised_kitchen_g: i64,
    /// Promised to the kitchen before, and so no part of this decision.
    pub promised_g: i64,
}

/// Records a decision with its trays; its number is given here and returned.
pub fn insert(tx: &mut Tx<'_>, decision: &Decision, of: &[DecidedTray]) -> Result<i64, StoreError> {
    let (expected, alone) = (&decision.expected, &decision.alone);
    let what = (
        decisions::act_id.eq(decision.act_id),
        decisions::at.eq(decision.at.micros()),
        decisions::day.eq(&decision.day),
        decisions::cut_code.eq(&decision.cut),
        decisions::way.eq(&decision.way),
        decisions::decided_by.eq(&decision.decided_by),
        decisions::note.eq(decision.note.as_deref()),
        decisions::basis.eq(&decision.basis),
        decisions::price_per_kg_cents.eq(decision.price_per_kg_cents),
        decisions::explanation.eq(&decision.explanation),
    );
    let numbers = (
        decisions::sold_g.eq(expected.sold_g),
        decisions::revenue_cents.eq(expected.revenue_cents),
        decisions::kitchen_g.eq(expected.kitchen_g),
        decisions::kitchen_cents.eq(expected.kitchen_cents),
        decisions::frozen_g.eq(expected.frozen_g),
        decisions::frozen_cents.eq(expected.frozen_cents),
        decisions::wasted_g.eq(expected.wasted_g),
        decisions::waste_cents.eq(expected.waste_cents),
        decisions::total_cents.eq(expected.total_cents),
        decisions::alone_sold_g.eq(alone.sold_g),
        decisions::alone_revenue_cents.eq(alone.revenue_cents),
        decisions::alone_wasted_g.eq(alone.wasted_g),
        decisions::alone_total_cents.eq(alone.total_cents),
    );
    let id: i64 = diesel::insert_into(decisions::table)
        .values((what, numbers))
        .returning(decisions::id)
        .get_result(tx.changing())?;
    for tray in of {
        insert_tray(tx, id, tray)?;
    }
    Ok(id)
}

fn insert_tray(tx: &mut Tx<'_>, decision_id: i64, tray: &DecidedTray) -> Result<(), StoreError> {
    let row = (
        decision_trays::decision_id.eq(decision_id),
        decision_trays::tray_id.eq(tray.tray_id),
        decision_trays::net_g.eq(tray.net_g),
        decision_trays::ends_at.eq(tray.ends_at),
        decision_trays::old_price_per_kg_cents.eq(tray.old_price),
        decision_trays::new_price_per_kg_cents.eq(tray.new_price),
        decision_trays::course.eq(&tray.course),
        decision_trays::sold_permille.eq(tray.sold_permille),
        decision_trays::advised_course.eq(&tray.advised_course),
        decision_trays::advised_price_per_kg_cents.eq(tray.advised_price),
        decision_trays::kitchen_g.eq(tray.kitchen_g),
        decision_trays::advised_kitchen_g.eq(tray.advised_kitchen_g),
        decision_trays::promised_g.eq(tray.promised_g),
    );
    diesel::insert_into(decision_trays::table).values(row).execute(tx.changing())?;
    Ok(())
}

#[derive(Queryable)]
struct Row {
    id: i64,
    act_id: i64,
    at: i64,
    day: String,
    cut: String,
    way: String,
    decided_by: String,
    note: Option<String>,
    basis: String,
    price: Option<i64>,
    sold_g: i64,
    revenue: i64,
    kitchen_g: i64,
    kitchen: i64,
    frozen_g: i64,
    frozen: i64,
    wasted_g: i64,
    waste: i64,
    total: i64,
    alone_sold_g: i64,
    alone_revenue: i64,
    alone_wasted_g: i64,
    alone_total: i64,
    explanation: String,
    undone_at: Option<i64>,
    undone_by: Option<String>,
    undone_act_id: Option<i64>,
}

impl TryFrom<Row> for Decision {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Decision, StoreError> {
        let undone = row.undone_at.zip(row.undone_by).zip(row.undone_act_id);
        let undone = undone.map(|((at, by), act_id)| Ok::<_, StoreError>(Undone { at: instant(at)?, by, act_id }));
        Ok(Decision {
            id: row.id,
            act_id: row.act_id,
            at: instant(row.at)?,
            day: row.day,
            cut: row.cut,
            way: row.way,
            decided_by: row.decided_by,
            note: row.note,
            basis: row.basis,
            price_per_kg_cents: row.price,
            expected: Expected {
                sold_g: row.sold_g,
                revenue_cents: row.revenue,
                kitchen_g: row.kitchen_g,
                kitchen_cents: row.kitchen,
                frozen_g: row.frozen_g,
                frozen_cents: row.frozen,
                wasted_g: row.wasted_g,
                waste_cents: row.waste,
                total_cents: row.total,
            },
            alone: Expected {
                sold_g: row.alone_sold_g,
                revenue_cents: row.alone_revenue,
                wasted_g: row.alone_wasted_g,
                total_cents: row.alone_total,
                ..Expected::default()
            },
            explanation: row.explanation,
            undone: undone.transpose()?,
        })
    }
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Decision>, StoreError> {
    let row: Option<Row> = decisions::table.filter(decisions::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(TryInto::try_into).transpose()
}

/// The decisions of a business day, undone ones too, in the order they were taken.
pub fn of_day(reading: &mut Reading<'_>, day: &str) -> Result<Vec<Decision>, StoreError> {
    let rows: Vec<Row> = decisions::table.filter(decisions::day.eq(day)).order(decisions::id).load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// The trays a decision looked at, as it looked at them.
pub fn trays_of(reading: &mut Reading<'_>, decision_id: i64) -> Result<Vec<DecidedTray>, StoreError> {
    Ok(decision_trays::table
        .inner_join(trays::table.on(trays::id.eq(decision_trays::tray_id)))
        .filter(decision_trays::decision_id.eq(decision_id))
        .order((decision_trays::ends_at, decision_trays::tray_id))
        .select((
            decision_trays::tray_id,
            trays::code,
            decision_trays::net_g,
            decision_trays::ends_at,
            decision_trays::old_price_per_kg_cents,
            decision_trays::new_price_per_kg_cents,
            decision_trays::course,
            decision_trays::sold_permille,
            decision_trays::advised_course,
            decision_trays::advised_price_per_kg_cents,
            decision_trays::kitchen_g,
            decision_trays::advised_kitchen_g,
            decision_trays::promised_g,
        ))
        .load(reading.conn)?)
}

/// Marks a decision as taken back.
pub fn mark_undone(tx: &mut Tx<'_>, id: i64, undone: &Undone) -> Result<(), StoreError> {
    let changes = (
        decisions::undone_at.eq(Some(undone.at.micros())),
        decisions::undone_by.eq(Some(&undone.by)),
        decisions::undone_act_id.eq(Some(undone.act_id)),
    );
    let open = decisions::table.filter(decisions::id.eq(id)).filter(decisions::undone_at.is_null());
    match diesel::update(open).set(changes).execute(tx.changing())? {
        1 => Ok(()),
        _ => Err(StoreError::Collision(format!("decision {id} was taken back meanwhile"))),
    }
}
