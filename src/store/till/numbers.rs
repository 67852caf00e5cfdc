//! Numbers of acts and sales, taken before anything is written: what refers to them can then be written in any order.

use super::fixed::{Fixed, PgValue};
use crate::store::connection::AnyConnection;
use crate::store::error::StoreError;
use crate::store::schema::{acts, sales};
use crate::store::write::Tx;
use diesel::prelude::*;
use diesel::sql_types::BigInt;

/// Numbers that nobody else will get, in rising order: of an act, and of a sale.
pub enum Numbers {
    /// SQLite has one writer: what follows the last is free.
    After(i64, i64),
    Taken(std::vec::IntoIter<(i64, i64)>),
}

impl Iterator for Numbers {
    type Item = (i64, i64);

    fn next(&mut self) -> Option<(i64, i64)> {
        match self {
            Numbers::After(act, sale) => {
                (*act, *sale) = (act.checked_add(1)?, sale.checked_add(1)?);
                Some((*act, *sale))
            }
            Numbers::Taken(pairs) => pairs.next(),
        }
    }
}

struct Take;

/// Numbers for at most so many sales. On PostgreSQL those that are not used stay unused.
pub fn numbers(tx: &mut Tx<'_>, count: usize) -> Result<Numbers, StoreError> {
    match &mut *tx.conn {
        AnyConnection::Sqlite(sqlite) => {
            let last_act: Option<i64> = acts::table.select(diesel::dsl::max(acts::id)).get_result(sqlite)?;
            let last_sale: Option<i64> = sales::table.select(diesel::dsl::max(sales::id)).get_result(sqlite)?;
            Ok(Numbers::After(last_act.unwrap_or(0), last_sale.unwrap_or(0)))
        }
        AnyConnection::Postgres(postgres) => {
            let count = i64::try_from(count).unwrap_or(i64::MAX);
            let query = Fixed::<Take, (BigInt, BigInt), PgValue>::new(
                "SELECT nextval('acts_id_seq'), nextval('sales_id_seq') FROM generate_series(1, ?)",
                vec![PgValue::Number(count)],
            );
            let pairs: Vec<(i64, i64)> = query.load(postgres)?;
            Ok(Numbers::Taken(pairs.into_iter()))
        }
    }
}
