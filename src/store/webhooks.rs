//! Subscriptions to changes and their dead letters. How one fares is decided in `domain::webhook`.

use super::error::StoreError;
use super::read::Reading;
use super::schema::following::{webhook_dead_letters as letters, webhooks};
use super::trays::instant;
use super::write::Tx;
use crate::domain::webhook::{DeadLetter, Disabled, Kind, Place, Webhook};
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Queryable, Insertable, AsChangeset)]
#[diesel(table_name = webhooks, treat_none_as_null = true)]
struct WebhookRow {
    /// Given by the database.
    #[diesel(skip_insertion)]
    id: i64,
    url: String,
    kinds: String,
    created_at: i64,
    created_by: String,
    secret: String,
    earlier_secret: Option<String>,
    earlier_until: Option<i64>,
    version: i64,
    disabled_at: Option<i64>,
    disabled_why: Option<String>,
    position_xact: i64,
    position_id: i64,
    tries: i64,
    next_try_at: i64,
    last_failure: Option<String>,
    dead_in_a_row: i64,
    last_success_at: Option<i64>,
    claimed_by: Option<String>,
    claimed_until: i64,
    test_asked_at: Option<i64>,
    test_outcome: Option<String>,
}

impl From<&Webhook> for WebhookRow {
    fn from(hook: &Webhook) -> WebhookRow {
        let disabled = hook.disabled.as_ref();
        WebhookRow {
            id: hook.id,
            url: hook.url.clone(),
            kinds: hook.kinds.iter().map(|kind| kind.as_str()).collect::<Vec<_>>().join(" "),
            created_at: hook.created_at.micros(),
            created_by: hook.created_by.clone(),
            secret: hook.secret.clone(),
            earlier_secret: hook.earlier_secret.clone(),
            earlier_until: hook.earlier_until.map(Instant::micros),
            version: hook.version,
            disabled_at: disabled.map(|disabled| disabled.at.micros()),
            disabled_why: disabled.map(|disabled| disabled.why.clone()),
            position_xact: hook.position.0,
            position_id: hook.position.1,
            tries: hook.tries,
            next_try_at: hook.next_try_at.micros(),
            last_failure: hook.last_failure.clone(),
            dead_in_a_row: hook.dead_in_a_row,
            last_success_at: hook.last_success_at.map(Instant::micros),
            claimed_by: hook.claimed_by.clone(),
            claimed_until: hook.claimed_until.micros(),
            test_asked_at: hook.test_asked_at.map(Instant::micros),
            test_outcome: hook.test_outcome.clone(),
        }
    }
}

impl TryFrom<WebhookRow> for Webhook {
    type Error = StoreError;

    fn try_from(row: WebhookRow) -> Result<Webhook, StoreError> {
        let kind = |name: &str| Kind::parse(name).ok_or_else(|| StoreError::impossible("kind of event", name));
        let disabled = match (row.disabled_at, row.disabled_why) {
            (Some(at), Some(why)) => Some(Disabled { at: instant(at)?, why }),
            (None, None) => None,
            _ => return Err(StoreError::impossible("disabled webhook", row.id)),
        };
        Ok(Webhook {
            id: row.id,
            url: row.url,
            kinds: row.kinds.split(' ').map(kind).collect::<Result<_, _>>()?,
            created_at: instant(row.created_at)?,
            created_by: row.created_by,
            secret: row.secret,
            earlier_secret: row.earlier_secret,
            earlier_until: row.earlier_until.map(instant).transpose()?,
            version: row.version,
            disabled,
            position: (row.position_xact, row.position_id),
            tries: row.tries,
            next_try_at: instant(row.next_try_at)?,
            last_failure: row.last_failure,
            dead_in_a_row: row.dead_in_a_row,
            last_success_at: row.last_success_at.map(instant).transpose()?,
            claimed_by: row.claimed_by,
            claimed_until: instant(row.claimed_until)?,
            test_asked_at: row.test_asked_at.map(instant).transpose()?,
            test_outcome: row.test_outcome,
        })
    }
}

/// Keeps a new subscription; gives its number. That of the value counts for nothing.
pub fn insert(tx: &mut Tx<'_>, hook: &Webhook) -> Result<i64, StoreError> {
    let insert = diesel::insert_into(webhooks::table).values(WebhookRow::from(hook));
    Ok(insert.returning(webhooks::id).get_result(tx.changing())?)
}

/// Writes a changed subscription.
pub fn save(tx: &mut Tx<'_>, hook: &Webhook) -> Result<(), StoreError> {
    let one = webhooks::table.filter(webhooks::id.eq(hook.id));
    diesel::update(one).set(WebhookRow::from(hook)).execute(tx.changing())?;
    Ok(())
}

/// Takes a subscription away, and its dead letters.
pub fn delete(tx: &mut Tx<'_>, id: i64) -> Result<(), StoreError> {
    diesel::delete(letters::table.filter(letters::webhook_id.eq(id))).execute(tx.changing())?;
    diesel::delete(webhooks::table.filter(webhooks::id.eq(id))).execute(tx.changing())?;
    Ok(())
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Webhook>, StoreError> {
    let row: Option<WebhookRow> = webhooks::table.filter(webhooks::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(TryInto::try_into).transpose()
}

/// All of them, the oldest first.
pub fn list(reading: &mut Reading<'_>) -> Result<Vec<Webhook>, StoreError> {
    let rows: Vec<WebhookRow> = webhooks::table.order(webhooks::id).load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Which are sent to, the oldest first.
pub fn enabled(reading: &mut Reading<'_>) -> Result<Vec<i64>, StoreError> {
    let enabled = webhooks::table.filter(webhooks::disabled_at.is_null());
    Ok(enabled.order(webhooks::id).select(webhooks::id).load(reading.conn)?)
}

/// How many of them have a delivery that failed and is to be tried again.
pub fn trying_again(reading: &mut Reading<'_>) -> Result<i64, StoreError> {
    let enabled = webhooks::table.filter(webhooks::disabled_at.is_null());
    Ok(enabled.filter(webhooks::tries.gt(0)).count().get_result(reading.conn)?)
}

#[derive(Queryable)]
struct LetterRow {
    id: i64,
    webhook_id: i64,
    xact: i64,
    change_id: i64,
    failed_at: i64,
    tries: i64,
    reason: String,
    replay_asked_at: Option<i64>,
}

impl TryFrom<LetterRow> for DeadLetter {
    type Error = StoreError;

    fn try_from(row: LetterRow) -> Result<DeadLetter, StoreError> {
        Ok(DeadLetter {
            id: row.id,
            webhook_id: row.webhook_id,
            place: (row.xact, row.change_id),
            failed_at: instant(row.failed_at)?,
            tries: row.tries,
            reason: row.reason,
            replay_asked_at: row.replay_asked_at.map(instant).transpose()?,
        })
    }
}

fn read(rows: Vec<LetterRow>) -> Result<Vec<DeadLetter>, StoreError> {
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Keeps a letter that died. One that died before, and was sent again from a cursor, stands once.
pub fn bury(
    tx: &mut Tx<'_>,
    webhook_id: i64,
    (xact, change_id): Place,
    at: Instant,
    tries: i64,
    reason: &str,
) -> Result<(), StoreError> {
    let same = letters::table.filter(letters::webhook_id.eq(webhook_id));
    diesel::delete(same.filter(letters::xact.eq(xact)).filter(letters::change_id.eq(change_id)))
        .execute(tx.changing())?;
    let row = (
        letters::webhook_id.eq(webhook_id),
        letters::xact.eq(xact),
        letters::change_id.eq(change_id),
        letters::failed_at.eq(at.micros()),
        letters::tries.eq(tries),
        letters::reason.eq(reason),
    );
    diesel::insert_into(letters::table).values(row).execute(tx.changing())?;
    Ok(())
}

pub fn letter(reading: &mut Reading<'_>, id: i64) -> Result<Option<DeadLetter>, StoreError> {
    let row: Option<LetterRow> = letters::table.filter(letters::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(TryInto::try_into).transpose()
}

/// Writes how a letter stands.
pub fn save_letter(tx: &mut Tx<'_>, letter: &DeadLetter) -> Result<(), StoreError> {
    let set = (
        letters::failed_at.eq(letter.failed_at.micros()),
        letters::tries.eq(letter.tries),
        letters::reason.eq(&letter.reason),
        letters::replay_asked_at.eq(letter.replay_asked_at.map(Instant::micros)),
    );
    diesel::update(letters::table.filter(letters::id.eq(letter.id))).set(set).execute(tx.changing())?;
    Ok(())
}

pub fn delete_letter(tx: &mut Tx<'_>, id: i64) -> Result<(), StoreError> {
    diesel::delete(letters::table.filter(letters::id.eq(id))).execute(tx.changing())?;
    Ok(())
}

/// Dead letters of a subscription, the newest first, below a number.
pub fn letters(
    reading: &mut Reading<'_>,
    webhook_id: i64,
    below: Option<i64>,
    limit: i64,
) -> Result<Vec<DeadLetter>, StoreError> {
    let of_one = letters::table.filter(letters::webhook_id.eq(webhook_id));
    let below = of_one.filter(letters::id.lt(below.unwrap_or(i64::MAX)));
    read(below.order(letters::id.desc()).limit(limit).load(reading.conn)?)
}

/// The first letter, in the order of the changes, that somebody wants sent once more.
pub fn wanted_letter(reading: &mut Reading<'_>, webhook_id: i64) -> Result<Option<DeadLetter>, StoreError> {
    let wanted =
        letters::table.filter(letters::webhook_id.eq(webhook_id)).filter(letters::replay_asked_at.is_not_null());
    let rows = wanted.order((letters::xact, letters::change_id)).limit(1).load(reading.conn)?;
    Ok(read(rows)?.pop())
}

/// Asks for every dead letter of a subscription once more; gives how many there are.
pub fn want_letters(tx: &mut Tx<'_>, webhook_id: i64, at: Instant) -> Result<usize, StoreError> {
    let of_one = letters::table.filter(letters::webhook_id.eq(webhook_id));
    Ok(diesel::update(of_one).set(letters::replay_asked_at.eq(at.micros())).execute(tx.changing())?)
}

/// How many dead letters a subscription has.
pub fn count_letters(reading: &mut Reading<'_>, webhook_id: i64) -> Result<i64, StoreError> {
    Ok(letters::table.filter(letters::webhook_id.eq(webhook_id)).count().get_result(reading.conn)?)
}
