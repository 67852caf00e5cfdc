//! Received lots: one row each, written once at receiving.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{holdings, lots};
use super::trays::holdings_of;
use super::write::Tx;
use crate::domain::inspection::{Burn, Inspection, Sample};
use crate::domain::lot::{CatchFacts, Lot, Production};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::Cents;
use crate::units::temperature::MilliCelsius;
use crate::units::zone::parse_day;
use chrono::NaiveDate;
use diesel::prelude::*;

#[derive(Queryable)]
struct LotRow {
    id: i64,
    code: String,
    _act_id: i64,
    species_code: String,
    supplier_code: String,
    supplier_lot_code: Option<String>,
    supplier_use_by: Option<String>,
    received_at: i64,
    received_g: i64,
    cost_cents: i64,
    pieces: i64,
    production: String,
    area: String,
    gear: Option<String>,
    country: String,
    caught_from: String,
    caught_to: String,
    core_temperature_mc: i64,
    grade: i64,
    colour: i64,
    fat: i64,
    burn: String,
    sample: String,
    note: Option<String>,
    parasite_freezing: Option<String>,
    previously_frozen: i64,
    frozen_on: Option<String>,
}

fn read_day(text: &str) -> Result<NaiveDate, StoreError> {
    parse_day(text).map_err(|e| StoreError::impossible("date", e))
}

impl TryFrom<LotRow> for Lot {
    type Error = StoreError;

    fn try_from(row: LotRow) -> Result<Lot, StoreError> {
        let catch = CatchFacts {
            production: Production::parse(&row.production)
                .ok_or_else(|| StoreError::impossible("production", &row.production))?,
            area: row.area,
            gear: row.gear,
            country: row.country,
            caught_from: read_day(&row.caught_from)?,
            caught_to: read_day(&row.caught_to)?,
        };
        let inspection = Inspection {
            core_temperature: MilliCelsius::new(row.core_temperature_mc)
                .map_err(|e| StoreError::impossible("temperature", e))?,
            grade: row.grade,
            colour: row.colour,
            fat: row.fat,
            burn: Burn::parse(&row.burn).ok_or_else(|| StoreError::impossible("burn", &row.burn))?,
            sample: Sample::parse(&row.sample).ok_or_else(|| StoreError::impossible("sample", &row.sample))?,
            note: row.note,
        };
        Ok(Lot {
            id: row.id,
            code: row.code,
            species: row.species_code,
            supplier: row.supplier_code,
            supplier_lot_code: row.supplier_lot_code,
            supplier_use_by: row.supplier_use_by.as_deref().map(read_day).transpose()?,
            received_at: Instant::from_micros(row.received_at).map_err(|e| StoreError::impossible("instant", e))?,
            received: Grams::new(row.received_g).map_err(|e| StoreError::impossible("mass", e))?,
            cost: Cents::new(row.cost_cents).map_err(|e| StoreError::impossible("cost", e))?,
            pieces: row.pieces,
            catch,
            inspection,
            parasite_freezing: row.parasite_freezing,
            previously_frozen: row.previously_frozen == 1,
            frozen_on: row.frozen_on.as_deref().map(read_day).transpose()?,
        })
    }
}

/// Writes a lot; its `id` is given here and returned.
pub fn insert(tx: &mut Tx<'_>, act_id: i64, lot: &Lot) -> Result<i64, StoreError> {
    let what = (
        lots::code.eq(&lot.code),
        lots::act_id.eq(act_id),
        lots::species_code.eq(&lot.species),
        lots::supplier_code.eq(&lot.supplier),
        lots::supplier_lot_code.eq(&lot.supplier_lot_code),
        lots::supplier_use_by.eq(lot.supplier_use_by.map(|d| d.to_string())),
        lots::received_at.eq(lot.received_at.micros()),
        lots::received_g.eq(lot.received.get()),
        lots::cost_cents.eq(lot.cost.get()),
        lots::pieces.eq(lot.pieces),
        lots::parasite_freezing.eq(&lot.parasite_freezing),
        lots::previously_frozen.eq(i64::from(lot.previously_frozen)),
        lots::frozen_on.eq(lot.frozen_on.map(|d| d.to_string())),
    );
    let caught = (
        lots::production.eq(lot.catch.production.as_str()),
        lots::area.eq(&lot.catch.area),
        lots::gear.eq(&lot.catch.gear),
        lots::country.eq(&lot.catch.country),
        lots::caught_from.eq(lot.catch.caught_from.to_string()),
        lots::caught_to.eq(lot.catch.caught_to.to_string()),
    );
    let inspected = (
        lots::core_temperature_mc.eq(lot.inspection.core_temperature.get()),
        lots::grade.eq(lot.inspection.grade),
        lots::colour.eq(lot.inspection.colour),
        lots::fat.eq(lot.inspection.fat),
        lots::burn.eq(lot.inspection.burn.as_str()),
        lots::sample.eq(lot.inspection.sample.as_str()),
        lots::note.eq(&lot.inspection.note),
    );
    Ok(diesel::insert_into(lots::table)
        .values((what, caught, inspected))
        .returning(lots::id)
        .get_result(tx.changing())?)
}

pub fn find(reading: &mut Reading<'_>, code: &str) -> Result<Option<Lot>, StoreError> {
    let row: Option<LotRow> = lots::table.filter(lots::code.eq(code)).get_result(reading.conn).optional()?;
    row.map(TryInto::try_into).transpose()
}

pub fn by_ids(reading: &mut Reading<'_>, ids: &[i64]) -> Result<Vec<Lot>, StoreError> {
    let mut found = Vec::with_capacity(ids.len());
    for id in ids {
        let row: LotRow = lots::table.filter(lots::id.eq(id)).get_result(reading.conn)?;
        found.push(row.try_into()?);
    }
    Ok(found)
}

/// The codes of the lots that lie or lay on a tray, in the order received.
pub fn codes_of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<String>, StoreError> {
    let query = holdings::table
        .inner_join(lots::table.on(lots::id.eq(holdings::lot_id)))
        .filter(holdings::tray_id.eq(tray_id))
        .order(holdings::lot_id)
        .select(lots::code);
    Ok(on_either!(reading.conn, own => query.load(own))?)
}

/// The lots that lie or lay on a tray, the oldest first.
pub fn of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<Lot>, StoreError> {
    let ids: Vec<i64> = holdings_of(reading, tray_id)?.holdings().iter().map(|holding| holding.lot_id).collect();
    let mut lots = by_ids(reading, &ids)?;
    lots.sort_by_key(|lot| (lot.received_at, lot.id));
    Ok(lots)
}

/// Whether every lot that lies or lay on a tray has its record of parasite freezing.
pub fn all_frozen_on_record(reading: &mut Reading<'_>, tray_id: i64) -> Result<bool, StoreError> {
    let query = holdings::table
        .inner_join(lots::table.on(lots::id.eq(holdings::lot_id)))
        .filter(holdings::tray_id.eq(tray_id))
        .select(lots::parasite_freezing.is_not_null());
    let recorded: Vec<bool> = on_either!(reading.conn, own => query.load(own))?;
    Ok(recorded.into_iter().all(|is| is))
}

/// Lots in the order received, newest first, beginning below a number.
pub fn page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Lot>, StoreError> {
    let query = lots::table.filter(lots::id.lt(below.unwrap_or(i64::MAX))).order(lots::id.desc()).limit(limit);
    let rows: Vec<LotRow> = query.load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}
