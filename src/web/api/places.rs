//! Cases, cabinets, freezers and the bench.

use super::resource;
use crate::domain::place::{Place, PlaceDraft};
use crate::ops::edit_catalogue::put_place;
use crate::ops::look::{all_places, one_place};
use crate::web::answer::{Outcome, expected, ok, versioned};
use crate::web::call::{Look, Told};
use crate::web::permit::{EditCatalogue, ReadStock};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A place as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Place)]
pub struct PlaceBody {
    /// Our code of the place.
    #[schema(example = "front-case")]
    pub code: String,
    /// Name on board and pages.
    #[schema(example = "Front case")]
    pub name: String,
    /// chill, superchill, frozen or ambient.
    #[schema(example = "chill")]
    pub method: String,
    /// Set-point in thousandths of a degree Celsius.
    #[schema(example = 500)]
    pub set_point_mc: i64,
    /// Upper limit in thousandths of a degree Celsius: what counts while nobody measures.
    #[schema(example = 2000)]
    pub upper_limit_mc: i64,
    /// Readings further apart than this leave a gap, which counts at the worst; no reading for longer raises an alarm.
    #[schema(example = 90)]
    pub gap_minutes: i64,
    /// How long it may be above its upper limit without an alarm.
    #[schema(example = 30)]
    pub warm_minutes: i64,
    /// Whether a logger measures here, so that its silence is an alarm.
    #[schema(example = true)]
    pub expects_readings: bool,
    /// Raised by every change; the ETag.
    #[schema(example = 1)]
    pub version: i64,
}

/// A place to be.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutPlace {
    /// Name on board and pages.
    #[schema(example = "Front case")]
    pub name: String,
    /// chill, superchill, frozen or ambient.
    #[schema(example = "chill")]
    pub method: String,
    /// Set-point in thousandths of a degree Celsius.
    #[schema(example = 500)]
    pub set_point_mc: i64,
    /// Upper limit in thousandths of a degree Celsius: what counts while nobody measures.
    #[schema(example = 2000)]
    pub upper_limit_mc: i64,
    /// Readings further apart than this leave a gap, 1 to 240 minutes; 90 when absent.
    #[schema(example = 90)]
    pub gap_minutes: Option<i64>,
    /// How long it may be above its upper limit without an alarm, 0 to 240 minutes; 30 when absent.
    #[schema(example = 30)]
    pub warm_minutes: Option<i64>,
    /// Whether a logger measures here, so that its silence is an alarm; false when absent.
    #[schema(example = true)]
    pub expects_readings: Option<bool>,
}

impl From<Place> for PlaceBody {
    fn from(thing: Place) -> PlaceBody {
        PlaceBody {
            version: thing.version,
            name: thing.name,
            method: thing.method.as_str().to_owned(),
            set_point_mc: thing.set_point.get(),
            upper_limit_mc: thing.upper_limit.get(),
            gap_minutes: thing.gap_minutes,
            warm_minutes: thing.warm_minutes,
            expects_readings: thing.expects_readings,
            code: thing.code,
        }
    }
}

impl From<PutPlace> for PlaceDraft {
    fn from(body: PutPlace) -> PlaceDraft {
        PlaceDraft {
            name: body.name,
            method: body.method,
            set_point_mc: body.set_point_mc,
            upper_limit_mc: body.upper_limit_mc,
            gap_minutes: body.gap_minutes,
            warm_minutes: body.warm_minutes,
            expects_readings: body.expects_readings,
        }
    }
}

/// All places, by code.
#[utoipa::path(get, path = "/v1/places", tag = "catalogue", operation_id = "list_places", extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "All places, by code.", body = Vec<PlaceBody>)))]
async fn list(look: Look<ReadStock>) -> Outcome {
    let all = look.ask(|desk, _| desk.look(|reading, _| all_places(reading))).await?;
    ok(&all.into_iter().map(PlaceBody::from).collect::<Vec<_>>())
}

/// One of the places.
#[utoipa::path(get, path = "/v1/places/{code}", tag = "catalogue", operation_id = "get_places", extensions(("x-permission" = json!("read_stock"))),
    params(("code" = String, Path, example = "front-case")),
    responses((status = 200, description = "As it stands, its version as ETag.", body = PlaceBody)))]
async fn get(look: Look<ReadStock>, code: web::Path<String>) -> Outcome {
    let thing = look.ask(move |desk, _| desk.look(|reading, _| one_place(reading, &code))).await?;
    let version = thing.version;
    versioned(&PlaceBody::from(thing), version, false)
}

/// Creates (`If-None-Match: *`) or changes (`If-Match`) one of the places.
#[utoipa::path(put, path = "/v1/places/{code}", tag = "catalogue", operation_id = "put_places", extensions(("x-permission" = json!("edit_catalogue"))),
    params(("code" = String, Path, example = "front-case"),
        ("If-Match" = Option<String>, Header, description = "The ETag that was read, to change.", example = "\"1\""),
        ("If-None-Match" = Option<String>, Header, description = "`*`, to create.", example = "*")),
    request_body = PutPlace,
    responses((status = 200, description = "Changed.", body = PlaceBody), (status = 201, description = "Created.", body = PlaceBody)))]
async fn put(request: HttpRequest, told: Told<EditCatalogue, PutPlace>, code: web::Path<String>) -> Outcome {
    let (expected, actor, draft) = (expected(request.headers())?, told.look.actor.clone(), PlaceDraft::from(told.body));
    let thing = told
        .look
        .ask(move |desk, now| desk.act(move |tx, shop| put_place(tx, shop, &actor, now, &code, &draft, expected)))
        .await?;
    let version = thing.version;
    versioned(&PlaceBody::from(thing), version, version == 1)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/places", "GET").route(route::get().to(list)));
    config.service(resource("/v1/places/{code}", "GET, PUT").route(route::get().to(get)).route(web::put().to(put)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, put))]
pub struct Doc;
