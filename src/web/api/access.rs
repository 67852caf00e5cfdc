//! People who may sign in, and keys of machines.

use super::resource;
use crate::ops::access::{self, NewPerson};
use crate::ops::look::{AccessKeyRow, PersonRow};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, ok};
use crate::web::call::{Look, Told};
use crate::web::clock;
use crate::web::permit::ManageAccess;
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Person)]
pub struct PersonBody {
    #[schema(example = "Ines")]
    pub name: String,
    #[schema(example = "counter")]
    pub role: String,
    #[schema(example = "2026-11-01T08:00:00.000000Z")]
    pub created_at: String,
    pub disabled_at: Option<String>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPerson {
    #[schema(example = "Rui")]
    pub name: String,
    /// counter, cutter, manager or reader.
    #[schema(example = "counter")]
    pub role: String,
    /// 12 to 128 characters; a phrase is best.
    #[schema(example = "four tides and a lantern", format = Password)]
    pub password: String,
}

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
    #[schema(example = "2027-02-23T08:00:00.000000Z")]
    pub expires_at: String,
    pub revoked_at: Option<String>,
    /// The key itself: shown at its creation and never again.
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

fn text(micros: i64) -> String {
    Instant::from_micros(micros).map(|i| i.to_string()).unwrap_or_default()
}

impl From<PersonRow> for PersonBody {
    fn from(p: PersonRow) -> PersonBody {
        PersonBody { name: p.name, role: p.role, created_at: text(p.created_at), disabled_at: p.disabled_at.map(text) }
    }
}

impl KeyBody {
    fn of(k: AccessKeyRow, key: Option<String>) -> KeyBody {
        KeyBody {
            key_id: k.key_id,
            name: k.name,
            role: k.role,
            created_at: text(k.created_at),
            expires_at: text(k.expires_at),
            revoked_at: k.revoked_at.map(text),
            key,
        }
    }
}

/// Everyone who can or could sign in.
#[utoipa::path(get, path = "/v1/people", tag = "access", operation_id = "list_people", extensions(("x-permission" = json!("manage_access"))),
    responses((status = 200, description = "People, by name.", body = Vec<PersonBody>)))]
async fn list_people(look: Look<ManageAccess>) -> Outcome {
    let people = look.ask(|desk, _| desk.look(|reading, _| access::all_people(reading))).await?;
    ok(&people.into_iter().map(PersonBody::from).collect::<Vec<_>>())
}

/// Creates a person.
#[utoipa::path(post, path = "/v1/people", tag = "access", operation_id = "create_person", request_body = PostPerson, extensions(("x-permission" = json!("manage_access"))),
    responses((status = 201, description = "Created.", body = PersonBody)))]
async fn post_person(told: Told<ManageAccess, PostPerson>) -> Outcome {
    let (actor, body) = (told.look.actor.clone(), told.body);
    let person = told
        .look
        .service
        .ask_hashing(move |desk, now| {
            let new = NewPerson::check(&body.name, &body.role, &body.password)?;
            desk.act(move |tx, _| access::create_person(tx, &actor, now, &new))
        })
        .await?;
    Ok(HttpResponse::Created().insert_header(("Cache-Control", "no-store")).json(PersonBody::from(person)))
}

/// Disables a person and ends their sign-ins. The last manager stays.
#[utoipa::path(delete, path = "/v1/people/{name}", tag = "access", operation_id = "disable_person", extensions(("x-permission" = json!("manage_access"))),
    params(("name" = String, Path, example = "Ines")),
    responses((status = 200, description = "Disabled.", body = PersonBody)))]
async fn delete_person(look: Look<ManageAccess>, name: web::Path<String>) -> Outcome {
    let actor = look.actor.clone();
    let person =
        look.ask(move |desk, now| desk.act(move |tx, _| access::disable_person(tx, &actor, now, &name))).await?;
    ok(&PersonBody::from(person))
}

/// Keys of machines, without their secrets.
#[utoipa::path(get, path = "/v1/keys", tag = "access", operation_id = "list_keys", extensions(("x-permission" = json!("manage_access"))),
    responses((status = 200, description = "Keys, oldest first.", body = Vec<KeyBody>)))]
async fn list_keys(look: Look<ManageAccess>) -> Outcome {
    let keys = look.ask(|desk, _| desk.look(|reading, _| access::all_keys(reading))).await?;
    ok(&keys.into_iter().map(|k| KeyBody::of(k, None)).collect::<Vec<_>>())
}

/// Creates a key and shows it this once.
#[utoipa::path(post, path = "/v1/keys", tag = "access", operation_id = "create_key", request_body = PostKey, extensions(("x-permission" = json!("manage_access"))),
    responses((status = 201, description = "Created; the only time the key is shown.", body = KeyBody)))]
async fn post_key(told: Told<ManageAccess, PostKey>) -> Outcome {
    let (actor, body) = (told.look.actor.clone(), told.body);
    let random = clock::random().zip(clock::random()).ok_or_else(|| Problem::of(Speech::Unavailable))?;
    let create = move |desk: &crate::ops::desk::Desk, now| {
        desk.act(move |tx, _| access::create_key(tx, &actor, now, &random, &body.name, &body.role, body.valid_days))
    };
    let (row, key) = told.look.ask(create).await?;
    Ok(HttpResponse::Created().insert_header(("Cache-Control", "no-store")).json(KeyBody::of(row, Some(key))))
}

/// Revokes a key at once.
#[utoipa::path(delete, path = "/v1/keys/{key_id}", tag = "access", operation_id = "revoke_key", extensions(("x-permission" = json!("manage_access"))),
    params(("key_id" = String, Path, example = "Zk3v9QaB")),
    responses((status = 200, description = "Revoked.", body = KeyBody)))]
async fn delete_key(look: Look<ManageAccess>, key_id: web::Path<String>) -> Outcome {
    let actor = look.actor.clone();
    let key = look.ask(move |desk, now| desk.act(move |tx, _| access::revoke_key(tx, &actor, now, &key_id))).await?;
    ok(&KeyBody::of(key, None))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(
        resource("/v1/people", "GET, POST").route(route::get().to(list_people)).route(web::post().to(post_person)),
    );
    config.service(resource("/v1/people/{name}", "DELETE").route(web::delete().to(delete_person)));
    config.service(resource("/v1/keys", "GET, POST").route(route::get().to(list_keys)).route(web::post().to(post_key)));
    config.service(resource("/v1/keys/{key_id}", "DELETE").route(web::delete().to(delete_key)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list_people, post_person, delete_person, list_keys, post_key, delete_key))]
pub struct Doc;
