//! The catalogue of cuts.

use super::names::OtherNames;
use super::resource;
use crate::domain::catalogue::{Cut, CutDraft, Names};
use crate::ops::edit_catalogue::put_cut;
use crate::ops::look::{all_cuts, one_cut};
use crate::web::answer::{Outcome, expected, ok, versioned};
use crate::web::call::{Look, Told};
use crate::web::permit::{EditCatalogue, ReadStock};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A cut as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Cut)]
pub struct CutBody {
    /// Our code of the cut.
    #[schema(example = "lean-saku")]
    pub code: String,
    /// Name on label and board.
    #[schema(example = "Lean saku")]
    pub name: String,
    /// Names in other languages, for customers; the name above where there is none.
    pub names: OtherNames,
    /// block (sold whole), tub (by weight) or bulk (not sold). Does not change.
    #[schema(example = "block")]
    pub kind: String,
    /// whole, loin, block, slices, scrape or for_cooking. Does not change.
    #[schema(example = "block")]
    pub form: String,
    /// List price per kilogram.
    #[schema(example = 6900)]
    pub price_per_kg_cents: i64,
    /// The shop's own budget for eating raw, in hours at 0 °C: stricter than the published one.
    #[schema(example = 72)]
    pub raw_budget_hours: Option<i64>,
    /// Who validated a longer budget than the published one, and on what ground; it then shows wherever the budget is used.
    pub raw_budget_validated: Option<String>,
    /// Number inside the shop, 1 to 99999; part of the article number on labels.
    #[schema(example = 101)]
    pub item_number: i64,
    /// One more line on the label.
    #[schema(example = "For slicing")]
    pub label_note: Option<String>,
    /// Raised by every change; the ETag.
    #[schema(example = 1)]
    pub version: i64,
}

/// A cut to be.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutCut {
    /// Name on label and board.
    #[schema(example = "Lean saku")]
    pub name: String,
    /// Names in other languages, for customers; the name above where there is none.
    #[serde(default)]
    pub names: OtherNames,
    /// block (sold whole), tub (by weight) or bulk (not sold). Does not change.
    #[schema(example = "block")]
    pub kind: String,
    /// whole, loin, block, slices, scrape or for_cooking. Does not change.
    #[schema(example = "block")]
    pub form: String,
    /// List price per kilogram.
    #[schema(example = 6900)]
    pub price_per_kg_cents: i64,
    /// The shop's own budget for eating raw, in hours at 0 °C: stricter than the published one, or validated.
    #[serde(default)]
    #[schema(example = 72)]
    pub raw_budget_hours: Option<i64>,
    /// Who validated a longer budget than the published one, and on what ground: needed for one.
    #[serde(default)]
    #[schema(example = "our own K values of 12 March 2026, see the food-safety plan")]
    pub raw_budget_validated: Option<String>,
    /// Number inside the shop, 1 to 99999; part of the article number on labels.
    #[schema(example = 101)]
    pub item_number: i64,
    /// One more line on the label.
    #[serde(default)]
    #[schema(example = "For slicing")]
    pub label_note: Option<String>,
}

impl From<(Cut, Names)> for CutBody {
    fn from((thing, names): (Cut, Names)) -> CutBody {
        CutBody {
            version: thing.version,
            name: thing.name,
            names: names.into(),
            kind: thing.kind.as_str().to_owned(),
            form: thing.form.as_str().to_owned(),
            price_per_kg_cents: thing.price.get(),
            raw_budget_hours: thing.raw_budget_hours,
            raw_budget_validated: thing.raw_budget_validated,
            item_number: thing.item_number,
            label_note: thing.label_note,
            code: thing.code,
        }
    }
}

impl From<PutCut> for CutDraft {
    fn from(body: PutCut) -> CutDraft {
        CutDraft {
            name: body.name,
            names: body.names.into(),
            kind: body.kind,
            form: body.form,
            price_per_kg_cents: body.price_per_kg_cents,
            raw_budget_hours: body.raw_budget_hours,
            raw_budget_validated: body.raw_budget_validated,
            item_number: body.item_number,
            label_note: body.label_note,
        }
    }
}

/// All cuts, by code.
#[utoipa::path(get, path = "/v1/cuts", tag = "catalogue", operation_id = "list_cuts", extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "All cuts, by code.", body = Vec<CutBody>)))]
async fn list(look: Look<ReadStock>) -> Outcome {
    let all = look.ask(|desk, _| desk.look(|reading, _| all_cuts(reading))).await?;
    ok(&all.into_iter().map(CutBody::from).collect::<Vec<_>>())
}

/// One of the cuts.
#[utoipa::path(get, path = "/v1/cuts/{code}", tag = "catalogue", operation_id = "get_cuts", extensions(("x-permission" = json!("read_stock"))),
    params(("code" = String, Path, example = "lean-saku")),
    responses((status = 200, description = "As it stands, its version as ETag.", body = CutBody)))]
async fn get(look: Look<ReadStock>, code: web::Path<String>) -> Outcome {
    let thing = look.ask(move |desk, _| desk.look(|reading, _| one_cut(reading, &code))).await?;
    let version = thing.0.version;
    versioned(&CutBody::from(thing), version, false)
}

/// Creates (`If-None-Match: *`) or changes (`If-Match`) one of the cuts.
#[utoipa::path(put, path = "/v1/cuts/{code}", tag = "catalogue", operation_id = "put_cuts", extensions(("x-permission" = json!("edit_catalogue"))),
    params(("code" = String, Path, example = "lean-saku"),
        ("If-Match" = Option<String>, Header, description = "The ETag that was read, to change.", example = "\"1\""),
        ("If-None-Match" = Option<String>, Header, description = "`*`, to create.", example = "*")),
    request_body = PutCut,
    responses((status = 200, description = "Changed.", body = CutBody), (status = 201, description = "Created.", body = CutBody)))]
async fn put(request: HttpRequest, told: Told<EditCatalogue, PutCut>, code: web::Path<String>) -> Outcome {
    let (expected, actor, draft) = (expected(request.headers())?, told.look.actor.clone(), CutDraft::from(told.body));
    let thing = told
        .look
        .ask(move |desk, now| desk.act(move |tx, _| put_cut(tx, &actor, now, &code, &draft, expected)))
        .await?;
    let version = thing.0.version;
    versioned(&CutBody::from(thing), version, version == 1)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/cuts", "GET").route(route::get().to(list)));
    config.service(resource("/v1/cuts/{code}", "GET, PUT").route(route::get().to(get)).route(web::put().to(put)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, put))]
pub struct Doc;
