//! The plan of the next days: of each cut how much to cut or order, why, and on what that rests. No script.

use super::layout::page;
use super::report::{mass, money};
use super::visitor::{html, welcome};
use crate::domain::demand::Basis;
use crate::domain::permissions::Permission;
use crate::domain::plan::{Cutting, Expected};
use crate::domain::shop::Shop;
use crate::domain::tray::Kind;
use crate::ops::desk::Desk;
use crate::ops::plan::{CostBasis, CutPlan, Leftover, OfDay, Planned, plans};
use crate::units::instant::Instant;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use chrono::NaiveDate;
use maud::{Markup, html as markup};

fn pieces(plan: &CutPlan, count: usize) -> String {
    let word = match (plan.cut.kind, count) {
        (Kind::Tub, 1) => "portion",
        (Kind::Tub, _) => "portions",
        (_, 1) => "piece",
        _ => "pieces",
    };
    format!("{count} {word}")
}

/// To the nearest whole one where there are many.
fn about(count: f64) -> String {
    if count < 9.95 { format!("{count:.1}") } else { format!("{count:.0}") }
}

fn day_word(shop: &Shop, day: NaiveDate, today: NaiveDate) -> String {
    match day.signed_duration_since(today).num_days() {
        0 => "Today".to_owned(),
        1 => "Tomorrow".to_owned(),
        _ => format!("{}, {}", day.format("%A"), shop.write_day(day)),
    }
}

fn grams(planned: &Planned, count: usize) -> String {
    mass(i64::try_from(count).unwrap_or(0).saturating_mul(planned.piece.grams))
}

/// The first day on which something can be cut.
fn first(planned: &Planned) -> Option<(&OfDay, Cutting)> {
    planned.days.iter().find_map(|day| day.cutting.map(|cutting| (day, cutting)))
}

fn why(shop: &Shop, plan: &CutPlan, planned: &Planned, today: NaiveDate) -> Markup {
    let Some((day, cutting)) = first(planned) else { return markup! {} };
    let (when, best) = (day_word(shop, day.day, today).to_lowercase(), cutting.best);
    markup! {
        p { @match plan.shelf_pieces {
                0 => "Nothing is there",
                count => { (pieces(plan, count)) @if count == 1 { " is" } @else { " are" } " there, of which about " (about(plan.shelf_sells)) " will sell in time" },
            }
            "; about " (about(day.asked)) " are asked for " (when) ". "
            @if best.pieces == 0 {
                "One more would sell with " (percent(cutting.more.runs_out)) ": too little for what it costs."
            } @else {
                "Cut in one go " (when) ", for the " (planned.piece.life_hours) " h that a piece keeps: of " (best.pieces) " about " (about(best.sold)) " will sell, and bring "
                strong { (money(shop, cents(best.profit))) } " over their cost. "
                @if day.day_by_day < best.pieces { "Until the next cutting " (day.day_by_day) " are enough; the rest can be cut then, fresher." }
            }
        }
    }
}

fn cents(amount: f64) -> i64 {
    amount.round() as i64
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

fn row(shop: &Shop, planned: &Planned, expected: &Expected, name: &str) -> Markup {
    markup! {
        tr {
            td { (name) ": " strong { (expected.pieces) } " (" (grams(planned, expected.pieces)) ")" }
            td data-label="Brings over cost" { (money(shop, cents(expected.profit))) }
            td data-label="Sells out" { (percent(expected.runs_out)) }
            td data-label="Left over" { (about(expected.left)) }
        }
    }
}

fn how_flat(shop: &Shop, planned: &Planned, cutting: &Cutting) -> Markup {
    markup! {
        table {
            thead { tr { th { "Cut or order" } th { "Brings over cost" } th { "Sells out" } th { "Left over" } } }
            tbody {
                @if let Some(less) = &cutting.less { (row(shop, planned, less, "One less")) }
                (row(shop, planned, &cutting.best, "Best"))
                (row(shop, planned, &cutting.more, "One more"))
            }
        }
    }
}

fn evidence(shop: &Shop, plan: &CutPlan, planned: &Planned) -> Markup {
    let (piece, forecast) = (&planned.piece, &plan.forecast);
    markup! {
        details {
            summary { "What this rests on" }
            ul.plain {
                li { "Demand: " (format!("{:.2}", forecast.belief.mean())) " an average opening hour at the list price, "
                    @match forecast.basis {
                        Basis::Own => { "from " (forecast.units_sold) " sold in " (format!("{:.0}", forecast.hours_in_stock)) " hours in stock." }
                        Basis::Shop => { "mostly from the shop's other cuts: only " (forecast.units_sold) " of this one were sold." }
                        Basis::Stated => { "a stated default: only " (forecast.units_sold) " of this one were sold." }
                        Basis::Told => "as somebody said.",
                    } }
                li { "A piece: " (mass(piece.grams)) ", sold at " (money(shop, piece.price_per_kg_cents)) "/kg, keeps " (piece.life_hours) " h from its cutting"
                    @if piece.trays_seen > 0 { " (the middle of the last " (piece.trays_seen) " trays)" } "." }
                li { "Cost: " (money(shop, piece.cost_per_kg_cents)) "/kg, "
                    @match piece.cost_basis { CostBasis::Said => "as said of the cut.", CostBasis::Ledger => "what the last trays cost by the ledger." } }
                li { @match piece.leftover {
                    Leftover::Kitchen => { "What is left over goes to the kitchen in time, for " (money(shop, cents(piece.money.left))) " a piece." }
                    Leftover::Waste => "What is left over is thrown away.",
                    Leftover::KitchenNotCounted => "The kitchen would pay more than it costs; the plan does not cut for the kitchen and counts what is left as thrown away.",
                } }
                @for day in &planned.days {
                    li { (shop.write_day(day.day)) ", of what is there now, if as much is asked for as expected: " (mass(day.shelf.sold)) " sold, " (mass(day.shelf.expired)) " ends, "
                        (mass(day.shelf.lost)) " is missing, " (mass(day.shelf.end)) " left." }
                }
            }
        }
    }
}

fn one(shop: &Shop, plan: &CutPlan, planned: &Planned, today: NaiveDate) -> Markup {
    let cutting = first(planned);
    markup! {
        section.card.plan data-cut=(plan.cut.code) {
            h2 { (plan.cut.name) }
            table.days {
                thead { tr { th {} @for day in &planned.days { th { (day_word(shop, day.day, today)) } } } }
                tbody {
                    tr { td { "Cut every day" } @for day in &planned.days { (number(shop, plan, planned, day, today, |day| day.day_by_day)) } }
                    tr { td { "Or in one go" } @for day in &planned.days { (number(shop, plan, planned, day, today, |day| day.cutting.map_or(0, |cutting| cutting.best.pieces))) } }
                }
            }
            (why(shop, plan, planned, today))
            @if let Some((day, cutting)) = cutting {
                p.small { "In one go " (day_word(shop, day.day, today).to_lowercase()) ", and one less or more:" }
                (how_flat(shop, planned, &cutting))
            }
            (evidence(shop, plan, planned))
        }
    }
}

fn number(
    shop: &Shop,
    plan: &CutPlan,
    planned: &Planned,
    day: &OfDay,
    today: NaiveDate,
    count: impl Fn(&OfDay) -> usize,
) -> Markup {
    let count = count(day);
    markup! {
        td data-label=(day_word(shop, day.day, today)) {
            @match (day.cutting, count) {
                (None, _) => "closed",
                (_, 0) => "nothing",
                _ => { strong { (pieces(plan, count)) } small { " " (grams(planned, count)) } }
            }
        }
    }
}

fn content(shop: &Shop, found: &[CutPlan], now: Instant) -> Markup {
    let today = shop.zone.day_of(now);
    let planned = found.iter().filter_map(|plan| plan.planned.as_ref().ok().map(|planned| (plan, planned)));
    let unknown = || found.iter().filter_map(|plan| plan.planned.as_ref().err().map(|missing| (plan, missing)));
    markup! {
        h1 { "Plan for the next days" }
        p.small { "As of " (shop.zone.write(now)) ". The most money first. Each number comes behind what is there and what was planned before it." }
        p.caution { "An estimate of what sells. The fish itself decides: its quality when it is cut, its own clocks, and the local food code." }
        @for (plan, planned) in planned { (one(shop, plan, planned, today)) }
        @if unknown().next().is_some() {
            section.card id="unplanned" {
                h2 { "No plan" }
                ul.plain { @for (plan, missing) in unknown() {
                    li { strong { (plan.cut.name) } ": " @for (place, missing) in missing.iter().enumerate() { @if place > 0 { "; " } (missing.in_words()) } "." }
                } }
            }
        }
        @if found.is_empty() { p.card { "No cut is sold over the counter yet." } }
        p { a.reach href="/report" { "Report" } " · " a.reach href="/review" { "Morning review" } }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Review).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let look = move |desk: &Desk, _| desk.look(|reading, shop| plans(reading, shop, now));
    match visitor.service.ask(look).await {
        Ok(found) => {
            let shop = visitor.service.desk.shop();
            let content = content(shop, &found, now);
            html(page(shop, Some(&visitor.actor), "Plan for the next days", "/plan", None, content))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/plan", route::get().to(get));
}
