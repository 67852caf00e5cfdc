//! What is done with a tray: topped up, moved, frozen, thawed, taken out, marked down, labelled.

use super::resource;
use crate::domain::tray::Tray;
use crate::ops::place_tray::{Way, take_to};
use crate::ops::take_out::{Whither, take_out};
use crate::ops::top_up::{TopUp, top_up};
use crate::ops::{label, mark_down};
use crate::web::answer::{Outcome, created};
use crate::web::call::Recorded;
use crate::web::permit::{MoveTrays, PrintLabels, Review, TakeOut};
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A tray after an act.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Tray)]
pub struct TrayBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "block")]
    pub kind: &'static str,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = 268)]
    pub net_weight_g: i64,
    #[schema(example = 7450)]
    pub price_per_kg_cents: i64,
    #[schema(example = 1997)]
    pub price_cents: i64,
    /// As its label says, or as it inherited; absent before any label, and while frozen.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub use_by: Option<String>,
    pub label_wanted: Option<&'static str>,
    /// Where it went, when it is no longer in stock.
    pub fate: Option<&'static str>,
    #[schema(example = 3)]
    pub version: i64,
}

impl From<Tray> for TrayBody {
    fn from(tray: Tray) -> TrayBody {
        TrayBody {
            tray_code: tray.code.to_string(),
            kind: tray.kind.as_str(),
            net_weight_g: tray.net.get(),
            price_per_kg_cents: tray.price.get(),
            price_cents: tray.price.for_weight(tray.net).get(),
            use_by: tray.use_by.map(|i| i.to_string()),
            label_wanted: tray.label_wanted.map(|l| l.as_str()),
            fate: tray.fate.map(|f| f.as_str()),
            version: tray.version,
            cut_code: tray.cut,
            place_code: tray.place,
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostTopUp {
    /// The tray poured from: same cut, same species.
    #[schema(example = "F7K9M3C")]
    pub source_tray_code: String,
    /// All of it when absent.
    #[serde(default)]
    #[schema(example = 340)]
    pub grams: Option<i64>,
}

/// Tops a tub up. It takes over the older dates and the more consumed life.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/top-ups", tag = "trays", operation_id = "top_up", request_body = PostTopUp, extensions(("x-permission" = json!("move_trays"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tub as it is now.", body = TrayBody)))]
async fn post_top_up(call: Recorded<MoveTrays, PostTopUp>, code: web::Path<String>) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        let draft = TopUp { source: body.source_tray_code, grams: body.grams };
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&TrayBody::from(top_up(tx, shop, &actor, now, &code, &draft)?)))
        })
    })
    .await
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPlace {
    /// Where it goes.
    #[schema(example = "front-case")]
    pub place_code: String,
    #[serde(default)]
    #[schema(example = "refill")]
    pub reason: Option<String>,
}

async fn place(call: Recorded<MoveTrays, PostPlace>, code: web::Path<String>, way: Way) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            let tray = take_to(tx, shop, &actor, now, &code, &body.place_code, way, body.reason.as_deref())?;
            Ok(created(&TrayBody::from(tray)))
        })
    })
    .await
}

/// Moves a tray to another place. Its life is reckoned up to now at the old place's limit.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/moves", tag = "trays", operation_id = "move_tray", request_body = PostPlace, extensions(("x-permission" = json!("move_trays"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray as it is now.", body = TrayBody)))]
async fn post_move(call: Recorded<MoveTrays, PostPlace>, code: web::Path<String>) -> Outcome {
    place(call, code, Way::Move).await
}

/// Freezes a tray: its clock stands still, its label is void. Never twice.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/freezes", tag = "trays", operation_id = "freeze_tray", request_body = PostPlace, extensions(("x-permission" = json!("move_trays"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray as it is now.", body = TrayBody)))]
async fn post_freeze(call: Recorded<MoveTrays, PostPlace>, code: web::Path<String>) -> Outcome {
    place(call, code, Way::Freeze).await
}

/// Thaws a tray: its clock goes on from where it stood; it wants a new label.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/thaws", tag = "trays", operation_id = "thaw_tray", request_body = PostPlace, extensions(("x-permission" = json!("move_trays"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray as it is now.", body = TrayBody)))]
async fn post_thaw(call: Recorded<MoveTrays, PostPlace>, code: web::Path<String>) -> Outcome {
    place(call, code, Way::Thaw).await
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostTakeOut {
    /// Part of a tub or bulk tray; all of it when absent.
    #[serde(default)]
    #[schema(example = 450)]
    pub grams: Option<i64>,
    /// Required for waste.
    #[serde(default)]
    #[schema(example = "soup of the day")]
    pub reason: Option<String>,
}

async fn out(call: Recorded<TakeOut, PostTakeOut>, code: web::Path<String>, whither: Whither) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            let tray = take_out(tx, shop, &actor, now, &code, whither, body.grams, body.reason.as_deref())?;
            Ok(created(&TrayBody::from(tray)))
        })
    })
    .await
}

/// Sends a tray, or part of it, to the kitchen: before its use-by, and never from hold.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/kitchen-transfers", tag = "trays", operation_id = "send_to_kitchen", request_body = PostTakeOut, extensions(("x-permission" = json!("take_out"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray as it is now.", body = TrayBody)))]
async fn post_kitchen(call: Recorded<TakeOut, PostTakeOut>, code: web::Path<String>) -> Outcome {
    out(call, code, Whither::Kitchen).await
}

/// Throws a tray, or part of it, away, with the reason.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/wastes", tag = "trays", operation_id = "waste_tray", request_body = PostTakeOut, extensions(("x-permission" = json!("take_out"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray as it is now.", body = TrayBody)))]
async fn post_waste(call: Recorded<TakeOut, PostTakeOut>, code: web::Path<String>) -> Outcome {
    out(call, code, Whither::Waste).await
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostMarkdown {
    #[schema(example = 5960)]
    pub price_per_kg_cents: i64,
    /// Stands on the label, at most 40 characters.
    #[schema(example = "Best used soon")]
    pub reason: String,
}

/// Lowers the price of a tray by hand, and asks for a new label.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/markdowns", tag = "review", operation_id = "mark_down", request_body = PostMarkdown, extensions(("x-permission" = json!("review"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray as it is now.", body = TrayBody)))]
async fn post_markdown(call: Recorded<Review, PostMarkdown>, code: web::Path<String>) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            let tray = mark_down::mark_down(tx, shop, &actor, now, &code, body.price_per_kg_cents, &body.reason)?;
            Ok(created(&TrayBody::from(tray)))
        })
    })
    .await
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostLabel {
    /// Required for a reprint.
    #[serde(default)]
    #[schema(example = "the first got wet")]
    pub reason: Option<String>,
}

/// Issues the label of a tray: fixes the use-by it promises and records it. The picture is at `label.png`.
#[utoipa::path(post, path = "/v1/trays/{tray_code}/labels", tag = "labels", operation_id = "issue_label", request_body = PostLabel, extensions(("x-permission" = json!("print_labels"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 201, description = "The tray with the use-by now promised.", body = TrayBody)))]
async fn post_label(call: Recorded<PrintLabels, PostLabel>, code: web::Path<String>) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        let press = desk.press();
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&TrayBody::from(label::issue(tx, shop, &press, &actor, now, &code, body.reason.as_deref())?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    let act = |name: &str| resource(&format!("/v1/trays/{{tray_code}}/{name}"), "POST");
    config.service(act("top-ups").route(web::post().to(post_top_up)));
    config.service(act("moves").route(web::post().to(post_move)));
    config.service(act("freezes").route(web::post().to(post_freeze)));
    config.service(act("thaws").route(web::post().to(post_thaw)));
    config.service(act("kitchen-transfers").route(web::post().to(post_kitchen)));
    config.service(act("wastes").route(web::post().to(post_waste)));
    config.service(act("markdowns").route(web::post().to(post_markdown)));
    config.service(act("labels").route(web::post().to(post_label)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post_top_up, post_move, post_freeze, post_thaw, post_kitchen, post_waste, post_markdown, post_label))]
pub struct Doc;
