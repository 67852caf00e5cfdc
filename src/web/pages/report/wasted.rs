//! The part of the report about waste: how much of what left, week by week, for which reasons, of which cuts.

use super::bars::bar;
use super::{mass, money, week_in_words};
use crate::domain::shop::Shop;
use crate::ops::pay::waste::{Out, WasteReport};
use maud::{Markup, html};

/// So many are shown; words are free, and there may be many.
const REASONS: usize = 10;

fn percent(out: &Out) -> String {
    let Some(permille) = out.wasted_permille() else { return "–".to_owned() };
    format!("{}.{} %", permille / 10, permille % 10)
}

pub fn section(shop: &Shop, report: &WasteReport) -> Markup {
    let total = &report.total;
    let reasons = total.reasons();
    let dearest = reasons.iter().map(|reason| reason.portion.cost_cents).max().unwrap_or(0);
    let most = report.weeks.iter().map(|(_, out)| out.wasted.grams).max().unwrap_or(0);
    html! {
        section.card id="waste" {
            h2 { "What was wasted" }
            @if total.left_g() == 0 {
                p { "Nothing left the stock on these days." }
            } @else {
                p { "Of " (mass(total.left_g())) " that left for the counter, the kitchen or the bin, " strong { (mass(total.wasted.grams)) " (" (percent(total)) ")" }
                    " was thrown away. It had cost " strong { (money(shop, total.wasted.cost_cents)) } "."
                    @if total.returned.grams > 0 { " " (mass(total.returned.grams)) " of it was brought back by customers." }
                    @if total.counted.grams != 0 { " Apart from that, counts found " (mass(total.counted.grams.abs())) @if total.counted.grams > 0 { " missing" } @else { " more than the books" } "." } }
                h3 { "Week by week" }
                ul.bars {
                    @for (week, out) in &report.weeks {
                        li { span.name { (week_in_words(*week)) } (bar(out.wasted.grams, most)) span.value { (mass(out.wasted.grams)) ", " (percent(out)) ", " (money(shop, out.wasted.cost_cents)) } }
                    }
                }
                @if !reasons.is_empty() {
                    h3 { "Reasons" }
                    ul.bars {
                        @for reason in reasons.iter().take(REASONS) {
                            li { span.name { @if reason.returned { "Brought back: " } (if reason.text.is_empty() { "no reason" } else { &reason.text }) }
                                (bar(reason.portion.cost_cents, dearest)) span.value { (money(shop, reason.portion.cost_cents)) ", " (mass(reason.portion.grams)) } }
                        }
                    }
                    @if let Some(others) = reasons.get(REASONS..).filter(|others| !others.is_empty()) {
                        p.small { "And " (others.len()) " more reasons, together " (money(shop, others.iter().map(|reason| reason.portion.cost_cents).sum())) ". All of them are told at " code { "/v1/reports/waste" } "." }
                    }
                }
                h3 { "Cuts" }
                table {
                    thead { tr { th { "Cut" } th { "Wasted" } th { "Cost" } th { "Sold" } th { "Kitchen" } th { "Counted away" } } }
                    tbody {
                        @for (_, name, out) in &report.cuts {
                            tr {
                                td { (name) }
                                td data-label="Wasted" { (mass(out.wasted.grams)) small { " (" (percent(out)) ")" } }
                                td data-label="Cost" { (money(shop, out.wasted.cost_cents)) }
                                td data-label="Sold" { (mass(out.sold.grams)) }
                                td data-label="Kitchen" { (mass(out.kitchen.grams)) }
                                td data-label="Counted away" { (mass(out.counted.grams)) }
                            }
                        }
                    }
                }
                p.small { "Trim and drip of cutting are not in it; they stand with the story of each fish." }
            }
        }
    }
}
