//! Decisions of reviews: accepting, changing and declining advice, and taking a decision back.

use super::resource;
use super::review::ExplanationBody;
use super::stock::query;
use crate::ops::review::decide::{CarryDraft, Draft, Taken, Way, decide, of_day};
use crate::ops::review::undo::undo;
use crate::units::zone::parse_day;
use crate::web::answer::{Outcome, created, id, ok};
use crate::web::call::{Look, Recorded};
use crate::web::permit::Review;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use utoipa::{IntoParams, ToSchema};

/// A tray for the kitchen, with what of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewCarried)]
pub struct CarriedBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = 450)]
    pub grams: i64,
}

/// A tray as the decision looked at it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = DecidedTray)]
pub struct DecidedTrayBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// Of its weight, what was not promised to the kitchen already.
    #[schema(example = 268)]
    pub net_weight_g: i64,
    #[schema(example = 7450)]
    pub old_price_per_kg_cents: i64,
    #[schema(example = 5960)]
    pub new_price_per_kg_cents: i64,
    /// keep, mark_down, kitchen or freeze.
    #[schema(example = "mark_down")]
    pub course: String,
    /// What of it goes to the kitchen; of a tub it may be a part.
    #[schema(example = 0)]
    pub kitchen_g: i64,
    /// How likely it was to be sold before its end; of a tub, the share expected to be.
    #[schema(example = 820)]
    pub sold_permille: i64,
}

/// A decision with what was expected of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Decision)]
pub struct DecisionBody {
    #[schema(example = 12)]
    pub decision_id: i64,
    #[schema(example = "2026-11-26T08:31:07.000000Z")]
    pub at: String,
    /// The local business day.
    #[schema(example = "2026-11-26")]
    pub day: String,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    /// accepted, changed or declined.
    #[schema(example = "accepted")]
    pub way: String,
    #[schema(example = "Marta")]
    pub decided_by: String,
    pub note: Option<String>,
    #[schema(example = "9c1f0e2ab47d6650")]
    pub basis: String,
    #[schema(example = 5960)]
    pub price_per_kg_cents: Option<i64>,
    /// Money expected of what was decided, and had nothing been done, until the last of these trays ends.
    #[schema(example = 10420)]
    pub expected_cents: i64,
    #[schema(example = 8590)]
    pub alone_cents: i64,
    #[schema(example = 220)]
    pub expected_waste_g: i64,
    #[schema(example = 740)]
    pub alone_waste_g: i64,
    pub trays: Vec<DecidedTrayBody>,
    /// As it was shown.
    #[schema(value_type = ExplanationBody)]
    pub explanation: Option<Box<RawValue>>,
    #[schema(example = json!(null))]
    pub undone_at: Option<String>,
    #[schema(example = json!(null))]
    pub undone_by: Option<String>,
}

impl From<Taken> for DecisionBody {
    fn from(taken: Taken) -> DecisionBody {
        let (decision, trays) = (taken.decision, taken.trays);
        let trays = trays.into_iter().map(|tray| DecidedTrayBody {
            tray_code: tray.tray_code,
            net_weight_g: tray.net_g,
            old_price_per_kg_cents: tray.old_price,
            new_price_per_kg_cents: tray.new_price,
            course: tray.course,
            kitchen_g: tray.kitchen_g,
            sold_permille: tray.sold_permille,
        });
        let (undone_at, undone_by) = decision.undone.map(|undone| (undone.at.to_string(), undone.by)).unzip();
        DecisionBody {
            decision_id: decision.id,
            at: decision.at.to_string(),
            day: decision.day,
            cut_code: decision.cut,
            way: decision.way,
            decided_by: decision.decided_by,
            note: decision.note,
            basis: decision.basis,
            price_per_kg_cents: decision.price_per_kg_cents,
            expected_cents: decision.expected.total_cents,
            alone_cents: decision.alone.total_cents,
            expected_waste_g: decision.expected.wasted_g,
            alone_waste_g: decision.alone.wasted_g,
            trays: trays.collect(),
            explanation: RawValue::from_string(decision.explanation).ok(),
            undone_at,
            undone_by,
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostCarry {
    #[schema(example = "F7K9M3C")]
    pub tray_code: String,
    /// Of a tub, how much; all of it when absent.
    #[serde(default)]
    #[schema(example = 450)]
    pub grams: Option<i64>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostDecision {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    /// accepted: what is advised is done. changed: what is said here is done instead, and nothing else. declined: nothing is done.
    #[schema(example = "accepted")]
    pub way: String,
    /// The basis of the proposal that was looked at; where it is no longer true, nothing is done.
    #[schema(example = "9c1f0e2ab47d6650")]
    pub basis: String,
    /// For changed: what the price falls to, any price below the present one. A step of the ladder is for the trays that the table says, any
    /// other price for all that stay.
    #[serde(default)]
    #[schema(example = json!(null))]
    pub price_per_kg_cents: Option<i64>,
    /// For changed: what goes to the kitchen.
    #[serde(default)]
    #[schema(example = json!([]))]
    pub kitchen: Vec<PostCarry>,
    /// For changed: what is frozen.
    #[serde(default)]
    #[schema(example = json!([]))]
    pub freeze_tray_codes: Vec<String>,
    #[serde(default)]
    #[schema(example = "quiet day")]
    pub note: Option<String>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostDecisions {
    /// All of these are done, or none.
    pub decisions: Vec<PostDecision>,
}

fn draft(index: usize, body: &PostDecision) -> Result<Draft, Problem> {
    let known = Way::ALL.map(|(_, name)| name).join(", ");
    let invalid = || Problem::invalid(&format!("decisions/{index}/way"), format!("must be one of {known}"));
    let carry = |carry: &PostCarry| CarryDraft { tray: carry.tray_code.clone(), grams: carry.grams };
    Ok(Draft {
        cut: body.cut_code.clone(),
        way: Way::parse(&body.way).ok_or_else(invalid)?,
        basis: body.basis.clone(),
        price_per_kg_cents: body.price_per_kg_cents,
        kitchen: body.kitchen.iter().map(carry).collect(),
        freeze: body.freeze_tray_codes.clone(),
        note: body.note.clone(),
    })
}

/// Decides on advice, under the caller's name: prices fall, labels are asked for, what is to be carried becomes errands.
#[utoipa::path(post, path = "/v1/decisions", tag = "review", operation_id = "decide", request_body = PostDecisions,
    extensions(("x-permission" = json!("review"))),
    responses((status = 201, description = "Decided.", body = Vec<DecisionBody>)))]
async fn post(call: Recorded<Review, PostDecisions>) -> Outcome {
    let drafts = call.body().decisions.iter().enumerate().map(|(index, body)| draft(index, body));
    let drafts = drafts.collect::<Result<Vec<Draft>, Problem>>()?;
    call.record(move |desk, request, actor, now, _| {
        desk.act_once(request, now, move |tx, shop| {
            let taken = decide(tx, shop, &actor, now, &drafts)?;
            Ok(created(&taken.into_iter().map(DecisionBody::from).collect::<Vec<_>>()))
        })
    })
    .await
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DecisionsQuery {
    /// A business day; today when absent.
    #[param(example = "2026-11-26")]
    pub day: Option<String>,
}

/// What was decided on a day, the latest first; what was taken back says so.
#[utoipa::path(get, path = "/v1/decisions", tag = "review", operation_id = "list_decisions", params(DecisionsQuery),
    extensions(("x-permission" = json!("review"))),
    responses((status = 200, description = "Decisions.", body = Vec<DecisionBody>)))]
async fn list(request: HttpRequest, look: Look<Review>) -> Outcome {
    let day = query::<DecisionsQuery>(&request)?.day;
    let day = day.map(|day| parse_day(&day).map_err(|e| Problem::invalid("day", e.to_string()))).transpose()?;
    let found = look
        .ask(move |desk, now| {
            desk.look(|reading, shop| {
                let day = day.unwrap_or_else(|| shop.zone.day_of(now));
                of_day(reading, &day.to_string())
            })
        })
        .await?;
    ok(&found.into_iter().map(DecisionBody::from).collect::<Vec<_>>())
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostUndo {
    #[serde(default)]
    #[schema(example = "touched the wrong line")]
    pub note: Option<String>,
}

/// Takes a decision back within the minutes in which a sale can be: prices return to what they were unless a label says the new one, errands
/// are dropped.
#[utoipa::path(post, path = "/v1/decisions/{id}/undo", tag = "review", operation_id = "undo_decision", request_body = PostUndo,
    extensions(("x-permission" = json!("review"))), params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "Taken back.", body = DecisionBody)))]
async fn post_undo(call: Recorded<Review, PostUndo>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&DecisionBody::from(undo(tx, shop, &actor, now, id, body.note.as_deref())?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/decisions", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(resource("/v1/decisions/{id}/undo", "POST").route(web::post().to(post_undo)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post, post_undo))]
pub struct Doc;
