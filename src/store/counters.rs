//! Numbers that are given out once: tray numbers, lots of a day.

use super::error::StoreError;
use super::schema::counters;
use super::write::Tx;
use diesel::prelude::*;

/// The next number of a counter, from 1.
pub fn next(tx: &mut Tx<'_>, name: &str) -> Result<i64, StoreError> {
    let counter = counters::table.filter(counters::name.eq(name));
    let last: Option<i64> = counter.select(counters::value).get_result(tx.changing()).optional()?;
    match last {
        Some(last) => {
            diesel::update(counter).set(counters::value.eq(last + 1)).execute(tx.changing())?;
            Ok(last + 1)
        }
        None => {
            diesel::insert_into(counters::table)
                .values((counters::name.eq(name), counters::value.eq(1)))
                .execute(tx.changing())?;
            Ok(1)
        }
    }
}
