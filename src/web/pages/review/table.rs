//! The table under a proposal: every choice with what is expected of it, another price by hand, and what all of it rests on.

use super::{about, money};
use crate::domain::demand::Basis;
use crate::domain::shop::Shop;
use crate::ops::review::{Proposal, Row, What};
use crate::units::mass::Grams;
use maud::{Markup, html as markup};
use serde_json::json;

fn weight(grams: i64) -> String {
    Grams::new(grams).map(|grams| grams.to_string()).unwrap_or_default()
}

fn name(shop: &Shop, row: &Row) -> String {
    let kitchen: i64 = row.kitchen.iter().map(|(_, grams)| grams).sum();
    let mut name = match row.what {
        What::Price(price) => format!("{}/kg", shop.money(price)),
        What::Kitchen => format!("Kitchen, {}", weight(kitchen)),
        What::Freezer => match row.freeze.len() {
            1 => "Freezer, 1 tray".to_owned(),
            count => format!("Freezer, {count} trays"),
        },
        What::Wait => "Wait until the next review".to_owned(),
        What::Nothing => "Nothing, now or later".to_owned(),
    };
    if matches!(row.what, What::Price(_)) && kitchen > 0 {
        name.push_str(&format!(", {} to the kitchen", weight(kitchen)));
    }
    if !matches!(row.what, What::Freezer) && !row.freeze.is_empty() {
        name.push_str(&format!(", {} to the freezer", row.freeze.len()));
    }
    name
}

/// What is asked for when a line is chosen instead.
fn choice(row: &Row) -> String {
    let kitchen: Vec<_> = row.kitchen.iter().map(|(code, grams)| json!({"tray_code": code, "grams": grams})).collect();
    let price = match row.what {
        What::Price(price) => Some(price.get()),
        _ => None,
    };
    json!({"price_per_kg_cents": price, "kitchen": kitchen, "freeze_tray_codes": row.freeze}).to_string()
}

pub fn rows(shop: &Shop, p: &Proposal) -> Markup {
    markup! {
        table.choices {
            thead { tr { th { "Choice" } th { "Sold today" } th { "Left tonight" } th { "All sold today" } th { "Thrown away" } th { "Revenue" } th { "Kitchen" } th { "Together" } th {} } }
            tbody { @for row in &p.rows {
                tr.advised[row.advised] {
                    td { strong { (name(shop, row)) } @if row.advised { " " span.badge { "advised" } } }
                    td data-label="Sold today" { (format!("{:.1}", row.sold_today_units)) }
                    td data-label="Left tonight" { (format!("{:.1}", row.left_tonight_units)) }
                    td data-label="All sold today" { (row.sells_out_today_permille / 10) " %" }
                    td data-label="Thrown away" { (weight(row.whole.wasted_g)) }
                    td data-label="Revenue" { (money(shop, row.whole.revenue_cents)) }
                    td data-label="Kitchen" { (money(shop, row.whole.kitchen_cents + row.whole.frozen_cents)) }
                    td data-label="Together" { strong { (money(shop, row.whole.total_cents)) } }
                    td { @if !row.advised && !matches!(row.what, What::Wait | What::Nothing) {
                        button type="button" data-choice=(choice(row)) { "Do this" }
                    } }
                }
            } }
        }
        p.small { "Until the last of these trays has ended; later prices as good as they can be. Units are blocks, or portions of a tub." }
    }
}

pub fn other_price(shop: &Shop, p: &Proposal) -> Markup {
    let id = format!("price-{}", p.cut_code);
    markup! {
        form.note data-price=(p.cut_code) data-decimals=(shop.currency.decimals()) {
            label for=(id) { "Another price for 1 kg" }
            div.row {
                input id=(id) name="price" inputmode="decimal" autocomplete="off" maxlength="12";
                button type="submit" { "Lower to it" }
            }
        }
    }
}

const fn basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "from its own sales",
        Basis::Shop => "from the shop's sales",
        Basis::Stated => "a stated default",
        Basis::Told => "as told",
    }
}

pub fn assumptions(shop: &Shop, p: &Proposal) -> Markup {
    let a = &p.assumptions;
    let (forecast, terms) = (&a.forecast, &a.terms);
    let stays = match (a.same_when_low, a.same_when_high) {
        (true, true) => "the advice is the same at both ends",
        (true, false) => "at the upper end other advice would be better",
        (false, true) => "at the lower end other advice would be better",
        (false, false) => "at either end other advice would be better",
    };
    markup! {
        h3 { "What it rests on" }
        dl {
            dt { "Sales an hour at list price" }
            dd { (format!("{:.2}", a.units_per_hour)) ", likely " (format!("{:.2}", a.units_per_hour_low)) " to " (format!("{:.2}", a.units_per_hour_high))
                "; " (basis(forecast.basis)) ": " (forecast.units_sold) " sold in " (format!("{:.0}", forecast.hours_in_stock)) " h in stock. "
                a.reach href={ "/demand/" (p.cut_code) } { "See it" } }
            dt { "How demand answers to the price" }
            dd { (format!("{:.1}", a.elasticity)) ", " (basis(forecast.elasticity.basis)) "; tried from " (format!("{:.1}", a.elasticity_low)) " to " (format!("{:.1}", a.elasticity_high)) ": " (stays) "." }
            dt { "Opening hours until the first ends" }
            dd { (format!("{:.1}", a.hours_left)) }
            dt { "Kitchen" }
            dd { (shop.money(terms.kitchen_cents_per_kg.max(0))) "/kg, room for " (weight(a.kitchen_left_g)) " more today" }
            @if let Some(value) = terms.freezer_cents_per_kg { dt { "Freezer" } dd { (shop.money(value)) "/kg" } }
            @if terms.waste_cents_per_kg != 0 { dt { "Throwing away" } dd { "costs " (money(shop, terms.waste_cents_per_kg)) "/kg" } }
            dt { "Against waiting for the next review" }
            dd { (about(shop, p.gain_over_waiting_cents())) " more" }
        }
    }
}
