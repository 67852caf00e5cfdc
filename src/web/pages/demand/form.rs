//! What a person may say of a cut in place of the settings and of what its sales say: the form, and how it is read. An empty field says nothing.

use crate::domain::shop::Shop;
use crate::domain::terms::{CutTerms, Terms};
use crate::units::parse_decimal;
use crate::web::problem::Problem;
use maud::{Markup, html};
use serde::Deserialize;

#[derive(Debug, Clone, Default, Deserialize)]
pub struct Form {
    pub version: i64,
    #[serde(default)]
    units_per_hour: String,
    #[serde(default)]
    elasticity: String,
    #[serde(default)]
    portion: String,
    #[serde(default)]
    kitchen: String,
    #[serde(default)]
    kitchen_a_day: String,
    #[serde(default)]
    freezer: String,
    #[serde(default)]
    waste: String,
    #[serde(default)]
    cost: String,
}

/// Decimals of numbers that are kept in thousandths.
const THOUSANDTHS: u32 = 3;

impl Form {
    /// What was said last, as it would be typed.
    pub fn of(shop: &Shop, terms: &CutTerms, version: i64) -> Form {
        let mark = shop.currency.mark;
        let written =
            |value: Option<i64>, decimals: u32| value.map(|value| mark.write(value, decimals)).unwrap_or_default();
        let money = shop.currency.decimals();
        Form {
            version,
            units_per_hour: written(terms.units_per_hour_permille, THOUSANDTHS),
            elasticity: written(terms.elasticity_permille, THOUSANDTHS),
            portion: written(terms.portion_g, 0),
            kitchen: written(terms.kitchen_cents_per_kg, money),
            kitchen_a_day: written(terms.kitchen_g_per_day, 0),
            freezer: written(terms.freezer_cents_per_kg, money),
            waste: written(terms.waste_cents_per_kg, money),
            cost: written(terms.cost_cents_per_kg, money),
        }
    }

    /// What it says, or every field that is no number.
    pub fn terms(&self, shop: &Shop) -> Result<CutTerms, Problem> {
        let money = shop.currency.decimals();
        let mut wrong = Vec::new();
        let mut read = |name: &'static str, text: &str, decimals: u32| {
            let text = text.trim();
            if text.is_empty() {
                return None;
            }
            let number = parse_decimal(&text.replace(',', "."), decimals, name).ok();
            if number.is_none() {
                wrong.push(format!("{name} cannot be read: a number with at most {decimals} decimals"));
            }
            number
        };
        let terms = CutTerms {
            units_per_hour_permille: read("Sold an hour", &self.units_per_hour, THOUSANDTHS),
            elasticity_permille: read("Answer to the price", &self.elasticity, THOUSANDTHS),
            portion_g: read("Portion", &self.portion, 0),
            kitchen_cents_per_kg: read("Worth in the kitchen", &self.kitchen, money),
            kitchen_g_per_day: read("The kitchen takes", &self.kitchen_a_day, 0),
            freezer_cents_per_kg: read("Worth when frozen", &self.freezer, money),
            waste_cents_per_kg: read("Throwing away", &self.waste, money),
            cost_cents_per_kg: read("Cost", &self.cost, money),
        };
        if wrong.is_empty() { Ok(terms) } else { Err(Problem::invalid("what was typed", wrong.join("; "))) }
    }

    /// The form; beside each field what holds without it.
    pub fn show(&self, shop: &Shop, cut: &str, without: &Terms, learned: (String, String)) -> Markup {
        let money = |amount: i64| format!("{}/kg", shop.money(amount));
        let none = || "nobody said".to_owned();
        let frozen = without.freezer_cents_per_kg.map_or_else(|| "it is not frozen for later".to_owned(), money);
        html! {
            form.card method="post" action={ "/demand/" (cut) } {
                h2 { "Say otherwise" }
                p.small { "What is left empty is as the shop's sales and settings say." }
                input type="hidden" name="version" value=(self.version);
                (field("units_per_hour", "Sold in an average hour at list", &self.units_per_hour, &learned.0))
                (field("elasticity", "Answer to the price", &self.elasticity, &learned.1))
                (field("portion", "Portion out of a tub, g", &self.portion, &format!("{} g", without.portion_g)))
                (field("kitchen", "Worth in the kitchen, a kg", &self.kitchen, &money(without.kitchen_cents_per_kg)))
                (field("kitchen_a_day", "The kitchen takes a day, g", &self.kitchen_a_day, &format!("{} g", without.kitchen_g_per_day)))
                (field("freezer", "Worth when frozen today, a kg", &self.freezer, &frozen))
                (field("waste", "Throwing away costs, a kg", &self.waste, &money(without.waste_cents_per_kg)))
                (field("cost", "Cost, a kg", &self.cost, &without.cost_cents_per_kg.map_or_else(none, money)))
                p { button.main type="submit" { "Keep" } }
            }
        }
    }
}

fn field(name: &str, label: &str, value: &str, without: &str) -> Markup {
    html! {
        label for=(name) { (label) span.small { " · if empty: " (without) } }
        input id=(name) name=(name) value=(value) inputmode="decimal" maxlength="16" autocomplete="off";
    }
}
