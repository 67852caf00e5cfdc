//! Reports: what earlier advice expected and what came of it; what was wasted.

use super::resource;
use super::stock::query;
use crate::domain::calibration::{Bin, Brier, Calibration};
use crate::ops::desk::Desk;
use crate::ops::pay::waste::{self, Out, Portion};
use crate::ops::pay::{self, Alone, Came, Expected, Followed, Range, Sum, WAYS};
use crate::units::zone::parse_day;
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::clock;
use crate::web::permit::ReadCost;
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::{HttpRequest, web};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Which days.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DaysQuery {
    /// The first business day; where absent, four weeks end with `to`.
    #[param(example = "2026-11-01")]
    from: Option<String>,
    /// The last business day, today where absent. At most 371 days.
    #[param(example = "2026-11-28")]
    to: Option<String>,
}

/// The first and the last day, as far as they were named.
pub fn days(asked: &DaysQuery) -> Result<(Option<NaiveDate>, Option<NaiveDate>), Problem> {
    let day = |field: &str, text: &Option<String>| {
        let read =
            |text: &String| parse_day(text).map_err(|e| Problem::at(Speech::MalformedRequest, field, e.to_string()));
        text.as_ref().map(read).transpose()
    };
    Ok((day("from", &asked.from)?, day("to", &asked.to)?))
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportExpected)]
pub struct ExpectedBody {
    #[schema(example = 1480)]
    pub sold_g: i64,
    #[schema(example = 9420)]
    pub revenue_cents: i64,
    #[schema(example = 300)]
    pub kitchen_g: i64,
    #[schema(example = 560)]
    pub kitchen_cents: i64,
    #[schema(example = 0)]
    pub frozen_g: i64,
    #[schema(example = 0)]
    pub frozen_cents: i64,
    #[schema(example = 120)]
    pub wasted_g: i64,
    #[schema(example = 0)]
    pub waste_cents: i64,
    #[schema(example = 9980)]
    pub total_cents: i64,
}

impl From<Expected> for ExpectedBody {
    fn from(e: Expected) -> ExpectedBody {
        let Expected { sold_g, revenue_cents, kitchen_g, kitchen_cents, frozen_g, frozen_cents, .. } = e;
        let Expected { wasted_g, waste_cents, total_cents, .. } = e;
        ExpectedBody {
            sold_g,
            revenue_cents,
            kitchen_g,
            kitchen_cents,
            frozen_g,
            frozen_cents,
            wasted_g,
            waste_cents,
            total_cents,
        }
    }
}

/// Expected had nothing been done.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportAlone)]
pub struct AloneBody {
    #[schema(example = 1210)]
    pub sold_g: i64,
    #[schema(example = 8840)]
    pub revenue_cents: i64,
    #[schema(example = 690)]
    pub wasted_g: i64,
    #[schema(example = 8840)]
    pub total_cents: i64,
}

impl From<Alone> for AloneBody {
    fn from(Alone { sold_g, revenue_cents, wasted_g, total_cents }: Alone) -> AloneBody {
        AloneBody { sold_g, revenue_cents, wasted_g, total_cents }
    }
}

/// What came of it. Kitchen and waste at what they are worth and cost now, frozen as it was expected.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportCame)]
pub struct CameBody {
    /// Reversed sales are none.
    #[schema(example = 1520)]
    pub sold_g: i64,
    #[schema(example = 9690)]
    pub revenue_cents: i64,
    /// Of these sales, brought back and thrown away.
    #[schema(example = 0)]
    pub returned_g: i64,
    #[schema(example = 0)]
    pub refund_cents: i64,
    #[schema(example = 300)]
    pub kitchen_g: i64,
    #[schema(example = 560)]
    pub kitchen_cents: i64,
    #[schema(example = 0)]
    pub frozen_g: i64,
    #[schema(example = 0)]
    pub frozen_cents: i64,
    #[schema(example = 80)]
    pub wasted_g: i64,
    /// A cost, not negative.
    #[schema(example = 0)]
    pub waste_cents: i64,
    /// Missing when it was counted; negative where more was found.
    #[schema(example = 0)]
    pub counted_g: i64,
    /// Cut, or poured into another tub.
    #[schema(example = 0)]
    pub passed_on_g: i64,
    /// Poured in since, or put back.
    #[schema(example = 0)]
    pub came_in_g: i64,
    #[schema(example = 0)]
    pub still_there_g: i64,
    /// Revenue less refunds, kitchen, freezer, less what waste cost.
    #[schema(example = 10250)]
    pub total_cents: i64,
}

impl From<Came> for CameBody {
    fn from(came: Came) -> CameBody {
        CameBody {
            sold_g: came.sold_g,
            revenue_cents: came.revenue_cents,
            returned_g: came.returned_g,
            refund_cents: came.refund_cents,
            kitchen_g: came.kitchen_g,
            kitchen_cents: came.kitchen_cents,
            frozen_g: came.frozen_g,
            frozen_cents: came.frozen_cents,
            wasted_g: came.wasted_g,
            waste_cents: came.waste_cents,
            counted_g: came.counted_g,
            passed_on_g: came.passed_on_g,
            came_in_g: came.came_in_g,
            still_there_g: came.still_g,
            total_cents: came.total_cents,
        }
    }
}

/// Decisions together. All numbers but `pending` are of those that are over: every tray has ended or gone.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportSum)]
pub struct SumBody {
    #[schema(example = 9)]
    pub over: usize,
    #[schema(example = 2)]
    pub pending: usize,
    pub expected: ExpectedBody,
    pub alone: AloneBody,
    pub came: CameBody,
}

impl From<Sum> for SumBody {
    fn from(Sum { over, pending, expected, alone, came }: Sum) -> SumBody {
        SumBody { over, pending, expected: expected.into(), alone: alone.into(), came: came.into() }
    }
}

/// By how it was decided. Declined advice is compared too; that is no experiment.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportOfWay)]
pub struct WayBody {
    /// accepted, changed or declined.
    #[schema(example = "accepted")]
    pub way: &'static str,
    pub sum: SumBody,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportOfCut)]
pub struct CutBody {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    #[schema(example = "accepted")]
    pub way: String,
    pub sum: SumBody,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportOfWeek)]
pub struct WeekBody {
    /// ISO 8601 year and week.
    #[schema(example = "2026-W48")]
    pub week: String,
    /// Accepted or changed.
    pub taken: SumBody,
    pub declined: SumBody,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReportDecision)]
pub struct DecisionBody {
    #[schema(example = 12)]
    pub decision_id: i64,
    #[schema(example = "2026-11-25")]
    pub day: String,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "accepted")]
    pub way: String,
    #[schema(example = "Marta")]
    pub decided_by: String,
    #[schema(example = 7)]
    pub trays: usize,
    /// What lay on these trays then.
    #[schema(example = 1900)]
    pub then_g: i64,
    /// Whether every tray has ended or gone.
    #[schema(example = true)]
    pub over: bool,
    pub expected: ExpectedBody,
    pub alone: AloneBody,
    pub came: CameBody,
}

impl From<Followed> for DecisionBody {
    fn from(followed: Followed) -> DecisionBody {
        let Followed { decided, trays, then_g, over, came, .. } = followed;
        DecisionBody {
            decision_id: decided.id,
            day: decided.day,
            cut_code: decided.cut,
            way: decided.way,
            decided_by: decided.decided_by,
            trays,
            then_g,
            over,
            expected: decided.expected.into(),
            alone: decided.alone.into(),
            came: came.into(),
        }
    }
}

/// Forecasts of about the same size. Shares from 0 to 1.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CalibrationBin)]
pub struct BinBody {
    #[schema(example = 0.7)]
    pub from: f64,
    #[schema(example = 0.8)]
    pub to: f64,
    #[schema(example = 31)]
    pub trays: usize,
    /// How many trays that weigh the same say as much: one that several decisions looked at counts once.
    #[schema(example = 29.4)]
    pub worth: f64,
    #[schema(example = 0.74)]
    pub forecast: f64,
    #[schema(example = 0.71)]
    pub sold: f64,
    /// Where the true share lies, 95 % (Wilson).
    #[schema(example = 0.53)]
    pub low: f64,
    #[schema(example = 0.84)]
    pub high: f64,
    /// too_few (worth less than 20 trays), fits, oftener or rarer.
    #[schema(example = "fits")]
    pub word: &'static str,
}

impl From<&Bin> for BinBody {
    fn from(bin: &Bin) -> BinBody {
        BinBody {
            from: bin.from,
            to: bin.to,
            trays: bin.count,
            worth: bin.worth,
            forecast: bin.forecast,
            sold: bin.happened,
            low: bin.low,
            high: bin.high,
            word: bin.word.as_str(),
        }
    }
}

/// The Brier score and its parts: `score = reliability - resolution + uncertainty + within`.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = BrierScore)]
pub struct BrierBody {
    #[schema(example = 0.17)]
    pub score: f64,
    #[schema(example = 0.01)]
    pub reliability: f64,
    #[schema(example = 0.06)]
    pub resolution: f64,
    #[schema(example = 0.22)]
    pub uncertainty: f64,
    #[schema(example = 0.0)]
    pub within: f64,
}

impl From<Brier> for BrierBody {
    fn from(Brier { score, reliability, resolution, uncertainty, within }: Brier) -> BrierBody {
        BrierBody { score, reliability, resolution, uncertainty, within }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Calibration)]
pub struct CalibrationBody {
    #[schema(example = 214)]
    pub trays: usize,
    pub bins: Vec<BinBody>,
    pub brier: Option<BrierBody>,
}

impl From<Calibration> for CalibrationBody {
    fn from(found: Calibration) -> CalibrationBody {
        CalibrationBody {
            trays: found.count,
            bins: found.bins.iter().map(BinBody::from).collect(),
            brier: found.brier.map(BrierBody::from),
        }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AdviceReport)]
pub struct AdviceBody {
    #[schema(example = "2026-11-01")]
    pub from: String,
    #[schema(example = "2026-11-28")]
    pub to: String,
    pub ways: Vec<WayBody>,
    pub cuts: Vec<CutBody>,
    pub weeks: Vec<WeekBody>,
    /// Of the trays that were to be sold, of decisions that are over; of declined ones, as they were left alone.
    pub calibration: CalibrationBody,
    pub decisions: Vec<DecisionBody>,
}

/// What the decisions of some days expected, and what came of their trays since.
///
/// Each decision is followed by the ledger from its act until now, so that a tray that several decisions looked at is counted in each of them.
#[utoipa::path(get, path = "/v1/reports/advice", tag = "review", operation_id = "report_advice", params(DaysQuery), extensions(("x-permission" = json!("read_cost"))),
    responses((status = 200, description = "By way, cut and week, with the calibration of the forecasts.", body = AdviceBody)))]
async fn advice(look: Look<ReadCost>, request: HttpRequest) -> Outcome {
    let (from, to) = days(&query(&request)?)?;
    let now = clock::now();
    let ask = move |desk: &Desk, _| {
        desk.look(|reading, shop| pay::advice(reading, shop, now, Range::asked(shop, now, from, to)?))
    };
    let report = look.ask(ask).await?;
    ok(&AdviceBody {
        from: report.range.from.to_string(),
        to: report.range.to.to_string(),
        ways: WAYS.into_iter().zip(report.ways).map(|(way, sum)| WayBody { way, sum: sum.into() }).collect(),
        cuts: report
            .cuts
            .into_iter()
            .map(|c| CutBody { cut_code: c.cut, cut_name: c.cut_name, way: c.way, sum: c.sum.into() })
            .collect(),
        weeks: report
            .weeks
            .into_iter()
            .map(|w| WeekBody { week: w.week.to_string(), taken: w.taken.into(), declined: w.declined.into() })
            .collect(),
        calibration: report.calibration.into(),
        decisions: report.decisions.into_iter().map(DecisionBody::from).collect(),
    })
}

/// Grams with what they cost.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WastePortion)]
pub struct PortionBody {
    #[schema(example = 640)]
    pub grams: i64,
    #[schema(example = 1810)]
    pub cost_cents: i64,
}

impl From<Portion> for PortionBody {
    fn from(Portion { grams, cost_cents }: Portion) -> PortionBody {
        PortionBody { grams, cost_cents }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WasteReason)]
pub struct ReasonBody {
    /// As it was written, in small letters.
    #[schema(example = "past its use-by")]
    pub reason: String,
    /// Whether a customer brought it back.
    #[schema(example = false)]
    pub returned: bool,
    pub wasted: PortionBody,
}

/// Where fish went.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WasteOut)]
pub struct OutBody {
    /// What customers brought back is in it, and again in `wasted`.
    pub sold: PortionBody,
    pub kitchen: PortionBody,
    pub wasted: PortionBody,
    pub returned: PortionBody,
    /// Missing when it was counted; negative where more was found.
    pub count_difference: PortionBody,
    /// Of all that left for the counter, the kitchen or the bin.
    #[schema(example = 41)]
    pub wasted_permille: Option<i64>,
    /// The dearest first.
    pub reasons: Vec<ReasonBody>,
}

impl From<&Out> for OutBody {
    fn from(out: &Out) -> OutBody {
        let reason = |reason: waste::Reason| ReasonBody {
            reason: reason.text,
            returned: reason.returned,
            wasted: reason.portion.into(),
        };
        OutBody {
            sold: out.sold.into(),
            kitchen: out.kitchen.into(),
            wasted: out.wasted.into(),
            returned: out.returned.into(),
            count_difference: out.counted.into(),
            wasted_permille: out.wasted_permille(),
            reasons: out.reasons().into_iter().map(reason).collect(),
        }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WasteRow)]
pub struct RowBody {
    /// ISO 8601 year and week.
    #[schema(example = "2026-W48")]
    pub week: String,
    /// None for what was settled without a tray.
    #[schema(example = "lean-saku")]
    pub cut_code: Option<String>,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    pub out: OutBody,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WasteReport)]
pub struct WasteBody {
    #[schema(example = "2026-11-01")]
    pub from: String,
    #[schema(example = "2026-11-28")]
    pub to: String,
    pub total: OutBody,
    /// One for each week and cut.
    pub rows: Vec<RowBody>,
}

/// What was wasted, by reason, week and cut, from the ledger, with what was sold and cooked beside it.
#[utoipa::path(get, path = "/v1/reports/waste", tag = "review", operation_id = "report_waste", params(DaysQuery), extensions(("x-permission" = json!("read_cost"))),
    responses((status = 200, description = "By week and cut.", body = WasteBody)))]
async fn wasted(look: Look<ReadCost>, request: HttpRequest) -> Outcome {
    let (from, to) = days(&query(&request)?)?;
    let now = clock::now();
    let ask = move |desk: &Desk, _| {
        desk.look(|reading, shop| waste::waste(reading, shop, Range::asked(shop, now, from, to)?))
    };
    let report = look.ask(ask).await?;
    let row = |row: waste::CutWeek| RowBody {
        week: row.week.to_string(),
        cut_code: row.cut,
        cut_name: row.cut_name,
        out: (&row.out).into(),
    };
    ok(&WasteBody {
        from: report.range.from.to_string(),
        to: report.range.to.to_string(),
        total: (&report.total).into(),
        rows: report.rows.into_iter().map(row).collect(),
    })
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/reports/advice", "GET").route(route::get().to(advice)));
    config.service(resource("/v1/reports/waste", "GET").route(route::get().to(wasted)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(advice, wasted))]
pub struct Doc;
