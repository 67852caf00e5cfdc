//! The plan of the next days: how much of each cut to cut or order.

use super::resource;
use crate::domain::demand::Basis;
use crate::domain::plan::{Cutting, Day, Expected};
use crate::ops::plan::{CutPlan, Missing, OfDay, Planned, plans};
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::clock;
use crate::web::permit::Review;
use crate::web::route;
use actix_web::web;
use serde::Serialize;
use utoipa::ToSchema;

/// What is expected of so many new pieces.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlanExpected)]
pub struct ExpectedBody {
    #[schema(example = 6)]
    pub units: usize,
    #[schema(example = 1608)]
    pub grams: i64,
    #[schema(example = 5.2)]
    pub sold_units: f64,
    #[schema(example = 0.8)]
    pub left_units: f64,
    /// Costs taken off, to the nearest minor unit.
    #[schema(example = 4120)]
    pub profit_cents: i64,
    /// How likely all of them sell before their life ends, from 0 to 1.
    #[schema(example = 0.41)]
    pub runs_out: f64,
}

/// The best number, and what one less and one more would be.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlanCutting)]
pub struct CuttingBody {
    pub best: ExpectedBody,
    pub one_less: Option<ExpectedBody>,
    pub one_more: ExpectedBody,
}

/// What becomes of the stock as it is, when as much is asked for as is expected.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlanShelf)]
pub struct ShelfBody {
    #[schema(example = 1040)]
    pub sold_g: i64,
    #[schema(example = 260)]
    pub ends_g: i64,
    #[schema(example = 0)]
    pub missing_g: i64,
    #[schema(example = 1430)]
    pub left_g: i64,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlanDay)]
pub struct DayBody {
    #[schema(example = "2026-11-27")]
    pub day: String,
    #[schema(example = 3.9)]
    pub asked_units: f64,
    pub shelf: ShelfBody,
    /// Cut in one go for the whole life of a piece. None where the shop is closed, or has closed already. Each day's is behind those of the
    /// days before.
    pub cut: Option<CuttingBody>,
    /// Where something is cut every day: enough until the next.
    #[schema(example = 4)]
    pub day_by_day_units: usize,
}

/// What a piece is taken to be, and from where.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlanUnit)]
pub struct UnitBody {
    #[schema(example = 268)]
    pub grams: i64,
    /// From its cutting, by the clock.
    #[schema(example = 62)]
    pub life_hours: i64,
    #[schema(example = 7450)]
    pub price_per_kg_cents: i64,
    #[schema(example = 3900)]
    pub cost_per_kg_cents: i64,
    /// said or ledger.
    #[schema(example = "ledger")]
    pub cost_basis: &'static str,
    /// kitchen, waste, or kitchen_not_counted where the kitchen would pay more than it costs.
    #[schema(example = "kitchen")]
    pub leftover: &'static str,
    /// Trays that weight, life and cost are from.
    #[schema(example = 20)]
    pub trays_seen: usize,
}

/// What is believed of the demand, and the evidence.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlanDemand)]
pub struct DemandBody {
    /// Units in an average opening hour at the list price.
    #[schema(example = 0.41)]
    pub units_per_hour: f64,
    /// own, shop, stated or told.
    #[schema(example = "own")]
    pub basis: &'static str,
    #[schema(example = 143)]
    pub units_sold: i64,
    #[schema(example = 310.5)]
    pub hours_in_stock: f64,
}

/// One cut. Quality of the fish and the food code decide; this is an estimate of what sells.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CutPlan)]
pub struct PlanBody {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    #[schema(example = 2680)]
    pub shelf_g: i64,
    #[schema(example = 10)]
    pub shelf_units: usize,
    /// How many of them are expected to sell before they end.
    #[schema(example = 8.1)]
    pub shelf_sells_units: f64,
    pub demand: DemandBody,
    /// What is not known, where there is no plan: cost, life, weight, price, hours.
    #[schema(example = json!([]))]
    pub missing: Vec<&'static str>,
    pub unit: Option<UnitBody>,
    pub days: Vec<DayBody>,
    /// Of all days, to the nearest minor unit.
    #[schema(example = 8240)]
    pub profit_cents: Option<i64>,
}

pub const fn basis_word(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "own",
        Basis::Shop => "shop",
        Basis::Stated => "stated",
        Basis::Told => "told",
    }
}

fn expected(expected: Expected, grams: i64) -> ExpectedBody {
    ExpectedBody {
        units: expected.pieces,
        grams: i64::try_from(expected.pieces).unwrap_or(0) * grams,
        sold_units: expected.sold,
        left_units: expected.left,
        profit_cents: expected.profit.round() as i64,
        runs_out: expected.runs_out,
    }
}

fn cutting(cutting: Cutting, grams: i64) -> CuttingBody {
    let Cutting { best, less, more } = cutting;
    CuttingBody {
        best: expected(best, grams),
        one_less: less.map(|less| expected(less, grams)),
        one_more: expected(more, grams),
    }
}

fn day(of: &OfDay, grams: i64) -> DayBody {
    let Day { sold, expired, lost, end } = of.shelf;
    DayBody {
        day: of.day.to_string(),
        asked_units: of.asked,
        shelf: ShelfBody { sold_g: sold, ends_g: expired, missing_g: lost, left_g: end },
        cut: of.cutting.map(|found| cutting(found, grams)),
        day_by_day_units: of.day_by_day,
    }
}

fn unit(planned: &Planned) -> UnitBody {
    let piece = &planned.piece;
    UnitBody {
        grams: piece.grams,
        life_hours: piece.life_hours,
        price_per_kg_cents: piece.price_per_kg_cents,
        cost_per_kg_cents: piece.cost_per_kg_cents,
        cost_basis: piece.cost_basis.as_str(),
        leftover: piece.leftover.as_str(),
        trays_seen: piece.trays_seen,
    }
}

impl From<CutPlan> for PlanBody {
    fn from(plan: CutPlan) -> PlanBody {
        let missing = plan.planned.as_ref().err().into_iter().flatten().map(|missing: &Missing| missing.as_str());
        let planned = plan.planned.as_ref().ok();
        let days = planned.map(|p| p.days.iter().map(|of| day(of, p.piece.grams)).collect());
        PlanBody {
            missing: missing.collect(),
            unit: planned.map(unit),
            days: days.unwrap_or_default(),
            profit_cents: planned.map(|planned| planned.profit.round() as i64),
            demand: DemandBody {
                units_per_hour: plan.forecast.belief.mean(),
                basis: basis_word(plan.forecast.basis),
                units_sold: plan.forecast.units_sold,
                hours_in_stock: plan.forecast.hours_in_stock,
            },
            shelf_g: plan.shelf_g,
            shelf_units: plan.shelf_pieces,
            shelf_sells_units: plan.shelf_sells,
            cut_code: plan.cut.code,
            cut_name: plan.cut.name,
        }
    }
}

/// How much of each cut to cut or order today and on the two days after, the most money at stake first.
///
/// The newsvendor on the life of a new piece, behind what is there. Without a cost, a life or a weight there is no plan, and it is said.
#[utoipa::path(get, path = "/v1/plan", tag = "review", operation_id = "plan", extensions(("x-permission" = json!("review"))),
    responses((status = 200, description = "One for each cut that is sold over the counter.", body = Vec<PlanBody>)))]
async fn list(look: Look<Review>) -> Outcome {
    let now = clock::now();
    let found = look.ask(move |desk, _| desk.look(|reading, shop| plans(reading, shop, now))).await?;
    ok(&found.into_iter().map(PlanBody::from).collect::<Vec<_>>())
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/plan", "GET").route(route::get().to(list)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list))]
pub struct Doc;
