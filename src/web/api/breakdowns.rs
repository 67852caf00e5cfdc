//! Breakdowns: what was cut, from what, and what the scales say of it.

use super::resource;
use super::tray_acts::TrayBody;
use crate::ops::break_down::{BrokenDown, Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use crate::ops::look::{self, BreakdownStory};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, created, id, ok};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{BreakDown, ReadRecords};
use crate::web::route;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BreakdownInput {
    /// Tray code, or anything a scanner sends.
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// Only part of a bulk tray; all of it when absent.
    #[serde(default)]
    #[schema(example = 12200)]
    pub grams: Option<i64>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BreakdownOutput {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = 268, minimum = 1)]
    pub net_weight_g: i64,
}

#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BreakdownLoss {
    #[schema(example = "drip")]
    pub name: String,
    #[schema(example = 120, minimum = 1)]
    pub grams: i64,
}

/// One cutting act.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostBreakdown {
    pub inputs: Vec<BreakdownInput>,
    pub outputs: Vec<BreakdownOutput>,
    #[serde(default)]
    pub losses: Vec<BreakdownLoss>,
    /// Where it is cut.
    #[schema(example = "bench")]
    pub place_code: String,
    /// Minutes the fish lay on the bench before it was cut: part of its life. What the shop reckons with, when absent.
    #[schema(example = 20)]
    pub bench_minutes: Option<i64>,
    /// Needed when more is missing than scales and drip explain.
    #[serde(default)]
    #[schema(example = "head ice thrown out")]
    pub reason: Option<String>,
}

/// What went in, what came out, and the rest.
#[derive(Debug, Serialize, ToSchema)]
pub struct BreakdownBalance {
    #[schema(example = 31400)]
    pub input_g: i64,
    #[schema(example = 31180)]
    pub output_g: i64,
    #[schema(example = 120)]
    pub named_loss_g: i64,
    /// Negative when the scales made more.
    #[schema(example = 100)]
    pub unexplained_g: i64,
    /// What scale error explains at most.
    #[schema(example = 64)]
    pub scale_allowance_g: i64,
    /// What drip explains at most, by the shop's setting.
    #[schema(example = 157)]
    pub drip_allowance_g: i64,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct BreakdownDone {
    #[schema(example = 12)]
    pub breakdown_id: i64,
    pub balance: BreakdownBalance,
    /// The trays made, in the order given; each wants its label.
    pub trays: Vec<TrayBody>,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct BreakdownWeight {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = 31400)]
    pub grams: i64,
}

/// A breakdown as it was weighed.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Breakdown)]
pub struct BreakdownBody {
    #[schema(example = 12)]
    pub breakdown_id: i64,
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub at: String,
    #[schema(example = "bench")]
    pub place_code: String,
    pub balance: BreakdownBalance,
    pub inputs: Vec<BreakdownWeight>,
    pub outputs: Vec<BreakdownWeight>,
    pub losses: Vec<BreakdownLoss>,
    pub reason: Option<String>,
}

impl From<BrokenDown> for BreakdownDone {
    fn from(done: BrokenDown) -> BreakdownDone {
        let b = done.balance;
        BreakdownDone {
            breakdown_id: done.id,
            balance: BreakdownBalance {
                input_g: b.input_g,
                output_g: b.output_g,
                named_loss_g: b.named_loss_g,
                unexplained_g: b.unexplained_g,
                scale_allowance_g: b.allowance.scale_g,
                drip_allowance_g: b.allowance.drip_g,
            },
            trays: done.trays.into_iter().map(TrayBody::from).collect(),
        }
    }
}

impl From<BreakdownStory> for BreakdownBody {
    fn from(story: BreakdownStory) -> BreakdownBody {
        let b = story.breakdown;
        let weights = |side: Vec<(String, i64)>| {
            side.into_iter().map(|(tray_code, grams)| BreakdownWeight { tray_code, grams }).collect()
        };
        BreakdownBody {
            breakdown_id: b.id,
            at: Instant::from_micros(b.at).map(|at| at.to_string()).unwrap_or_default(),
            place_code: b.place_code,
            balance: BreakdownBalance {
                input_g: b.input_g,
                output_g: b.output_g,
                named_loss_g: b.named_loss_g,
                unexplained_g: b.unexplained_g,
                scale_allowance_g: b.scale_g,
                drip_allowance_g: b.drip_g,
            },
            inputs: weights(story.inputs),
            outputs: weights(story.outputs),
            losses: story.losses.into_iter().map(|(name, grams)| BreakdownLoss { name, grams }).collect(),
            reason: b.reason,
        }
    }
}

impl From<PostBreakdown> for Cutting {
    fn from(body: PostBreakdown) -> Cutting {
        Cutting {
            inputs: body.inputs.into_iter().map(|i| InputDraft { tray: i.tray_code, grams: i.grams }).collect(),
            outputs: body
                .outputs
                .into_iter()
                .map(|o| OutputDraft { cut: o.cut_code, place: o.place_code, net_g: o.net_weight_g })
                .collect(),
            losses: body.losses.into_iter().map(|l| LossDraft { name: l.name, grams: l.grams }).collect(),
            place: body.place_code,
            bench_minutes: body.bench_minutes,
            reason: body.reason,
        }
    }
}

/// Breaks trays down into trays, with named losses; what is then still missing must be explained by scales and drip, or by a reason.
#[utoipa::path(post, path = "/v1/breakdowns", tag = "breakdowns", operation_id = "break_down", request_body = PostBreakdown, extensions(("x-permission" = json!("break_down"))),
    responses((status = 201, description = "Cut.", body = BreakdownDone)))]
async fn post(call: Recorded<BreakDown, PostBreakdown>) -> Outcome {
    call.record(|desk, request, actor, now, body| {
        let cutting = Cutting::from(body);
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&BreakdownDone::from(break_down(tx, shop, &actor, now, &cutting)?)))
        })
    })
    .await
}

/// A breakdown as it was weighed.
#[utoipa::path(get, path = "/v1/breakdowns/{id}", tag = "breakdowns", operation_id = "get_breakdown", extensions(("x-permission" = json!("read_records"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 200, description = "Inputs, outputs, losses and the rest.", body = BreakdownBody)))]
async fn get(look: Look<ReadRecords>, text: web::Path<String>) -> Outcome {
    let id = id(&text)?;
    let story = look.ask(move |desk, _| desk.look(|reading, _| look::breakdown(reading, id))).await?;
    ok(&BreakdownBody::from(story))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/breakdowns", "POST").route(web::post().to(post)));
    config.service(resource("/v1/breakdowns/{id}", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post, get))]
pub struct Doc;
