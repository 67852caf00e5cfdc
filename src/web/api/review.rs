//! The morning review: what to mark down, cook or take off, and accepting what is advised.

use super::resource;
use super::stock::StockBody;
use super::tray_acts::TrayBody;
use crate::domain::review::Advice;
use crate::ops::review::{Candidate, accept, candidates};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, created, ok};
use crate::web::call::{Look, Recorded};
use crate::web::clock;
use crate::web::permit::Review;
use crate::web::route;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewCandidate)]
pub struct CandidateBody {
    /// mark_down, kitchen or take_off.
    #[schema(example = "mark_down")]
    pub advice: &'static str,
    /// The price advised, for mark_down.
    #[schema(example = 5960)]
    pub advised_price_per_kg_cents: Option<i64>,
    #[schema(example = "2026-11-26T06:40:00.000000Z")]
    pub sell_until: String,
    pub tray: StockBody,
}

impl CandidateBody {
    fn of(candidate: Candidate, now: Instant) -> CandidateBody {
        let price = match candidate.advice {
            Advice::MarkDown(price) => Some(price.get()),
            Advice::Kitchen | Advice::TakeOff => None,
        };
        CandidateBody {
            advice: candidate.advice.as_str(),
            advised_price_per_kg_cents: price,
            sell_until: candidate.sell_until.to_string(),
            tray: StockBody::of(candidate.judged, now),
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostAccept {
    #[schema(example = json!(["C4H7K9P"]))]
    pub tray_codes: Vec<String>,
}

/// Candidates by remaining life, the first to end first.
#[utoipa::path(get, path = "/v1/review", tag = "review", operation_id = "review", extensions(("x-permission" = json!("review"))),
    responses((status = 200, description = "Candidates with advice.", body = Vec<CandidateBody>)))]
async fn list(look: Look<Review>) -> Outcome {
    let now = clock::now();
    let found = look.ask(move |desk, _| desk.look(|reading, shop| candidates(reading, shop, now))).await?;
    ok(&found.into_iter().map(|c| CandidateBody::of(c, now)).collect::<Vec<_>>())
}

/// Accepts the markdown advised now for these trays, all or none: prices fall, new labels are asked for.
#[utoipa::path(post, path = "/v1/review/accepts", tag = "review", operation_id = "accept_markdowns", request_body = PostAccept, extensions(("x-permission" = json!("review"))),
    responses((status = 201, description = "The trays as they are now.", body = Vec<TrayBody>)))]
async fn post(call: Recorded<Review, PostAccept>) -> Outcome {
    call.record(|desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            let trays = accept(tx, shop, &actor, now, &body.tray_codes)?;
            Ok(created(&trays.into_iter().map(TrayBody::from).collect::<Vec<_>>()))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/review", "GET").route(route::get().to(list)));
    config.service(resource("/v1/review/accepts", "POST").route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post))]
pub struct Doc;
