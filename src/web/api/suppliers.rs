//! Suppliers fish is bought from.

use super::resource;
use crate::domain::catalogue::{Supplier, SupplierDraft};
use crate::ops::edit_catalogue::put_supplier;
use crate::ops::look::{all_suppliers, one_supplier};
use crate::web::answer::{Outcome, expected, ok, versioned};
use crate::web::call::{Look, Told};
use crate::web::permit::{EditCatalogue, ReadRecords};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A supplier as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Supplier)]
pub struct SupplierBody {
    /// Our code of the supplier.
    #[schema(example = "harbour-hall")]
    pub code: String,
    /// Name.
    #[schema(example = "Harbour Auction Hall")]
    pub name: String,
    /// Address, for traces and recalls.
    #[schema(example = "Quay 4, Port Amal")]
    pub address: String,
    /// Raised by every change; the ETag.
    #[schema(example = 1)]
    pub version: i64,
}

/// A supplier to be.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutSupplier {
    /// Name.
    #[schema(example = "Harbour Auction Hall")]
    pub name: String,
    /// Address, for traces and recalls.
    #[schema(example = "Quay 4, Port Amal")]
    pub address: String,
}

impl From<Supplier> for SupplierBody {
    fn from(thing: Supplier) -> SupplierBody {
        SupplierBody { version: thing.version, name: thing.name, address: thing.address, code: thing.code }
    }
}

impl From<PutSupplier> for SupplierDraft {
    fn from(body: PutSupplier) -> SupplierDraft {
        SupplierDraft { name: body.name, address: body.address }
    }
}

/// All suppliers, by code.
#[utoipa::path(get, path = "/v1/suppliers", tag = "catalogue", operation_id = "list_suppliers", extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "All suppliers, by code.", body = Vec<SupplierBody>)))]
async fn list(look: Look<ReadRecords>) -> Outcome {
    let all = look.ask(|desk, _| desk.look(|reading, _| all_suppliers(reading))).await?;
    ok(&all.into_iter().map(SupplierBody::from).collect::<Vec<_>>())
}

/// One of the suppliers.
#[utoipa::path(get, path = "/v1/suppliers/{code}", tag = "catalogue", operation_id = "get_suppliers", extensions(("x-permission" = json!("read_records"))),
    params(("code" = String, Path, example = "harbour-hall")),
    responses((status = 200, description = "As it stands, its version as ETag.", body = SupplierBody)))]
async fn get(look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let thing = look.ask(move |desk, _| desk.look(|reading, _| one_supplier(reading, &code))).await?;
    let version = thing.version;
    versioned(&SupplierBody::from(thing), version, false)
}

/// Creates (`If-None-Match: *`) or changes (`If-Match`) one of the suppliers.
#[utoipa::path(put, path = "/v1/suppliers/{code}", tag = "catalogue", operation_id = "put_suppliers", extensions(("x-permission" = json!("edit_catalogue"))),
    params(("code" = String, Path, example = "harbour-hall"),
        ("If-Match" = Option<String>, Header, description = "The ETag that was read, to change.", example = "\"1\""),
        ("If-None-Match" = Option<String>, Header, description = "`*`, to create.", example = "*")),
    request_body = PutSupplier,
    responses((status = 200, description = "Changed.", body = SupplierBody), (status = 201, description = "Created.", body = SupplierBody)))]
async fn put(request: HttpRequest, told: Told<EditCatalogue, PutSupplier>, code: web::Path<String>) -> Outcome {
    let (expected, actor, draft) =
        (expected(request.headers())?, told.look.actor.clone(), SupplierDraft::from(told.body));
    let thing = told
        .look
        .ask(move |desk, now| desk.act(move |tx, _| put_supplier(tx, &actor, now, &code, &draft, expected)))
        .await?;
    let version = thing.version;
    versioned(&SupplierBody::from(thing), version, version == 1)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/suppliers", "GET").route(route::get().to(list)));
    config.service(resource("/v1/suppliers/{code}", "GET, PUT").route(route::get().to(get)).route(web::put().to(put)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, put))]
pub struct Doc;
