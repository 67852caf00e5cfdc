//! Species, suppliers, cuts and places: one row each, changed under a version.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{cuts, places, species, suppliers};
use super::write::Tx;
use crate::domain::catalogue::{Cut, ParasiteRule, Species, Supplier};
use crate::domain::life::budget::{Form, SpeciesGroup};
use crate::domain::place::{Place, StorageMethod};
use crate::domain::tray::{Kind, Tray};
use crate::units::money::PricePerKg;
use crate::units::temperature::MilliCelsius;
use diesel::prelude::*;

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = species, treat_none_as_null = true)]
struct SpeciesRow {
    code: String,
    scientific_name: String,
    market_name: String,
    species_group: String,
    parasite_rule: String,
    parasite_note: Option<String>,
    version: i64,
}

impl TryFrom<SpeciesRow> for Species {
    type Error = StoreError;

    fn try_from(row: SpeciesRow) -> Result<Species, StoreError> {
        Ok(Species {
            group: SpeciesGroup::parse(&row.species_group)
                .ok_or_else(|| StoreError::impossible("species group", &row.species_group))?,
            parasite_rule: ParasiteRule::parse(&row.parasite_rule)
                .ok_or_else(|| StoreError::impossible("parasite rule", &row.parasite_rule))?,
            code: row.code,
            scientific_name: row.scientific_name,
            market_name: row.market_name,
            parasite_note: row.parasite_note,
            version: row.version,
        })
    }
}

impl From<&Species> for SpeciesRow {
    fn from(s: &Species) -> SpeciesRow {
        SpeciesRow {
            code: s.code.clone(),
            scientific_name: s.scientific_name.clone(),
            market_name: s.market_name.clone(),
            species_group: s.group.as_str().into(),
            parasite_rule: s.parasite_rule.as_str().into(),
            parasite_note: s.parasite_note.clone(),
            version: s.version,
        }
    }
}

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = suppliers)]
struct SupplierRow {
    code: String,
    name: String,
    address: String,
    version: i64,
}

impl TryFrom<SupplierRow> for Supplier {
    type Error = StoreError;

    fn try_from(row: SupplierRow) -> Result<Supplier, StoreError> {
        Ok(Supplier { code: row.code, name: row.name, address: row.address, version: row.version })
    }
}

impl From<&Supplier> for SupplierRow {
    fn from(s: &Supplier) -> SupplierRow {
        SupplierRow { code: s.code.clone(), name: s.name.clone(), address: s.address.clone(), version: s.version }
    }
}

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = cuts, treat_none_as_null = true)]
struct CutRow {
    code: String,
    name: String,
    kind: String,
    form: String,
    price_per_kg_cents: i64,
    raw_budget_hours: Option<i64>,
    raw_budget_validated: Option<String>,
    item_number: i64,
    label_note: Option<String>,
    version: i64,
}

impl TryFrom<CutRow> for Cut {
    type Error = StoreError;

    fn try_from(row: CutRow) -> Result<Cut, StoreError> {
        Ok(Cut {
            kind: Kind::parse(&row.kind).ok_or_else(|| StoreError::impossible("kind", &row.kind))?,
            form: Form::parse(&row.form).ok_or_else(|| StoreError::impossible("form", &row.form))?,
            price: PricePerKg::new(row.price_per_kg_cents).map_err(|e| StoreError::impossible("price", e))?,
            code: row.code,
            name: row.name,
            raw_budget_hours: row.raw_budget_hours,
            raw_budget_validated: row.raw_budget_validated,
            item_number: row.item_number,
            label_note: row.label_note,
            version: row.version,
        })
    }
}

impl From<&Cut> for CutRow {
    fn from(c: &Cut) -> CutRow {
        CutRow {
            code: c.code.clone(),
            name: c.name.clone(),
            kind: c.kind.as_str().into(),
            form: c.form.as_str().into(),
            price_per_kg_cents: c.price.get(),
            raw_budget_hours: c.raw_budget_hours,
            raw_budget_validated: c.raw_budget_validated.clone(),
            item_number: c.item_number,
            label_note: c.label_note.clone(),
            version: c.version,
        }
    }
}

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = places)]
struct PlaceRow {
    code: String,
    name: String,
    method: String,
    set_point_mc: i64,
    upper_limit_mc: i64,
    gap_minutes: i64,
    warm_minutes: i64,
    expects_readings: i64,
    #[diesel(skip_update)]
    readings_generation: i64,
    version: i64,
}

impl TryFrom<PlaceRow> for Place {
    type Error = StoreError;

    fn try_from(row: PlaceRow) -> Result<Place, StoreError> {
        let temperature = |value| MilliCelsius::new(value).map_err(|e| StoreError::impossible("temperature", e));
        Ok(Place {
            method: StorageMethod::parse(&row.method)
                .ok_or_else(|| StoreError::impossible("storage method", &row.method))?,
            set_point: temperature(row.set_point_mc)?,
            upper_limit: temperature(row.upper_limit_mc)?,
            gap_minutes: row.gap_minutes,
            warm_minutes: row.warm_minutes,
            expects_readings: row.expects_readings != 0,
            generation: row.readings_generation,
            code: row.code,
            name: row.name,
            version: row.version,
        })
    }
}

impl From<&Place> for PlaceRow {
    fn from(p: &Place) -> PlaceRow {
        PlaceRow {
            code: p.code.clone(),
            name: p.name.clone(),
            method: p.method.as_str().into(),
            set_point_mc: p.set_point.get(),
            upper_limit_mc: p.upper_limit.get(),
            gap_minutes: p.gap_minutes,
            warm_minutes: p.warm_minutes,
            expects_readings: i64::from(p.expects_readings),
            readings_generation: p.generation,
            version: p.version,
        }
    }
}

/// The four tables are kept alike: find one, list all by code, insert, change under the version that was read.
macro_rules! catalogue_table {
    ($module:ident, $table:ident, $row:ty, $thing:ty) => {
        pub mod $module {
            use super::*;

            pub fn find(reading: &mut Reading<'_>, code: &str) -> Result<Option<$thing>, StoreError> {
                let row: Option<$row> =
                    $table::table.filter($table::code.eq(code)).get_result(reading.conn).optional()?;
                row.map(TryInto::try_into).transpose()
            }

            /// All, by code.
            pub fn list(reading: &mut Reading<'_>) -> Result<Vec<$thing>, StoreError> {
                let rows: Vec<$row> = $table::table.order($table::code).load(reading.conn)?;
                rows.into_iter().map(TryInto::try_into).collect()
            }

            pub fn insert(tx: &mut Tx<'_>, thing: &$thing) -> Result<(), StoreError> {
                diesel::insert_into($table::table).values(<$row>::from(thing)).execute(tx.changing())?;
                Ok(())
            }

            /// Writes the new state, whose version is one above the one it replaces; false when that is no longer the version.
            pub fn replace(tx: &mut Tx<'_>, thing: &$thing) -> Result<bool, StoreError> {
                let old =
                    $table::table.filter($table::code.eq(&thing.code)).filter($table::version.eq(thing.version - 1));
                Ok(diesel::update(old).set(<$row>::from(thing)).execute(tx.changing())? == 1)
            }
        }
    };
}

catalogue_table!(species_of, species, SpeciesRow, Species);
catalogue_table!(supplier, suppliers, SupplierRow, Supplier);
catalogue_table!(cut, cuts, CutRow, Cut);
catalogue_table!(place, places, PlaceRow, Place);

/// The place, the cut and the species of a tray, in one question; none when one of them is missing.
/// What stands in a join must be owned.
pub fn around(reading: &mut Reading<'_>, tray: &Tray) -> Result<Option<(Place, Cut, Species)>, StoreError> {
    let query = places::table
        .inner_join(cuts::table.on(cuts::code.eq(tray.cut.clone())))
        .inner_join(species::table.on(species::code.eq(tray.species.clone())))
        .filter(places::code.eq(&tray.place));
    let found: Option<(PlaceRow, CutRow, SpeciesRow)> =
        on_either!(reading.conn, own => query.get_result(own)).optional()?;
    found.map(|(place, cut, species)| Ok((place.try_into()?, cut.try_into()?, species.try_into()?))).transpose()
}

/// The cut that already has an item number, if any.
pub fn cut_with_item_number(reading: &mut Reading<'_>, item_number: i64) -> Result<Option<String>, StoreError> {
    Ok(cuts::table.filter(cuts::item_number.eq(item_number)).select(cuts::code).get_result(reading.conn).optional()?)
}
