//! Pick lists: which trays to take for a refill of a case or for an order, reserved, and worked off by scanning.

use super::resource;
use crate::domain::picking::list::LineState;
use crate::domain::picking::{PassedOver, Why};
use crate::domain::tray::Tray;
use crate::ops::pick::show::{self, Shown, ShownLine, ShownPassed};
use crate::ops::pick::work::{self, Consent, Scanned};
use crate::ops::pick::{PickDraft, make};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, created, id, ok};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{Pick, ReadRecords};
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a list is to be for. A refill fills a case to its plan; an order is for a count of trays, or for a weight between two.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPickList {
    #[schema(example = "order")]
    pub purpose: String,
    /// Of a refill the case; of an order the only place to take from.
    #[schema(example = "cold-room")]
    pub place_code: Option<String>,
    /// Needed for an order. A refill without it is of all cuts of the plan.
    #[schema(example = "lean-saku")]
    pub cut_code: Option<String>,
    /// `fefo` (default): the first to end goes first; `fifo`: the oldest cut.
    #[schema(example = "fefo")]
    pub rule: Option<String>,
    /// Which of several selections within the weight. `oldest_first` (default): each tray, oldest first, unless taking it makes the weight
    /// unreachable; `closest`: nearest to the middle; `fewest`: fewest trays; `least_fresh`: no tray newer than needed.
    #[schema(example = "oldest_first")]
    pub choice: Option<String>,
    /// How many trays; absent where a weight is asked for.
    #[schema(example = 4)]
    pub count: Option<i64>,
    /// Least total weight. Out of tubs the middle of both ends is drawn.
    #[schema(example = 975)]
    pub low_g: Option<i64>,
    /// Greatest total weight. Trays that may be taken times this must not pass 10,000,000.
    #[schema(example = 1025)]
    pub high_g: Option<i64>,
    /// Least hours that each tray can still be sold for when it is needed; 0 when absent.
    #[schema(example = 12)]
    pub least_hours: Option<i64>,
    /// No tray that costs more per kilogram.
    #[schema(example = 8000)]
    pub highest_price_per_kg_cents: Option<i64>,
    /// When it is handed over, at most 31 days ahead; now when absent.
    #[schema(example = "2026-11-26T17:00:00Z")]
    pub needed_at: Option<String>,
    /// For whom, or what else to know.
    #[schema(example = "Ana, fetches at five")]
    pub note: Option<String>,
}

/// A tray was scanned for a list.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPickScan {
    /// Anything a scanner sends, or a tray code typed by hand.
    #[schema(example = "C4H7K9P")]
    pub scanned: String,
    /// `yes` takes another tray than the one wanted although it passes over older ones; left out, such a scan is answered with `confirm`.
    #[schema(example = "yes")]
    pub substitute: Option<String>,
}

/// A list is ended before everything on it is picked.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPickGiveUp {
    #[schema(example = "the customer called it off")]
    pub reason: Option<String>,
    /// `yes` ends a short list as done: what is picked is all there will be. Left out, the list is given up.
    #[schema(example = "yes")]
    pub keep_picked: Option<String>,
}

/// Why something is done with a list, if there is more to say.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPickReason {
    #[schema(example = "the customer called it off")]
    pub reason: Option<String>,
}

/// One tray of a list.
#[derive(Debug, Serialize, ToSchema)]
pub struct PickLine {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "cold-room")]
    pub place_code: String,
    /// Of a tub what is to be drawn.
    #[schema(example = 268)]
    pub grams: i64,
    #[schema(example = 268)]
    pub net_weight_g: i64,
    /// wanted, picked, gone or replaced.
    #[schema(example = "wanted")]
    pub state: &'static str,
    /// Why it is gone.
    pub because: Option<String>,
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub sell_until: Option<String>,
    pub picked_at: Option<String>,
    pub picked_by: Option<String>,
}

/// An older tray that was left lying.
#[derive(Debug, Serialize, ToSchema)]
pub struct PassedOverTray {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "cold-room")]
    pub place_code: String,
    #[schema(example = 312)]
    pub net_weight_g: i64,
    #[schema(example = "2026-11-26T20:12:00.000000Z")]
    pub sell_until: Option<String>,
    /// other_place, too_dear, too_little_life, reserved, promised, no_completion, other_choice or older_is_free.
    #[schema(example = "too_little_life")]
    pub why: &'static str,
    #[schema(example = "too little of its life is left when it is needed")]
    pub reason: String,
}

/// A list as it stands.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PickList)]
pub struct PickListBody {
    #[schema(example = 12)]
    pub pick_list_id: i64,
    #[schema(example = "order")]
    pub purpose: &'static str,
    /// open, done or given_up.
    #[schema(example = "open")]
    pub state: &'static str,
    pub place_code: Option<String>,
    pub cut_code: Option<String>,
    #[schema(example = "fefo")]
    pub rule: &'static str,
    #[schema(example = "oldest_first")]
    pub choice: &'static str,
    pub count: Option<i64>,
    pub low_g: Option<i64>,
    pub high_g: Option<i64>,
    pub least_hours: i64,
    pub highest_price_per_kg_cents: Option<i64>,
    pub needed_at: Option<String>,
    pub note: Option<String>,
    #[schema(example = "2026-11-26T09:12:00.000000Z")]
    pub made_at: String,
    #[schema(example = "Ines")]
    pub made_by: String,
    /// Until then no other list gets its trays, unless somebody works on it; absent when they are free.
    pub reserved_until: Option<String>,
    /// The tray to fetch next.
    pub next_tray_code: Option<String>,
    /// In the order to take them, stand-ins last.
    pub lines: Vec<PickLine>,
    #[schema(example = 268)]
    pub picked_g: i64,
    /// What is picked and what is still wanted.
    #[schema(example = 1003)]
    pub expected_g: i64,
    pub missing_trays: i64,
    pub missing_g: i64,
    pub passed_over: Vec<PassedOverTray>,
}

/// What became of a scan.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PickScan)]
pub struct PickScanBody {
    /// picked; picked_already; substituted: it stands in for another; confirm: it could, over older ones, and nothing was done yet.
    #[schema(example = "picked")]
    pub outcome: &'static str,
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// The tray it stands in for.
    pub replaces_tray_code: Option<String>,
    pub passes_over: Vec<PassedOverTray>,
    pub pick_list: PickListBody,
}

fn written(at: Option<Instant>) -> Option<String> {
    at.map(|at| at.to_string())
}

impl From<ShownLine> for PickLine {
    fn from(shown: ShownLine) -> PickLine {
        PickLine {
            tray_code: shown.tray.code.to_string(),
            cut_code: shown.tray.cut,
            place_code: shown.tray.place,
            grams: shown.line.grams,
            net_weight_g: shown.tray.net.get(),
            state: shown.state.as_str(),
            because: shown.because,
            sell_until: written(shown.sell_until),
            picked_at: written(shown.line.picked_at),
            picked_by: shown.line.picked_by,
        }
    }
}

fn passed(tray: &Tray, sell_until: Option<Instant>, why: Why) -> PassedOverTray {
    PassedOverTray {
        tray_code: tray.code.to_string(),
        place_code: tray.place.clone(),
        net_weight_g: tray.net.get(),
        sell_until: written(sell_until),
        why: why.as_str(),
        reason: why.in_words(),
    }
}

impl From<ShownPassed> for PassedOverTray {
    fn from(shown: ShownPassed) -> PassedOverTray {
        passed(&shown.tray, shown.sell_until, shown.why)
    }
}

impl From<PassedOver> for PassedOverTray {
    fn from(PassedOver { tray, why }: PassedOver) -> PassedOverTray {
        PassedOverTray {
            tray_code: tray.code.to_string(),
            place_code: tray.place,
            net_weight_g: tray.net_g,
            sell_until: Some(tray.sell_until.to_string()),
            why: why.as_str(),
            reason: why.in_words(),
        }
    }
}

fn whole(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

impl From<Shown> for PickListBody {
    fn from(shown: Shown) -> PickListBody {
        let (picked_g, expected_g) = (shown.picked_g(), shown.expected_g());
        let (missing_trays, missing_g) = (whole(shown.missing_trays()), shown.missing_g());
        let next_tray_code = shown.next().map(|line| line.tray.code.to_string());
        let list = shown.list;
        let (asked, window) = (&list.asked, list.asked.window());
        PickListBody {
            pick_list_id: list.id,
            purpose: asked.purpose.as_str(),
            state: list.state.as_str(),
            rule: asked.rule.as_str(),
            choice: asked.choice.as_str(),
            count: asked.count().map(whole),
            low_g: window.map(|window| window.low),
            high_g: window.map(|window| window.high),
            least_hours: asked.least_hours,
            highest_price_per_kg_cents: asked.highest_price.map(crate::units::money::PricePerKg::get),
            needed_at: written(asked.needed_at),
            made_at: list.made_at.to_string(),
            reserved_until: written(shown.reserved_until),
            next_tray_code,
            // What was filled up again is no business of whoever fetches.
            lines: shown.lines.into_iter().filter(is_told).map(PickLine::from).collect(),
            picked_g,
            expected_g,
            missing_trays,
            missing_g,
            passed_over: shown.passed.into_iter().map(PassedOverTray::from).collect(),
            place_code: list.asked.place,
            cut_code: list.asked.cut,
            note: list.asked.note,
            made_by: list.made_by,
        }
    }
}

/// A line that was dropped when the list was filled up again is told no more; one that another tray stands in for is.
fn is_told(line: &ShownLine) -> bool {
    line.state != LineState::Replaced || line.line.replaced_by.is_some()
}

impl From<Scanned> for PickScanBody {
    fn from(scanned: Scanned) -> PickScanBody {
        PickScanBody {
            outcome: scanned.outcome.as_str(),
            tray_code: scanned.tray.code.to_string(),
            replaces_tray_code: scanned.replaces.map(|tray| tray.code.to_string()),
            passes_over: scanned.passes_over.into_iter().map(PassedOverTray::from).collect(),
            pick_list: PickListBody::from(scanned.after),
        }
    }
}

/// All open pick lists, oldest first.
#[utoipa::path(get, path = "/v1/pick-lists", tag = "picking", operation_id = "list_pick_lists", extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "Open lists.", body = Vec<PickListBody>)))]
async fn list(look: Look<ReadRecords>) -> Outcome {
    let open = look.ask(|desk, now| desk.look(|reading, shop| show::open(reading, shop, now))).await?;
    ok(&open.into_iter().map(PickListBody::from).collect::<Vec<_>>())
}

/// A pick list as it stands: what is picked, what is gone, what is missing, and which older trays were passed over.
#[utoipa::path(get, path = "/v1/pick-lists/{id}", tag = "picking", operation_id = "get_pick_list", extensions(("x-permission" = json!("read_records"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 200, description = "The list.", body = PickListBody)))]
async fn get(look: Look<ReadRecords>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let found = look.ask(move |desk, now| desk.look(|reading, shop| show::shown(reading, shop, now, id))).await?;
    ok(&PickListBody::from(found))
}

/// Makes a pick list and reserves its trays: no other list gets them until it is done, given up, or left alone for four hours; those for an order until four hours after they are needed. A till may
/// still sell them: what a customer holds in hand is sold, and the list says what is missing.
#[utoipa::path(post, path = "/v1/pick-lists", tag = "picking", operation_id = "make_pick_list", request_body = PostPickList, extensions(("x-permission" = json!("pick"))),
    responses((status = 201, description = "What to take, and what was passed over.", body = PickListBody)))]
async fn post(call: Recorded<Pick, PostPickList>) -> Outcome {
    let needed_at = call.body().needed_at.as_deref().map(Instant::parse).transpose();
    let needed_at = needed_at.map_err(|e| Problem::invalid("needed_at", e.to_string()))?;
    call.record(move |desk, request, actor, now, body| {
        let draft = PickDraft {
            purpose: body.purpose,
            place: body.place_code,
            cut: body.cut_code,
            rule: body.rule,
            choice: body.choice,
            count: body.count,
            low_g: body.low_g,
            high_g: body.high_g,
            least_hours: body.least_hours,
            highest_price_per_kg_cents: body.highest_price_per_kg_cents,
            needed_at,
            note: body.note,
        };
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&PickListBody::from(make(tx, shop, &actor, now, &draft)?)))
        })
    })
    .await
}

/// Scans a tray for a list. One that is wanted is picked; for a refill it stands in the case from then on. Another one is judged at once:
/// whether it may stand in, for which, and over which older ones.
#[utoipa::path(post, path = "/v1/pick-lists/{id}/scans", tag = "picking", operation_id = "scan_for_pick_list", request_body = PostPickScan, extensions(("x-permission" = json!("pick"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "What became of it.", body = PickScanBody)))]
async fn post_scan(call: Recorded<Pick, PostPickScan>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let consent = match call.body().substitute.as_deref() {
        None => Consent::NotAsked,
        Some("yes") => Consent::Given,
        Some(_) => return Err(Problem::invalid("substitute", "must be yes, or left out")),
    };
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&PickScanBody::from(work::scan(tx, shop, &actor, now, id, &body.scanned, consent)?)))
        })
    })
    .await
}

/// Fills a list up again: chooses anew for everything that is not picked yet.
#[utoipa::path(post, path = "/v1/pick-lists/{id}/refills", tag = "picking", operation_id = "fill_up_pick_list", request_body = PostPickReason, extensions(("x-permission" = json!("pick"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "The list.", body = PickListBody)))]
async fn post_refill(call: Recorded<Pick, PostPickReason>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&PickListBody::from(work::fill_up(tx, shop, &actor, now, id, body.reason.as_deref())?)))
        })
    })
    .await
}

/// Gives a list up: its trays are free for others. What was picked stays where it is. With `keep_picked` a short list is ended as done.
#[utoipa::path(post, path = "/v1/pick-lists/{id}/give-ups", tag = "picking", operation_id = "give_up_pick_list", request_body = PostPickGiveUp, extensions(("x-permission" = json!("pick"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "The list.", body = PickListBody)))]
async fn post_give_up(call: Recorded<Pick, PostPickGiveUp>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let end = match call.body().keep_picked.as_deref() {
        None => work::give_up,
        Some("yes") => work::end_as_it_is,
        Some(_) => return Err(Problem::invalid("keep_picked", "must be yes, or left out")),
    };
    call.record(move |desk, request, actor, now, body| {
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&PickListBody::from(end(tx, shop, &actor, now, id, body.reason.as_deref())?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/pick-lists", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(resource("/v1/pick-lists/{id}", "GET").route(route::get().to(get)));
    config.service(resource("/v1/pick-lists/{id}/scans", "POST").route(web::post().to(post_scan)));
    config.service(resource("/v1/pick-lists/{id}/refills", "POST").route(web::post().to(post_refill)));
    config.service(resource("/v1/pick-lists/{id}/give-ups", "POST").route(web::post().to(post_give_up)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, post, post_scan, post_refill, post_give_up))]
pub struct Doc;
