//! The board: open alarms, then what is in each place, the first to end first.

use super::alarm::on_top;
use super::errands;
use super::exceptions;
use super::fitness;
use super::layout::{page, time_left, urgency};
use super::visitor::{html, welcome};
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::domain::tray::Kind;
use crate::ops::alarm;
use crate::ops::board::{Judged, in_stock};
use crate::ops::carry;
use crate::ops::settle;
use crate::units::instant::Instant;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};
use std::collections::BTreeMap;

fn row(shop: &Shop, judged: &Judged, now: Instant) -> Markup {
    let tray = &judged.facts.tray;
    let price = if tray.kind == Kind::Block {
        shop.money(tray.price.for_weight(tray.net))
    } else {
        format!("{}/kg", shop.money(tray.price))
    };
    markup! {
        li class=(urgency(&judged.verdict, now)) {
            a.code href={ "/trays/" (tray.code) } { (tray.code.grouped()) }
            span.what { (judged.facts.cut.name) " " small { (tray.species) } }
            span.weight { (tray.net) }
            span.price {
                @if tray.kind != Kind::Bulk {
                    @if tray.marked_down() { del { (shop.money(tray.list_price)) "/kg" } " " }
                    (price)
                }
            }
            span.left {
                @match judged.verdict.stops.first().filter(|_| tray.kind != Kind::Bulk) {
                    Some(stop) if stop.code.as_str() == "frozen" => "frozen",
                    Some(stop) => { strong { "Stop: " } (stop.code.as_str().replace('_', " ")) }
                    None => (time_left(judged.verdict.sell_until, now)),
                }
                @if let Some(wanted) = tray.label_wanted { " " span.badge { "label: " (wanted.as_str().replace('_', " ")) } }
            }
        }
    }
}

fn board(shop: &Shop, stock: &[Judged], now: Instant) -> Markup {
    let mut places: BTreeMap<(&str, &str), Vec<&Judged>> = BTreeMap::new();
    for judged in stock {
        let place = (judged.place_name.as_str(), judged.facts.tray.place.as_str());
        places.entry(place).or_default().push(judged);
    }
    for trays in places.values_mut() {
        trays.sort_by_key(|j| (j.verdict.sell_until.unwrap_or(Instant::EPOCH.plus_micros(i64::MAX)), j.facts.tray.id));
    }
    markup! {
        h1 { "Board" }
        p.small { "As of " (shop.zone.write(now)) ". " (stock.len()) " trays in stock. In each place the first to end stands first." }
        @if stock.is_empty() { p.card { "Nothing is in stock. A lot that is received and broken down appears here." } }
        @for ((name, code), trays) in &places {
            section.card {
                h2 { a.reach href={ "/places/" (code) } { (name) } " " small { (trays.len()) } }
                ul.trays { @for judged in trays { (row(shop, judged, now)) } }
            }
        }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadStock).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    match visitor
        .service
        .ask(move |desk, _| {
            desk.look(|reading, shop| {
                let waiting = (settle::count_open(reading)?, carry::count(reading)?);
                Ok((alarm::open(reading)?, waiting, in_stock(reading, shop, now)?))
            })
        })
        .await
    {
        Ok((alarms, (exceptions, carried), stock)) => {
            let (shop, role) = (visitor.service.desk.shop(), visitor.actor.role);
            let content = markup! {
                (fitness::on_top(&visitor.service.desk))
                (on_top(shop, &alarms, role))
                (exceptions::on_top(exceptions, role))
                (errands::on_top(carried, role))
                (board(shop, &stock, now))
            };
            html(page(shop, Some(&visitor.actor), "Board", "/", Some("/assets/board.js"), content))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/", route::get().to(get));
}
