//! Errands: what is to be carried to the kitchen or the freezer; a scan ends one.

use super::resource;
use super::tray_acts::TrayBody;
use crate::ops::carry::{Arrival, Open, Since, complete, drop_one, grams_of, open};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, created, id, ok};
use crate::web::call::{Look, Recorded};
use crate::web::clock;
use crate::web::permit::{ReadRecords, Review, TakeOut};
use crate::web::route;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Something still to be carried.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Errand)]
pub struct ErrandBody {
    #[schema(example = 7)]
    pub errand_id: i64,
    #[schema(example = 12)]
    pub decision_id: i64,
    /// kitchen or freeze.
    #[schema(example = "kitchen")]
    pub kind: String,
    #[schema(example = "F7K9M3C")]
    pub tray_code: String,
    #[schema(example = "Scrape")]
    pub cut_name: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    /// What is carried of it: all of the tray, or a part of a tub.
    #[schema(example = 450)]
    pub grams: i64,
    #[schema(example = 720)]
    pub net_weight_g: i64,
    #[schema(example = "Marta")]
    pub decided_by: String,
    #[schema(example = "2026-11-26T08:31:07.000000Z")]
    pub created_at: String,
    /// Of an earlier business day: a review speaks of its tray again, and a new decision drops it.
    #[schema(example = false)]
    pub overdue: bool,
    /// Where it is too late: a kitchen takes nothing that is over or on hold.
    #[schema(example = "2026-11-26T17:40:00.000000Z")]
    pub sell_until: Option<String>,
}

impl ErrandBody {
    fn of(open: Open) -> ErrandBody {
        let tray = &open.judged.facts.tray;
        ErrandBody {
            errand_id: open.errand.id,
            decision_id: open.errand.decision_id,
            grams: grams_of(&open.errand, tray),
            kind: open.errand.kind,
            tray_code: tray.code.to_string(),
            cut_name: open.judged.facts.cut.name.clone(),
            place_code: tray.place.clone(),
            net_weight_g: tray.net.get(),
            decided_by: open.errand.decided_by,
            created_at: open.errand.created_at.to_string(),
            overdue: open.since == Since::Earlier,
            sell_until: open.judged.verdict.sell_until.as_ref().map(Instant::to_string),
        }
    }
}

/// Everything that is still to be carried, the oldest first. What was sold or thrown away meanwhile is no longer in it.
#[utoipa::path(get, path = "/v1/errands", tag = "review", operation_id = "list_errands", extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "Open errands.", body = Vec<ErrandBody>)))]
async fn list(look: Look<ReadRecords>) -> Outcome {
    let now = clock::now();
    let found = look.ask(move |desk, _| desk.look(|reading, shop| open(reading, shop, now))).await?;
    ok(&found.into_iter().map(ErrandBody::of).collect::<Vec<_>>())
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostCompletion {
    /// Tray code, or anything a scanner sends.
    #[schema(example = "F7K9M3C")]
    pub scanned: String,
    /// Where what is frozen stands now; nothing to the kitchen.
    #[serde(default)]
    #[schema(example = json!(null))]
    pub place_code: Option<String>,
    /// Which errand of the tray, where it has several; without it the oldest that ends in such a place.
    #[serde(default)]
    #[schema(example = json!(null))]
    pub errand_id: Option<i64>,
}

/// What a scan ended.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Completion)]
pub struct CompletionBody {
    #[schema(example = 7)]
    pub errand_id: i64,
    #[schema(example = "kitchen")]
    pub kind: String,
    pub tray: TrayBody,
}

/// The scanned tray has arrived: it is taken out for the kitchen, or frozen, and its errand is over.
#[utoipa::path(post, path = "/v1/errands/completions", tag = "review", operation_id = "complete_errand", request_body = PostCompletion,
    extensions(("x-permission" = json!("take_out"))),
    responses((status = 201, description = "Done.", body = CompletionBody)))]
async fn post(call: Recorded<TakeOut, PostCompletion>) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            let place = body.place_code.as_deref();
            let arrival = Arrival { scanned: &body.scanned, place, errand: body.errand_id };
            let (errand, tray) = complete(tx, shop, &actor, now, arrival)?;
            Ok(created(&CompletionBody { errand_id: errand.id, kind: errand.kind, tray: TrayBody::from(tray) }))
        })
    })
    .await
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostDrop {
    #[serde(default)]
    #[schema(example = "the kitchen is full")]
    pub note: Option<String>,
}

/// What was dropped.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Dropped)]
pub struct DroppedBody {
    #[schema(example = 7)]
    pub errand_id: i64,
}

/// Drops an errand: its tray stays where it is, and the review may speak of it again.
#[utoipa::path(post, path = "/v1/errands/{id}/drops", tag = "review", operation_id = "drop_errand", request_body = PostDrop,
    extensions(("x-permission" = json!("review"))), params(("id" = i64, Path, example = 7)),
    responses((status = 201, description = "Dropped.", body = DroppedBody)))]
async fn post_drop(call: Recorded<Review, PostDrop>, path: web::Path<String>) -> Outcome {
    let errand_id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, _| {
            drop_one(tx, &actor, now, errand_id, body.note.as_deref())?;
            Ok(created(&DroppedBody { errand_id }))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/errands", "GET").route(route::get().to(list)));
    config.service(resource("/v1/errands/completions", "POST").route(web::post().to(post)));
    config.service(resource("/v1/errands/{id}/drops", "POST").route(web::post().to(post_drop)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post, post_drop))]
pub struct Doc;
