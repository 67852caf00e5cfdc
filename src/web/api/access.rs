//! People who may sign in. Machines' keys are `keys.rs`'s.

use super::resource;
use crate::ops::access::{self, NewPerson};
use crate::ops::look::PersonRow;
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, ok};
use crate::web::call::{Look, Told};
use crate::web::permit::ManageAccess;
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

fn text(micros: i64) -> String {
    Instant::from_micros(micros).map(|i| i.to_string()).unwrap_or_default()
}

impl From<PersonRow> for PersonBody {
    fn from(p: PersonRow) -> PersonBody {
        PersonBody { name: p.name, role: p.role, created_at: text(p.created_at), disabled_at: p.disabled_at.map(text) }
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

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(
        resource("/v1/people", "GET, POST").route(route::get().to(list_people)).route(web::post().to(post_person)),
    );
    config.service(resource("/v1/people/{name}", "DELETE").route(web::delete().to(delete_person)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list_people, post_person, delete_person))]
pub struct Doc;
