//! Keys of machines. Secrets come in and go out only as hashes.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::access_keys;
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct AccessKey {
    pub id: i64,
    pub key_id: String,
    pub name: String,
    pub role: String,
    pub secret_hash: String,
    pub created_at: i64,
    pub expires_at: i64,
    pub revoked_at: Option<i64>,
    pub rotated_at: Option<i64>,
    /// Of the present secret.
    pub first_used_at: Option<i64>,
    /// Of either secret; the beginning of the hour.
    pub last_used_at: Option<i64>,
    pub previous_hash: Option<String>,
    pub previous_until: Option<i64>,
}

/// A key that is about to be.
#[derive(Debug, Clone, Copy)]
pub struct NewKey<'a> {
    pub key_id: &'a str,
    pub name: &'a str,
    pub role: &'a str,
    pub secret_hash: &'a str,
    pub at: Instant,
    pub expires: Instant,
}

pub fn insert(tx: &mut Tx<'_>, new: NewKey<'_>) -> Result<i64, StoreError> {
    let row = (
        access_keys::key_id.eq(new.key_id),
        access_keys::name.eq(new.name),
        access_keys::role.eq(new.role),
        access_keys::secret_hash.eq(new.secret_hash),
        access_keys::created_at.eq(new.at.micros()),
        access_keys::expires_at.eq(new.expires.micros()),
    );
    Ok(diesel::insert_into(access_keys::table).values(row).returning(access_keys::id).get_result(tx.changing())?)
}

pub fn find(reading: &mut Reading<'_>, key_id: &str) -> Result<Option<AccessKey>, StoreError> {
    let query = access_keys::table.filter(access_keys::key_id.eq(key_id));
    Ok(on_either!(reading.conn, own => query.get_result(own)).optional()?)
}

/// All keys, oldest first.
pub fn list(reading: &mut Reading<'_>) -> Result<Vec<AccessKey>, StoreError> {
    Ok(access_keys::table.order(access_keys::id).load(reading.conn)?)
}

pub fn revoke(tx: &mut Tx<'_>, key_id: &str, at: Instant) -> Result<(), StoreError> {
    let live = access_keys::table.filter(access_keys::key_id.eq(key_id)).filter(access_keys::revoked_at.is_null());
    diesel::update(live).set(access_keys::revoked_at.eq(at.micros())).execute(tx.changing())?;
    Ok(())
}

/// What a rotation leaves behind.
#[derive(Debug, Clone, Copy)]
pub struct Rotated<'a> {
    pub secret_hash: &'a str,
    pub expires: Instant,
    /// The hash of the secret that lives on, and until when.
    pub previous: Option<(&'a str, Instant)>,
}

pub fn rotate(tx: &mut Tx<'_>, key_id: &str, at: Instant, rotated: Rotated<'_>) -> Result<(), StoreError> {
    let row = (
        access_keys::secret_hash.eq(rotated.secret_hash),
        access_keys::expires_at.eq(rotated.expires.micros()),
        access_keys::rotated_at.eq(at.micros()),
        access_keys::first_used_at.eq(None::<i64>),
        access_keys::previous_hash.eq(rotated.previous.map(|(hash, _)| hash)),
        access_keys::previous_until.eq(rotated.previous.map(|(_, until)| until.micros())),
    );
    diesel::update(access_keys::table.filter(access_keys::key_id.eq(key_id))).set(row).execute(tx.changing())?;
    Ok(())
}

/// Notes the hour of a use, of either secret.
pub fn note_use(tx: &mut Tx<'_>, key_id: &str, hour: Instant) -> Result<(), StoreError> {
    let one = access_keys::table.filter(access_keys::key_id.eq(key_id));
    diesel::update(one).set(access_keys::last_used_at.eq(hour.micros())).execute(tx.changing())?;
    Ok(())
}

/// Notes the first use of a secret, if it still is the present one.
pub fn note_first_use(tx: &mut Tx<'_>, key_id: &str, secret_hash: &str, at: Instant) -> Result<(), StoreError> {
    let one = access_keys::table
        .filter(access_keys::key_id.eq(key_id))
        .filter(access_keys::secret_hash.eq(secret_hash))
        .filter(access_keys::first_used_at.is_null());
    diesel::update(one).set(access_keys::first_used_at.eq(at.micros())).execute(tx.changing())?;
    Ok(())
}
