//! Advice as it is shown and kept: JSON that stands for ever beside the decision, word for word. Its shape is documented with the resource
//! that hands it out, `web/api/review.rs`.

use super::{Advised, Assumptions, Proposal, Row, What};
use crate::domain::demand::Basis;
use crate::store::decisions::Expected;
use serde::Serialize;

/// Everything said of one proposal.
#[derive(Debug, Clone, Serialize)]
pub struct Explanation {
    pub sentence: String,
    pub gain_over_nothing_cents: i64,
    pub gain_over_waiting_cents: i64,
    pub cause: Option<Cause>,
    pub rows: Vec<Line>,
    pub assumptions: Told,
}

/// The tray that most hangs on.
#[derive(Debug, Clone, Serialize)]
pub struct Cause {
    pub tray_code: String,
    pub ends_at: String,
    /// The clock that ends first, or use_by for the date on its label.
    pub clock: &'static str,
}

/// A line of the table.
#[derive(Debug, Clone, Serialize)]
pub struct Line {
    pub what: &'static str,
    pub advised: bool,
    pub price_per_kg_cents: Option<i64>,
    pub lowered_trays: usize,
    pub kitchen: Vec<Carried>,
    pub freeze_tray_codes: Vec<String>,
    pub sold_today_units: f64,
    pub sold_today_g: i64,
    pub left_tonight_units: f64,
    pub left_tonight_g: i64,
    pub sells_out_today_permille: i64,
    #[serde(flatten)]
    pub expected: Sums,
}

/// What goes to the kitchen.
#[derive(Debug, Clone, Serialize)]
pub struct Carried {
    pub tray_code: String,
    pub grams: i64,
}

/// Until the last of it has ended.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Sums {
    pub sold_g: i64,
    pub revenue_cents: i64,
    pub kitchen_g: i64,
    pub kitchen_cents: i64,
    pub frozen_g: i64,
    pub frozen_cents: i64,
    pub wasted_g: i64,
    pub waste_cents: i64,
    pub total_cents: i64,
}

/// What it rests on, in thousandths where it is no whole number.
#[derive(Debug, Clone, Serialize)]
pub struct Told {
    pub units_per_hour_permille: i64,
    pub units_per_hour_low_permille: i64,
    pub units_per_hour_high_permille: i64,
    pub rate_basis: &'static str,
    pub units_sold: i64,
    pub hours_in_stock: i64,
    pub elasticity_permille: i64,
    pub elasticity_low_permille: i64,
    pub elasticity_high_permille: i64,
    pub elasticity_basis: &'static str,
    pub same_when_low: bool,
    pub same_when_high: bool,
    pub opening_minutes_left: i64,
    pub kitchen_cents_per_kg: i64,
    pub kitchen_left_g: i64,
    pub freezer_cents_per_kg: Option<i64>,
    pub waste_cents_per_kg: i64,
}

impl Explanation {
    pub fn of(proposal: &Proposal) -> Explanation {
        Explanation {
            sentence: proposal.sentence.clone(),
            gain_over_nothing_cents: proposal.gain_over_nothing_cents(),
            gain_over_waiting_cents: proposal.gain_over_waiting_cents(),
            cause: proposal.cause().map(|on| Cause {
                tray_code: on.tray.code.to_string(),
                ends_at: on.end.to_string(),
                clock: on.limit.as_str(),
            }),
            rows: proposal.rows.iter().map(Line::of).collect(),
            assumptions: Told::of(&proposal.assumptions),
        }
    }

    /// As it is kept.
    pub fn write(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

impl Line {
    fn of(row: &Row) -> Line {
        Line {
            what: row.what.as_str(),
            advised: row.advised,
            price_per_kg_cents: match row.what {
                What::Price(price) => Some(price.get()),
                _ => None,
            },
            lowered_trays: row.lowered,
            kitchen: row
                .kitchen
                .iter()
                .map(|(code, grams)| Carried { tray_code: code.clone(), grams: *grams })
                .collect(),
            freeze_tray_codes: row.freeze.clone(),
            sold_today_units: row.sold_today_units,
            sold_today_g: row.sold_today_g,
            left_tonight_units: row.left_tonight_units,
            left_tonight_g: row.left_tonight_g,
            sells_out_today_permille: row.sells_out_today_permille,
            expected: row.whole.into(),
        }
    }
}

impl From<Expected> for Sums {
    fn from(expected: Expected) -> Sums {
        Sums {
            sold_g: expected.sold_g,
            revenue_cents: expected.revenue_cents,
            kitchen_g: expected.kitchen_g,
            kitchen_cents: expected.kitchen_cents,
            frozen_g: expected.frozen_g,
            frozen_cents: expected.frozen_cents,
            wasted_g: expected.wasted_g,
            waste_cents: expected.waste_cents,
            total_cents: expected.total_cents,
        }
    }
}

impl Told {
    fn of(assumptions: &Assumptions) -> Told {
        let permille = |value: f64| super::weigh::whole(value * 1_000.0);
        let (forecast, terms) = (&assumptions.forecast, &assumptions.terms);
        Told {
            units_per_hour_permille: permille(assumptions.units_per_hour),
            units_per_hour_low_permille: permille(assumptions.units_per_hour_low),
            units_per_hour_high_permille: permille(assumptions.units_per_hour_high),
            rate_basis: basis(forecast.basis),
            units_sold: forecast.units_sold,
            hours_in_stock: super::weigh::whole(forecast.hours_in_stock),
            elasticity_permille: permille(assumptions.elasticity),
            elasticity_low_permille: permille(assumptions.elasticity_low),
            elasticity_high_permille: permille(assumptions.elasticity_high),
            elasticity_basis: basis(forecast.elasticity.basis),
            same_when_low: assumptions.same_when_low,
            same_when_high: assumptions.same_when_high,
            opening_minutes_left: super::weigh::whole(assumptions.hours_left * 60.0),
            kitchen_cents_per_kg: terms.kitchen_cents_per_kg,
            kitchen_left_g: assumptions.kitchen_left_g,
            freezer_cents_per_kg: terms.freezer_cents_per_kg,
            waste_cents_per_kg: terms.waste_cents_per_kg,
        }
    }
}

/// Where a number was taken from.
pub const fn basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "own",
        Basis::Shop => "shop",
        Basis::Stated => "stated",
        Basis::Told => "told",
    }
}

/// The courses of trays that something is done with.
pub fn touched(trays: &[Advised]) -> impl Iterator<Item = &Advised> {
    trays.iter().filter(|a| a.course != super::Course::Keep || a.kitchen_g > 0)
}
