//! What customers bring back: to waste, never into stock.

use super::resource;
use crate::domain::permissions::Role;
use crate::ops::take_back::{self, ReturnDraft, ReturnRow};
use crate::web::answer::{Outcome, created, id, ok};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{ReadStock, Sell};
use crate::web::route;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReturnLine {
    /// Tray code, or anything a scanner sends.
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = 268)]
    pub grams: i64,
    /// Money given back for it.
    #[schema(example = 1997)]
    pub refund_cents: i64,
    #[schema(example = "smelled odd at home")]
    pub reason: String,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReturn {
    /// 1 to 100.
    pub lines: Vec<PostReturnLine>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReturnLine)]
pub struct ReturnLineBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = 268)]
    pub grams: i64,
    #[schema(example = 1997)]
    pub refund_cents: i64,
    /// Left out for keys of the role till.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "smelled odd at home")]
    pub reason: Option<String>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Returned)]
pub struct ReturnedBody {
    #[schema(example = 1235)]
    pub sale_id: i64,
    pub lines: Vec<ReturnLineBody>,
}

impl ReturnedBody {
    /// As it is told to a role: what was written about a customer is not a till's business.
    fn of(sale_id: i64, rows: Vec<ReturnRow>, role: Role) -> ReturnedBody {
        let line = |row: ReturnRow| ReturnLineBody {
            tray_code: row.tray_code,
            grams: row.grams,
            refund_cents: row.refund_cents,
            reason: (role != Role::Till).then_some(row.reason),
        };
        ReturnedBody { sale_id, lines: rows.into_iter().map(line).collect() }
    }
}

/// Takes back what a customer brings: it is thrown away, never sold again. No more than was sold, less what came back before; no more money
/// than was charged. All lines or none.
#[utoipa::path(post, path = "/v1/sales/{id}/returns", tag = "sales", operation_id = "return_sale", request_body = PostReturn,
    extensions(("x-permission" = json!("sell"))), params(("id" = i64, Path, example = 1235)),
    responses((status = 201, description = "Taken back.", body = ReturnedBody)))]
async fn post(call: Recorded<Sell, PostReturn>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        let draft = |l: PostReturnLine| ReturnDraft {
            tray: l.tray_code,
            grams: l.grams,
            refund_cents: l.refund_cents,
            reason: l.reason,
        };
        let lines: Vec<ReturnDraft> = body.lines.into_iter().map(draft).collect();
        desk.act_once(request, now, move |tx, shop| {
            let rows = take_back::take_back(tx, shop, &actor, now, id, &lines)?;
            Ok(created(&ReturnedBody::of(id, rows, actor.role)))
        })
    })
    .await
}

/// What came back of a sale.
#[utoipa::path(get, path = "/v1/sales/{id}/returns", tag = "sales", operation_id = "list_returns",
    extensions(("x-permission" = json!("read_stock"))), params(("id" = i64, Path, example = 1235)),
    responses((status = 200, description = "All of it, in the order it came.", body = ReturnedBody)))]
async fn list(look: Look<ReadStock>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let rows = look.ask(move |desk, _| desk.look(|reading, _| take_back::of_sale(reading, id))).await?;
    ok(&ReturnedBody::of(id, rows, look.actor.role))
}

pub fn routes(config: &mut web::ServiceConfig) {
    let returns = resource("/v1/sales/{id}/returns", "GET, POST");
    config.service(returns.route(route::get().to(list)).route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post, list))]
pub struct Doc;
