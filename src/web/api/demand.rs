//! What the shop's own sales say of demand, and what that rests on.

use super::resource;
use crate::domain::demand::week::Week;
use crate::domain::demand::{Basis, Elasticity, Pattern, WEEKS};
use crate::ops::demand::{Study, open_week, studies, study};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::clock;
use crate::web::permit::ReadCost;
use crate::web::route;
use actix_web::web;
use serde::Serialize;
use utoipa::ToSchema;

/// A number with the range it lies in with 80 %, and where it was taken from. In thousandths.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Estimate)]
pub struct EstimateBody {
    #[schema(example = 840)]
    pub permille: i64,
    #[schema(example = 710)]
    pub low_permille: i64,
    #[schema(example = 980)]
    pub high_permille: i64,
    /// own (the cut's own sales), shop (those of the shop's other cuts), stated (a default of the settings) or told (a person said so).
    #[schema(example = "own")]
    pub basis: &'static str,
}

/// What the numbers rest on.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = DemandEvidence)]
pub struct EvidenceBody {
    /// Blocks sold, or portions drawn from tubs.
    #[schema(example = 96)]
    pub units_sold: i64,
    /// Opening time with something of the cut to sell. Time without counts neither for nor against it.
    #[schema(example = 7_260)]
    pub minutes_in_stock: i64,
    /// When the first of it came; null where nothing was seen in these weeks.
    #[schema(example = "2026-10-02T07:10:00.000000Z")]
    pub since: Option<String>,
    /// The same at lowered prices, which is what the answer to the price rests on.
    #[schema(example = 21)]
    pub units_sold_lowered: i64,
    #[schema(example = 1_290)]
    pub minutes_lowered: i64,
    /// Draws from tubs, what they weighed on average, and the portion they are counted in.
    #[schema(example = 0)]
    pub draws: i64,
    pub mean_draw_g: Option<i64>,
    #[schema(example = 150)]
    pub portion_g: i64,
}

/// What is known of the demand for one cut.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CutDemand)]
pub struct DemandBody {
    #[schema(example = "lean-saku")]
    pub code: String,
    #[schema(example = "Lean saku")]
    pub name: String,
    /// block, or tub: its units are portions.
    #[schema(example = "block")]
    pub kind: &'static str,
    /// Units sold in an average opening hour at the list price: what is reckoned with.
    pub units_per_hour: EstimateBody,
    /// A price lowered by a tenth of list brings e^(a tenth of this) times the customers: what is reckoned with.
    pub elasticity: EstimateBody,
    /// What the sales say where a person said otherwise; null where nobody did.
    pub units_per_hour_learned: Option<EstimateBody>,
    pub elasticity_learned: Option<EstimateBody>,
    pub evidence: EvidenceBody,
    /// Who said otherwise last, and when.
    #[schema(example = "Ines")]
    pub set_by: Option<String>,
    #[schema(example = "2026-11-26T06:40:00.000000Z")]
    pub set_at: Option<String>,
}

/// One hour of the week.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = DemandHour)]
pub struct HourBody {
    /// mon to sun.
    #[schema(example = "sat")]
    pub weekday: &'static str,
    /// 0 to 23, local.
    #[schema(example = 12)]
    pub hour: usize,
    /// How busy it is, in thousandths of an average opening hour.
    #[schema(example = 1_640)]
    pub share_permille: i64,
    /// Units expected to be asked for in it at the list price, in thousandths; null where all cuts are meant.
    #[schema(example = 1_378)]
    pub units_permille: Option<i64>,
}

/// All cuts, and how the week runs.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Demand)]
pub struct OverviewBody {
    #[schema(example = "2026-11-26T06:40:00.000000Z")]
    pub as_of: String,
    /// So many weeks of sales count.
    #[schema(example = 8)]
    pub weeks: i64,
    /// Opening hours, from all cuts together. Empty where nothing is sold over the counter.
    pub week: Vec<HourBody>,
    pub cuts: Vec<DemandBody>,
}

/// One cut, hour by hour.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = DemandOfCut)]
pub struct OfCutBody {
    #[schema(example = "2026-11-26T06:40:00.000000Z")]
    pub as_of: String,
    #[schema(example = 8)]
    pub weeks: i64,
    pub demand: DemandBody,
    /// Opening hours.
    pub week: Vec<HourBody>,
}

const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

#[expect(clippy::cast_possible_truncation, reason = "rates and shares of a shop; what is none saturates")]
fn thousandths(value: f64) -> i64 {
    (value * 1_000.0).round() as i64
}

#[expect(clippy::cast_possible_truncation, reason = "hours of a few weeks")]
fn minutes(hours: f64) -> i64 {
    (hours * 60.0).round() as i64
}

const fn word(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "own",
        Basis::Shop => "shop",
        Basis::Stated => "stated",
        Basis::Told => "told",
    }
}

fn rate(belief: crate::domain::demand::Belief, basis: Basis) -> EstimateBody {
    EstimateBody {
        permille: thousandths(belief.mean()),
        low_permille: thousandths(belief.quantile(0.1)),
        high_permille: thousandths(belief.quantile(0.9)),
        basis: word(basis),
    }
}

fn answer(elasticity: Elasticity) -> EstimateBody {
    EstimateBody {
        permille: thousandths(elasticity.at_list),
        low_permille: thousandths(elasticity.low),
        high_permille: thousandths(elasticity.high),
        basis: word(elasticity.basis),
    }
}

impl DemandBody {
    fn of(study: &Study) -> DemandBody {
        let (learned, forecast) = (&study.learned, &study.learned.forecast);
        let told = forecast.basis == Basis::Told;
        let answer_told = forecast.elasticity.basis == Basis::Told;
        DemandBody {
            code: study.cut.code.clone(),
            name: study.cut.name.clone(),
            kind: study.cut.kind.as_str(),
            units_per_hour: rate(forecast.belief, forecast.basis),
            elasticity: answer(forecast.elasticity),
            units_per_hour_learned: told.then(|| rate(learned.own_belief, learned.own_basis)),
            elasticity_learned: answer_told.then(|| answer(learned.own_elasticity)),
            evidence: EvidenceBody {
                units_sold: forecast.units_sold,
                minutes_in_stock: minutes(forecast.hours_in_stock),
                since: learned.since.map(|since| since.to_string()),
                units_sold_lowered: thousandths(learned.lowered_units / 1_000.0),
                minutes_lowered: minutes(learned.lowered_hours),
                draws: study.draws,
                mean_draw_g: study.mean_draw_g,
                portion_g: study.portion_g,
            },
            set_by: study.said.as_ref().map(|said| said.set_by.clone()),
            set_at: study.said.as_ref().map(|said| said.set_at.to_string()),
        }
    }
}

/// The opening hours of the week; with the units of an average hour, also those expected in each.
fn week(open: &Week, pattern: &Pattern, mean: Option<f64>) -> Vec<HourBody> {
    let mut hours = Vec::new();
    for (day, (weekday, row)) in WEEKDAYS.iter().zip(open).enumerate() {
        for (hour, open) in row.iter().enumerate().filter(|(_, open)| **open > 0.0) {
            let share = pattern.at(day, hour);
            let units_permille = mean.map(|mean| thousandths(mean * share * open));
            hours.push(HourBody { weekday, hour, share_permille: thousandths(share), units_permille });
        }
    }
    hours
}

fn overview(open: &Week, studies: &[Study], now: Instant) -> OverviewBody {
    let pattern = studies.first().map(|study| &study.learned.forecast.pattern);
    OverviewBody {
        as_of: now.to_string(),
        weeks: WEEKS,
        week: pattern.map(|pattern| week(open, pattern, None)).unwrap_or_default(),
        cuts: studies.iter().map(DemandBody::of).collect(),
    }
}

/// What the shop's sales say of demand: every cut that is sold over the counter, by code, and how the week runs.
#[utoipa::path(get, path = "/v1/demand", tag = "review", operation_id = "list_demand", extensions(("x-permission" = json!("read_cost"))),
    responses((status = 200, description = "All cuts that are sold, by code.", body = OverviewBody)))]
async fn list(look: Look<ReadCost>) -> Outcome {
    let now = clock::now();
    let body = look.ask(move |desk, _| {
        desk.look(|reading, shop| Ok(overview(&open_week(shop), &studies(reading, shop, now)?, now)))
    });
    ok(&body.await?)
}

/// What the shop's sales say of the demand for one cut, hour by hour of the week.
#[utoipa::path(get, path = "/v1/cuts/{code}/demand", tag = "review", operation_id = "get_demand", extensions(("x-permission" = json!("read_cost"))),
    params(("code" = String, Path, example = "lean-saku")),
    responses((status = 200, description = "With its evidence.", body = OfCutBody)))]
async fn get(look: Look<ReadCost>, code: web::Path<String>) -> Outcome {
    let now = clock::now();
    let body = look.ask(move |desk, _| {
        desk.look(|reading, shop| {
            let found = study(reading, shop, now, &code)?;
            let forecast = &found.learned.forecast;
            let week = week(&open_week(shop), &forecast.pattern, Some(forecast.belief.mean()));
            Ok(OfCutBody { as_of: now.to_string(), weeks: WEEKS, demand: DemandBody::of(&found), week })
        })
    });
    ok(&body.await?)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/demand", "GET").route(route::get().to(list)));
    config.service(resource("/v1/cuts/{code}/demand", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, get))]
pub struct Doc;
