//! Where the address in the QR leads a customer's phone: what the fish is, where it came from, until when, and the cautions. No sign-in.

use super::layout::page;
use super::visitor::html;
use crate::domain::shop::LABEL_CAUTIONS;
use crate::ops::customer::{Address, Card, Warning, card};
use crate::web::call::Service;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

fn content(card: &Card) -> Markup {
    markup! {
        h1 { (card.cut_name) }
        @match card.warning {
            Some(Warning::Held) => { p.trouble role="alert" { strong { "Do not eat this." } " The shop has stopped it. Please bring it back or ask the shop." } }
            Some(Warning::PastUseBy) => { p.trouble role="alert" { strong { "Past its use-by: do not eat this." } } }
            Some(Warning::LifeEnded) => { p.trouble role="alert" { strong { "Kept too warm for too long: do not eat this." } " Please bring it back or ask the shop." } }
            None => {}
        }
        section.card {
            dl {
                dt { "Fish" } dd { (card.market_name) ", " em { (card.scientific_name) } }
                @for origin in &card.origins { dt { "Origin" } dd { (origin) } }
                dt { "Cut on" } dd { (card.cut_on) }
                @if let Some(use_by) = &card.use_by { dt { "Use by" } dd { strong { (use_by) } } }
                @if card.was_frozen { dt { "Frozen" } dd { "It was frozen before. Do not refreeze." } }
                dt { "Keep" } dd { "At 0 to 2 °C" }
            }
        }
        section.card { @for caution in LABEL_CAUTIONS { p { (caution) } } p { "The use-by assumes that it is kept cold. Time out of the cold shortens it." } }
    }
}

async fn get(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let part = |name: &str| request.match_info().get(name).map(ToOwned::to_owned);
    let address = Address {
        article: part("article").unwrap_or_default(),
        lot: part("lot"),
        tray: part("tray_code").unwrap_or_default(),
    };
    match service.ask(move |desk, now| desk.look(|reading, shop| card(reading, shop, now, &address))).await {
        Ok(card) => html(page(service.desk.shop(), None, &card.cut_name, "", None, content(&card))),
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/01/{article}/10/{lot}/21/{tray_code}", route::get().to(get));
    config.route("/01/{article}/21/{tray_code}", route::get().to(get));
}
