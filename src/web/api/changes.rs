//! The change feed: what was done and what time brought, each once, in an order that a reader can follow by its cursor. How a change is
//! spoken is said here for the event stream too.

use super::live_stock::OfferBody;
use super::resource;
use super::stock::query;
use crate::domain::permissions::Role;
use crate::ops::changes::{self, ChangeRow, FeedPosition};
use crate::web::answer::{Outcome, PAGE_LIMIT, number, page_of, read_feed_cursor, write_feed_cursor};
use crate::web::call::Look;
use crate::web::permit::ReadStock;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Change)]
pub struct ChangeBody {
    /// Stands for this change: `after` it come the next ones.
    #[schema(example = "0.4d2-cdca25f9")]
    pub cursor: String,
    /// Absent where nobody did anything: time passed.
    #[schema(example = 1234)]
    pub act_id: Option<i64>,
    /// What was done, such as receive, break_down, move, sell, reverse_sale, count, hold, alarm, alarm_over or acknowledge. More may come.
    #[schema(example = "alarm")]
    pub kind: String,
    /// When it happened, and when it was recorded.
    #[schema(example = "2026-11-25T04:10:00.000000Z")]
    pub at: String,
    #[schema(example = "2026-11-25T04:10:00.000000Z")]
    pub recorded_at: String,
    /// Who did it. Left out for keys of the role till.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, example = "the shop's watch")]
    pub actor: Option<Option<String>>,
    /// In the words of whoever did it. Left out for keys of the role till.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, example = "Front case: above 2.0 °C for 95 minutes, up to 6.3 °C")]
    pub reason: Option<Option<String>>,
    /// The act this one takes back.
    pub reverses_act_id: Option<i64>,
    /// The tray that changed. An act stands here once for each tray it touched; with none when it touched none.
    #[schema(example = "C4H7K9P")]
    pub tray_code: Option<String>,
    /// What is on the shelf of the tray from now on, all of it; none when it is not for sale any more. It is spliced in as it is kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = true)]
    pub offer: Option<OfferBody>,
}

/// How much of a change somebody is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Telling {
    Whole,
    /// Without who did it and why: what people write for each other may name a customer, and a till needs none of it.
    ToTill,
}

impl Telling {
    pub const fn to(role: Role) -> Telling {
        if matches!(role, Role::Till) { Telling::ToTill } else { Telling::Whole }
    }
}

/// A change as JSON, on one line.
pub fn speak(change: &ChangeRow, telling: Telling) -> String {
    let words = |text: &Option<String>| (telling == Telling::Whole).then(|| text.clone());
    let (at, recorded_at) = (change.at.to_string(), change.recorded_at.to_string());
    let body = ChangeBody {
        cursor: cursor(change.position),
        act_id: change.act_id,
        kind: change.kind.clone(),
        at,
        recorded_at,
        actor: words(&change.actor),
        reason: words(&change.reason),
        reverses_act_id: change.reverses_act_id,
        tray_code: change.tray_code.clone(),
        offer: None,
    };
    let mut text = serde_json::to_string(&body).unwrap_or_default();
    // The brace that closes it.
    text.pop();
    text.push_str(",\"offer\":");
    text.push_str(change.offer.as_deref().unwrap_or("null"));
    text.push('}');
    text
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Changes)]
pub struct ChangesBody {
    /// The oldest first.
    pub changes: Vec<ChangeBody>,
    /// To be kept, and sent as `after` the next time; where there is nothing new it stays the same.
    #[schema(example = "0.4d2-cdca25f9")]
    pub cursor: String,
}

/// How a place in the sequence is written.
pub fn cursor(position: FeedPosition) -> String {
    write_feed_cursor((position.xact, position.id))
}

pub fn position(field: &str, text: &str) -> Result<FeedPosition, Problem> {
    let (xact, id) = read_feed_cursor(field, text)?;
    Ok(FeedPosition { xact, id })
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ChangesQuery {
    /// A cursor, or `now`: no changes, only the newest cursor. From the beginning when absent.
    pub after: Option<String>,
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
}

/// What was done and what time brought, change by change: each act once for each tray it touched, with what is for sale of that tray from
/// then on, and each tray whose offer time alone changed (`time_passed`). Whoever follows by the cursor sees every change once, none
/// skipped, and none before one it rests on. A change may show a moment after it was answered: only when nothing can come to stand before
/// it any more. The sequence is kept for as long as the shop's records, so no cursor of it grows too old.
#[utoipa::path(get, path = "/v1/changes", tag = "changes", operation_id = "list_changes", params(ChangesQuery), extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "Changes after the cursor; `Link` names the next page when this one is full.", body = ChangesBody)))]
async fn list(request: HttpRequest, look: Look<ReadStock>) -> Outcome {
    let telling = Telling::to(look.actor.role);
    let query = query::<ChangesQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let after = match query.after.as_deref() {
        None => FeedPosition::START,
        Some("now") => {
            let newest = look.ask(|desk, _| desk.look(|reading, _| changes::newest(reading))).await?;
            return page_of(&request, written(&[], &cursor(newest), telling), "after", None);
        }
        Some(text) => position("after", text)?,
    };
    let found = look.ask(move |desk, _| desk.look(|reading, _| changes::behind(reading, after, limit))).await?;
    let full = i64::try_from(found.len()).is_ok_and(|n| n == limit);
    let last = cursor(found.last().map_or(after, |change| change.position));
    let next = full.then(|| last.clone());
    page_of(&request, written(&found, &last, telling), "after", next)
}

/// `ChangesBody` as text, offers as they are kept.
fn written(changes: &[ChangeRow], cursor: &str, telling: Telling) -> String {
    let mut text = String::with_capacity(64 + changes.len() * 768);
    text.push_str("{\"changes\":[");
    for (number, change) in changes.iter().enumerate() {
        if number > 0 {
            text.push(',');
        }
        text.push_str(&speak(change, telling));
    }
    text.push_str("],\"cursor\":\"");
    text.push_str(cursor);
    text.push_str("\"}");
    text
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/changes", "GET").route(route::get().to(list)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list))]
pub struct Doc;
