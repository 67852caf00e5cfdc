//! On which terms a cut is sold: what else can become of it and what that is worth, how its price may fall, and what is believed of its demand
//! before there are sales. The shop says it once; a cut may say it differently.

use super::refusal::{Code, Finding, Refusal};
use crate::units::instant::Instant;
use crate::units::money::PricePerKg;
use chrono::NaiveTime;
use std::ops::RangeInclusive;

/// What values may be: of the shop's settings and of a cut's own terms alike. The database checks the latter once more.
pub const CENTS_PER_KG: RangeInclusive<i64> = 0..=PricePerKg::MAXIMUM;
pub const KITCHEN_CENTS_PER_KG: RangeInclusive<i64> = -PricePerKg::MAXIMUM..=PricePerKg::MAXIMUM;
pub const KITCHEN_G_PER_DAY: RangeInclusive<i64> = 0..=1_000_000;
pub const ELASTICITY_PERMILLE: RangeInclusive<i64> = 0..=10_000;
pub const UNITS_PER_HOUR_PERMILLE: RangeInclusive<i64> = 1..=1_000_000;
pub const PORTION_G: RangeInclusive<i64> = 1..=10_000;

/// What the shop says for every cut. Shares are in permille.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShopTerms {
    /// Local times of the day at which prices may change, rising. The day's first is when the kitchen takes what it takes.
    pub review_times: Vec<NaiveTime>,
    /// The ladder: what each step takes off the list price, rising.
    pub off_permille: Vec<i64>,
    /// What a kilogram is worth in the kitchen, of its list price.
    pub kitchen_permille: i64,
    /// How much of one cut the kitchen can take a day.
    pub kitchen_g_per_day: i64,
    /// What a kilogram is worth that is frozen today, of its list price; 0 where nothing is frozen for later.
    pub freezer_permille: i64,
    /// Least hours of life left for freezing to make sense.
    pub freezer_least_hours: i64,
    /// What throwing away a kilogram costs.
    pub waste_cents_per_kg: i64,
    /// Advice is given only where it gains this much, and this share of what leaving alone brings.
    pub least_gain_cents: i64,
    pub least_gain_permille: i64,
    /// How strongly demand answers to the price, where the shop's own markdowns do not say: at this times a thousandth, the relative growth of
    /// demand for a small relative fall of the price from list.
    pub elasticity_permille: i64,
    /// Sales an hour expected of a cut that nothing is known of, in thousandths of a unit.
    pub prior_units_per_hour_permille: i64,
    /// What a customer takes out of a tub at a time.
    pub portion_g: i64,
}

impl Default for ShopTerms {
    /// Common practice, no source, but for the threshold and the elasticity: stated defaults, which every advice shows.
    fn default() -> ShopTerms {
        let at = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0);
        ShopTerms {
            review_times: at(8, 30).into_iter().chain(at(15, 0)).collect(),
            off_permille: vec![100, 200, 300, 400, 500],
            kitchen_permille: 250,
            kitchen_g_per_day: 3_000,
            freezer_permille: 0,
            freezer_least_hours: 24,
            waste_cents_per_kg: 0,
            least_gain_cents: 100,
            least_gain_permille: 20,
            elasticity_permille: 2_000,
            prior_units_per_hour_permille: 500,
            portion_g: 150,
        }
    }
}

/// What one cut says differently; none where the shop's word holds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CutTerms {
    pub kitchen_cents_per_kg: Option<i64>,
    pub kitchen_g_per_day: Option<i64>,
    pub freezer_cents_per_kg: Option<i64>,
    pub waste_cents_per_kg: Option<i64>,
    /// Overrides what was learned.
    pub elasticity_permille: Option<i64>,
    /// Overrides what was learned: sales an average opening hour, in thousandths of a unit.
    pub units_per_hour_permille: Option<i64>,
    pub portion_g: Option<i64>,
    /// What a kilogram costs to have, for the plan of the next days; none where nobody said.
    pub cost_cents_per_kg: Option<i64>,
}

/// What was said of a cut, by whom and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    pub terms: CutTerms,
    pub set_by: String,
    pub set_at: Instant,
    /// Raised by every change.
    pub version: i64,
}

/// What holds for one cut. Values in minor units of money a kilogram, which may be negative for what costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Terms {
    pub kitchen_cents_per_kg: i64,
    pub kitchen_g_per_day: i64,
    /// None where it is not frozen for later.
    pub freezer_cents_per_kg: Option<i64>,
    pub freezer_least_hours: i64,
    pub waste_cents_per_kg: i64,
    pub portion_g: i64,
    pub cost_cents_per_kg: Option<i64>,
    /// The ladder as prices, falling, the list price first.
    pub prices: Vec<PricePerKg>,
}

impl CutTerms {
    /// Every value that is out of its range, at once.
    pub fn check(&self) -> Result<(), Refusal> {
        let values = [
            ("kitchen_cents_per_kg", self.kitchen_cents_per_kg, KITCHEN_CENTS_PER_KG),
            ("kitchen_g_per_day", self.kitchen_g_per_day, KITCHEN_G_PER_DAY),
            ("freezer_cents_per_kg", self.freezer_cents_per_kg, CENTS_PER_KG),
            ("waste_cents_per_kg", self.waste_cents_per_kg, CENTS_PER_KG),
            ("elasticity_permille", self.elasticity_permille, ELASTICITY_PERMILLE),
            ("units_per_hour_permille", self.units_per_hour_permille, UNITS_PER_HOUR_PERMILLE),
            ("portion_g", self.portion_g, PORTION_G),
            ("cost_cents_per_kg", self.cost_cents_per_kg, CENTS_PER_KG),
        ];
        let outside = values.into_iter().filter(|(_, value, range)| value.is_some_and(|value| !range.contains(&value)));
        let findings: Vec<Finding> = outside
            .map(|(field, _, range)| Finding {
                field: field.to_owned(),
                reason: format!("must be from {} to {}, or left out", range.start(), range.end()),
            })
            .collect();
        if findings.is_empty() { Ok(()) } else { Err(Refusal { code: Code::InvalidValue, findings }) }
    }

    /// Whether the shop's word holds in everything.
    pub fn is_empty(&self) -> bool {
        *self == CutTerms::default()
    }
}

impl ShopTerms {
    /// The terms of a cut at its list price.
    pub fn of(&self, cut: &CutTerms, list: PricePerKg) -> Terms {
        let share = |permille: i64| list.get().saturating_mul(permille) / 1_000;
        let mut prices = vec![list];
        for off in &self.off_permille {
            let lowered = list.lowered_by_permille(*off);
            if prices.last().is_some_and(|last| lowered < *last) {
                prices.push(lowered);
            }
        }
        Terms {
            kitchen_cents_per_kg: cut.kitchen_cents_per_kg.unwrap_or_else(|| share(self.kitchen_permille)),
            kitchen_g_per_day: cut.kitchen_g_per_day.unwrap_or(self.kitchen_g_per_day),
            freezer_cents_per_kg: cut
                .freezer_cents_per_kg
                .or_else(|| (self.freezer_permille > 0).then(|| share(self.freezer_permille)))
                .filter(|value| *value > 0),
            freezer_least_hours: self.freezer_least_hours,
            waste_cents_per_kg: cut.waste_cents_per_kg.unwrap_or(self.waste_cents_per_kg),
            portion_g: cut.portion_g.unwrap_or(self.portion_g),
            cost_cents_per_kg: cut.cost_cents_per_kg,
            prices,
        }
    }
}
