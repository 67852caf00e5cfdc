//! Trays and what lies on them by lot. Every change of a tray goes through `save`, guarded by its version.

use super::error::StoreError;
use super::lives::{self, LifeRow};
use super::prepared::{on_either, update};
use super::read::Reading;
use super::schema::{batches, holdings, lives as lives_table, trays};
use super::write::Tx;
use crate::domain::holding::{Holding, Pool};
use crate::domain::tray::{Fate, Kind, LabelReason, Tray};
use crate::domain::tray_code::TrayCode;
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;
use diesel::prelude::*;

#[derive(Queryable)]
pub(super) struct TrayRow {
    id: i64,
    code: String,
    kind: String,
    cut_code: String,
    species_code: String,
    batch_id: Option<i64>,
    place_code: String,
    fate: Option<String>,
    gone_at: Option<i64>,
    net_g: i64,
    initial_g: i64,
    price_per_kg_cents: i64,
    list_price_per_kg_cents: i64,
    markdown_reason: Option<String>,
    cut_at: i64,
    use_by: Option<i64>,
    supplier_until: Option<i64>,
    paused_left_micros: Option<i64>,
    frozen_at: Option<i64>,
    thawed_at: Option<i64>,
    label_wanted: Option<String>,
    version: i64,
}

pub(super) fn instant(micros: i64) -> Result<Instant, StoreError> {
    Instant::from_micros(micros).map_err(|e| StoreError::impossible("instant", e))
}

impl TryFrom<(TrayRow, LifeRow)> for Tray {
    type Error = StoreError;

    fn try_from((row, life): (TrayRow, LifeRow)) -> Result<Tray, StoreError> {
        let mass = |grams| Grams::new(grams).map_err(|e| StoreError::impossible("mass", e));
        let price = |cents| PricePerKg::new(cents).map_err(|e| StoreError::impossible("price", e));
        let moment = |at: Option<i64>| at.map(instant).transpose();
        let fate =
            row.fate.as_deref().map(|f| Fate::parse(f).ok_or_else(|| StoreError::impossible("fate", f))).transpose()?;
        let wanted = row
            .label_wanted
            .as_deref()
            .map(|l| LabelReason::parse(l).ok_or_else(|| StoreError::impossible("label reason", l)));
        Ok(Tray {
            id: row.id,
            code: TrayCode::parse("code", &row.code).map_err(|e| StoreError::impossible("tray code", e))?,
            kind: Kind::parse(&row.kind).ok_or_else(|| StoreError::impossible("kind", &row.kind))?,
            cut: row.cut_code,
            species: row.species_code,
            batch_id: row.batch_id,
            place: row.place_code,
            fate,
            gone_at: moment(row.gone_at)?,
            net: mass(row.net_g)?,
            initial: mass(row.initial_g)?,
            price: price(row.price_per_kg_cents)?,
            list_price: price(row.list_price_per_kg_cents)?,
            markdown_reason: row.markdown_reason,
            lived: life.try_into()?,
            cut_at: instant(row.cut_at)?,
            use_by: moment(row.use_by)?,
            supplier_until: moment(row.supplier_until)?,
            paused_left_micros: row.paused_left_micros,
            frozen_at: moment(row.frozen_at)?,
            thawed_at: moment(row.thawed_at)?,
            label_wanted: wanted.transpose()?,
            version: row.version,
        })
    }
}

/// Writes a new tray; its `id` is given here and returned.
pub fn insert(tx: &mut Tx<'_>, tray: &Tray) -> Result<i64, StoreError> {
    let what = (
        trays::code.eq(tray.code.to_string()),
        trays::kind.eq(tray.kind.as_str()),
        trays::cut_code.eq(&tray.cut),
        trays::species_code.eq(&tray.species),
        trays::batch_id.eq(tray.batch_id),
        trays::initial_g.eq(tray.initial.get()),
        trays::cut_at.eq(tray.cut_at.micros()),
        trays::version.eq(1_i64),
    );
    let id = diesel::insert_into(trays::table)
        .values((what, state_of(tray)))
        .returning(trays::id)
        .get_result(tx.changing())?;
    lives::insert(tx, id, &tray.lived)?;
    tx.touched.wrote(&Tray { id, version: 1, ..tray.clone() });
    Ok(id)
}

type State<'a> = (
    (
        diesel::dsl::Eq<trays::place_code, &'a String>,
        diesel::dsl::Eq<trays::fate, Option<&'static str>>,
        diesel::dsl::Eq<trays::gone_at, Option<i64>>,
        diesel::dsl::Eq<trays::net_g, i64>,
        diesel::dsl::Eq<trays::price_per_kg_cents, i64>,
        diesel::dsl::Eq<trays::list_price_per_kg_cents, i64>,
        diesel::dsl::Eq<trays::markdown_reason, &'a Option<String>>,
    ),
    (
        diesel::dsl::Eq<trays::use_by, Option<i64>>,
        diesel::dsl::Eq<trays::supplier_until, Option<i64>>,
        diesel::dsl::Eq<trays::paused_left_micros, Option<i64>>,
        diesel::dsl::Eq<trays::frozen_at, Option<i64>>,
        diesel::dsl::Eq<trays::thawed_at, Option<i64>>,
        diesel::dsl::Eq<trays::label_wanted, Option<&'static str>>,
    ),
);

/// What of a tray may change.
fn state_of(tray: &Tray) -> State<'_> {
    (
        (
            trays::place_code.eq(&tray.place),
            trays::fate.eq(tray.fate.map(Fate::as_str)),
            trays::gone_at.eq(tray.gone_at.map(Instant::micros)),
            trays::net_g.eq(tray.net.get()),
            trays::price_per_kg_cents.eq(tray.price.get()),
            trays::list_price_per_kg_cents.eq(tray.list_price.get()),
            trays::markdown_reason.eq(&tray.markdown_reason),
        ),
        (
            trays::use_by.eq(tray.use_by.map(Instant::micros)),
            trays::supplier_until.eq(tray.supplier_until.map(Instant::micros)),
            trays::paused_left_micros.eq(tray.paused_left_micros),
            trays::frozen_at.eq(tray.frozen_at.map(Instant::micros)),
            trays::thawed_at.eq(tray.thawed_at.map(Instant::micros)),
            trays::label_wanted.eq(tray.label_wanted.map(LabelReason::as_str)),
        ),
    )
}

/// Writes a changed tray whose life got another anchor: what `save` writes, and the life beside it.
pub fn save_with_life(tx: &mut Tx<'_>, tray: &mut Tray) -> Result<(), StoreError> {
    lives::replace(tx, tray.id, &tray.lived)?;
    save(tx, tray)
}

struct Save;

/// Writes a changed tray over the version that was loaded, and raises the version. A tray that changed meanwhile is a collision.
pub fn save(tx: &mut Tx<'_>, tray: &mut Tray) -> Result<(), StoreError> {
    let loaded = trays::id.eq(tray.id).and(trays::version.eq(tray.version));
    let update = update(Save, trays::table, loaded, (state_of(tray), trays::version.eq(tray.version + 1)));
    let changed = on_either!(tx.changing(), own => update.execute(own))?;
    if changed != 1 {
        return Err(StoreError::Collision(format!("tray {} changed meanwhile", tray.code)));
    }
    tray.version += 1;
    tx.touched.wrote(tray);
    Ok(())
}

/// Every tray has its life: the two tables are one thing kept in two, since a sale changes only the first.
fn with_life() -> diesel::helper_types::On<lives_table::table, diesel::dsl::Eq<lives_table::tray_id, trays::id>> {
    lives_table::table.on(lives_table::tray_id.eq(trays::id))
}

pub fn find(reading: &mut Reading<'_>, code: &TrayCode) -> Result<Option<Tray>, StoreError> {
    let query = trays::table.inner_join(with_life()).filter(trays::code.eq(code.to_string()));
    let row: Option<(TrayRow, LifeRow)> = on_either!(reading.conn, own => query.get_result(own)).optional()?;
    row.map(TryInto::try_into).transpose()
}

pub fn by_id(reading: &mut Reading<'_>, id: i64) -> Result<Tray, StoreError> {
    let row: (TrayRow, LifeRow) =
        trays::table.inner_join(with_life()).filter(trays::id.eq(id)).get_result(reading.conn)?;
    row.try_into()
}

/// Which trays a list is about.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    pub in_stock_only: bool,
    pub cut: Option<String>,
    pub place: Option<String>,
    pub species: Option<String>,
    pub batch_id: Option<i64>,
}

/// Trays by number, beginning above one.
pub fn page(reading: &mut Reading<'_>, filter: &Filter, above: i64, limit: i64) -> Result<Vec<Tray>, StoreError> {
    let all = trays::table.inner_join(with_life());
    let mut query = all.filter(trays::id.gt(above)).order(trays::id).limit(limit).into_boxed();
    if filter.in_stock_only {
        query = query.filter(trays::fate.is_null());
    }
    if let Some(cut) = &filter.cut {
        query = query.filter(trays::cut_code.eq(cut.clone()));
    }
    if let Some(place) = &filter.place {
        query = query.filter(trays::place_code.eq(place.clone()));
    }
    if let Some(species) = &filter.species {
        query = query.filter(trays::species_code.eq(species.clone()));
    }
    if let Some(batch) = filter.batch_id {
        query = query.filter(trays::batch_id.eq(batch));
    }
    let rows: Vec<(TrayRow, LifeRow)> = query.load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Says that something was changed by which all trays in stock that hold a lot are judged.
pub(super) fn touch_lot(tx: &mut Tx<'_>, lot_id: i64) -> Result<(), StoreError> {
    let holding = holdings::table
        .inner_join(trays::table.on(trays::id.eq(holdings::tray_id)))
        .filter(holdings::lot_id.eq(lot_id))
        .filter(trays::fate.is_null())
        .select(holdings::tray_id);
    for tray in holding.load(tx.conn)? {
        tx.touched.around(tray);
    }
    Ok(())
}

/// Begins a batch: the trays of one cut from one breakdown.
pub fn insert_batch(
    tx: &mut Tx<'_>,
    breakdown_id: Option<i64>,
    cut: &str,
    made_at: Instant,
) -> Result<i64, StoreError> {
    let row =
        (batches::breakdown_id.eq(breakdown_id), batches::cut_code.eq(cut), batches::made_at.eq(made_at.micros()));
    Ok(diesel::insert_into(batches::table).values(row).returning(batches::id).get_result(tx.changing())?)
}

/// What lies on a tray, by lot.
pub fn holdings_of(reading: &mut Reading<'_>, tray_id: i64) -> Result<Pool, StoreError> {
    let query = holdings::table.filter(holdings::tray_id.eq(tray_id)).select((
        holdings::lot_id,
        holdings::grams,
        holdings::cost_cents,
    ));
    let rows: Vec<(i64, i64, i64)> = on_either!(reading.conn, own => query.load(own))?;
    Ok(Pool::of(rows.into_iter().map(|(lot_id, grams, cost_cents)| Holding { lot_id, grams, cost_cents })))
}

struct Change;

/// Adds to (or, negative, takes from) what lies on a tray of one lot. A lot that once lay there keeps its line at zero, which is
/// how a trace finds it.
pub fn change_holding(tx: &mut Tx<'_>, tray_id: i64, change: Holding) -> Result<(), StoreError> {
    let line = holdings::tray_id.eq(tray_id).and(holdings::lot_id.eq(change.lot_id));
    let changed = (
        holdings::grams.eq(holdings::grams + change.grams),
        holdings::cost_cents.eq(holdings::cost_cents + change.cost_cents),
    );
    let update = update(Change, holdings::table, line, changed);
    let updated = on_either!(tx.changing(), own => update.execute(own))?;
    if updated == 0 {
        let row = (
            holdings::tray_id.eq(tray_id),
            holdings::lot_id.eq(change.lot_id),
            holdings::grams.eq(change.grams),
            holdings::cost_cents.eq(change.cost_cents),
        );
        diesel::insert_into(holdings::table).values(row).execute(tx.changing())?;
    }
    Ok(())
}

/// The numbers of all trays that hold or held a lot.
pub fn with_lot(reading: &mut Reading<'_>, lot_id: i64) -> Result<Vec<i64>, StoreError> {
    Ok(holdings::table
        .filter(holdings::lot_id.eq(lot_id))
        .select(holdings::tray_id)
        .order(holdings::tray_id)
        .load(reading.conn)?)
}
