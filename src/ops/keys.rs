//! Machines' keys: created, rotated, revoked, known again. A key keeps its public number, and with it its name in the books and its scope
//! of idempotency keys, over every rotation; only the secret changes.

use super::access::{Known, record, role_of};
use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::secret::{self, Random32};
use crate::domain::key_life::{self, Keeps, Secrets};
use crate::domain::permissions::Role;
use crate::domain::refusal::Code;
use crate::domain::text;
use crate::store::error::StoreError;
use crate::store::keys::{self, AccessKey, NewKey, Rotated};
use crate::store::{Reading, Tx};
use crate::units::instant::{Instant, MICROS_PER_HOUR};

/// What the rules know of a key as it is kept.
pub fn secrets(key: &AccessKey) -> Secrets {
    let instant = |micros: i64| Instant::from_micros(micros).unwrap_or(Instant::EPOCH);
    Secrets {
        expires: instant(key.expires_at),
        present_is_used: key.first_used_at.is_some(),
        previous_until: key.previous_until.map(instant),
        is_revoked: key.revoked_at.is_some(),
    }
}

/// Which of a key's secrets was shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shown {
    Present,
    Previous,
}

fn shown(key: &AccessKey, digest: &str, now: Instant) -> Option<Shown> {
    let lives = |until: i64| key.revoked_at.is_none() && now.micros() < until;
    let present = secret::same(&key.secret_hash, digest) && lives(key.expires_at);
    let previous = key.previous_hash.as_ref().is_some_and(|hash| secret::same(hash, digest))
        && key.previous_until.is_some_and(lives);
    match (present, previous) {
        (true, _) => Some(Shown::Present),
        (false, true) => Some(Shown::Previous),
        (false, false) => None,
    }
}

/// A use of a key that is to be written down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Used {
    key_id: String,
    /// The digest of the present secret, when it is used for the first time.
    first: Option<String>,
    hour: Instant,
}

/// What a key's acts and rate are counted under, whichever of its secrets they come with.
pub fn client_of(key_id: &str) -> String {
    format!("key:{key_id}")
}

/// Who a key belongs to, and what is to be written down of its use; none when it is not valid now.
pub fn recognise(
    reading: &mut Reading<'_>,
    now: Instant,
    key_id: &str,
    credential: &str,
) -> Result<Option<(Known, Option<Used>)>, Failure> {
    let digest = secret::digest(credential);
    let key = keys::find(reading, key_id)?;
    let Some((key, which)) = key.and_then(|k| shown(&k, &digest, now).map(|which| (k, which))) else {
        return Ok(None);
    };
    let used = used(&key, which, digest, now);
    let actor = Actor { role: role_of(&key.role)?, name: format!("key {}", key.name) };
    Ok(Some((Known { actor, client: client_of(&key.key_id) }, used)))
}

/// A use is remembered to the hour, so that a busy till does not write with each of its requests.
fn used(key: &AccessKey, which: Shown, digest: String, now: Instant) -> Option<Used> {
    let hour = now.micros() - now.micros().rem_euclid(MICROS_PER_HOUR);
    let first = which == Shown::Present && key.first_used_at.is_none();
    let again = key.last_used_at.is_none_or(|last| last < hour);
    (first || again).then(|| Used {
        key_id: key.key_id.clone(),
        first: first.then_some(digest),
        hour: Instant::from_micros(hour).unwrap_or(now),
    })
}

/// Writes a use down.
pub fn note(tx: &mut Tx<'_>, used: &Used, now: Instant) -> Result<(), Failure> {
    if let Some(digest) = &used.first {
        keys::note_first_use(tx, &used.key_id, digest, now)?;
    }
    Ok(keys::note_use(tx, &used.key_id, used.hour)?)
}

/// Creates a key; its text is in the answer and nowhere else.
pub fn create_key(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    random: &(Random32, Random32),
    name: &str,
    role: &str,
    valid_days: i64,
) -> Result<(AccessKey, String), Failure> {
    let name = text::name("name", name)?;
    let Some(role) = Role::parse(role) else {
        return refuse(Code::InvalidValue, "role", "must be counter, cutter, manager, till, reader or logger");
    };
    let expires = key_life::end(now, valid_days)?;
    let (key_id, key) = secret::access_key(&random.0, &random.1);
    record(tx, actor, now, "create_key", &key_id)?;
    let secret_hash = &secret::digest(&key);
    keys::insert(tx, NewKey { key_id: &key_id, name: &name, role: role.as_str(), secret_hash, at: now, expires })?;
    Ok((found(tx, &key_id)?, key))
}

fn found(tx: &mut Tx<'_>, key_id: &str) -> Result<AccessKey, Failure> {
    keys::find(tx, key_id)?.ok_or_else(|| StoreError::impossible("key", key_id).into())
}

fn named(tx: &mut Tx<'_>, key_id: &str) -> Result<AccessKey, Failure> {
    match keys::find(tx, key_id)? {
        Some(key) => Ok(key),
        None => refuse(Code::NotFound, "key_id", "there is no such key"),
    }
}

/// How long the secrets live after a rotation, in days from now.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    /// The one in use until now.
    pub overlap_days: i64,
    /// The new one.
    pub valid_days: i64,
}

/// Gives a key a new secret; the old one lives on for a while. The text is in the answer and nowhere else.
pub fn rotate_key(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    random: &Random32,
    key_id: &str,
    span: Span,
) -> Result<(AccessKey, String), Failure> {
    let key = named(tx, key_id)?;
    let expires = key_life::end(now, span.valid_days)?;
    let keeps = secrets(&key).rotate(now, span.overlap_days)?;
    let text = secret::access_key_again(&key.key_id, random);
    record(tx, actor, now, "rotate_key", key_id)?;
    let previous = match keeps {
        Keeps::Nothing => None,
        Keeps::Present(until) => Some((key.secret_hash.as_str(), until)),
        Keeps::Previous(until) => key.previous_hash.as_deref().map(|hash| (hash, until)),
    };
    keys::rotate(tx, key_id, now, Rotated { secret_hash: &secret::digest(&text), expires, previous })?;
    Ok((found(tx, key_id)?, text))
}

pub fn revoke_key(tx: &mut Tx<'_>, actor: &Actor, now: Instant, key_id: &str) -> Result<AccessKey, Failure> {
    named(tx, key_id)?;
    record(tx, actor, now, "revoke_key", key_id)?;
    keys::revoke(tx, key_id, now)?;
    found(tx, key_id)
}

pub fn all_keys(reading: &mut Reading<'_>) -> Result<Vec<AccessKey>, Failure> {
    Ok(keys::list(reading)?)
}

/// Names of the keys that end soon, with the whole days that are left.
pub fn ending(reading: &mut Reading<'_>, now: Instant) -> Result<Vec<(String, i64)>, Failure> {
    let days = |key: AccessKey| secrets(&key).days_left_if_few(now).map(|days| (key.name, days));
    Ok(keys::list(reading)?.into_iter().filter_map(days).collect())
}
