//! Holds: a stop on a lot, a batch or a tray until a manager lifts it.

use super::resource;
use crate::ops::hold::{self, HoldDraft};
use crate::ops::look::{self, HoldRow};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, created, id, ok};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{PlaceHold, ReadRecords, ReleaseHold};
use crate::web::route;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Hold)]
pub struct HoldBody {
    #[schema(example = 5)]
    pub hold_id: i64,
    /// lot, batch or tray.
    #[schema(example = "tray")]
    pub scope: String,
    #[schema(example = "2026-11-25T09:12:00.000000Z")]
    pub placed_at: String,
    #[schema(example = "Ines")]
    pub placed_by: String,
    #[schema(example = "case door stood open")]
    pub reason: String,
    pub released_at: Option<String>,
    pub released_by: Option<String>,
    pub release_note: Option<String>,
}

fn text(micros: i64) -> String {
    Instant::from_micros(micros).map(|i| i.to_string()).unwrap_or_default()
}

impl From<HoldRow> for HoldBody {
    fn from(hold: HoldRow) -> HoldBody {
        HoldBody {
            hold_id: hold.id,
            scope: hold.scope,
            placed_at: text(hold.placed_at),
            placed_by: hold.placed_by,
            reason: hold.reason,
            released_at: hold.released_at.map(text),
            released_by: hold.released_by,
            release_note: hold.release_note,
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostHold {
    /// lot, batch or tray.
    #[schema(example = "tray")]
    pub scope: String,
    /// A lot code; or a tray code, for the tray or the batch it belongs to.
    #[schema(example = "C4H7K9P")]
    pub code: String,
    #[schema(example = "case door stood open")]
    pub reason: String,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostRelease {
    /// Why it is safe to release.
    #[schema(example = "core measured 1.8 °C, within limits")]
    pub note: String,
}

/// All open holds, oldest first.
#[utoipa::path(get, path = "/v1/holds", tag = "holds", operation_id = "list_holds", extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "Open holds.", body = Vec<HoldBody>)))]
async fn list(look: Look<ReadRecords>) -> Outcome {
    let open = look.ask(|desk, _| desk.look(|reading, _| look::open_holds(reading))).await?;
    ok(&open.into_iter().map(HoldBody::from).collect::<Vec<_>>())
}

/// Places a hold: nothing under it can be sold, cooked or cut.
#[utoipa::path(post, path = "/v1/holds", tag = "holds", operation_id = "place_hold", request_body = PostHold, extensions(("x-permission" = json!("place_hold"))),
    responses((status = 201, description = "On hold.", body = HoldBody)))]
async fn post(call: Recorded<PlaceHold, PostHold>) -> Outcome {
    call.record(|desk, request, actor, now, body| {
        let draft = HoldDraft { scope: body.scope, code: body.code, reason: body.reason };
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&HoldBody::from(hold::place(tx, shop, &actor, now, &draft)?)))
        })
    })
    .await
}

/// Releases a hold, with a note on why.
#[utoipa::path(post, path = "/v1/holds/{id}/release", tag = "holds", operation_id = "release_hold", request_body = PostRelease, extensions(("x-permission" = json!("release_hold"))),
    params(("id" = i64, Path, example = 5)),
    responses((status = 201, description = "Released.", body = HoldBody)))]
async fn post_release(call: Recorded<ReleaseHold, PostRelease>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, _| {
            Ok(created(&HoldBody::from(hold::release(tx, &actor, now, id, &body.note)?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/holds", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(resource("/v1/holds/{id}/release", "POST").route(web::post().to(post_release)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post, post_release))]
pub struct Doc;
