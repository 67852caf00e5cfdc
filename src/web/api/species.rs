//! Species the shop deals in, with their rule for eating raw.

use super::names::OtherNames;
use super::resource;
use crate::domain::catalogue::{Names, Species, SpeciesDraft};
use crate::ops::edit_catalogue::put_species;
use crate::ops::look::{all_species, one_species};
use crate::web::answer::{Outcome, expected, ok, versioned};
use crate::web::call::{Look, Told};
use crate::web::permit::{EditCatalogue, ReadStock};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A species as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Species)]
pub struct SpeciesBody {
    /// FAO 3-alpha code.
    #[schema(example = "YFT")]
    pub code: String,
    /// Scientific name.
    #[schema(example = "Thunnus albacares")]
    pub scientific_name: String,
    /// Name it is sold under; law and lists of names differ by country.
    #[schema(example = "Yellowfin tuna")]
    pub market_name: String,
    /// Names in other languages, for customers; the name above where there is none.
    pub names: OtherNames,
    /// How it keeps: tuna, salmonid, oily or white.
    #[schema(example = "tuna")]
    pub group: String,
    /// exempt or freeze_before_raw, after the shop's own food code.
    #[schema(example = "exempt")]
    pub parasite_rule: String,
    /// On what ground the shop exempts a species that its profile does not exempt: the authority's approval, the feed of a farm.
    pub parasite_note: Option<String>,
    /// Raised by every change; the ETag.
    #[schema(example = 1)]
    pub version: i64,
}

/// A species to be.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutSpecies {
    /// Scientific name.
    #[schema(example = "Thunnus albacares")]
    pub scientific_name: String,
    /// Name it is sold under; law and lists of names differ by country.
    #[schema(example = "Yellowfin tuna")]
    pub market_name: String,
    /// Names in other languages, for customers; the name above where there is none.
    #[serde(default)]
    pub names: OtherNames,
    /// How it keeps: tuna, salmonid, oily or white.
    #[schema(example = "tuna")]
    pub group: String,
    /// exempt or freeze_before_raw, after the shop's own food code.
    #[schema(example = "exempt")]
    pub parasite_rule: String,
    /// On what ground the shop exempts a species that its profile does not exempt: the authority's approval, the feed of a farm.
    #[serde(default)]
    #[schema(example = "farmed on parasite-free feed, supplier's letter of 3 March")]
    pub parasite_note: Option<String>,
}

impl From<(Species, Names)> for SpeciesBody {
    fn from((thing, names): (Species, Names)) -> SpeciesBody {
        SpeciesBody {
            version: thing.version,
            scientific_name: thing.scientific_name,
            market_name: thing.market_name,
            names: names.into(),
            group: thing.group.as_str().to_owned(),
            parasite_rule: thing.parasite_rule.as_str().to_owned(),
            parasite_note: thing.parasite_note,
            code: thing.code,
        }
    }
}

impl From<PutSpecies> for SpeciesDraft {
    fn from(body: PutSpecies) -> SpeciesDraft {
        SpeciesDraft {
            scientific_name: body.scientific_name,
            market_name: body.market_name,
            names: body.names.into(),
            group: body.group,
            parasite_rule: body.parasite_rule,
            parasite_note: body.parasite_note,
        }
    }
}

/// All species, by code.
#[utoipa::path(get, path = "/v1/species", tag = "catalogue", operation_id = "list_species", extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "All species, by code.", body = Vec<SpeciesBody>)))]
async fn list(look: Look<ReadStock>) -> Outcome {
    let all = look.ask(|desk, _| desk.look(|reading, _| all_species(reading))).await?;
    ok(&all.into_iter().map(SpeciesBody::from).collect::<Vec<_>>())
}

/// One of the species.
#[utoipa::path(get, path = "/v1/species/{code}", tag = "catalogue", operation_id = "get_species", extensions(("x-permission" = json!("read_stock"))),
    params(("code" = String, Path, example = "YFT")),
    responses((status = 200, description = "As it stands, its version as ETag.", body = SpeciesBody)))]
async fn get(look: Look<ReadStock>, code: web::Path<String>) -> Outcome {
    let thing = look.ask(move |desk, _| desk.look(|reading, _| one_species(reading, &code))).await?;
    let version = thing.0.version;
    versioned(&SpeciesBody::from(thing), version, false)
}

/// Creates (`If-None-Match: *`) or changes (`If-Match`) one of the species.
#[utoipa::path(put, path = "/v1/species/{code}", tag = "catalogue", operation_id = "put_species", extensions(("x-permission" = json!("edit_catalogue"))),
    params(("code" = String, Path, example = "YFT"),
        ("If-Match" = Option<String>, Header, description = "The ETag that was read, to change.", example = "\"1\""),
        ("If-None-Match" = Option<String>, Header, description = "`*`, to create.", example = "*")),
    request_body = PutSpecies,
    responses((status = 200, description = "Changed.", body = SpeciesBody), (status = 201, description = "Created.", body = SpeciesBody)))]
async fn put(request: HttpRequest, told: Told<EditCatalogue, PutSpecies>, code: web::Path<String>) -> Outcome {
    let (expected, actor, draft) =
        (expected(request.headers())?, told.look.actor.clone(), SpeciesDraft::from(told.body));
    let thing = told
        .look
        .ask(move |desk, now| desk.act(move |tx, shop| put_species(tx, shop, &actor, now, &code, &draft, expected)))
        .await?;
    let version = thing.0.version;
    versioned(&SpeciesBody::from(thing), version, version == 1)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/species", "GET").route(route::get().to(list)));
    config.service(resource("/v1/species/{code}", "GET, PUT").route(route::get().to(get)).route(web::put().to(put)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, put))]
pub struct Doc;
