//! Sales, all lines or none, and their reversal while it can still be a mis-scan.

use super::lots::PageQuery;
use super::resource;
use crate::domain::permissions::Role;
use crate::ops::desk::Actor;
use crate::ops::look::{self, SaleLineRow, SaleRow};
use crate::ops::sell::group::Order;
use crate::ops::sell::{self, Charged, ChargedLine, LineDraft, Sold};
use crate::ops::till::Reply;
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, PAGE_LIMIT, created, id, number, ok, page, read_cursor};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{ReadStock, Sell};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostSaleLine {
    /// Tray code, or anything a scanner sends.
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// Out of a tub; a block is sold whole.
    #[serde(default)]
    #[schema(example = 150)]
    pub grams: Option<i64>,
    /// What the till charged for a kilogram, where it says so: held against what the tray costs.
    #[serde(default)]
    #[schema(example = 7450)]
    pub price_per_kg_cents: Option<i64>,
    /// What the till charged for the line.
    #[serde(default)]
    #[schema(example = 1118)]
    pub price_cents: Option<i64>,
}

impl From<PostSaleLine> for ChargedLine {
    fn from(line: PostSaleLine) -> ChargedLine {
        let PostSaleLine { tray_code, grams, price_per_kg_cents, price_cents } = line;
        ChargedLine { line: LineDraft { tray: tray_code, grams }, charged: Charged { price_per_kg_cents, price_cents } }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostSale {
    pub lines: Vec<PostSaleLine>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SaleLine)]
pub struct SaleLineBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = 268)]
    pub grams: i64,
    #[schema(example = 7450)]
    pub price_per_kg_cents: i64,
    #[schema(example = 1997)]
    pub price_cents: i64,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Sale)]
pub struct SaleBody {
    #[schema(example = 1235)]
    pub sale_id: i64,
    #[schema(example = "2026-11-25T10:31:07.250000Z")]
    pub at: String,
    /// A key of the role till is told only of what it sold itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "Ines")]
    pub sold_by: Option<String>,
    #[schema(example = 1997)]
    pub total_cents: i64,
    #[schema(example = false)]
    pub reversed: bool,
    /// Absent in lists.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lines: Option<Vec<SaleLineBody>>,
}

impl SaleBody {
    fn of(sale: SaleRow, lines: Option<Vec<SaleLineRow>>) -> SaleBody {
        let line = |l: SaleLineRow| SaleLineBody {
            tray_code: l.tray_code,
            grams: l.grams,
            price_per_kg_cents: l.price_per_kg_cents,
            price_cents: l.price_cents,
        };
        SaleBody {
            sale_id: sale.id,
            at: Instant::from_micros(sale.at).map(|i| i.to_string()).unwrap_or_default(),
            sold_by: Some(sale.sold_by),
            total_cents: sale.total_cents,
            reversed: sale.reversed_by_act_id.is_some(),
            lines: lines.map(|lines| lines.into_iter().map(line).collect()),
        }
    }

    /// As it is told to someone: who works at the counter is no business of a machine.
    fn told_to(self, actor: &Actor) -> SaleBody {
        let own = |seller: &String| actor.role != Role::Till || *seller == actor.name;
        SaleBody { sold_by: self.sold_by.filter(own), ..self }
    }
}

impl From<Sold> for SaleBody {
    fn from(sold: Sold) -> SaleBody {
        SaleBody::of(sold.sale, Some(sold.lines))
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReversal {
    #[schema(example = "scanned the wrong tray")]
    pub reason: String,
}

/// Sells: blocks whole, tubs by weight. All lines or none; a refusal names every line's reason.
///
/// Sales that come at the same time are written together, and answered when all of them are on the disk. A request whose key is still being
/// worked on waits, and is answered as the first one was. The key of a sale never expires.
#[utoipa::path(post, path = "/v1/sales", tag = "sales", operation_id = "sell", request_body = PostSale, extensions(("x-permission" = json!("sell"))),
    responses((status = 201, description = "Sold.", body = SaleBody)))]
async fn post(call: Recorded<Sell, PostSale>) -> Outcome {
    call.record_later(|desk, request, actor, now, body, reply| {
        let lines = body.lines.into_iter().map(ChargedLine::from).collect();
        let speak = |sold: Sold| created(&SaleBody::from(sold));
        let sales = desk.figures().sales.clone();
        let reply: Reply = Box::new(move |outcome| {
            if outcome.as_ref().is_ok_and(|answer| !answer.replayed) {
                sales.inc();
            }
            reply(outcome);
        });
        desk.sell_later(Order { request, actor, now, lines, speak }, reply);
    })
    .await
}

/// Sales, newest first.
#[utoipa::path(get, path = "/v1/sales", tag = "sales", operation_id = "list_sales", params(PageQuery), extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "Sales without their lines; `Link` names the next page.", body = Vec<SaleBody>)))]
async fn list(request: HttpRequest, look: Look<ReadStock>) -> Outcome {
    let query = super::stock::query::<PageQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let below = read_cursor(query.cursor.as_deref())?;
    let actor = look.actor.clone();
    let sales = look.ask(move |desk, _| desk.look(|reading, _| look::sales_page(reading, below, limit))).await?;
    let next = sales.last().filter(|_| i64::try_from(sales.len()).is_ok_and(|n| n == limit)).map(|s| s.id);
    page(&request, &sales.into_iter().map(|s| SaleBody::of(s, None).told_to(&actor)).collect::<Vec<_>>(), next)
}

/// A sale with its lines.
#[utoipa::path(get, path = "/v1/sales/{id}", tag = "sales", operation_id = "get_sale", extensions(("x-permission" = json!("read_stock"))),
    params(("id" = i64, Path, example = 1235)),
    responses((status = 200, description = "The sale.", body = SaleBody)))]
async fn get(look: Look<ReadStock>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let sold = look.ask(move |desk, _| desk.look(|reading, _| sell::find(reading, id))).await?;
    ok(&SaleBody::from(sold).told_to(&look.actor))
}

/// Puts a mis-scan back, within the shop's window.
#[utoipa::path(post, path = "/v1/sales/{id}/reversal", tag = "sales", operation_id = "reverse_sale", request_body = PostReversal, extensions(("x-permission" = json!("sell"))),
    params(("id" = i64, Path, example = 1235)),
    responses((status = 201, description = "Reversed.", body = SaleBody)))]
async fn post_reversal(call: Recorded<Sell, PostReversal>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            let sold = sell::reverse(tx, shop, &actor, now, id, &body.reason)?;
            Ok(created(&SaleBody::from(sold).told_to(&actor)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/sales", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(resource("/v1/sales/{id}", "GET").route(route::get().to(get)));
    config.service(resource("/v1/sales/{id}/reversal", "POST").route(web::post().to(post_reversal)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post, list, get, post_reversal))]
pub struct Doc;
