//! One tray: what it is, where it was, and its label.

use super::layout::{page, time_left};
use super::visitor::{html, welcome};
use crate::domain::life::wear::permille;
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::ops::board::{self, Judged};
use crate::ops::look::{self, StayRow};
use crate::units::instant::Instant;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

fn tray_page(shop: &Shop, judged: &Judged, stays: &[StayRow], now: Instant) -> Markup {
    let tray = &judged.facts.tray;
    markup! {
        h1 { (judged.facts.cut.name) " " small.code { (tray.code.grouped()) } }
        section.card {
            dl {
                dt { "Verdict" } dd {
                    @if judged.verdict.stops.is_empty() { "May be sold" }
                    @for stop in &judged.verdict.stops { p { strong { "Stop: " } (stop.reason) } }
                }
                dt { "Left" } dd { (time_left(judged.verdict.sell_until, now)) @if let Some(until) = judged.verdict.sell_until { ", until " (shop.zone.write(until)) } }
                dt { "Raw life used" } dd { (permille(judged.facts.life.wear.raw_micros, tray.lived.budgets.raw_micros) / 10) " %" }
                dt { "Weight" } dd { (tray.net) }
                dt { "Price" } dd { (shop.money(tray.price)) "/kg" @if tray.marked_down() { " (was " (shop.money(tray.list_price)) "/kg)" } }
                dt { "Place" } dd { (judged.place_name) }
                dt { "Fish" } dd { (judged.lot_codes.join(", ")) }
            }
        }
        @if tray.use_by.is_some() && tray.label_wanted.is_none() && tray.in_stock() {
            section.card { h2 { "Label" } img.label src={ "/v1/trays/" (tray.code) "/label.png" } alt={ "Label of tray " (tray.code.grouped()) }; }
        } @else if let Some(wanted) = tray.label_wanted {
            section.card { h2 { "Label" } p { "A label is wanted: " (wanted.as_str().replace('_', " ")) "." }
                form method="post" action={ "/trays/" (tray.code) "/label" } { button.main type="submit" { "Issue the label" } } }
        }
        section.card {
            h2 { "Where it was" }
            ul.plain { @for stay in stays {
                li { (stay.place_code) ": " (shop.zone.write(stay.from)) " to " @match stay.to { Some(to) => (shop.zone.write(to)), None => "now" } }
            } }
        }
    }
}

async fn get(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadStock).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let found = visitor.service.ask(move |desk, _| {
        desk.look(|reading, shop| Ok((board::one(reading, shop, now, &code)?, look::stays(reading, &code)?.1)))
    });
    match found.await {
        Ok((judged, stays)) => {
            let shop = visitor.service.desk.shop();
            html(page(shop, Some(&visitor.actor), "Tray", "", None, tray_page(shop, &judged, &stays, now)))
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
    let issued = visitor
        .service
        .ask(move |desk, now| desk.act(move |tx, shop| crate::ops::label::issue(tx, shop, &actor, now, &code, None)));
    match issued.await {
        Ok(_) => super::visitor::see_other(&back),
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/trays/{code}", route::get().to(get));
    config.route("/trays/{code}/label", web::post().to(post));
}
