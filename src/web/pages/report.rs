//! The report: did the advice pay, does what was said come true, and what was wasted. Bars with their numbers beside them; no script.

mod bars;
mod wasted;

use super::layout::page;
use super::visitor::{html, welcome};
use crate::domain::calibration::{Bin, Calibration, Word};
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::ops::desk::Desk;
use crate::ops::pay::waste::{WasteReport, waste};
use crate::ops::pay::{AdviceReport, DAYS_LIMIT, OfWeek, Range, Sum, WAYS, Week, advice};
use crate::units::mass::Grams;
use crate::web::api::reports::{DaysQuery, days};
use crate::web::api::stock::query;
use crate::web::clock;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use bars::{bar, ticked};
use maud::{Markup, html as markup};

/// An amount that may be below zero.
pub fn money(shop: &Shop, cents: i64) -> String {
    let amount = shop.money(cents.saturating_abs());
    if cents < 0 { format!("−{amount}") } else { amount }
}

/// A mass that may be below zero, or more than a tray can weigh.
pub fn mass(grams: i64) -> String {
    let size = grams.saturating_abs();
    let text = match Grams::new(size) {
        Ok(grams) => grams.to_string(),
        Err(_) => format!("{}.{:03} kg", size / 1_000, size % 1_000),
    };
    if grams < 0 { format!("−{text}") } else { text }
}

/// Which day to which, to be chosen without a script.
fn choose(range: Range, trouble: Option<&str>) -> Markup {
    markup! {
        form.choose action="/report" method="get" {
            div { label for="from" { "From" } input id="from" name="from" type="date" value=(range.from) required; }
            div { label for="to" { "To" } input id="to" name="to" type="date" value=(range.to) required; }
            button type="submit" { "Show" }
        }
        @if let Some(trouble) = trouble { p.trouble id="trouble" role="alert" { (trouble) } }
    }
}

const fn way_in_words(way: &str) -> &'static str {
    match way.as_bytes() {
        b"accepted" => "Accepted",
        b"changed" => "Changed",
        _ => "Declined",
    }
}

/// One sentence that a busy person understands.
fn verdict(shop: &Shop, report: &AdviceReport) -> Markup {
    let taken: Vec<&Sum> = report.ways.iter().take(2).collect();
    let over: usize = taken.iter().map(|sum| sum.over).sum();
    let pending: usize = report.ways.iter().map(|sum| sum.pending).sum();
    let of = |value: fn(&Sum) -> i64| taken.iter().map(|sum| value(sum)).sum::<i64>();
    let (came, expected) = (of(|sum| sum.came.total_cents), of(|sum| sum.expected.total_cents));
    let alone = of(|sum| sum.alone.total_cents);
    let gained = came - alone;
    markup! {
        @match over {
            0 => { p { "No advice that was followed in these days is over yet: there is nothing to compare with what was expected." } }
            _ => {
                p { (over) @if over == 1 { " decision that was followed is over. It" } @else { " decisions that were followed are over. They" }
                    " brought " strong { (money(shop, came)) } "; " (money(shop, expected)) " was expected, and " (money(shop, alone))
                    " had everything been left alone: " strong { (money(shop, gained.abs())) @if gained < 0 { " less" } @else { " more" } }
                    " than leaving alone was expected to bring." }
            }
        }
        @if pending > 0 { p.small { (pending) @if pending == 1 { " decision is" } @else { " decisions are" } " not over yet: some of the trays are still for sale. They are not in the sums." } }
    }
}

fn sum_row(shop: &Shop, name: Markup, sum: &Sum) -> Markup {
    let came = &sum.came;
    markup! {
        tr {
            td { (name) @if sum.pending > 0 { br; small { (sum.pending) " not over yet" } } }
            td data-label="Over" { (sum.over) }
            td data-label="Expected" { (money(shop, sum.expected.total_cents)) br; small { (mass(sum.expected.sold_g)) " sold, " (mass(sum.expected.wasted_g)) " wasted" } }
            td data-label="Left alone, expected" { (money(shop, sum.alone.total_cents)) br; small { (mass(sum.alone.sold_g)) " sold, " (mass(sum.alone.wasted_g)) " wasted" } }
            td data-label="Came" { strong { (money(shop, came.total_cents)) } br; small { (mass(came.sold_g)) " sold for " (money(shop, came.revenue_cents))
                @if came.returned_g != 0 { ", " (mass(came.returned_g)) " of it brought back" }
                @if came.kitchen_g != 0 { ", " (mass(came.kitchen_g)) " to the kitchen" }
                @if came.frozen_g != 0 { ", " (mass(came.frozen_g)) " frozen" }
                ", " (mass(came.wasted_g)) " wasted"
                @if came.counted_g != 0 { ", " (mass(came.counted_g)) " counted away" }
                @if came.passed_on_g != 0 { ", " (mass(came.passed_on_g)) " cut or poured on" }
                @if came.came_in_g != 0 { ", " (mass(came.came_in_g)) " came in since" }
                @if came.still_g != 0 { ", " (mass(came.still_g)) " ended and still there" } } }
        }
    }
}

fn sum_table(first: &str, rows: Markup) -> Markup {
    markup! {
        table.sums {
            thead { tr { th { (first) } th { "Over" } th { "Expected" } th { "Left alone, expected" } th { "Came" } } }
            tbody { (rows) }
        }
    }
}

pub fn week_in_words(week: Week) -> String {
    format!("Week {}, {}", week.week, week.year)
}

fn week_bars(shop: &Shop, weeks: &[OfWeek]) -> Markup {
    let values = |week: &OfWeek| {
        let taken = &week.taken;
        [taken.alone.total_cents, taken.expected.total_cents, taken.came.total_cents]
    };
    let most = weeks.iter().flat_map(values).max().unwrap_or(0).max(1);
    markup! {
        @for week in weeks.iter().filter(|week| week.taken.over > 0) {
            h3 { (week_in_words(week.week)) small { " · " (week.taken.over) " over" } }
            ul.bars {
                @for (name, value) in ["Left alone, expected", "Expected", "Came"].into_iter().zip(values(week)) {
                    li { span.name { (name) } (bar(value, most)) span.value { (money(shop, value)) } }
                }
            }
        }
    }
}

fn paid(shop: &Shop, report: &AdviceReport) -> Markup {
    let ways = WAYS.iter().zip(&report.ways).filter(|(_, sum)| sum.over + sum.pending > 0);
    let several = report.weeks.iter().any(|week| week.taken.over > 0);
    markup! {
        section.card id="paid" {
            h2 { "Did the advice pay?" }
            (verdict(shop, report))
            @if !report.decisions.is_empty() {
                (sum_table("Decided", markup! { @for (way, sum) in ways { (sum_row(shop, markup! { (way_in_words(way)) }, sum)) } }))
                p.small { "What was declined is followed too, beside what was expected of leaving it for then. That is no experiment: days, fish and customers differ, and whoever declined may have known why. "
                    "Kitchen and waste count at what they are worth and cost now. A tray that two decisions looked at counts in both." }
            }
            @if several { (week_bars(shop, &report.weeks)) }
        }
        @if report.cuts.iter().any(|cut| cut.sum.over > 0) {
            section.card id="cuts" {
                h2 { "Cut by cut" }
                (sum_table("Cut", markup! { @for cut in report.cuts.iter().filter(|cut| cut.sum.over > 0) {
                    (sum_row(shop, markup! { (cut.cut_name) br; small { (way_in_words(&cut.way)) } }, &cut.sum))
                } }))
            }
        }
    }
}

const fn word(bin: &Bin) -> &'static str {
    match bin.word {
        Word::TooFew => "too few to say",
        Word::Fits => "as said",
        Word::Oftener => "sold oftener than said",
        Word::Rarer => "sold more rarely than said",
    }
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

fn calibrated(found: &Calibration) -> Markup {
    markup! {
        section.card id="calibration" {
            h2 { "Did what was said come true?" }
            @if found.bins.is_empty() {
                p { "No forecast of these days has come to its end yet." }
            } @else {
                table {
                    thead { tr { th { "Said to sell" } th { "Trays" } th { "Sold" } th { "The bar is what sold, the mark what was said" } th { "So" } } }
                    tbody {
                        @for bin in &found.bins {
                            tr {
                                td data-label="Said to sell" { (percent(bin.forecast)) }
                                td data-label="Trays" { (bin.count) }
                                td data-label="Sold" { (percent(bin.happened)) br; small { "likely between " (percent(bin.low)) " and " (percent(bin.high)) } }
                                td { (ticked(bin.happened, bin.forecast)) }
                                td data-label="So" { (word(bin)) }
                            }
                        }
                    }
                }
                @if let Some(brier) = found.brier {
                    p.small { "Brier score " (format!("{:.3}", brier.score)) " of " (found.count) " trays (0 is best; always saying the mean scores "
                        (format!("{:.3}", brier.uncertainty)) "): off what was said by " (format!("{:.3}", brier.reliability)) ", told apart by " (format!("{:.3}", brier.resolution)) ". "
                        "The range is Wilson's, 95 %. Below 20 trays nothing is said." }
                }
            }
        }
    }
}

fn content(shop: &Shop, range: Range, advice: &AdviceReport, wasted: &WasteReport, may_plan: bool) -> Markup {
    markup! {
        h1 { "Report" }
        @if may_plan { p { a.reach href="/plan" { "Plan for the next days" } } }
        (choose(range, None))
        (paid(shop, advice))
        (calibrated(&advice.calibration))
        (wasted::section(shop, wasted))
    }
}

/// The report of the days asked for; what cannot be read as days is answered with the usual ones and a word.
async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadCost).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let asked = query::<DaysQuery>(&request).and_then(|asked| days(&asked));
    let (shop, actor) = (visitor.service.desk.shop(), Some(&visitor.actor));
    let range = match asked.and_then(|(from, to)| Range::asked(shop, now, from, to).map_err(Problem::from)) {
        Ok(range) => range,
        Err(_) => {
            let text = format!("The first day must not be after the last, and at most {DAYS_LIMIT} days are shown.");
            let content = markup! { h1 { "Report" } (choose(Range::usual(shop, now), Some(&text))) };
            return html(page(shop, actor, "Report", "/report", None, content));
        }
    };
    let look = move |desk: &Desk, _| {
        desk.look(|reading, shop| Ok((advice(reading, shop, now, range)?, waste(reading, shop, range)?)))
    };
    match visitor.service.ask(look).await {
        Ok((found, wasted)) => {
            let may_plan = Permission::Review.allows(visitor.actor.role);
            html(page(shop, actor, "Report", "/report", None, content(shop, range, &found, &wasted, may_plan)))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/report", route::get().to(get));
}
