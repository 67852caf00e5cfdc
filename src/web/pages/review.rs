//! The morning review: what is best done now, a cut at a time, the most money at stake first. One touch accepts, another choice is a line of
//! the table, a mis-touch is taken back.

mod table;

use super::errands;
use super::layout::{page, time_left};
use super::visitor::{html, welcome};
use crate::domain::permissions::{Permission, Role};
use crate::domain::shop::Shop;
use crate::ops::carry::{self, Open};
use crate::ops::desk::Desk;
use crate::ops::keys;
use crate::ops::look::{all_cuts, all_places};
use crate::ops::review::decide::Taken;
use crate::ops::review::decide::of_day;
use crate::ops::review::stock::{Apart, Aside, Limit};
use crate::ops::review::words::near;
use crate::ops::review::{Day, Morning, Proposal, morning};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::web::api::keys::warning;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};
use std::collections::BTreeMap;

/// A clock, or the date on a label, by the name people use.
const fn limit_in_words(limit: Limit) -> &'static str {
    match limit {
        Limit::Clock(clock) => super::layout::clock_in_words(clock),
        Limit::Label => "the date on its label",
    }
}

/// Money, with its sign where something is lost.
fn money(shop: &Shop, cents: i64) -> String {
    if cents < 0 { format!("−{}", shop.money(-cents)) } else { shop.money(cents) }
}

/// Money of which nobody believes the last digits.
fn about(shop: &Shop, cents: i64) -> String {
    if cents < 0 { format!("−{}", near(shop, -cents)) } else { near(shop, cents) }
}

fn proposal(shop: &Shop, p: &Proposal, now: Instant) -> Markup {
    markup! {
        section.card.proposal data-cut=(p.cut_code) data-basis=(p.basis) {
            p.stake { strong { (about(shop, p.gain_over_nothing_cents())) } " at stake" }
            h2 { (p.cut_name) }
            p.sentence { (p.sentence) }
            @if let Some(again) = &p.again { p.caution { (again) } }
            @if let Some(on) = p.cause() {
                p.small { "First to end: " a.code href={ "/trays/" (on.tray.code) } { (on.tray.code.grouped()) } ", " (on.place_name) ", "
                    (time_left(Some(on.end), now)) " left (" (limit_in_words(on.limit)) ")." }
            }
            div.row {
                button.main type="button" data-accept=(p.cut_code) { "Accept" }
                button type="button" data-decline=(p.cut_code) { "Decline" }
            }
            details {
                summary { "Why, and what else could be done" }
                (table::rows(shop, p))
                (table::other_price(shop, p))
                (table::assumptions(shop, p))
            }
        }
    }
}

fn weight(grams: i64) -> String {
    Grams::new(grams).map(|grams| grams.to_string()).unwrap_or_default()
}

fn day(shop: &Shop, day: &Day) -> Markup {
    let (done, alone) = (&day.done, &day.alone);
    markup! {
        dl.card.day {
            dt { "If all of it is done" }
            dd { strong { (about(shop, done.total_cents)) } ", " (weight(done.wasted_g)) " thrown away" }
            dt { "If nothing is done" }
            dd { strong { (about(shop, alone.total_cents)) } ", " (weight(alone.wasted_g)) " thrown away" }
            dt { "Looked at" }
            dd { (day.trays) @if day.trays == 1 { " tray of " } @else { " trays of " } (day.cuts) @if day.cuts == 1 { " cut" } @else { " cuts" } }
        }
    }
}

fn decided(shop: &Shop, taken: &[Taken], names: &BTreeMap<String, String>, now: Instant) -> Markup {
    markup! {
        @if !taken.is_empty() {
            section.card id="decided" {
                h2 { "Decided today" }
                ul.plain {
                    @for Taken { decision, trays } in taken {
                        li.step data-decision=(decision.id) {
                            p { strong { (names.get(&decision.cut).unwrap_or(&decision.cut)) } " " (decision.way)
                                @if let Some(price) = decision.price_per_kg_cents { ", " (shop.money(price)) "/kg" }
                                @let kitchen: i64 = trays.iter().map(|t| t.kitchen_g).sum();
                                @let freeze = trays.iter().filter(|t| t.course == "freeze").count();
                                @if kitchen > 0 { ", " (weight(kitchen)) " to the kitchen" }
                                @if freeze > 0 { ", " (freeze) " to the freezer" }
                                @if let Some(note) = &decision.note { ": " (note) } }
                            p.small { (decision.decided_by) ", " (shop.zone.time_of(decision.at).format("%H:%M").to_string())
                                @if let Some(undone) = &decision.undone { "; taken back by " (undone.by) } "." }
                            @if decision.undone.is_none() && now.since(decision.at) <= shop.reversal_micros() {
                                button type="button" data-undo=(decision.id) { "Undo" }
                            }
                        }
                    }
                }
            }
        }
    }
}

const fn apart_in_words(why: Apart) -> &'static str {
    match why {
        Apart::Ended => "Take off the counter",
        Apart::Held => "On hold",
        Apart::Exposure => "Too long in the warm soon",
        Apart::Stopped => "Stopped",
        Apart::Reserved => "Reserved",
    }
}

fn aside(found: &[Aside], now: Instant) -> Markup {
    let of = |which: &dyn Fn(Apart) -> bool| found.iter().filter(|a| which(a.why)).collect::<Vec<&Aside>>();
    let (over, kept) = (of(&|why| why == Apart::Ended), of(&|why| why == Apart::Reserved));
    let held = of(&|why| !matches!(why, Apart::Ended | Apart::Reserved));
    markup! {
        @if !over.is_empty() {
            section.alarms id="take-off" {
                h2 { "Take off the counter" }
                ul { @for a in &over { (apart(a, now)) } }
            }
        }
        @if !held.is_empty() {
            section.card id="held" {
                h2 { "Holds, not markdowns" }
                p.small { "These are not made cheaper: look at them first." }
                ul.plain { @for a in &held { (apart(a, now)) } }
            }
        }
        @if !kept.is_empty() {
            section.card id="reserved" {
                h2 { "Laid aside for customers" }
                ul.plain { @for a in &kept { (apart(a, now)) } }
            }
        }
    }
}

fn apart(a: &Aside, now: Instant) -> Markup {
    let (tray, cut) = (&a.judged.facts.tray, &a.judged.facts.cut);
    markup! {
        li.step data-code=(tray.code) {
            p { strong { (cut.name) } " · " (tray.net) " · " a.reach.code href={ "/trays/" (tray.code) } { (tray.code.grouped()) } }
            p.small { (a.judged.place_name) ". " (apart_in_words(a.why)) ": " (a.reason)
                @if a.why == Apart::Exposure { " (" (time_left(a.judged.verdict.sell_until, now)) " left)" } "." }
            @if a.why == Apart::Ended { button type="button" data-waste=(tray.code) { "Thrown away" } }
        }
    }
}

/// All that the page shows.
struct Seen {
    morning: Morning,
    taken: Vec<Taken>,
    errands: Vec<Open>,
    freezers: Vec<(String, String)>,
    /// Of cuts, by their codes.
    names: BTreeMap<String, String>,
    keys: Vec<(String, i64)>,
}

fn review(shop: &Shop, role: Role, seen: &Seen, now: Instant) -> Markup {
    let proposals = &seen.morning.proposals;
    let gain: i64 = proposals.iter().map(Proposal::gain_over_nothing_cents).sum();
    markup! {
        h1 { "Morning review" }
        p.small { "As of " (shop.zone.write(now)) ". Estimates of a stated model; what they rest on stands with each." }
        p.beside { a.reach href="/demand" { "Demand" } a.reach href="/report" { "Did it pay?" } a.reach href="/plan" { "Next days" } }
        @for (name, days) in &seen.keys { p.card { "The key " strong { (name) } " " (warning(*days)) "." } }
        p.trouble id="trouble" role="alert" hidden {}
        @if proposals.is_empty() {
            p.card { @if seen.taken.is_empty() { "Nothing to decide: leave everything as it is." } @else { "Nothing more to decide for now." } }
        }
        @if proposals.len() > 1 {
            p { button.main id="accept-all" type="button" { "Accept all " (proposals.len()) ", about " (about(shop, gain)) " at stake" } }
        }
        @for p in proposals { (proposal(shop, p, now)) }
        (decided(shop, &seen.taken, &seen.names, now))
        (errands::section(shop, role, &seen.errands, &seen.freezers))
        (aside(&seen.morning.aside, now))
        @if seen.morning.day.cuts > 0 { h2 { "The day" } (day(shop, &seen.morning.day)) }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Review).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let look = move |desk: &Desk, _| {
        desk.look(|reading, shop| {
            let today = shop.zone.day_of(now).to_string();
            let places = all_places(reading)?.into_iter();
            let freezers = places.filter(|place| place.is_frozen()).map(|place| (place.code, place.name)).collect();
            Ok(Seen {
                morning: morning(reading, shop, now)?,
                taken: of_day(reading, &today)?,
                errands: carry::open(reading, shop, now)?,
                freezers,
                names: all_cuts(reading)?.into_iter().map(|(cut, _)| (cut.code, cut.name)).collect(),
                keys: keys::ending(reading, now)?,
            })
        })
    };
    match visitor.service.ask(look).await {
        Ok(seen) => {
            let shop = visitor.service.desk.shop();
            let script = Some("/assets/review.js");
            html(page(
                shop,
                Some(&visitor.actor),
                "Morning review",
                "/review",
                script,
                review(shop, visitor.actor.role, &seen, now),
            ))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/review", route::get().to(get));
}
