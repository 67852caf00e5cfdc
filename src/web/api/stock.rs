//! Live stock: trays as judged now, one or by page, and the places a tray was in.

use super::resource;
use crate::domain::life::clocks::Clock;
use crate::domain::life::wear::permille;
use crate::domain::verdict::{Facts, Verdict};
use crate::ops::board::{self, Judged};
use crate::ops::look;
use crate::ops::look::TrayFilter;
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::web::answer::{Outcome, PAGE_LIMIT, number, ok, page, read_cursor, versioned};
use crate::web::call::Look;
use crate::web::clock;
use crate::web::permit::{ReadRecords, ReadStock};
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Reads the query of a request; an unknown or repeated name is refused.
pub fn query<T: DeserializeOwned>(request: &HttpRequest) -> Result<T, Problem> {
    web::Query::<T>::from_query(request.query_string())
        .map(web::Query::into_inner)
        .map_err(|e| Problem::at(Speech::MalformedRequest, "query", e.to_string()))
}

/// A reason against a sale.
#[derive(Debug, Serialize, ToSchema)]
pub struct StopBody {
    #[schema(example = "on_hold")]
    pub code: &'static str,
    #[schema(example = "core at receiving 6.1 °C: above the receiving limit")]
    pub reason: String,
}

/// What is left of a tray's life, and what limits it. All of it stands at `/v1/trays/{tray_code}/life`.
#[derive(Debug, Serialize, ToSchema)]
pub struct LifeBody {
    /// What ends first: one of the clocks (raw, colour, exposure, date_mark, frozen, supplier), the printed use_by where that is earlier, or
    /// nothing.
    #[schema(example = "raw")]
    pub limited_by: &'static str,
    /// The last instant of sale where it stands; absent while it is frozen.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub sell_until: Option<String>,
    /// Whole minutes left until then, 0 when past.
    #[schema(example = 2832)]
    pub minutes_left: Option<i64>,
    /// Used share of the raw-eating budget, in permille, rounded up.
    #[schema(example = 412)]
    pub raw_used_permille: i64,
    /// How much of its life was measured, and how much had to be assumed at the worst.
    #[schema(example = 1320)]
    pub measured_minutes: i64,
    #[schema(example = 45)]
    pub assumed_minutes: i64,
}

impl LifeBody {
    fn of(facts: &Facts, now: Instant) -> LifeBody {
        let (life, until) = (&facts.life, if facts.place_frozen { None } else { facts.sell_until() });
        let printed = facts.tray.use_by.filter(|printed| until == Some(*printed));
        let clock = life.limiting.filter(|_| printed.is_none());
        let used = permille(life.wear.raw_micros, facts.tray.lived.budgets.raw_micros);
        LifeBody {
            limited_by: clock.map_or(if printed.is_some() { "use_by" } else { "nothing" }, Clock::as_str),
            sell_until: until.map(|i| i.to_string()),
            minutes_left: until.map(|i| (i.since(now) / MICROS_PER_MINUTE).max(0)),
            raw_used_permille: used,
            measured_minutes: life.wear.measured_micros / MICROS_PER_MINUTE,
            assumed_minutes: life.wear.assumed_micros / MICROS_PER_MINUTE,
        }
    }
}

/// A tray as judged now.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = StockItem)]
pub struct StockBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "block")]
    pub kind: &'static str,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    #[schema(example = "YFT")]
    pub species_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    pub batch_id: Option<i64>,
    #[schema(example = json!(["YFT-261125-01"]))]
    pub lot_codes: Vec<String>,
    #[schema(example = 268)]
    pub net_weight_g: i64,
    #[schema(example = 7450)]
    pub price_per_kg_cents: i64,
    /// Price of the whole tray.
    #[schema(example = 1997)]
    pub price_cents: i64,
    #[schema(example = 7450)]
    pub list_price_per_kg_cents: i64,
    pub markdown_reason: Option<String>,
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub cut_at: String,
    /// As printed on its label.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub use_by: Option<String>,
    pub life: LifeBody,
    /// sell, sell_at_markdown or stop.
    #[schema(example = "sell")]
    pub verdict: &'static str,
    pub stops: Vec<StopBody>,
    /// Why it needs a label it does not have: new, markdown, weight, thawed, older_fish or shorter_life.
    pub label_wanted: Option<&'static str>,
    /// Where it went, when it is no longer in stock.
    pub fate: Option<&'static str>,
    #[schema(example = 3)]
    pub version: i64,
}

/// The reasons of a verdict.
fn stops(verdict: &Verdict) -> Vec<StopBody> {
    verdict.stops.iter().map(|s| StopBody { code: s.code.as_str(), reason: s.reason.clone() }).collect()
}

impl StockBody {
    pub fn of(judged: Judged, now: Instant) -> StockBody {
        let Judged { facts, verdict, lot_codes, .. } = judged;
        StockBody::said(facts, &verdict, lot_codes, now)
    }

    pub fn said(facts: Facts, verdict: &Verdict, lot_codes: Vec<String>, now: Instant) -> StockBody {
        let life = LifeBody::of(&facts, now);
        let tray = facts.tray;
        StockBody {
            tray_code: tray.code.to_string(),
            kind: tray.kind.as_str(),
            cut_name: facts.cut.name,
            net_weight_g: tray.net.get(),
            price_per_kg_cents: tray.price.get(),
            price_cents: tray.price.for_weight(tray.net).get(),
            list_price_per_kg_cents: tray.list_price.get(),
            cut_at: tray.cut_at.to_string(),
            use_by: tray.use_by.map(|i| i.to_string()),
            life,
            verdict: verdict.outcome.as_str(),
            stops: stops(verdict),
            label_wanted: tray.label_wanted.map(|l| l.as_str()),
            fate: tray.fate.map(|f| f.as_str()),
            version: tray.version,
            cut_code: tray.cut,
            species_code: tray.species,
            place_code: tray.place,
            batch_id: tray.batch_id,
            markdown_reason: tray.markdown_reason,
            lot_codes,
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StockQuery {
    /// Only this cut.
    #[param(example = "lean-saku")]
    pub cut: Option<String>,
    /// Only in this place.
    #[param(example = "front-case")]
    pub place: Option<String>,
    /// Only of this species.
    #[param(example = "YFT")]
    pub species: Option<String>,
    /// `in_stock` (default) or `all`.
    pub state: Option<String>,
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// Trays as judged now, by number.
#[utoipa::path(get, path = "/v1/trays", tag = "stock", operation_id = "list_trays", params(StockQuery), extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "Trays with verdict and remaining life; `Link` names the next page.", body = Vec<StockBody>)))]
async fn list(request: HttpRequest, look: Look<ReadStock>) -> Outcome {
    let query = query::<StockQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let above = read_cursor(query.cursor.as_deref())?.unwrap_or(0);
    let in_stock_only = match query.state.as_deref() {
        None | Some("in_stock") => true,
        Some("all") => false,
        Some(_) => return Err(Problem::invalid("state", "must be in_stock or all")),
    };
    let filter =
        TrayFilter { in_stock_only, cut: query.cut, place: query.place, species: query.species, batch_id: None };
    let now = clock::now();
    let found = look
        .ask(move |desk, _| desk.look(|reading, shop| board::judged(reading, shop, now, &filter, above, limit)))
        .await?;
    let next = found.last().filter(|_| i64::try_from(found.len()).is_ok_and(|n| n == limit)).map(|j| j.facts.tray.id);
    page(&request, &found.into_iter().map(|judged| StockBody::of(judged, now)).collect::<Vec<_>>(), next)
}

/// One tray as judged now, in stock or not.
#[utoipa::path(get, path = "/v1/trays/{tray_code}", tag = "stock", operation_id = "get_tray", extensions(("x-permission" = json!("read_stock"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 200, description = "The tray, its version as ETag.", body = StockBody)))]
async fn get(look: Look<ReadStock>, code: web::Path<String>) -> Outcome {
    let now = clock::now();
    let judged = look.ask(move |desk, _| desk.look(|reading, shop| board::one(reading, shop, now, &code))).await?;
    let version = judged.facts.tray.version;
    versioned(&StockBody::of(judged, now), version, false)
}

/// A stretch of time in one place.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Stay)]
pub struct StayBody {
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = "chill")]
    pub method: String,
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub from: String,
    pub to: Option<String>,
}

/// The places a tray was in. What each cost stands at `/v1/trays/{tray_code}/temperatures`.
#[utoipa::path(get, path = "/v1/trays/{tray_code}/stays", tag = "stock", operation_id = "get_tray_stays", extensions(("x-permission" = json!("read_records"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 200, description = "Its stays, in order.", body = Vec<StayBody>)))]
async fn get_stays(look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let (_, stays) = look.ask(move |desk, _| desk.look(|reading, _| look::stays(reading, &code))).await?;
    let bodies = stays.into_iter().map(|s| StayBody {
        from: s.from.to_string(),
        to: s.to.map(|at| at.to_string()),
        place_code: s.place_code,
        method: s.method,
    });
    ok(&bodies.collect::<Vec<_>>())
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/trays", "GET").route(route::get().to(list)));
    config.service(resource("/v1/trays/{tray_code}", "GET").route(route::get().to(get)));
    config.service(resource("/v1/trays/{tray_code}/stays", "GET").route(route::get().to(get_stays)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get, get_stays))]
pub struct Doc;
