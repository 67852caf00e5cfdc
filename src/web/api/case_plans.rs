//! Case plans: how many trays of each cut a case should hold.

use super::resource;
use crate::domain::picking::plan::{CasePlan, PlanLine};
use crate::ops::case_plan;
use crate::web::answer::{Outcome, expected, versioned};
use crate::web::call::{Look, Told};
use crate::web::permit::{EditCatalogue, ReadRecords};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// So many trays of a cut.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CasePlanLine {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = 6)]
    pub trays: i64,
}

/// A plan to be. Without a line the place is no case that is filled.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutCasePlan {
    pub lines: Vec<CasePlanLine>,
}

/// A plan as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CasePlan)]
pub struct CasePlanBody {
    #[schema(example = "front-case")]
    pub place_code: String,
    /// By cut.
    pub lines: Vec<CasePlanLine>,
    /// Raised by every change; the ETag.
    #[schema(example = 1)]
    pub version: i64,
}

impl From<CasePlan> for CasePlanBody {
    fn from(plan: CasePlan) -> CasePlanBody {
        let line = |line: PlanLine| CasePlanLine { cut_code: line.cut, trays: line.trays };
        CasePlanBody {
            place_code: plan.place,
            lines: plan.lines.into_iter().map(line).collect(),
            version: plan.version,
        }
    }
}

/// What a case should hold.
#[utoipa::path(get, path = "/v1/places/{code}/case-plan", tag = "picking", operation_id = "get_case_plan", extensions(("x-permission" = json!("read_records"))),
    params(("code" = String, Path, example = "front-case")),
    responses((status = 200, description = "As it stands, its version as ETag.", body = CasePlanBody)))]
async fn get(look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let plan = look.ask(move |desk, _| desk.look(|reading, _| case_plan::one(reading, &code))).await?;
    let version = plan.version;
    versioned(&CasePlanBody::from(plan), version, false)
}

/// Makes (`If-None-Match: *`) or changes (`If-Match`) the plan of a case.
#[utoipa::path(put, path = "/v1/places/{code}/case-plan", tag = "picking", operation_id = "put_case_plan", extensions(("x-permission" = json!("edit_catalogue"))),
    params(("code" = String, Path, example = "front-case"),
        ("If-Match" = Option<String>, Header, description = "The ETag that was read, to change.", example = "\"1\""),
        ("If-None-Match" = Option<String>, Header, description = "`*`, to create.", example = "*")),
    request_body = PutCasePlan,
    responses((status = 200, description = "Changed.", body = CasePlanBody), (status = 201, description = "Created.", body = CasePlanBody)))]
async fn put(request: HttpRequest, told: Told<EditCatalogue, PutCasePlan>, code: web::Path<String>) -> Outcome {
    let (expected, actor) = (expected(request.headers())?, told.look.actor.clone());
    let line = |line: CasePlanLine| PlanLine { cut: line.cut_code, trays: line.trays };
    let lines: Vec<PlanLine> = told.body.lines.into_iter().map(line).collect();
    let plan = told
        .look
        .ask(move |desk, now| desk.act(move |tx, _| case_plan::put(tx, &actor, now, &code, &lines, expected)))
        .await?;
    let version = plan.version;
    versioned(&CasePlanBody::from(plan), version, version == 1)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(
        resource("/v1/places/{code}/case-plan", "GET, PUT").route(route::get().to(get)).route(web::put().to(put)),
    );
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get, put))]
pub struct Doc;
