//! On which terms a cut is sold, where they are not the shop's.

use super::resource;
use crate::domain::terms::{CutTerms, Said, Terms};
use crate::ops::terms::{put as put_terms, standing};
use crate::web::answer::{Outcome, expected, versioned};
use crate::web::call::{Look, Told};
use crate::web::permit::{EditCatalogue, ReadCost};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a cut says differently from the shop's settings. What is null is as the shop says.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PutTerms)]
pub struct SaidBody {
    /// What a kilogram is worth in the kitchen; below zero where it costs.
    #[serde(default)]
    #[schema(example = 1_900)]
    pub kitchen_cents_per_kg: Option<i64>,
    /// How much of the cut the kitchen takes a day.
    #[serde(default)]
    #[schema(example = 2_000)]
    pub kitchen_g_per_day: Option<i64>,
    /// What a kilogram is worth that is frozen today; 0 where it is not frozen for later.
    #[serde(default)]
    #[schema(example = 0)]
    pub freezer_cents_per_kg: Option<i64>,
    /// What throwing away a kilogram costs.
    #[serde(default)]
    #[schema(example = 40)]
    pub waste_cents_per_kg: Option<i64>,
    /// How strongly demand answers to the price, in thousandths; in place of what the sales say.
    #[serde(default)]
    #[schema(example = 2_500)]
    pub elasticity_permille: Option<i64>,
    /// Units sold in an average opening hour at list, in thousandths; in place of what the sales say.
    #[serde(default)]
    #[schema(example = 800)]
    pub units_per_hour_permille: Option<i64>,
    /// What a customer takes out of a tub at a time.
    #[serde(default)]
    #[schema(example = 180)]
    pub portion_g: Option<i64>,
    /// What a kilogram costs to have, for the plan of the next days.
    #[serde(default)]
    #[schema(example = 3_100)]
    pub cost_cents_per_kg: Option<i64>,
}

/// The terms that hold, the shop's where the cut says nothing.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TermsInForce)]
pub struct TermsBody {
    #[schema(example = 1_862)]
    pub kitchen_cents_per_kg: i64,
    #[schema(example = 3_000)]
    pub kitchen_g_per_day: i64,
    /// Null where it is not frozen for later.
    pub freezer_cents_per_kg: Option<i64>,
    /// Least hours of life for freezing.
    #[schema(example = 24)]
    pub freezer_least_hours: i64,
    #[schema(example = 0)]
    pub waste_cents_per_kg: i64,
    #[schema(example = 150)]
    pub portion_g: i64,
    pub cost_cents_per_kg: Option<i64>,
    /// The ladder, falling, the list price first.
    #[schema(example = json!([7_450, 6_705, 5_960]))]
    pub prices_per_kg_cents: Vec<i64>,
}

/// The terms of one cut.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CutTerms)]
pub struct CutTermsBody {
    #[schema(example = "lean-saku")]
    pub code: String,
    pub said: SaidBody,
    /// Who said it, and when; null where nothing was ever said.
    #[schema(example = "Ines")]
    pub set_by: Option<String>,
    #[schema(example = "2026-11-26T06:40:00.000000Z")]
    pub set_at: Option<String>,
    pub in_force: TermsBody,
    /// Raised by every change, 0 before the first; the ETag.
    #[schema(example = 1)]
    pub version: i64,
}

impl From<CutTerms> for SaidBody {
    fn from(terms: CutTerms) -> SaidBody {
        SaidBody {
            kitchen_cents_per_kg: terms.kitchen_cents_per_kg,
            kitchen_g_per_day: terms.kitchen_g_per_day,
            freezer_cents_per_kg: terms.freezer_cents_per_kg,
            waste_cents_per_kg: terms.waste_cents_per_kg,
            elasticity_permille: terms.elasticity_permille,
            units_per_hour_permille: terms.units_per_hour_permille,
            portion_g: terms.portion_g,
            cost_cents_per_kg: terms.cost_cents_per_kg,
        }
    }
}

impl From<SaidBody> for CutTerms {
    fn from(body: SaidBody) -> CutTerms {
        CutTerms {
            kitchen_cents_per_kg: body.kitchen_cents_per_kg,
            kitchen_g_per_day: body.kitchen_g_per_day,
            freezer_cents_per_kg: body.freezer_cents_per_kg,
            waste_cents_per_kg: body.waste_cents_per_kg,
            elasticity_permille: body.elasticity_permille,
            units_per_hour_permille: body.units_per_hour_permille,
            portion_g: body.portion_g,
            cost_cents_per_kg: body.cost_cents_per_kg,
        }
    }
}

impl From<Terms> for TermsBody {
    fn from(terms: Terms) -> TermsBody {
        TermsBody {
            kitchen_cents_per_kg: terms.kitchen_cents_per_kg,
            kitchen_g_per_day: terms.kitchen_g_per_day,
            freezer_cents_per_kg: terms.freezer_cents_per_kg,
            freezer_least_hours: terms.freezer_least_hours,
            waste_cents_per_kg: terms.waste_cents_per_kg,
            portion_g: terms.portion_g,
            cost_cents_per_kg: terms.cost_cents_per_kg,
            prices_per_kg_cents: terms.prices.iter().map(|price| price.get()).collect(),
        }
    }
}

impl CutTermsBody {
    fn of(code: String, said: Option<Said>, in_force: Terms) -> CutTermsBody {
        let version = said.as_ref().map_or(0, |said| said.version);
        let set_by = said.as_ref().map(|said| said.set_by.clone());
        let set_at = said.as_ref().map(|said| said.set_at.to_string());
        let said = said.map(|said| said.terms).unwrap_or_default();
        CutTermsBody { code, said: said.into(), set_by, set_at, in_force: in_force.into(), version }
    }
}

/// On which terms a cut is sold.
#[utoipa::path(get, path = "/v1/cuts/{code}/terms", tag = "review", operation_id = "get_cut_terms", extensions(("x-permission" = json!("read_cost"))),
    params(("code" = String, Path, example = "lean-saku")),
    responses((status = 200, description = "What was said of the cut, and what holds; its version as ETag.", body = CutTermsBody)))]
async fn get(look: Look<ReadCost>, code: web::Path<String>) -> Outcome {
    let code = code.into_inner();
    let asked = code.clone();
    let (said, terms) = look.ask(move |desk, _| desk.look(|reading, shop| standing(reading, shop, &asked))).await?;
    let version = said.as_ref().map_or(0, |said| said.version);
    versioned(&CutTermsBody::of(code, said, terms), version, false)
}

/// Says on which terms a cut is sold: all of them at once, under the version that was read (`If-Match`), which is 0 before the first time.
#[utoipa::path(put, path = "/v1/cuts/{code}/terms", tag = "review", operation_id = "put_cut_terms", extensions(("x-permission" = json!("edit_catalogue"))),
    params(("code" = String, Path, example = "lean-saku"),
        ("If-Match" = Option<String>, Header, description = "The ETag that was read.", example = "\"0\""),
        ("If-None-Match" = Option<String>, Header, description = "`*`, the first time.", example = "*")),
    request_body = SaidBody,
    responses((status = 200, description = "Changed.", body = CutTermsBody), (status = 201, description = "Said for the first time.", body = CutTermsBody)))]
async fn put(request: HttpRequest, told: Told<EditCatalogue, SaidBody>, code: web::Path<String>) -> Outcome {
    let (expected, actor) = (expected(request.headers())?, told.look.actor.clone());
    let (terms, code) = (CutTerms::from(told.body), code.into_inner());
    let asked = code.clone();
    let act = told.look.ask(move |desk, now| {
        desk.act(move |tx, shop| {
            put_terms(tx, &actor, now, &asked, &terms, expected)?;
            standing(tx, shop, &asked)
        })
    });
    let (said, in_force) = act.await?;
    let version = said.as_ref().map_or(0, |said| said.version);
    versioned(&CutTermsBody::of(code, said, in_force), version, version == 1)
}

pub fn routes(config: &mut web::ServiceConfig) {
    let terms = resource("/v1/cuts/{code}/terms", "GET, PUT");
    config.service(terms.route(route::get().to(get)).route(web::put().to(put)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get, put))]
pub struct Doc;
