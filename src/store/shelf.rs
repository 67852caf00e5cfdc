//! The shelf: every tray for sale with what may be known of it, as the last change of it said. What stands in an offer is not decided here.

use super::error::StoreError;
use super::prepared::{on_either, update};
use super::read::Reading;
use super::schema::following::shelf;
use super::schema::trays;
use super::trays::instant;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::backend::Backend;
use diesel::prelude::*;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::serialize::ToSql;
use diesel::sql_types::{BigInt, HasSqlType, Nullable, Text};
use std::marker::PhantomData;

/// A tray on the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Insertable)]
#[diesel(table_name = shelf)]
pub struct Shelved {
    pub tray_id: i64,
    pub tray_code: String,
    pub cut_code: String,
    pub place_code: String,
    /// Grams that can be sold now.
    pub sellable_g: i64,
    /// JSON.
    pub offer: String,
    /// When time alone changes the offer next.
    pub due_at: Option<i64>,
}

struct Replace;

/// Puts a tray on the shelf, or writes it anew.
pub fn put(tx: &mut Tx<'_>, tray: &Shelved) -> Result<(), StoreError> {
    let changed = (
        shelf::cut_code.eq(&tray.cut_code),
        shelf::place_code.eq(&tray.place_code),
        shelf::sellable_g.eq(tray.sellable_g),
        shelf::offer.eq(&tray.offer),
        shelf::due_at.eq(tray.due_at),
    );
    let update = update(Replace, shelf::table, shelf::tray_id.eq(tray.tray_id), changed);
    if on_either!(tx.changing(), own => update.execute(own))? == 0 {
        diesel::insert_into(shelf::table).values(tray).execute(tx.changing())?;
    }
    Ok(())
}

/// Takes a tray off the shelf.
pub fn remove(tx: &mut Tx<'_>, tray_id: i64) -> Result<(), StoreError> {
    let delete = diesel::delete(shelf::table.filter(shelf::tray_id.eq(tray_id)));
    on_either!(tx.changing(), own => delete.execute(own))?;
    Ok(())
}

pub fn find(reading: &mut Reading<'_>, tray_id: i64) -> Result<Option<Shelved>, StoreError> {
    let query = shelf::table.filter(shelf::tray_id.eq(tray_id));
    Ok(on_either!(reading.conn, own => query.get_result(own)).optional()?)
}

/// Says that the offers of some trays have to be looked at again, at once.
pub fn look_again(tx: &mut Tx<'_>, trays: &[i64]) -> Result<(), StoreError> {
    for some in trays.chunks(500) {
        diesel::update(shelf::table.filter(shelf::tray_id.eq_any(some)))
            .set(shelf::due_at.eq(0_i64))
            .execute(tx.changing())?;
    }
    Ok(())
}

/// Says that the offer of a tray is looked at again at an instant, whatever becomes of it before.
pub fn put_off(tx: &mut Tx<'_>, tray_id: i64, until: Instant) -> Result<(), StoreError> {
    diesel::update(shelf::table.filter(shelf::tray_id.eq(tray_id)))
        .set(shelf::due_at.eq(until.micros()))
        .execute(tx.changing())?;
    Ok(())
}

/// The same for all trays of a cut or a species, or in a place.
pub fn look_again_at(tx: &mut Tx<'_>, where_: Where<'_>) -> Result<(), StoreError> {
    let due = shelf::due_at.eq(0_i64);
    match where_ {
        Where::Cut(cut) => {
            diesel::update(shelf::table.filter(shelf::cut_code.eq(cut))).set(due).execute(tx.changing())?
        }
        Where::Place(place) => {
            diesel::update(shelf::table.filter(shelf::place_code.eq(place))).set(due).execute(tx.changing())?
        }
        Where::Species(species) => {
            let trays = trays::table.filter(trays::species_code.eq(species)).select(trays::id);
            diesel::update(shelf::table.filter(shelf::tray_id.eq_any(trays))).set(due).execute(tx.changing())?
        }
    };
    Ok(())
}

/// Part of the shelf.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Where<'a> {
    Cut(&'a str),
    Place(&'a str),
    Species(&'a str),
}

/// Trays whose offers are due by now, the longest due first.
pub fn due(reading: &mut Reading<'_>, now: Instant, limit: i64) -> Result<Vec<i64>, StoreError> {
    Ok(shelf::table
        .filter(shelf::due_at.le(now.micros()))
        .order(shelf::due_at)
        .limit(limit)
        .select(shelf::tray_id)
        .load(reading.conn)?)
}

/// When the next offer is due.
pub fn next_due(reading: &mut Reading<'_>) -> Result<Option<Instant>, StoreError> {
    let next: Option<Option<i64>> = shelf::table
        .filter(shelf::due_at.is_not_null())
        .order(shelf::due_at)
        .limit(1)
        .select(shelf::due_at)
        .get_result(reading.conn)
        .optional()?;
    next.flatten().map(instant).transpose()
}

/// What of the shelf is looked at: all trays between two numbers, both left out, that are of this cut, in this place, so judged.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    pub above: i64,
    pub below: i64,
    pub cut: Option<&'a str>,
    pub place: Option<&'a str>,
    /// How an offer must read somewhere, as `LIKE` takes it.
    pub saying: Option<&'a str>,
}

/// A run of the shelf by tray number: many rows as few texts, since a row costs more than what is in it.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Run {
    pub trays: i64,
    pub last_tray_id: Option<i64>,
    /// Offers with `BETWEEN_OFFERS` between them; each is one line.
    pub offers: Option<String>,
    /// For each tray a line: its cut, a colon, the grams that can be sold.
    pub sellable: Option<String>,
}

pub const BETWEEN_OFFERS: &str = ",\n";

/// The first so many of a part.
pub fn run(reading: &mut Reading<'_>, part: &Part<'_>, limit: i64) -> Result<Run, StoreError> {
    let filtered = part.cut.is_some() || part.place.is_some() || part.saying.is_some();
    Ok(if filtered {
        on_either!(reading.conn, own => RunOf::<Few> { part, limit, of: PhantomData }.get_result(own))?
    } else {
        on_either!(reading.conn, own => RunOf::<All> { part, limit, of: PhantomData }.get_result(own))?
    })
}

/// The statement of a run: its text is one for all trays and one for some, so that each stays prepared.
struct RunOf<'a, Of> {
    part: &'a Part<'a>,
    limit: i64,
    of: PhantomData<Of>,
}

struct All;
struct Few;

trait Narrowed {
    const NARROWED: bool;
}

impl Narrowed for All {
    const NARROWED: bool = false;
}

impl Narrowed for Few {
    const NARROWED: bool = true;
}

impl<Of> Query for RunOf<'_, Of> {
    type SqlType = (BigInt, Nullable<BigInt>, Nullable<Text>, Nullable<Text>);
}

impl<Of: 'static> QueryId for RunOf<'_, Of> {
    type QueryId = RunOf<'static, Of>;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl<DB: Backend, Of: Narrowed> QueryFragment<DB> for RunOf<'_, Of>
where
    i64: ToSql<BigInt, DB>,
    str: ToSql<Text, DB>,
    DB: HasSqlType<BigInt> + HasSqlType<Text>,
{
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, DB>) -> QueryResult<()> {
        pass.push_sql(
            "SELECT COUNT(*), MAX(tray_id), string_agg(offer, ',\n'), string_agg(cut_code || ':' || sellable_g, '\n') \
             FROM (SELECT tray_id, cut_code, sellable_g, offer FROM shelf WHERE tray_id > ",
        );
        pass.push_bind_param::<BigInt, _>(&self.part.above)?;
        pass.push_sql(" AND tray_id < ");
        pass.push_bind_param::<BigInt, _>(&self.part.below)?;
        if Of::NARROWED {
            for (column, value) in [
                ("cut_code = ", &self.part.cut),
                ("place_code = ", &self.part.place),
                ("offer LIKE ", &self.part.saying),
            ] {
                pass.push_sql(" AND (");
                pass.push_bind_param::<Nullable<Text>, _>(value)?;
                pass.push_sql(" IS NULL OR ");
                pass.push_sql(column);
                pass.push_bind_param::<Nullable<Text>, _>(value)?;
                pass.push_sql(")");
            }
        }
        // A bare parameter as the limit would have the statement planned anew for each value of it.
        pass.push_sql(" ORDER BY tray_id LIMIT 0 + ");
        pass.push_bind_param::<BigInt, _>(&self.limit)?;
        pass.push_sql(") AS run");
        Ok(())
    }
}

impl<Of, Conn> RunQueryDsl<Conn> for RunOf<'_, Of> {}

/// The shelf by tray number, from above one: what stands on it from `above` on.
pub fn page(reading: &mut Reading<'_>, above: i64, limit: i64) -> Result<Vec<Shelved>, StoreError> {
    Ok(shelf::table.filter(shelf::tray_id.gt(above)).order(shelf::tray_id).limit(limit).load(reading.conn)?)
}

/// What stands on the shelf of some trays.
pub fn between(reading: &mut Reading<'_>, first: i64, last: i64) -> Result<Vec<Shelved>, StoreError> {
    Ok(shelf::table.filter(shelf::tray_id.between(first, last)).order(shelf::tray_id).load(reading.conn)?)
}

#[derive(QueryableByName)]
struct ByVerdict {
    #[diesel(sql_type = BigInt)]
    first: i64,
    #[diesel(sql_type = BigInt)]
    second: i64,
    #[diesel(sql_type = BigInt)]
    third: i64,
}

/// How many trays on the shelf have each of three verdicts. A quote inside a text of an offer is written `\"`, so no text looks like one.
pub fn count_by_verdict(reading: &mut Reading<'_>, verdicts: [&'static str; 3]) -> Result<[i64; 3], StoreError> {
    let [first, second, third] =
        verdicts.map(|verdict| format!("COUNT(CASE WHEN offer LIKE '%\"verdict\":\"{verdict}\"%' THEN 1 END)"));
    let sql = format!("SELECT {first} AS first, {second} AS second, {third} AS third FROM shelf");
    let counted = diesel::sql_query(sql).get_result::<ByVerdict>(reading.conn)?;
    Ok([counted.first, counted.second, counted.third])
}
