//! What happened in a place during a stretch of time, and what it cost the trays that stood there.

use super::lives::{ProjectionBody, WearBody, written};
use super::resource;
use super::stock::query;
use super::stories::{CurveBody, moment};
use crate::ops::stretch::{self, Spell, Stretch, TrayCost};
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::permit::ReadRecords;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// A time above the upper limit, as measured.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WarmSpell)]
pub struct SpellBody {
    #[schema(example = "2026-11-25T03:40:00.000000Z")]
    pub from: String,
    /// Absent when it was warm to the end of what was measured.
    #[schema(example = "2026-11-25T05:15:00.000000Z")]
    pub to: Option<String>,
    #[schema(example = 6300)]
    pub peak_mc: i64,
    /// Longer than the place may be without an alarm.
    pub too_long: bool,
}

/// A reading.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LastReading)]
pub struct ReadingBody {
    #[schema(example = "2026-11-25T09:55:00.000000Z")]
    pub at: String,
    #[schema(example = 1100)]
    pub temperature_mc: i64,
}

/// What the stretch cost one tray in stock.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TrayCost)]
pub struct TrayCostBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    /// Where it stands now.
    #[schema(example = "front-case")]
    pub place_code: String,
    /// Of its time here, the first and the last instant inside the stretch.
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub from: String,
    #[schema(example = "2026-11-25T10:00:00.000000Z")]
    pub to: String,
    pub cost: WearBody,
    /// The share of its budget for raw eating that went, rounded up.
    #[schema(example = 47)]
    pub raw_permille: i64,
}

/// A stretch of a place.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlaceLife)]
pub struct PlaceLifeBody {
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = "2026-11-23T10:00:00.000000Z")]
    pub from: String,
    #[schema(example = "2026-11-25T10:00:00.000000Z")]
    pub to: String,
    /// What fish that stood here all the time lived through.
    pub wear: WearBody,
    /// Absent while the place was never measured.
    pub last_reading: Option<ReadingBody>,
    pub projection: ProjectionBody,
    /// Times above the upper limit; the longest, in order.
    pub warm_spells: Vec<SpellBody>,
    #[schema(example = 0)]
    pub warm_spells_left_out: usize,
    pub curve: CurveBody,
    /// Trays in stock that stood here, the dearest first.
    pub trays: Vec<TrayCostBody>,
    #[schema(example = 0)]
    pub trays_left_out: usize,
}

impl From<Stretch> for PlaceLifeBody {
    fn from(told: Stretch) -> PlaceLifeBody {
        let spell = |s: Spell| SpellBody {
            from: s.spell.from.to_string(),
            to: written(s.spell.to),
            peak_mc: s.spell.peak.get(),
            too_long: s.too_long,
        };
        let cost = |line: TrayCost| TrayCostBody {
            tray_code: line.tray_code,
            cut_code: line.cut,
            place_code: line.place_code,
            from: line.from.to_string(),
            to: line.to.to_string(),
            cost: line.cost.into(),
            raw_permille: line.raw_permille,
        };
        PlaceLifeBody {
            place_code: told.place.code,
            from: told.from.to_string(),
            to: told.to.to_string(),
            wear: told.wear.into(),
            last_reading: told
                .last_reading
                .map(|last| ReadingBody { at: last.at.to_string(), temperature_mc: last.temperature.get() }),
            projection: (&told.projection).into(),
            warm_spells: told.spells.into_iter().map(spell).collect(),
            warm_spells_left_out: told.spells_left_out,
            curve: (&told.trace).into(),
            trays: told.trays.into_iter().map(cost).collect(),
            trays_left_out: told.trays_left_out,
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PlaceLifeQuery {
    /// 48 hours before `to`, when absent; at most 31 days before it.
    #[param(example = "2026-11-23T10:00:00Z", format = DateTime)]
    pub from: Option<String>,
    /// Now, when absent or later.
    #[param(example = "2026-11-25T10:00:00Z", format = DateTime)]
    pub to: Option<String>,
}

/// What happened in a place, and what it did to the stock in it.
#[utoipa::path(get, path = "/v1/places/{place_code}/life", tag = "life", operation_id = "get_place_life", extensions(("x-permission" = json!("read_records"))),
    params(("place_code" = String, Path, example = "front-case"), PlaceLifeQuery),
    responses((status = 200, description = "A stretch of it.", body = PlaceLifeBody)))]
async fn get(request: HttpRequest, look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let query = query::<PlaceLifeQuery>(&request)?;
    let (from, to) = (moment("from", query.from.as_deref())?, moment("to", query.to.as_deref())?);
    let told =
        look.ask(move |desk, now| desk.look(|reading, _| stretch::of_place(reading, now, &code, from, to))).await?;
    ok(&PlaceLifeBody::from(told))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/places/{place_code}/life", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get))]
pub struct Doc;
