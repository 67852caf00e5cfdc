//! The temperature story of a tray: what it took over, where it stood, and what that cost. A curve as it is sent stands here too.

use super::lives::{WearBody, written};
use super::resource;
use super::stock::query;
use crate::domain::life::trace::{Gap, Point, Trace};
use crate::ops::story::{self, HourTold, StayTold, Story, TakenOver};
use crate::units::instant::{Instant, MICROS_PER_SECOND};
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::permit::ReadRecords;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// A point of a curve. Between neighbours the line is straight; two points of one instant are a step.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CurvePoint)]
pub struct PointBody {
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub at: String,
    #[schema(example = 1200)]
    pub temperature_mc: i64,
    /// It lies on a stretch that was measured; else it is what counts instead.
    pub measured: bool,
}

/// A stretch in which nothing was measured.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CurveGap)]
pub struct GapBody {
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub from: String,
    #[schema(example = "2026-11-25T09:20:00.000000Z")]
    pub to: String,
    /// The warmest it counts at.
    #[schema(example = 2000)]
    pub counted_mc: i64,
}

/// A curve, thinned: of many points every part of the stretch keeps its first, coldest, warmest and last one.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Curve)]
pub struct CurveBody {
    pub points: Vec<PointBody>,
    /// Points of the curve that are not among them.
    #[schema(example = 0)]
    pub points_left_out: usize,
    /// The longest, in order.
    pub gaps: Vec<GapBody>,
    #[schema(example = 0)]
    pub gaps_left_out: usize,
}

impl From<&Trace> for CurveBody {
    fn from(trace: &Trace) -> CurveBody {
        let point =
            |p: &Point| PointBody { at: p.at.to_string(), temperature_mc: p.temperature.get(), measured: p.measured };
        let gap = |g: &Gap| GapBody { from: g.from.to_string(), to: g.to.to_string(), counted_mc: g.counted.get() };
        CurveBody {
            points: trace.points.iter().map(point).collect(),
            points_left_out: trace.points_left_out,
            gaps: trace.gaps.iter().map(gap).collect(),
            gaps_left_out: trace.gaps_left_out,
        }
    }
}

/// An act by which a tray took over from others.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TakenOver)]
pub struct TakenOverBody {
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub at: String,
    /// cut or poured.
    #[schema(example = "cut")]
    pub how: &'static str,
    #[schema(example = json!(["C4H7K9P"]))]
    pub from_tray_codes: Vec<String>,
    /// What it added: at a cut all that the worst input handed on, at a pouring what the source was ahead.
    pub added: WearBody,
}

/// A tray's time in one place, and what it cost.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = StayStory)]
pub struct StayStoryBody {
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = "Front case")]
    pub place_name: String,
    #[schema(example = "chill")]
    pub method: String,
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub from: String,
    /// Absent while it lasts.
    pub to: Option<String>,
    pub cost: WearBody,
    pub curve: CurveBody,
}

/// An hour of a tray's life, or the part of it spent in one place.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = HourCost)]
pub struct HourBody {
    #[schema(example = "2026-11-25T08:00:00.000000Z")]
    pub from: String,
    #[schema(example = "2026-11-25T09:00:00.000000Z")]
    pub to: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    /// Seconds at 0 °C of the clock for raw eating: a whole hour in ice is 3600.
    #[schema(example = 5184)]
    pub raw_ice_seconds: i64,
    #[schema(example = 0)]
    pub assumed_seconds: i64,
}

/// How a tray came to where it is. What it took over and what its stays cost sum to all it lived through.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TrayStory)]
pub struct StoryBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// Told up to here.
    #[schema(example = "2026-11-25T10:00:00.000000Z")]
    pub as_of: String,
    pub taken_over: Vec<TakenOverBody>,
    pub stays: Vec<StayStoryBody>,
    /// At most 240 whole UTC hours: from the instant asked for, else the last ones.
    pub hours: Vec<HourBody>,
}

fn seconds(micros: i64) -> i64 {
    -(-micros).div_euclid(MICROS_PER_SECOND)
}

impl From<Story> for StoryBody {
    fn from(story: Story) -> StoryBody {
        let taken = |t: TakenOver| TakenOverBody {
            at: t.at.to_string(),
            how: if t.poured { "poured" } else { "cut" },
            from_tray_codes: t.from_trays,
            added: t.added.into(),
        };
        let stay = |s: StayTold| StayStoryBody {
            from: s.from.to_string(),
            to: written(s.to),
            cost: s.cost.into(),
            curve: (&s.trace).into(),
            place_code: s.place_code,
            place_name: s.place_name,
            method: s.method,
        };
        let hour = |h: HourTold| HourBody {
            from: h.hour.from.to_string(),
            to: h.hour.to.to_string(),
            place_code: h.place_code,
            raw_ice_seconds: seconds(h.hour.raw_micros),
            assumed_seconds: seconds(h.hour.assumed_micros),
        };
        StoryBody {
            tray_code: story.tray.code.to_string(),
            as_of: story.at.to_string(),
            taken_over: story.taken_over.into_iter().map(taken).collect(),
            stays: story.stays.into_iter().map(stay).collect(),
            hours: story.hours.into_iter().map(hour).collect(),
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StoryQuery {
    /// The hours are told from here on, at most 240 of them; the last ones, when absent.
    #[param(example = "2026-11-25T00:00:00Z", format = DateTime)]
    pub from: Option<String>,
}

/// An instant of the query.
pub fn moment(field: &str, text: Option<&str>) -> Result<Option<Instant>, Problem> {
    text.map(|text| Instant::parse(text).map_err(|e| Problem::invalid(field, e.to_string()))).transpose()
}

/// How a tray came to where it is: what it took over, its places, their temperatures, what each hour cost.
#[utoipa::path(get, path = "/v1/trays/{tray_code}/temperatures", tag = "life", operation_id = "get_tray_temperatures", extensions(("x-permission" = json!("read_records"))),
    params(("tray_code" = String, Path, example = "C4H7K9P"), StoryQuery),
    responses((status = 200, description = "Its story.", body = StoryBody)))]
async fn get(request: HttpRequest, look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let from = moment("from", query::<StoryQuery>(&request)?.from.as_deref())?;
    let told = look.ask(move |desk, now| desk.look(|reading, _| story::of_tray(reading, now, &code, from))).await?;
    ok(&StoryBody::from(told))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/trays/{tray_code}/temperatures", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get))]
pub struct Doc;
