//! One tray: may it be sold, what is left of it and why, the story of its life, and its label.

use super::layout::{clock_in_words, page, span_in_words, time_left};
use super::place::percent;
use super::plot::{self, Picture};
use super::prints::tray_buttons;
use super::visitor::{html, see_other, welcome};
use crate::domain::life::clocks::{ClockAnswer, Life};
use crate::domain::life::wear::Wear;
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::ops::board::{self, Judged};
use crate::ops::label::is_labelled;
use crate::ops::story::{self, StayTold, Story, TakenOver, TrayLife};
use crate::ops::stretch::because;
use crate::units::instant::Instant;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// Everything the page of a tray shows.
struct Told {
    judged: Judged,
    life: TrayLife,
    story: Story,
    labelled: bool,
    /// Names of the printers that whoever looks may use.
    printers: Vec<String>,
}

fn tray_page(shop: &Shop, told: &Told, now: Instant) -> Markup {
    let (judged, tray) = (&told.judged, &told.judged.facts.tray);
    markup! {
        h1 { (judged.facts.cut.name) " " small.code { (tray.code.grouped()) } }
        section.card {
            dl {
                dt { "Verdict" } dd {
                    @if judged.verdict.stops.is_empty() { "May be sold" }
                    @for stop in &judged.verdict.stops { p { strong { "Stop: " } (stop.reason) } }
                }
                dt { "Left" } dd { (left(shop, judged, now)) }
                dt { "Weight" } dd { (tray.net) }
                dt { "Price" } dd { (shop.money(tray.price)) "/kg" @if tray.marked_down() { " (was " (shop.money(tray.list_price)) "/kg)" } }
                dt { "Place" } dd { a href={ "/places/" (tray.place) } { (judged.place_name) } }
                dt { "Fish" } dd { (judged.lot_codes.join(", ")) }
            }
        }
        (life_card(shop, &told.life))
        (story_card(shop, &told.story))
        (label_card(judged, told.labelled, &told.printers))
    }
}

fn left(shop: &Shop, judged: &Judged, now: Instant) -> Markup {
    markup! {
        (time_left(judged.verdict.sell_until, now))
        @if let Some(until) = judged.verdict.sell_until {
            ", until " (shop.zone.write(until))
            @if judged.facts.tray.use_by == Some(until) { ", as its label says" }
        }
    }
}

/// The clocks, how much of the time was measured, and what a reader should know.
fn life_card(shop: &Shop, told: &TrayLife) -> Markup {
    let life = &told.facts.life;
    markup! {
        section.card {
            h2 { "What is left" }
            ul.clocks { @for answer in life.clocks.iter() { (clock_row(shop, life, answer)) } }
            p { "Of its life " (span_in_words(life.wear.measured_micros)) " were measured and " (span_in_words(life.wear.assumed_micros)) " were not: they count at the worst." }
            @if told.facts.tray.in_stock() { p { (because(&life.projection).1) } }
            @for warning in life.warnings.iter() { p.caution { (warning.in_words()) } }
            @if !told.validated.is_empty() {
                h3 { "Looser than the profile " (shop.jurisdiction.as_str().to_uppercase()) }
                ul.plain { @for own in &told.validated { li {
                    code { (own.name) } ": " (own.value) " instead of " (own.profile_value) ". Validated by the shop: " (own.validated.as_deref().unwrap_or(""))
                } } }
            }
        }
    }
}

fn clock_row(shop: &Shop, life: &Life, answer: &ClockAnswer) -> Markup {
    let limiting = life.limiting == Some(answer.clock);
    let ended = answer.ends_at.is_some_and(|end| life.at > end);
    markup! {
        li.limiting[limiting] {
            span.name { (clock_in_words(answer.clock)) @if limiting { " " span.badge { "ends first" } } }
            progress max="1000" value=(answer.used_permille) aria-label={ (clock_in_words(answer.clock)) ", share used" } {}
            span.share { (percent(answer.used_permille)) " used" }
            span.end { @match answer.ends_at {
                None => "stands still",
                Some(end) if ended => { strong { "ended " } (shop.zone.write(end)) }
                Some(end) => { (time_left(Some(end), life.at)) ", until " (shop.zone.write(end)) }
            } }
        }
    }
}

/// The curve across its places, and what each of them cost.
fn story_card(shop: &Shop, story: &Story) -> Markup {
    markup! {
        section.card {
            h2 { "Its life" }
            @if let Some(picture) = picture(shop, story) {
                (plot::draw(&picture))
                (plot::legend(&picture))
                p.small { (plot::in_words(&picture)) }
            }
            @for taken in &story.taken_over { (taken_over(shop, taken)) }
            ol.stays { @for stay in &story.stays { (stay_row(shop, stay, story.at)) } }
        }
    }
}

fn picture<'a>(shop: &Shop, story: &'a Story) -> Option<Picture<'a>> {
    let from = story.stays.first()?.from;
    // Nothing is drawn of a tray that has just come.
    (from < story.at).then(|| Picture {
        id: "tray",
        title: "Temperatures this tray lived through",
        zone: shop.zone,
        from,
        to: story.at,
        traces: story.stays.iter().map(|stay| &stay.trace).collect(),
        alarms: Vec::new(),
        borders: story.stays.iter().map(|stay| (stay.from, stay.place_name.as_str())).collect(),
    })
}

fn taken_over(shop: &Shop, taken: &TakenOver) -> Markup {
    markup! {
        div.step {
            p { (if taken.poured { "Poured in" } else { "Cut" }) " on " (shop.zone.write(taken.at)) " from "
                @for code in &taken.from_trays { a.reach.code href={ "/trays/" (code) } { (code) } " " } }
            p { "What it took over " (cost_in_words(&taken.added)) "." }
        }
    }
}

fn stay_row(shop: &Shop, stay: &StayTold, now: Instant) -> Markup {
    markup! {
        li.step {
            p { a.reach href={ "/places/" (stay.place_code) } { (stay.place_name) } " " (span_in_words(stay.to.unwrap_or(now).since(stay.from))) }
            p.small { (shop.zone.write(stay.from)) " to " @match stay.to { Some(to) => (shop.zone.write(to)), None => "now" } }
            p { "It " (cost_in_words(&stay.cost)) "." }
        }
    }
}

/// What fish lived through, as far as there is anything to say.
fn cost_in_words(wear: &Wear) -> String {
    let mut parts = vec![format!("counts as {} at 0 °C", span_in_words(wear.raw_micros))];
    for (micros, words) in [
        (wear.exposed_micros, "above the cold limit"),
        (wear.frozen_micros, "of frozen storage at -18 °C"),
        (wear.assumed_micros, "not measured"),
    ] {
        if micros > 0 {
            parts.push(format!("{} {words}", span_in_words(micros)));
        }
    }
    parts.join(", ")
}

fn label_card(judged: &Judged, labelled: bool, printers: &[String]) -> Markup {
    let tray = &judged.facts.tray;
    markup! {
        @if !tray.in_stock() {
        } @else if labelled && tray.label_wanted.is_none() {
            section.card { h2 { "Label" } img.label src={ "/v1/trays/" (tray.code) "/label.png" } alt={ "Label of tray " (tray.code.grouped()) };
                p { a.reach href={ "/trays/" (tray.code) "/preview" } { "True size, check list, PDF" } }
                (tray_buttons(&tray.code.to_string(), printers, true)) }
        } @else {
            section.card { h2 { "Label" }
                p { @match tray.label_wanted { Some(wanted) => { "A label is wanted: " (wanted.as_str().replace('_', " ")) "." }, None => "It has no label yet." } }
                form method="post" action={ "/trays/" (tray.code) "/label" } { button.main type="submit" { "Issue the label" } }
                (tray_buttons(&tray.code.to_string(), printers, false)) }
        }
    }
}

async fn get(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadRecords).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let prints = Permission::PrintLabels.allows(visitor.actor.role);
    let found = visitor.service.ask(move |desk, _| {
        let printers = desk.printers().all().into_iter().filter(|_| prints).map(|(printer, _)| printer.name.clone());
        let printers = printers.collect();
        desk.look(|reading, shop| {
            let judged = board::one(reading, shop, now, &code)?;
            let labelled = is_labelled(reading, &judged.facts.tray)?;
            let life = story::tray_life(reading, shop, now, &code)?;
            Ok(Told { labelled, judged, life, story: story::of_tray(reading, now, &code, None)?, printers })
        })
    });
    match found.await {
        Ok(told) => {
            let shop = visitor.service.desk.shop();
            html(page(shop, Some(&visitor.actor), "Tray", "", None, tray_page(shop, &told, now)))
        }
        Err(problem) => problem.error_response(),
    }
}

async fn post(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::PrintLabels).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let (actor, code) = (visitor.actor.clone(), code.into_inner());
    let back = format!("/trays/{code}");
    let issued = visitor.service.ask(move |desk, now| {
        let press = desk.press();
        desk.act(move |tx, shop| crate::ops::label::issue(tx, shop, &press, &actor, now, &code, None))
    });
    match issued.await {
        Ok(_) => see_other(&back),
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/trays/{code}", route::get().to(get));
    config.route("/trays/{code}/label", web::post().to(post));
}
