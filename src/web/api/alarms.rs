//! Alarms: what the watch found, and who took note of it.

use super::resource;
use super::stock::query;
use crate::domain::alarm::Subject;
use crate::ops::alarm::{self, Shown};
use crate::web::answer::{Outcome, PAGE_LIMIT, created, id, number, page, read_cursor};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{Acknowledge, ReadRecords};
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Alarm)]
pub struct AlarmBody {
    #[schema(example = 12)]
    pub alarm_id: i64,
    /// place_too_warm, place_silent, label_too_long or exposure_reached.
    #[schema(example = "place_too_warm")]
    pub kind: &'static str,
    /// The place it concerns, or else the tray.
    #[schema(example = "front-case")]
    pub place_code: Option<String>,
    pub tray_code: Option<String>,
    #[schema(example = "Front case: above 2.0 °C for 95 minutes, up to 6.3 °C")]
    pub reason: String,
    /// Since when the cause lasts.
    #[schema(example = "2026-11-25T03:40:00.000000Z")]
    pub since: String,
    #[schema(example = "2026-11-25T04:10:00.000000Z")]
    pub raised_at: String,
    pub acknowledged_at: Option<String>,
    pub acknowledged_by: Option<String>,
    pub note: Option<String>,
    /// When the cause ended, if it has.
    #[schema(example = "2026-11-25T05:15:00.000000Z")]
    pub ended_at: Option<String>,
    /// When the alarm was over: silence and labels by themselves, a warm place when it is cold again and someone took note, exposure when
    /// its hold is released.
    pub cleared_at: Option<String>,
}

impl From<Shown> for AlarmBody {
    fn from(shown: Shown) -> AlarmBody {
        let alarm = shown.alarm;
        let (acknowledged_at, acknowledged_by, note) = match alarm.acknowledged {
            Some(a) => (Some(a.at.to_string()), Some(a.by), a.note),
            None => (None, None, None),
        };
        AlarmBody {
            alarm_id: alarm.id,
            kind: alarm.kind.as_str(),
            place_code: match alarm.subject {
                Subject::Place(code) => Some(code),
                Subject::Tray(_) => None,
            },
            tray_code: shown.tray_code,
            reason: alarm.reason,
            since: alarm.since.to_string(),
            raised_at: alarm.raised_at.to_string(),
            acknowledged_at,
            acknowledged_by,
            note,
            ended_at: alarm.ended_at.map(|at| at.to_string()),
            cleared_at: alarm.cleared_at.map(|at| at.to_string()),
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct AlarmsQuery {
    /// `open` (default: the oldest first, all of them) or `all` (the newest first, by page).
    pub state: Option<String>,
    /// 1 to 200; 50 when absent. Only for `all`.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// Alarms that are open, or all of them.
#[utoipa::path(get, path = "/v1/alarms", tag = "alarms", operation_id = "list_alarms", params(AlarmsQuery), extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "Alarms that are not over, or all of them.", body = Vec<AlarmBody>)))]
async fn list(request: HttpRequest, look: Look<ReadRecords>) -> Outcome {
    let query = query::<AlarmsQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let below = read_cursor(query.cursor.as_deref())?;
    let all = match query.state.as_deref() {
        None | Some("open") => false,
        Some("all") => true,
        Some(_) => return Err(Problem::invalid("state", "must be open or all")),
    };
    let found = look
        .ask(move |desk, _| {
            desk.look(|reading, _| if all { alarm::page(reading, below, limit) } else { alarm::open(reading) })
        })
        .await?;
    let full = all && i64::try_from(found.len()).is_ok_and(|n| n == limit);
    let next = found.last().filter(|_| full).map(|shown| shown.alarm.id);
    page(&request, &found.into_iter().map(AlarmBody::from).collect::<Vec<_>>(), next)
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostAcknowledgement {
    /// What was found or done.
    #[serde(default)]
    #[schema(example = "door seal replaced, core of three blocks 1.4 °C")]
    pub note: Option<String>,
}

/// Takes note of an alarm, under the caller's name.
#[utoipa::path(post, path = "/v1/alarms/{id}/acknowledgement", tag = "alarms", operation_id = "acknowledge_alarm", request_body = PostAcknowledgement,
    extensions(("x-permission" = json!("acknowledge"))), params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "Taken note of.", body = AlarmBody)))]
async fn post(call: Recorded<Acknowledge, PostAcknowledgement>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, _| {
            Ok(created(&AlarmBody::from(alarm::acknowledge(tx, &actor, now, id, body.note.as_deref())?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/alarms", "GET").route(route::get().to(list)));
    config.service(resource("/v1/alarms/{id}/acknowledgement", "POST").route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post))]
pub struct Doc;
