//! The morning review: what ends soon, what is advised, accepted in one touch.

use super::layout::{page, time_left};
use super::visitor::{html, welcome};
use crate::domain::permissions::Permission;
use crate::domain::review::Advice;
use crate::domain::shop::Shop;
use crate::ops::desk::Desk;
use crate::ops::keys;
use crate::ops::review::{Candidate, candidates};
use crate::units::instant::Instant;
use crate::web::api::keys::warning;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

fn candidate(shop: &Shop, c: &Candidate, now: Instant) -> Markup {
    let tray = &c.judged.facts.tray;
    markup! {
        li.candidate data-code=(tray.code) {
            div {
                p { strong { (c.judged.facts.cut.name) } " · " (tray.species) " · " (tray.net) " · " a href={ "/trays/" (tray.code) } { (tray.code.grouped()) } }
                p.small { (c.judged.place_name) ", "
                    @if c.sell_until < now { "ended " } @else { (time_left(Some(c.sell_until), now)) " left, until " }
                    (shop.zone.write(c.sell_until)) }
            }
            @match c.advice {
                Advice::MarkDown(price) => {
                    div.prices { del { (shop.money(tray.price)) "/kg" } " " strong { (shop.money(price)) "/kg" } }
                    button.main type="button" data-accept=(tray.code) { "Mark down" }
                }
                Advice::Kitchen => { p.advice { "To the kitchen now" } button type="button" data-kitchen=(tray.code) { "Sent to the kitchen" } }
                Advice::TakeOff => { p.advice { strong { "Take off the counter" } ": its life has ended" } button type="button" data-waste=(tray.code) { "Thrown away" } }
            }
        }
    }
}

fn review(shop: &Shop, found: &[Candidate], ending: &[(String, i64)], now: Instant) -> Markup {
    let markdowns = found.iter().filter(|c| matches!(c.advice, Advice::MarkDown(_))).count();
    markup! {
        h1 { "Morning review" }
        p.small { "As of " (shop.zone.write(now)) ". Steps: "
            @for step in &shop.ladder.steps { (step.off_permille / 10) " % off within " (step.within_hours) " h, " }
            "the kitchen within " (shop.ladder.kitchen_within_hours) " h." }
        @for (name, days) in ending { p.card { "The key " strong { (name) } " " (warning(*days)) "." } }
        p.trouble id="trouble" role="alert" hidden {}
        @if found.is_empty() { p.card { "Nothing ends soon. Leave everything as it is." } }
        @if markdowns > 1 { p { button.main id="accept-all" type="button" { "Mark down all " (markdowns) } } }
        ul.candidates { @for c in found { (candidate(shop, c, now)) } }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Review).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let look = move |desk: &Desk, _| {
        desk.look(|reading, shop| Ok((candidates(reading, shop, now)?, keys::ending(reading, now)?)))
    };
    match visitor.service.ask(look).await {
        Ok((found, ending)) => {
            let shop = visitor.service.desk.shop();
            html(page(
                shop,
                Some(&visitor.actor),
                "Morning review",
                "/review",
                Some("/assets/review.js"),
                review(shop, &found, &ending, now),
            ))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/review", route::get().to(get));
}
