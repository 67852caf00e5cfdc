//! What a receiver reads: one event a letter, as JSON. Who did it and why stays in the shop: the letter leaves it.

use crate::domain::webhook::{Kind, TEST, Webhook};
use crate::ops::changes::{ChangeRow, cursor};
use crate::store::error::StoreError;
use crate::units::instant::Instant;
use serde::Serialize;
use serde_json::value::RawValue;

#[derive(Serialize)]
struct Body<'a, T> {
    #[serde(rename = "type")]
    kind: &'a str,
    timestamp: String,
    data: T,
}

#[derive(Serialize)]
struct Told<'a> {
    /// A place in the change feed: a receiver that missed something goes on from here.
    cursor: String,
    act_id: Option<i64>,
    /// What was done, in the words of the feed.
    kind: &'a str,
    at: String,
    reverses_act_id: Option<i64>,
    tray_code: Option<&'a str>,
    /// As it is kept, which is JSON.
    offer: Option<&'a RawValue>,
}

#[derive(Serialize)]
struct Tried {
    webhook_id: i64,
}

/// An event as it goes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// The same at every try, and at every replay.
    pub id: String,
    pub body: String,
}

fn written<T: Serialize>(body: &Body<'_, T>) -> Result<String, StoreError> {
    serde_json::to_string(body).map_err(|error| StoreError::impossible("event", error))
}

/// The event of a change. Its number holds the time of the change: of a database restored from an older copy, which counts its changes from an
/// earlier number again, no two events have one number.
pub fn of_change(hook: &Webhook, change: &ChangeRow) -> Result<Event, StoreError> {
    let (tray_code, offer) = (change.tray_code.as_deref(), change.offer.as_deref());
    let offer = offer.map(serde_json::from_str::<&RawValue>).transpose();
    let data = Told {
        cursor: cursor(change.position),
        act_id: change.act_id,
        kind: &change.kind,
        at: change.at.to_string(),
        reverses_act_id: change.reverses_act_id,
        tray_code,
        offer: offer.map_err(|error| StoreError::impossible("offer", error))?,
    };
    let kind = Kind::of(tray_code, change.offer.as_deref()).as_str();
    let (place, at) = (change.position, change.recorded_at);
    Ok(Event {
        id: format!("msg_{}_{:x}_{:x}_{:x}", hook.id, place.xact, place.id, at.micros()),
        body: written(&Body { kind, timestamp: at.to_string(), data })?,
    })
}

/// The event that tries a receiver out.
pub fn test(hook: &Webhook, asked_at: Instant) -> Result<Event, StoreError> {
    Ok(Event {
        id: format!("msg_{}_test_{:x}", hook.id, asked_at.micros()),
        body: written(&Body { kind: TEST, timestamp: asked_at.to_string(), data: Tried { webhook_id: hook.id } })?,
    })
}
