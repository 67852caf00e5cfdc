//! People and their sign-ins. Secrets come in and go out only as hashes.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::{people, sign_ins};
use super::write::Tx;
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Person {
    pub id: i64,
    pub name: String,
    pub role: String,
    pub password_hash: String,
    pub created_at: i64,
    pub disabled_at: Option<i64>,
}

pub fn insert(tx: &mut Tx<'_>, name: &str, role: &str, password_hash: &str, at: Instant) -> Result<i64, StoreError> {
    let row = (
        people::name.eq(name),
        people::role.eq(role),
        people::password_hash.eq(password_hash),
        people::created_at.eq(at.micros()),
    );
    Ok(diesel::insert_into(people::table).values(row).returning(people::id).get_result(tx.changing())?)
}

pub fn find(reading: &mut Reading<'_>, name: &str) -> Result<Option<Person>, StoreError> {
    Ok(people::table.filter(people::name.eq(name)).get_result(reading.conn).optional()?)
}

/// Everyone, by name.
pub fn list(reading: &mut Reading<'_>) -> Result<Vec<Person>, StoreError> {
    Ok(people::table.order(people::name).load(reading.conn)?)
}

pub fn disable(tx: &mut Tx<'_>, id: i64, at: Instant) -> Result<(), StoreError> {
    diesel::update(people::table.filter(people::id.eq(id)))
        .set(people::disabled_at.eq(at.micros()))
        .execute(tx.changing())?;
    diesel::delete(sign_ins::table.filter(sign_ins::person_id.eq(id))).execute(tx.changing())?;
    Ok(())
}

/// Sets a new password hash and ends every sign-in of the person.
pub fn set_password(tx: &mut Tx<'_>, id: i64, password_hash: &str) -> Result<(), StoreError> {
    diesel::update(people::table.filter(people::id.eq(id)))
        .set(people::password_hash.eq(password_hash))
        .execute(tx.changing())?;
    diesel::delete(sign_ins::table.filter(sign_ins::person_id.eq(id))).execute(tx.changing())?;
    Ok(())
}

/// A sign-in that is not over yet, with its person.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct SignIn {
    pub token_hash: String,
    pub last_seen_at: i64,
    pub expires_at: i64,
    pub person_name: String,
    pub role: String,
    pub disabled_at: Option<i64>,
}

pub fn insert_sign_in(
    tx: &mut Tx<'_>,
    token_hash: &str,
    person_id: i64,
    at: Instant,
    expires: Instant,
) -> Result<(), StoreError> {
    let row = (
        sign_ins::token_hash.eq(token_hash),
        sign_ins::person_id.eq(person_id),
        sign_ins::created_at.eq(at.micros()),
        sign_ins::last_seen_at.eq(at.micros()),
        sign_ins::expires_at.eq(expires.micros()),
    );
    diesel::insert_into(sign_ins::table).values(row).execute(tx.changing())?;
    Ok(())
}

pub fn find_sign_in(reading: &mut Reading<'_>, token_hash: &str) -> Result<Option<SignIn>, StoreError> {
    let query = sign_ins::table
        .inner_join(people::table.on(people::id.eq(sign_ins::person_id)))
        .filter(sign_ins::token_hash.eq(token_hash))
        .select((
            sign_ins::token_hash,
            sign_ins::last_seen_at,
            sign_ins::expires_at,
            people::name,
            people::role,
            people::disabled_at,
        ));
    Ok(on_either!(reading.conn, own => query.get_result(own)).optional()?)
}

pub fn touch_sign_in(tx: &mut Tx<'_>, token_hash: &str, at: Instant) -> Result<(), StoreError> {
    let one = sign_ins::table.filter(sign_ins::token_hash.eq(token_hash));
    diesel::update(one).set(sign_ins::last_seen_at.eq(at.micros())).execute(tx.changing())?;
    Ok(())
}

pub fn end_sign_in(tx: &mut Tx<'_>, token_hash: &str) -> Result<(), StoreError> {
    diesel::delete(sign_ins::table.filter(sign_ins::token_hash.eq(token_hash))).execute(tx.changing())?;
    Ok(())
}

/// Takes away sign-ins that are over.
pub fn sweep_sign_ins(tx: &mut Tx<'_>, now: Instant) -> Result<(), StoreError> {
    diesel::delete(sign_ins::table.filter(sign_ins::expires_at.lt(now.micros()))).execute(tx.changing())?;
    Ok(())
}
