//! What tills that were cut off said of their sales: by key and content, with their clock, and their lines as they were sent.

use super::error::StoreError;
use super::read::Reading;
use super::schema::offline::{replayed_lines, replayed_sales};
use super::write::Tx;
use crate::domain::replay::TillClock;
use crate::units::instant::Instant;
use diesel::prelude::*;

/// A replayed sale as its till names it.
#[derive(Debug, Clone, Copy)]
pub struct Named<'a> {
    pub client: &'a str,
    pub key: &'a str,
    /// Of its lines: what was scanned, grams, price. Told again with another time or count it is the same sale.
    pub fingerprint: &'a str,
}

/// When it was sold and told.
#[derive(Debug, Clone, Copy)]
pub struct Told {
    pub device_time: Instant,
    pub clock: TillClock,
    pub received_at: Instant,
    pub sequence: Option<i64>,
}

/// One line as it was sent, and what it came to.
#[derive(Debug, Clone)]
pub struct ReplayedLine<'a> {
    pub number: i64,
    pub scanned: &'a str,
    pub grams: Option<i64>,
    pub price_cents: i64,
    pub tray_id: Option<i64>,
    pub moved_g: i64,
}

pub fn insert(tx: &mut Tx<'_>, named: Named<'_>, sale_id: i64, told: Told) -> Result<(), StoreError> {
    let row = (
        replayed_sales::client.eq(named.client),
        replayed_sales::request_key.eq(named.key),
        replayed_sales::fingerprint.eq(named.fingerprint),
        replayed_sales::sale_id.eq(sale_id),
        replayed_sales::device_time.eq(told.device_time.micros()),
        replayed_sales::clock.eq(told.clock.as_str()),
        replayed_sales::received_at.eq(told.received_at.micros()),
        replayed_sales::sequence.eq(told.sequence),
    );
    diesel::insert_into(replayed_sales::table).values(row).execute(tx.changing())?;
    Ok(())
}

pub fn insert_line(tx: &mut Tx<'_>, sale_id: i64, line: &ReplayedLine<'_>) -> Result<(), StoreError> {
    let row = (
        replayed_lines::sale_id.eq(sale_id),
        replayed_lines::line_number.eq(line.number),
        replayed_lines::scanned.eq(line.scanned),
        replayed_lines::grams.eq(line.grams),
        replayed_lines::price_cents.eq(line.price_cents),
        replayed_lines::tray_id.eq(line.tray_id),
        replayed_lines::moved_g.eq(line.moved_g),
    );
    diesel::insert_into(replayed_lines::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// The sale that a key and a content were replayed as, and what was noted of the till's clock.
pub fn find(reading: &mut Reading<'_>, named: Named<'_>) -> Result<Option<(i64, TillClock)>, StoreError> {
    let row: Option<(i64, String)> = replayed_sales::table
        .filter(replayed_sales::client.eq(named.client))
        .filter(replayed_sales::request_key.eq(named.key))
        .filter(replayed_sales::fingerprint.eq(named.fingerprint))
        .select((replayed_sales::sale_id, replayed_sales::clock))
        .get_result(reading.conn)
        .optional()?;
    let read = |(id, clock): (i64, String)| {
        let clock = TillClock::parse(&clock).ok_or_else(|| StoreError::impossible("clock of a till", clock))?;
        Ok((id, clock))
    };
    row.map(read).transpose()
}

/// Whether a sale was recorded by a replay, and did not get through by itself.
pub fn recorded(reading: &mut Reading<'_>, sale_id: i64) -> Result<bool, StoreError> {
    let rows = replayed_lines::table.filter(replayed_lines::sale_id.eq(sale_id));
    Ok(diesel::select(diesel::dsl::exists(rows)).get_result(reading.conn)?)
}
