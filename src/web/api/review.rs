//! The morning review: what is best done now with each cut, why, and what must not be made cheaper.

use super::decisions::CarriedBody;
use super::resource;
use super::stock::StockBody;
use crate::ops::review::explanation::{Explanation, Sums};
use crate::ops::review::stock::Aside;
use crate::ops::review::{Advised, Morning, Proposal, morning};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::clock;
use crate::web::permit::Review;
use crate::web::route;
use actix_web::web;
use serde::Serialize;
use utoipa::ToSchema;

/// One tray of the cut and what becomes of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewTray)]
pub struct AdvisedBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    /// What of it is not promised to the kitchen already.
    #[schema(example = 268)]
    pub free_g: i64,
    #[schema(example = 7450)]
    pub price_per_kg_cents: i64,
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub sell_until: String,
    /// raw, colour, exposure, date_mark, frozen, supplier, or use_by for the date on its label.
    #[schema(example = "raw")]
    pub limited_by: &'static str,
    /// keep, mark_down, kitchen or freeze.
    #[schema(example = "mark_down")]
    pub course: &'static str,
    #[schema(example = 5960)]
    pub new_price_per_kg_cents: i64,
    /// What of it goes to the kitchen; of a tub it may be a part.
    #[schema(example = 0)]
    pub kitchen_g: i64,
    /// How likely it is then sold before its end; of a tub, the share that is.
    #[schema(example = 820)]
    pub sold_permille: i64,
}

impl From<&Advised> for AdvisedBody {
    fn from(advised: &Advised) -> AdvisedBody {
        let on = &advised.on;
        AdvisedBody {
            tray_code: on.tray.code.to_string(),
            place_code: on.tray.place.clone(),
            free_g: on.free_g,
            price_per_kg_cents: on.tray.price.get(),
            sell_until: on.end.to_string(),
            limited_by: on.limit.as_str(),
            course: advised.course.as_str(),
            new_price_per_kg_cents: advised.price.get(),
            kitchen_g: advised.kitchen_g,
            sold_permille: advised.sold_permille,
        }
    }
}

/// Advice for one cut.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewProposal)]
pub struct ProposalBody {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    /// What the advice rests on; a decision names it.
    #[schema(example = "9c1f0e2ab47d6650")]
    pub basis: String,
    /// What the price falls to, where it is to fall.
    #[schema(example = 5960)]
    pub price_per_kg_cents: Option<i64>,
    /// Why it is asked again although the cut was decided today.
    #[schema(example = "Decided at 08:31; since then a tray was added.")]
    pub again: Option<String>,
    /// All trays of the cut that are for sale, the first to end first.
    pub trays: Vec<AdvisedBody>,
    #[schema(value_type = ExplanationBody)]
    pub explanation: Explanation,
}

impl From<&Proposal> for ProposalBody {
    fn from(proposal: &Proposal) -> ProposalBody {
        ProposalBody {
            cut_code: proposal.cut_code.clone(),
            cut_name: proposal.cut_name.clone(),
            basis: proposal.basis.clone(),
            price_per_kg_cents: proposal.price.map(|price| price.get()),
            again: proposal.again.clone(),
            trays: proposal.trays.iter().map(AdvisedBody::from).collect(),
            explanation: Explanation::of(proposal),
        }
    }
}

/// What is said with advice, and kept with the decision.
#[derive(ToSchema)]
#[schema(as = ReviewExplanation)]
#[expect(dead_code, reason = "the shape of what `ops::review::explanation` writes")]
pub struct ExplanationBody {
    #[schema(
        example = "Lower Lean saku to 47.60 €/kg: about 6 of 9 blocks sell today instead of 4; about 520 g less is thrown away; about 18 € more."
    )]
    sentence: String,
    /// What is at stake: over doing nothing, now or later.
    #[schema(example = 1830)]
    gain_over_nothing_cents: i64,
    /// Over waiting for the next review and deciding well then.
    #[schema(example = 420)]
    gain_over_waiting_cents: i64,
    cause: Option<CauseBody>,
    rows: Vec<LineBody>,
    assumptions: AssumptionsBody,
}

/// The tray that most hangs on.
#[derive(ToSchema)]
#[schema(as = ReviewCause)]
#[expect(dead_code, reason = "as above")]
pub struct CauseBody {
    #[schema(example = "C4H7K9P")]
    tray_code: String,
    #[schema(example = "2026-11-26T17:40:00.000000Z")]
    ends_at: String,
    /// The clock that ends first, or use_by for the date on its label.
    #[schema(example = "raw")]
    clock: String,
}

/// One choice and what is expected of it when what comes later is decided as well as can be. Of `nothing`, when nothing is done later either.
#[derive(ToSchema)]
#[schema(as = ReviewLine)]
#[expect(dead_code, reason = "as above")]
pub struct LineBody {
    /// price, kitchen, freezer, wait or nothing.
    #[schema(example = "price")]
    what: String,
    #[schema(example = true)]
    advised: bool,
    #[schema(example = 4760)]
    price_per_kg_cents: Option<i64>,
    /// Trays whose price falls.
    #[schema(example = 9)]
    lowered_trays: i64,
    kitchen: Vec<CarriedBody>,
    #[schema(example = json!([]))]
    freeze_tray_codes: Vec<String>,
    /// Blocks, or portions of tubs.
    #[schema(example = 6.1)]
    sold_today_units: f64,
    #[schema(example = 1640)]
    sold_today_g: i64,
    #[schema(example = 2.9)]
    left_tonight_units: f64,
    #[schema(example = 770)]
    left_tonight_g: i64,
    /// How likely all that stays at the counter is sold today.
    #[schema(example = 120)]
    sells_out_today_permille: i64,
    #[schema(example = 2190)]
    sold_g: i64,
    #[schema(example = 10420)]
    revenue_cents: i64,
    #[schema(example = 0)]
    kitchen_g: i64,
    #[schema(example = 0)]
    kitchen_cents: i64,
    #[schema(example = 0)]
    frozen_g: i64,
    #[schema(example = 0)]
    frozen_cents: i64,
    #[schema(example = 220)]
    wasted_g: i64,
    /// What throwing it away costs.
    #[schema(example = 0)]
    waste_cents: i64,
    /// Revenue, kitchen, freezer and what is left, less what waste costs.
    #[schema(example = 10420)]
    total_cents: i64,
}

/// What the advice rests on; in thousandths where it is no whole number.
#[derive(ToSchema)]
#[schema(as = ReviewAssumptions)]
#[expect(dead_code, reason = "as above")]
pub struct AssumptionsBody {
    /// Units sold in an average opening hour at the list price, and between which it lies in four of five cases.
    #[schema(example = 510)]
    units_per_hour_permille: i64,
    #[schema(example = 340)]
    units_per_hour_low_permille: i64,
    #[schema(example = 700)]
    units_per_hour_high_permille: i64,
    /// own (sales of this cut), shop (of all cuts), stated or told.
    #[schema(example = "own")]
    rate_basis: String,
    #[schema(example = 41)]
    units_sold: i64,
    /// Opening hours in which there was something to sell.
    #[schema(example = 86)]
    hours_in_stock: i64,
    /// How strongly demand answers to the price, with the range tried.
    #[schema(example = 2000)]
    elasticity_permille: i64,
    #[schema(example = 1000)]
    elasticity_low_permille: i64,
    #[schema(example = 3000)]
    elasticity_high_permille: i64,
    #[schema(example = "stated")]
    elasticity_basis: String,
    /// Whether the same is best at either end of that range.
    #[schema(example = true)]
    same_when_low: bool,
    #[schema(example = false)]
    same_when_high: bool,
    /// Opening time until the first tray ends.
    #[schema(example = 540)]
    opening_minutes_left: i64,
    #[schema(example = 1860)]
    kitchen_cents_per_kg: i64,
    #[schema(example = 3000)]
    kitchen_left_g: i64,
    freezer_cents_per_kg: Option<i64>,
    #[schema(example = 0)]
    waste_cents_per_kg: i64,
}

/// A tray that is no matter of price.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewAside)]
pub struct AsideBody {
    /// take_off: it is over. on_hold: a person stopped it. exposure: its time above the cold limit ends first. stopped: something else. reserved: laid
    /// aside for a customer's order.
    #[schema(example = "take_off")]
    pub why: &'static str,
    #[schema(example = "printed use-by 2026-11-26T06:00:00.000000Z has passed")]
    pub reason: String,
    pub tray: StockBody,
}

impl AsideBody {
    fn of(aside: Aside, now: Instant) -> AsideBody {
        AsideBody { why: aside.why.as_str(), reason: aside.reason, tray: StockBody::of(aside.judged, now) }
    }
}

/// What is expected in sum, until the last of it has ended.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewSum)]
pub struct SumBody {
    #[schema(example = 14300)]
    pub sold_g: i64,
    #[schema(example = 61250)]
    pub revenue_cents: i64,
    #[schema(example = 900)]
    pub kitchen_g: i64,
    #[schema(example = 1450)]
    pub kitchen_cents: i64,
    #[schema(example = 0)]
    pub frozen_g: i64,
    #[schema(example = 0)]
    pub frozen_cents: i64,
    #[schema(example = 610)]
    pub wasted_g: i64,
    #[schema(example = 0)]
    pub waste_cents: i64,
    #[schema(example = 62700)]
    pub total_cents: i64,
}

impl From<Sums> for SumBody {
    fn from(sums: Sums) -> SumBody {
        SumBody {
            sold_g: sums.sold_g,
            revenue_cents: sums.revenue_cents,
            kitchen_g: sums.kitchen_g,
            kitchen_cents: sums.kitchen_cents,
            frozen_g: sums.frozen_g,
            frozen_cents: sums.frozen_cents,
            wasted_g: sums.wasted_g,
            waste_cents: sums.waste_cents,
            total_cents: sums.total_cents,
        }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ReviewDay)]
pub struct DayBody {
    /// Cuts with something for sale, and their trays.
    #[schema(example = 12)]
    pub cuts: i64,
    #[schema(example = 64)]
    pub trays: i64,
    /// If everything that is advised is done.
    pub all_done: SumBody,
    /// If nothing is done, now or later.
    pub nothing_done: SumBody,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Review)]
pub struct ReviewBody {
    #[schema(example = "2026-11-26T08:30:00.000000Z")]
    pub as_of: String,
    /// The most money at stake first; what was decided today is not in it unless something changed.
    pub proposals: Vec<ProposalBody>,
    /// What is over, on hold, too long in the warm, or laid aside for a customer's order.
    pub aside: Vec<AsideBody>,
    pub day: DayBody,
}

impl ReviewBody {
    fn of(found: Morning, now: Instant) -> ReviewBody {
        let day = DayBody {
            cuts: found.day.cuts,
            trays: found.day.trays,
            all_done: Sums::from(found.day.done).into(),
            nothing_done: Sums::from(found.day.alone).into(),
        };
        ReviewBody {
            as_of: now.to_string(),
            proposals: found.proposals.iter().map(ProposalBody::from).collect(),
            aside: found.aside.into_iter().map(|aside| AsideBody::of(aside, now)).collect(),
            day,
        }
    }
}

/// What is best done now, cut by cut, with what it rests on.
#[utoipa::path(get, path = "/v1/review", tag = "review", operation_id = "review", extensions(("x-permission" = json!("review"))),
    responses((status = 200, description = "The review as of now.", body = ReviewBody)))]
async fn get(look: Look<Review>) -> Outcome {
    let now = clock::now();
    let found = look.ask(move |desk, _| desk.look(|reading, shop| morning(reading, shop, now))).await?;
    ok(&ReviewBody::of(found, now))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/review", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get), components(schemas(ExplanationBody, CauseBody, LineBody, AssumptionsBody)))]
pub struct Doc;
