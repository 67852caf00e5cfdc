//! What a group of sales needs and leaves, in a fixed number of statements however many sales there are. With `dialect` and `prepared` the
//! only place that asks which database it is: lists travel as one value, an array on PostgreSQL and JSON on SQLite.

mod append;
mod fixed;
mod numbers;

use super::connection::AnyConnection;
use super::error::StoreError;
use super::idempotency::{self, Given, RequestKey};
use super::lives::LifeRow;
use super::read::Reading;
use super::schema::{lives, trays as trays_table};
use super::trays::{TrayRow, instant};
use super::write::Tx;
use crate::domain::holding::Holding;
use crate::domain::tray::Tray;
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;
use append::append_rows;
pub use append::{Books, ChangeRow, HoldingAfter, KeyRow, SaleRow, TrayAfter};
use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bool, Nullable, Text};
use fixed::{Fixed, PgValue, SqliteValue};
pub use numbers::{Numbers, numbers};
use std::collections::HashMap;

/// Prepares a transaction for a group of sales.
///
/// On PostgreSQL a group runs on one snapshot (REPEATABLE READ) and not serializably: predicate locks on the pages of every index that many
/// sales share would make groups fail each other. That is enough, because whatever a sale rests on and another act may change is told of the
/// tray, and so written to the tray's row or to its row on the shelf, which the sale writes too: of two that would not have known of each
/// other the later fails and is tried again. What is told of no tray at once is a reading; a sale beside it stands before it.
///
/// The plans are made once and not for the values, and a statement over lists always searches by key, one entry after the other: planned while
/// a table is small, it would otherwise read all of it ever after.
pub fn begin(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    match &mut *tx.conn {
        AnyConnection::Sqlite(_) => Ok(()),
        AnyConnection::Postgres(postgres) => Ok(postgres.batch_execute(
            "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ; \
             SET LOCAL plan_cache_mode = force_generic_plan; SET LOCAL enable_seqscan = off; \
             SET LOCAL enable_hashjoin = off; SET LOCAL enable_mergejoin = off; SET LOCAL enable_material = off; SET LOCAL jit = off",
        )?),
    }
}

/// A list that a statement looks things up by.
enum List<'a> {
    Numbers(&'a [i64]),
    Texts(&'a [String]),
}

impl List<'_> {
    fn as_json(&self) -> String {
        match self {
            List::Numbers(numbers) => serde_json::to_string(numbers),
            List::Texts(texts) => serde_json::to_string(texts),
        }
        .unwrap_or_default()
    }

    fn as_array(&self) -> PgValue {
        match self {
            List::Numbers(numbers) => PgValue::Numbers(numbers.to_vec()),
            List::Texts(texts) => PgValue::Texts(texts.to_vec()),
        }
    }
}

/// Loads what a statement finds by a list. The list stands in the text as `n (value)`, outermost: SQLite keeps the order of a CROSS JOIN.
macro_rules! by_list {
    ($reading:expr, $list:expr, $name:ty, $row:ty, $before:literal, $after:literal) => {{
        const OF_JSON: &str = concat!($before, "json_each(?) AS n", $after);
        const OF_ARRAY: &str = concat!($before, "unnest(?) AS n (value)", $after);
        let list: List<'_> = $list;
        match &mut *$reading.conn {
            AnyConnection::Sqlite(sqlite) => {
                let values = vec![SqliteValue::Text(list.as_json())];
                Fixed::<$name, $row, SqliteValue>::new(OF_JSON, values).load(sqlite)
            }
            AnyConnection::Postgres(postgres) => {
                let values = vec![list.as_array()];
                Fixed::<$name, $row, PgValue>::new(OF_ARRAY, values).load(postgres)
            }
        }
    }};
}

struct TraysByCode;
struct LotsOnTrays;
struct HoldsOnTrays;
struct LabelsOfTrays;
struct GivenAnswers;

/// The trays with these codes.
pub fn trays(reading: &mut Reading<'_>, codes: &[String]) -> Result<Vec<Tray>, StoreError> {
    let rows: Vec<(TrayRow, LifeRow)> = by_list!(
        reading,
        List::Texts(codes),
        TraysByCode,
        (trays_table::SqlType, lives::SqlType),
        "SELECT t.id, t.code, t.kind, t.cut_code, t.species_code, t.batch_id, t.place_code, t.fate, t.gone_at, t.net_g, t.initial_g, \
         t.price_per_kg_cents, t.list_price_per_kg_cents, t.markdown_reason, t.cut_at, t.use_by, t.supplier_until, t.paused_left_micros, \
         t.frozen_at, t.thawed_at, t.label_wanted, t.version, \
         l.tray_id, l.as_of, l.raw_budget_micros, l.colour_budget_micros, l.frozen_budget_micros, l.raw_micros, l.colour_micros, \
         l.frozen_micros, l.exposed_micros, l.hot_micros, l.measured_micros, l.assumed_micros, l.raw_budget_validated, l.date_day_one, \
         l.wholly_frozen_before, l.parasites_frozen_at FROM ",
        " CROSS JOIN trays AS t CROSS JOIN lives AS l WHERE t.code = n.value AND l.tray_id = t.id"
    )?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// What lies or lay on a tray of one lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotOnTray {
    pub tray_id: i64,
    pub held: Holding,
    pub code: String,
    /// Whether the lot has its record of parasite freezing.
    pub recorded: bool,
}

/// The lots on these trays, in no order.
pub fn lots_on(reading: &mut Reading<'_>, trays: &[i64]) -> Result<Vec<LotOnTray>, StoreError> {
    let rows: Vec<(i64, i64, i64, i64, String, bool)> = by_list!(
        reading,
        List::Numbers(trays),
        LotsOnTrays,
        (BigInt, BigInt, BigInt, BigInt, Text, Bool),
        "SELECT h.tray_id, h.lot_id, h.grams, h.cost_cents, l.code, l.parasite_freezing IS NOT NULL FROM ",
        " CROSS JOIN holdings AS h CROSS JOIN lots AS l WHERE h.tray_id = n.value AND l.id = h.lot_id"
    )?;
    let lot = |(tray_id, lot_id, grams, cost_cents, code, recorded)| LotOnTray {
        tray_id,
        held: Holding { lot_id, grams, cost_cents },
        code,
        recorded,
    };
    Ok(rows.into_iter().map(lot).collect())
}

/// Reasons of the open holds that stop these trays: the tray, and the reasons in the order in which they were placed.
pub fn holds_on(reading: &mut Reading<'_>, trays: &[i64]) -> Result<Vec<(i64, String)>, StoreError> {
    let rows: Vec<(i64, i64, String)> = by_list!(
        reading,
        List::Numbers(trays),
        HoldsOnTrays,
        (BigInt, BigInt, Text),
        "WITH n AS (SELECT n.value AS id FROM ",
        ") SELECT n.id, h.id, h.reason FROM n CROSS JOIN holds AS h \
            WHERE h.scope = 'tray' AND h.target_id = n.id AND h.released_at IS NULL \
         UNION ALL SELECT n.id, h.id, h.reason FROM n CROSS JOIN held_trays AS r CROSS JOIN holds AS h \
            WHERE r.tray_id = n.id AND h.id = r.hold_id AND h.scope = 'batch' AND h.released_at IS NULL \
         UNION ALL SELECT n.id, h.id, h.reason FROM n CROSS JOIN holdings AS o CROSS JOIN holds AS h \
            WHERE o.tray_id = n.id AND h.scope = 'lot' AND h.target_id = o.lot_id AND h.released_at IS NULL \
         ORDER BY 1, 2"
    )?;
    Ok(rows.into_iter().map(|(tray, _, reason)| (tray, reason)).collect())
}

/// What of a label its code can be held against.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelOfTray {
    pub tray_id: i64,
    pub use_by: Option<Instant>,
    pub net: Grams,
    pub price: PricePerKg,
    pub article: String,
}

/// The labels of these trays, the latest of each tray last.
pub fn labels_of(reading: &mut Reading<'_>, trays: &[i64]) -> Result<Vec<LabelOfTray>, StoreError> {
    if trays.is_empty() {
        return Ok(Vec::new());
    }
    let rows: Vec<(i64, Option<i64>, i64, i64, String)> = by_list!(
        reading,
        List::Numbers(trays),
        LabelsOfTrays,
        (BigInt, Nullable<BigInt>, BigInt, BigInt, Text),
        "SELECT i.tray_id, i.use_by, i.net_g, i.price_per_kg_cents, i.article FROM ",
        " CROSS JOIN issued_labels AS i WHERE i.tray_id = n.value ORDER BY i.tray_id, i.at, i.id"
    )?;
    let label = |(tray_id, use_by, net, price, article): (i64, Option<i64>, i64, i64, String)| {
        Ok(LabelOfTray {
            tray_id,
            use_by: use_by.map(instant).transpose()?,
            net: Grams::new(net).map_err(|e| StoreError::impossible("mass", e))?,
            price: PricePerKg::new(price).map_err(|e| StoreError::impossible("price", e))?,
            article,
        })
    };
    rows.into_iter().map(label).collect()
}

/// Answers given before under these keys.
pub fn given(reading: &mut Reading<'_>, keys: &[RequestKey]) -> Result<HashMap<RequestKey, Given>, StoreError> {
    let mut found = HashMap::new();
    if let AnyConnection::Postgres(postgres) = &mut *reading.conn {
        let column = |of: fn(&RequestKey) -> &String| PgValue::Texts(keys.iter().map(of).cloned().collect());
        let values = vec![column(|k| &k.client), column(|k| &k.route), column(|k| &k.key)];
        let rows: Vec<(i64, String, i64, String)> = Fixed::<GivenAnswers, (BigInt, Text, BigInt, Text), PgValue>::new(
            "SELECT n.number, i.fingerprint, i.status, i.body \
                 FROM unnest(?, ?, ?) WITH ORDINALITY AS n (client, route, request_key, number) \
                 JOIN idempotency AS i ON i.client = n.client AND i.route = n.route AND i.request_key = n.request_key",
            values,
        )
        .load(postgres)?;
        for (number, fingerprint, status, body) in rows {
            if let Some(key) = usize::try_from(number - 1).ok().and_then(|at| keys.get(at)) {
                found.insert(key.clone(), Given { fingerprint, status, body });
            }
        }
        return Ok(found);
    }
    for key in keys {
        if let Some(given) = idempotency::find(reading, key)? {
            found.insert(key.clone(), given);
        }
    }
    Ok(found)
}

/// Writes all that a group of sales changed. A tray that changed meanwhile is a collision, and nothing of the group stands.
pub fn append(tx: &mut Tx<'_>, books: &Books) -> Result<(), StoreError> {
    if books.sales.is_empty() { Ok(()) } else { append_rows(tx.changing(), books) }
}
