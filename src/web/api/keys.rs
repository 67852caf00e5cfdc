//! Keys of machines: created and rotated, each shown once, listed without their secrets, revoked.

use super::resource;
use crate::ops::desk::Desk;
use crate::ops::keys::{self, Span};
use crate::ops::look::AccessKeyRow;
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, ok};
use crate::web::call::{Look, Service, Told};
use crate::web::clock;
use crate::web::permit::ManageAccess;
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::http::header::CACHE_CONTROL;
use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AccessKey)]
pub struct KeyBody {
    #[schema(example = "Zk3v9QaB")]
    pub key_id: String,
    #[schema(example = "till 1")]
    pub name: String,
    #[schema(example = "till")]
    pub role: String,
    #[schema(example = "2026-11-25T08:00:00.000000Z")]
    pub created_at: String,
    /// End of the present secret.
    #[schema(example = "2027-02-23T08:00:00.000000Z")]
    pub expires_at: String,
    pub revoked_at: Option<String>,
    pub rotated_at: Option<String>,
    /// Until when the secret before the last rotation still opens the door.
    #[schema(example = "2026-12-02T08:00:00.000000Z")]
    pub previous_until: Option<String>,
    /// How many secrets of it open the door now: none, one, or two during a rotation.
    #[schema(example = 1)]
    pub secrets_live: u32,
    /// The hour in which it was used last.
    #[schema(example = "2026-11-25T08:00:00.000000Z")]
    pub last_used_at: Option<String>,
    /// Said when fewer than 14 days are left.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "ends in 6 days: rotate it")]
    pub warning: Option<String>,
    /// The key itself: shown when it is made and never again.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "sdk_Zk3v9QaB_…")]
    pub key: Option<String>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostKey {
    #[schema(example = "till 1")]
    pub name: String,
    /// counter, cutter, manager, till, reader or logger.
    #[schema(example = "till")]
    pub role: String,
    /// 1 to 400.
    #[schema(example = 90)]
    pub valid_days: i64,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostRotation {
    /// For how many days the secret in use now lives on beside the new one, though never beyond its own end: 0 to 30. With 0 only the
    /// new one is left.
    #[serde(default = "overlap_days")]
    #[schema(example = 7, default = 7)]
    pub overlap_days: i64,
    /// Life of the new secret: 1 to 400.
    #[serde(default = "valid_days")]
    #[schema(example = 90, default = 90)]
    pub valid_days: i64,
}

const fn overlap_days() -> i64 {
    7
}

const fn valid_days() -> i64 {
    90
}

fn text(micros: i64) -> String {
    Instant::from_micros(micros).map(|i| i.to_string()).unwrap_or_default()
}

/// How the end of a key is said in advance.
pub fn warning(days: i64) -> String {
    match days {
        0 => "ends within a day: rotate it".to_owned(),
        1 => "ends in 1 day: rotate it".to_owned(),
        days => format!("ends in {days} days: rotate it"),
    }
}

impl KeyBody {
    fn of(k: AccessKeyRow, now: Instant, key: Option<String>) -> KeyBody {
        let secrets = keys::secrets(&k);
        KeyBody {
            secrets_live: secrets.live(now),
            warning: secrets.days_left_if_few(now).map(warning),
            key_id: k.key_id,
            name: k.name,
            role: k.role,
            created_at: text(k.created_at),
            expires_at: text(k.expires_at),
            revoked_at: k.revoked_at.map(text),
            rotated_at: k.rotated_at.map(text),
            previous_until: k.previous_until.map(text),
            last_used_at: k.last_used_at.map(text),
            key,
        }
    }
}

fn shown_once(row: AccessKeyRow, key: String) -> HttpResponse {
    let body = KeyBody::of(row, clock::now(), Some(key));
    HttpResponse::Created().insert_header((CACHE_CONTROL, "no-store")).json(body)
}

/// Keys of machines, without their secrets.
#[utoipa::path(get, path = "/v1/keys", tag = "access", operation_id = "list_keys", extensions(("x-permission" = json!("manage_access"))),
    responses((status = 200, description = "Keys, oldest first.", body = Vec<KeyBody>)))]
async fn list_keys(look: Look<ManageAccess>) -> Outcome {
    let (keys, now) = look.ask(|desk, now| Ok((desk.look(|reading, _| keys::all_keys(reading))?, now))).await?;
    ok(&keys.into_iter().map(|k| KeyBody::of(k, now, None)).collect::<Vec<_>>())
}

/// Creates a key and shows it this once.
#[utoipa::path(post, path = "/v1/keys", tag = "access", operation_id = "create_key", request_body = PostKey, extensions(("x-permission" = json!("manage_access"))),
    responses((status = 201, description = "Created; the only time the key is shown.", body = KeyBody)))]
async fn post_key(told: Told<ManageAccess, PostKey>) -> Outcome {
    let (actor, body) = (told.look.actor.clone(), told.body);
    let random = clock::random().zip(clock::random()).ok_or_else(|| Problem::of(Speech::Unavailable))?;
    let create = move |desk: &Desk, now| {
        desk.act(move |tx, _| keys::create_key(tx, &actor, now, &random, &body.name, &body.role, body.valid_days))
    };
    let (row, key) = told.look.ask(create).await?;
    Ok(shown_once(row, key))
}

/// Gives a key a new secret and shows it this once.
///
/// The key keeps its number and name, and its scope of idempotency keys: what was begun with the old secret can be asked again with the
/// new one. The old secret lives on for the overlap. There are never more than two: a rotation is refused while both are in use; a new
/// secret that was never used, because its answer was lost, gives way to the next.
#[utoipa::path(post, path = "/v1/keys/{key_id}/rotation", tag = "access", operation_id = "rotate_key", request_body = PostRotation, extensions(("x-permission" = json!("manage_access"))),
    params(("key_id" = String, Path, example = "Zk3v9QaB")),
    responses((status = 201, description = "Rotated; the only time the new key is shown.", body = KeyBody)))]
async fn post_rotation(told: Told<ManageAccess, PostRotation>, key_id: web::Path<String>) -> Outcome {
    let (actor, body) = (told.look.actor.clone(), told.body);
    let random = clock::random().ok_or_else(|| Problem::of(Speech::Unavailable))?;
    let span = Span { overlap_days: body.overlap_days, valid_days: body.valid_days };
    let rotate =
        move |desk: &Desk, now| desk.act(move |tx, _| keys::rotate_key(tx, &actor, now, &random, &key_id, span));
    let (row, key) = told.look.ask(rotate).await?;
    forget_secrets(&told.look.service, &row);
    Ok(shown_once(row, key))
}

/// A secret that ended must not spend the rate of the one that took its place.
fn forget_secrets(service: &Service, key: &AccessKeyRow) {
    service.limits.quotas.forget_all_of(&keys::client_of(&key.key_id));
}

/// Revokes a key at once, with both its secrets.
#[utoipa::path(delete, path = "/v1/keys/{key_id}", tag = "access", operation_id = "revoke_key", extensions(("x-permission" = json!("manage_access"))),
    params(("key_id" = String, Path, example = "Zk3v9QaB")),
    responses((status = 200, description = "Revoked.", body = KeyBody)))]
async fn delete_key(look: Look<ManageAccess>, key_id: web::Path<String>) -> Outcome {
    let actor = look.actor.clone();
    let key = look.ask(move |desk, now| desk.act(move |tx, _| keys::revoke_key(tx, &actor, now, &key_id))).await?;
    forget_secrets(&look.service, &key);
    ok(&KeyBody::of(key, clock::now(), None))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/keys", "GET, POST").route(route::get().to(list_keys)).route(web::post().to(post_key)));
    config.service(resource("/v1/keys/{key_id}", "DELETE").route(web::delete().to(delete_key)));
    config.service(resource("/v1/keys/{key_id}/rotation", "POST").route(web::post().to(post_rotation)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list_keys, post_key, delete_key, post_rotation))]
pub struct Doc;
