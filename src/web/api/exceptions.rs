//! Exceptions: what replayed sales contradicted, and how a manager settles them.

use super::resource;
use super::stock::query;
use crate::domain::replay::{Danger, Way};
use crate::ops::settle::{self, Decision, Place, Shown, Which};
use crate::web::answer::{
    Outcome, PAGE_LIMIT, created, id, number, ok, page_until, read_feed_cursor, write_feed_cursor,
};
use crate::web::call::{Look, Recorded};
use crate::web::permit::Review;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ExceptionFinding)]
pub struct FindingBody {
    #[schema(example = "overdrawn")]
    pub code: &'static str,
    #[schema(example = "350 g were sold and it held 300 g")]
    pub reason: String,
}

/// How it was settled.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ExceptionResolution)]
pub struct ResolutionBody {
    #[schema(example = "count_difference")]
    pub way: &'static str,
    #[schema(example = "2026-11-25T18:02:11.000000Z")]
    pub at: String,
    #[schema(example = "Marta")]
    pub by: String,
    pub note: Option<String>,
    /// What it moved to the customer, beside what it put back.
    #[schema(example = 50)]
    pub settled_g: i64,
    pub tray_code: Option<String>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SaleException)]
pub struct ExceptionBody {
    #[schema(example = 3)]
    pub exception_id: i64,
    #[schema(example = 1236)]
    pub sale_id: i64,
    /// The line of the sale as it was sent, from 1; 0 for the sale as a whole.
    #[schema(example = 1)]
    pub line: i64,
    /// The gravest of the findings.
    #[schema(example = "overdrawn")]
    pub code: &'static str,
    /// Whether someone may have eaten what should not have been sold.
    #[schema(example = false)]
    pub may_be_eaten: bool,
    pub findings: Vec<FindingBody>,
    /// What was scanned; of the sale as a whole, its key.
    #[schema(example = "C4H7K9P")]
    pub scanned: String,
    #[schema(example = "C4H7K9P")]
    pub tray_code: Option<String>,
    /// The lots that lie or lay on the tray, and on the one that it was instead: where to look for who else bought of them.
    #[schema(example = json!(["L-261125-1"]))]
    pub lot_codes: Vec<String>,
    /// What the till says was sold.
    #[schema(example = 350)]
    pub claimed_g: Option<i64>,
    /// What left the stock with the sale.
    #[schema(example = 300)]
    pub moved_g: i64,
    /// What was sold and is not in the books; none when nobody knows how much.
    #[schema(example = 50)]
    pub missing_g: Option<i64>,
    /// What was charged.
    #[schema(example = 1050)]
    pub price_cents: i64,
    /// By the till's clock.
    #[schema(example = "2026-11-25T10:31:07.000000Z")]
    pub device_time: String,
    /// When it is taken to have happened: the till's time, where that can be.
    #[schema(example = "2026-11-25T10:31:07.000000Z")]
    pub happened_at: String,
    #[schema(example = "2026-11-25T14:05:00.250000Z")]
    pub received_at: String,
    #[schema(example = "key till 1")]
    pub till: String,
    pub resolution: Option<ResolutionBody>,
}

impl From<Shown> for ExceptionBody {
    fn from(shown: Shown) -> ExceptionBody {
        let Shown { exception, tray_code, other_tray_code, lot_codes } = shown;
        let resolution = exception.resolution.map(|resolution| ResolutionBody {
            way: resolution.way.as_str(),
            at: resolution.at.to_string(),
            by: resolution.by,
            note: resolution.note,
            settled_g: resolution.settled_g,
            tray_code: other_tray_code,
        });
        ExceptionBody {
            exception_id: exception.id,
            sale_id: exception.sale_id,
            line: exception.line_number,
            code: exception.findings.first().map_or("", |finding| finding.what.as_str()),
            may_be_eaten: exception.findings.iter().any(|finding| finding.what.danger() == Danger::Eaten),
            findings: exception
                .findings
                .into_iter()
                .map(|finding| FindingBody { code: finding.what.as_str(), reason: finding.reason })
                .collect(),
            scanned: exception.scanned,
            tray_code,
            lot_codes,
            claimed_g: exception.claimed_g,
            moved_g: exception.moved_g,
            missing_g: exception.missing_g,
            price_cents: exception.price_cents,
            device_time: exception.device_time.to_string(),
            happened_at: exception.happened_at.to_string(),
            received_at: exception.received_at.to_string(),
            till: exception.till,
            resolution,
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ExceptionsQuery {
    /// `all` (default: the open ones first) or `open`.
    pub state: Option<String>,
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// What replayed sales contradicted: the open ones first, each part the newest first. One that is settled between two pages may be seen
/// twice.
#[utoipa::path(get, path = "/v1/exceptions", tag = "sales", operation_id = "list_exceptions", params(ExceptionsQuery),
    extensions(("x-permission" = json!("review"))),
    responses((status = 200, description = "Exceptions; `Link` names the next page.", body = Vec<ExceptionBody>)))]
async fn list(request: HttpRequest, look: Look<Review>) -> Outcome {
    let query = query::<ExceptionsQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let which = match query.state.as_deref() {
        None | Some("all") => Which::All,
        Some("open") => Which::Open,
        Some(_) => return Err(Problem::invalid("state", "must be open or all")),
    };
    let from = match query.cursor.as_deref() {
        None => Place::BEGINNING,
        Some(text) => Place::read(read_feed_cursor("cursor", text)?),
    };
    let (found, next) =
        look.ask(move |desk, _| desk.look(|reading, _| settle::page(reading, which, from, limit))).await?;
    let next = next.map(|place| write_feed_cursor(place.write()));
    page_until(&request, &found.into_iter().map(ExceptionBody::from).collect::<Vec<_>>(), "cursor", next)
}

/// One exception.
#[utoipa::path(get, path = "/v1/exceptions/{id}", tag = "sales", operation_id = "get_exception",
    extensions(("x-permission" = json!("review"))), params(("id" = i64, Path, example = 3)),
    responses((status = 200, description = "The exception.", body = ExceptionBody)))]
async fn get(look: Look<Review>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    ok(&ExceptionBody::from(look.ask(move |desk, _| desk.look(|reading, _| settle::find(reading, id))).await?))
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostExceptionResolution {
    /// `noted`: nothing to correct. `was_other_tray`: the sale is put on the tray that really went, and what was taken off the one that was
    /// scanned goes back there; what stood against selling it is added to the findings. `count_difference`: what is missing is
    /// booked as a count difference. `recalled`: who bought it was told, or looked for; the note says how.
    #[schema(example = "was_other_tray")]
    pub way: String,
    /// For `was_other_tray`: tray code, or anything a scanner sends.
    #[serde(default)]
    #[schema(example = "F7RJX3M")]
    pub tray_code: Option<String>,
    /// For `was_other_tray` out of a tub, and `count_difference`: how much, where the till did not say; otherwise all that is missing.
    #[serde(default)]
    #[schema(example = json!(null))]
    pub grams: Option<i64>,
    /// Needed for `recalled`.
    #[serde(default)]
    #[schema(example = "the twin of it was missing in the front case")]
    pub note: Option<String>,
}

/// Settles an exception, under the caller's name.
#[utoipa::path(post, path = "/v1/exceptions/{id}/resolution", tag = "sales", operation_id = "resolve_exception", request_body = PostExceptionResolution,
    extensions(("x-permission" = json!("review"))), params(("id" = i64, Path, example = 3)),
    responses((status = 201, description = "Settled.", body = ExceptionBody)))]
async fn post(call: Recorded<Review, PostExceptionResolution>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let known = Way::ALL.map(Way::as_str).join(", ");
    let invalid = || Problem::invalid("way", format!("must be one of {known}"));
    let way = Way::parse(&call.body().way).ok_or_else(invalid)?;
    call.record(move |desk, request, actor, now, body| {
        let decision = Decision { way, tray: body.tray_code, grams: body.grams, note: body.note };
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&ExceptionBody::from(settle::settle(tx, shop, &actor, now, id, &decision)?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/exceptions", "GET").route(route::get().to(list)));
    config.service(resource("/v1/exceptions/{id}", "GET").route(route::get().to(get)));
    config.service(resource("/v1/exceptions/{id}/resolution", "POST").route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, post))]
pub struct Doc;
