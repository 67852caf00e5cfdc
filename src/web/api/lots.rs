//! Lots: what arrived, and where every gram of it is.

use super::parasite_freezings::ParasiteLetter;
use super::resource;
use crate::domain::inspection::InspectionDraft;
use crate::domain::lot::{CatchDraft, Lot};
use crate::ops::look::{self, LotStory};
use crate::ops::receive::{Arrival, Received, receive};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, PAGE_LIMIT, created, number, ok, page, read_cursor};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{ReadCost, ReadRecords, Receive};
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Where, how and when it was caught or harvested.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Catch {
    /// wild or farmed.
    #[schema(example = "wild")]
    pub production: String,
    /// FAO major fishing area or a part of one.
    #[schema(example = "71")]
    pub area: String,
    /// FAO gear abbreviation; required for wild fish.
    #[serde(default)]
    #[schema(example = "LLD")]
    pub gear: Option<String>,
    #[schema(example = "Fiji")]
    pub country: String,
    #[schema(example = "2026-11-19", format = Date)]
    pub caught_from: String,
    #[schema(example = "2026-11-20", format = Date)]
    pub caught_to: String,
}

/// The inspection on arrival. Grade, colour and fat run from 1 (best) to 5.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Inspection {
    /// Core temperature in thousandths of a degree Celsius.
    #[schema(example = 600)]
    pub core_temperature_mc: i64,
    #[schema(example = 2, minimum = 1, maximum = 5)]
    pub grade: i64,
    #[schema(example = 2, minimum = 1, maximum = 5)]
    pub colour: i64,
    #[schema(example = 3, minimum = 1, maximum = 5)]
    pub fat: i64,
    /// Burnt flesh (yake): none, slight or marked.
    #[schema(example = "none")]
    pub burn: String,
    /// none, tail_cut or core_sample.
    #[schema(example = "tail_cut")]
    pub sample: String,
    #[serde(default)]
    #[schema(example = "bright, firm")]
    pub note: Option<String>,
}

/// An arrival.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostLot {
    #[schema(example = "YFT")]
    pub species_code: String,
    #[schema(example = "harbour-hall")]
    pub supplier_code: String,
    /// The traceability lot code the supplier gave.
    #[serde(default)]
    #[schema(example = "HH-4711")]
    pub supplier_lot_code: Option<String>,
    #[serde(default)]
    #[schema(example = "2026-12-04", format = Date)]
    pub supplier_use_by: Option<String>,
    /// When it came in; now, when absent.
    #[serde(default)]
    #[schema(example = "2026-11-25T06:30:00Z", format = DateTime)]
    pub received_at: Option<String>,
    #[schema(example = 31400, minimum = 1, maximum = 10000000)]
    pub received_g: i64,
    /// What the whole lot cost, in cents.
    #[schema(example = 48670, minimum = 0, maximum = 1000000000)]
    pub cost_cents: i64,
    #[schema(example = 1, minimum = 1, maximum = 10000)]
    pub pieces: i64,
    /// The bulk cut it arrives as.
    #[schema(example = "whole-fish")]
    pub cut_code: String,
    #[schema(example = "cold-room")]
    pub place_code: String,
    pub catch: Catch,
    pub inspection: Inspection,
    /// The supplier's letter on freezing against parasites; refused when it tells of less than the profile in use asks for.
    #[serde(default)]
    pub parasite_letter: Option<ParasiteLetter>,
    #[serde(default)]
    #[schema(example = true)]
    pub previously_frozen: bool,
    /// The day it was frozen first, of fish that was previously frozen, where the papers say; customers read it.
    #[serde(default)]
    #[schema(example = "2026-11-21", format = Date)]
    pub frozen_on: Option<String>,
}

/// A lot as received.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Lot)]
pub struct LotBody {
    #[schema(example = "YFT-261125-01")]
    pub lot_code: String,
    #[schema(example = "YFT")]
    pub species_code: String,
    #[schema(example = "harbour-hall")]
    pub supplier_code: String,
    pub supplier_lot_code: Option<String>,
    pub supplier_use_by: Option<String>,
    #[schema(example = "2026-11-25T06:30:00.000000Z")]
    pub received_at: String,
    #[schema(example = 31400)]
    pub received_g: i64,
    #[schema(example = 1)]
    pub pieces: i64,
    pub catch: Catch,
    pub inspection: Inspection,
    /// What stands on record of freezing against parasites before it came.
    #[schema(example = "letter 7 of Hall Ltd: 20 h at -35.0 °C or colder")]
    pub parasite_freezing: Option<String>,
    pub previously_frozen: bool,
    /// The day it was frozen first, where the papers say.
    pub frozen_on: Option<String>,
}

/// What came of an arrival.
#[derive(Debug, Serialize, ToSchema)]
pub struct LotReceived {
    pub lot: LotBody,
    /// Code of the bulk tray the whole lot lies on.
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// Why the lot is on hold from the start, if it is.
    pub hold: Option<String>,
}

/// What stands on one account of a lot.
#[derive(Debug, Serialize, ToSchema)]
pub struct LotAccount {
    /// supplier (negative: what came), tray (still in stock), customer, kitchen, waste, shrink, count_difference.
    #[schema(example = "tray")]
    pub account: String,
    #[schema(example = 5120)]
    pub grams: i64,
    #[schema(example = 9412)]
    pub cost_cents: i64,
}

/// A lot, where its grams and its cost are, and the trays that hold or held some of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LotStory)]
pub struct LotStoryBody {
    pub lot: LotBody,
    #[schema(example = 48670)]
    pub cost_cents: i64,
    pub accounts: Vec<LotAccount>,
    #[schema(example = json!(["C4H7K9P"]))]
    pub tray_codes: Vec<String>,
}

impl From<Lot> for LotBody {
    fn from(lot: Lot) -> LotBody {
        LotBody {
            lot_code: lot.code,
            species_code: lot.species,
            supplier_code: lot.supplier,
            supplier_lot_code: lot.supplier_lot_code,
            supplier_use_by: lot.supplier_use_by.map(|d| d.to_string()),
            received_at: lot.received_at.to_string(),
            received_g: lot.received.get(),
            pieces: lot.pieces,
            catch: Catch {
                production: lot.catch.production.as_str().to_owned(),
                area: lot.catch.area,
                gear: lot.catch.gear,
                country: lot.catch.country,
                caught_from: lot.catch.caught_from.to_string(),
                caught_to: lot.catch.caught_to.to_string(),
            },
            inspection: Inspection {
                core_temperature_mc: lot.inspection.core_temperature.get(),
                grade: lot.inspection.grade,
                colour: lot.inspection.colour,
                fat: lot.inspection.fat,
                burn: lot.inspection.burn.as_str().to_owned(),
                sample: lot.inspection.sample.as_str().to_owned(),
                note: lot.inspection.note,
            },
            parasite_freezing: lot.parasite_freezing,
            previously_frozen: lot.previously_frozen,
            frozen_on: lot.frozen_on.map(|d| d.to_string()),
        }
    }
}

impl From<Received> for LotReceived {
    fn from(received: Received) -> LotReceived {
        LotReceived { tray_code: received.tray.code.to_string(), hold: received.hold, lot: received.lot.into() }
    }
}

impl From<LotStory> for LotStoryBody {
    fn from(story: LotStory) -> LotStoryBody {
        let account = |a: crate::ops::look::LotAccountRow| LotAccount {
            account: a.account,
            grams: a.grams,
            cost_cents: a.cost_cents,
        };
        LotStoryBody {
            cost_cents: story.lot.cost.get(),
            accounts: story.accounts.into_iter().map(account).collect(),
            tray_codes: story.trays,
            lot: story.lot.into(),
        }
    }
}

/// Reads an instant of a request; its offset is required.
pub fn instant(field: &str, text: Option<&str>) -> Result<Option<Instant>, Problem> {
    text.map(|t| Instant::parse(t).map_err(|e| Problem::invalid(field, e.to_string()))).transpose()
}

impl PostLot {
    fn into_arrival(self, received_at: Option<Instant>) -> Arrival {
        let (c, i) = (self.catch, self.inspection);
        Arrival {
            species: self.species_code,
            supplier: self.supplier_code,
            supplier_lot_code: self.supplier_lot_code,
            supplier_use_by: self.supplier_use_by,
            received_at,
            received_g: self.received_g,
            cost_cents: self.cost_cents,
            pieces: self.pieces,
            cut: self.cut_code,
            place: self.place_code,
            catch: CatchDraft {
                production: c.production,
                area: c.area,
                gear: c.gear,
                country: c.country,
                caught_from: c.caught_from,
                caught_to: c.caught_to,
            },
            inspection: InspectionDraft {
                core_temperature_mc: i.core_temperature_mc,
                grade: i.grade,
                colour: i.colour,
                fat: i.fat,
                burn: i.burn,
                sample: i.sample,
                note: i.note,
            },
            parasite_letter: self.parasite_letter.map(Into::into),
            previously_frozen: self.previously_frozen,
            frozen_on: self.frozen_on,
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PageQuery {
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// Lots, newest first.
#[utoipa::path(get, path = "/v1/lots", tag = "lots", operation_id = "list_lots", params(PageQuery), extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "Lots, newest first; `Link` names the next page.", body = Vec<LotBody>)))]
async fn list(request: HttpRequest, look: Look<ReadRecords>) -> Outcome {
    let query = super::stock::query::<PageQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let below = read_cursor(query.cursor.as_deref())?;
    let lots = look.ask(move |desk, _| desk.look(|reading, _| look::lots_page(reading, below, limit))).await?;
    let next = lots.last().filter(|_| i64::try_from(lots.len()).is_ok_and(|n| n == limit)).map(|lot| lot.id);
    page(&request, &lots.into_iter().map(LotBody::from).collect::<Vec<_>>(), next)
}

/// Takes an arrival in: inspected, weighed, put on one bulk tray. Fish that comes too warm is taken in on hold.
#[utoipa::path(post, path = "/v1/lots", tag = "lots", operation_id = "receive_lot", request_body = PostLot, extensions(("x-permission" = json!("receive"))),
    responses((status = 201, description = "Taken in.", body = LotReceived)))]
async fn post(call: Recorded<Receive, PostLot>) -> Outcome {
    let received_at = instant("received_at", call.body().received_at.as_deref())?;
    call.record(move |desk, request, actor, now, body| {
        let arrival = body.into_arrival(received_at);
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&LotReceived::from(receive(tx, shop, &actor, now, &arrival)?)))
        })
    })
    .await
}

/// A lot, and where every gram and cent of it is.
#[utoipa::path(get, path = "/v1/lots/{lot_code}", tag = "lots", operation_id = "get_lot", extensions(("x-permission" = json!("read_cost"))),
    params(("lot_code" = String, Path, example = "YFT-261125-01")),
    responses((status = 200, description = "The lot with its accounts.", body = LotStoryBody)))]
async fn get(look: Look<ReadCost>, code: web::Path<String>) -> Outcome {
    let story = look.ask(move |desk, _| desk.look(|reading, _| look::lot(reading, &code))).await?;
    ok(&LotStoryBody::from(story))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/lots", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(resource("/v1/lots/{lot_code}", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post, get))]
pub struct Doc;
