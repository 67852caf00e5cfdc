//! Answers already given, by client, route and key: written in the transaction of the act they answer.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::idempotency;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

/// Who asked, where, and under which key.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct RequestKey {
    pub client: String,
    pub route: String,
    pub key: String,
}

/// The answer that was given, and the fingerprint of the content it answered.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Given {
    pub fingerprint: String,
    pub status: i64,
    pub body: String,
}

pub fn find(reading: &mut Reading<'_>, request: &RequestKey) -> Result<Option<Given>, StoreError> {
    let query = idempotency::table
        .filter(idempotency::client.eq(&request.client))
        .filter(idempotency::route.eq(&request.route))
        .filter(idempotency::request_key.eq(&request.key))
        .select((idempotency::fingerprint, idempotency::status, idempotency::body));
    Ok(on_either!(reading.conn, own => query.get_result(own)).optional()?)
}

pub fn insert(tx: &mut Tx<'_>, request: &RequestKey, given: &Given, at: Instant) -> Result<(), StoreError> {
    let row = (
        idempotency::client.eq(&request.client),
        idempotency::route.eq(&request.route),
        idempotency::request_key.eq(&request.key),
        idempotency::fingerprint.eq(&given.fingerprint),
        idempotency::status.eq(given.status),
        idempotency::body.eq(&given.body),
        idempotency::at.eq(at.micros()),
    );
    let insert = diesel::insert_into(idempotency::table).values(row);
    on_either!(tx.changing(), own => insert.execute(own))?;
    Ok(())
}
