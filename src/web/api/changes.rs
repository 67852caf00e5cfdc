//! The change feed: every recorded act once, in an order that a reader can follow by its cursor.

use super::resource;
use super::stock::query;
use crate::ops::changes::{self, ChangeRow, FeedPosition};
use crate::web::answer::{Outcome, PAGE_LIMIT, number, page_until, read_feed_cursor, write_feed_cursor};
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
    #[schema(example = "the shop's watch")]
    pub actor: Option<String>,
    #[schema(example = "Front case: above 2.0 °C for 95 minutes, up to 6.3 °C")]
    pub reason: Option<String>,
    /// The act this one takes back.
    pub reverses_act_id: Option<i64>,
}

impl From<ChangeRow> for ChangeBody {
    fn from(change: ChangeRow) -> ChangeBody {
        ChangeBody {
            cursor: cursor(change.position),
            act_id: change.act_id,
            kind: change.kind,
            at: change.at.to_string(),
            recorded_at: change.recorded_at.to_string(),
            actor: change.actor,
            reason: change.reason,
            reverses_act_id: change.reverses_act_id,
        }
    }
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

fn cursor(position: FeedPosition) -> String {
    write_feed_cursor((position.xact, position.id))
}

fn position(text: &str) -> Result<FeedPosition, Problem> {
    let (xact, id) = read_feed_cursor("after", text)?;
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

/// What was done, act by act. Whoever follows by the cursor sees every act once, none skipped, and no act before one it rests on. An act
/// may show a moment after it was answered: only when nothing can come to stand before it any more.
#[utoipa::path(get, path = "/v1/changes", tag = "changes", operation_id = "list_changes", params(ChangesQuery), extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "Acts after the cursor; `Link` names the next page when this one is full.", body = ChangesBody)))]
async fn list(request: HttpRequest, look: Look<ReadStock>) -> Outcome {
    let query = query::<ChangesQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let after = match query.after.as_deref() {
        None => FeedPosition::START,
        Some("now") => {
            let newest = look.ask(|desk, _| desk.look(|reading, _| changes::newest(reading))).await?;
            return page_until(&request, &ChangesBody { changes: Vec::new(), cursor: cursor(newest) }, "after", None);
        }
        Some(text) => position(text)?,
    };
    let found = look.ask(move |desk, _| desk.look(|reading, _| changes::behind(reading, after, limit))).await?;
    let full = i64::try_from(found.len()).is_ok_and(|n| n == limit);
    let last = cursor(found.last().map_or(after, |change| change.position));
    let next = full.then(|| last.clone());
    let body = ChangesBody { changes: found.into_iter().map(ChangeBody::from).collect(), cursor: last };
    page_until(&request, &body, "after", next)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/changes", "GET").route(route::get().to(list)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list))]
pub struct Doc;
