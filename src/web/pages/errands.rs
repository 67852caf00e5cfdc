//! Errands: what is to be carried to the kitchen or the freezer. A scan of the tray, there, ends one.

use super::layout::page;
use super::visitor::{html, welcome};
use crate::domain::permissions::{Permission, Role};
use crate::domain::shop::Shop;
use crate::ops::carry::{self, Open, Since, grams_of};
use crate::ops::look::all_places;
use crate::units::mass::Grams;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// On the board of whoever carries: how many wait.
pub fn on_top(open: usize, role: Role) -> Markup {
    markup! {
        @if open > 0 && Permission::TakeOut.allows(role) {
            section.card id="errands-wait" {
                p { a.reach href="/errands" { (open) @if open == 1 { " tray" } @else { " trays" } " to carry to the kitchen or the freezer" } }
            }
        }
    }
}

/// The list with its field for a scan; nothing where nothing is to be carried.
pub fn section(shop: &Shop, role: Role, open: &[Open], freezers: &[(String, String)]) -> Markup {
    let freezes = open.iter().any(|open| open.errand.kind == "freeze");
    markup! {
        @if !open.is_empty() {
            section.card id="errands" {
                h2 { "To carry" }
                form.note id="carried" {
                    label for="carried-code" { "There? Scan the tray, or type its code" }
                    div.row {
                        input id="carried-code" autocomplete="off" autocapitalize="characters" spellcheck="false" enterkeyhint="go";
                        button type="submit" { "Done" }
                    }
                    @if freezes {
                        label for="carried-place" { "Where it is now" }
                        select id="carried-place" {
                            option value="" { "Kitchen" }
                            @for (code, name) in freezers { option value=(code) { (name) } }
                        }
                    }
                }
                ul.plain { @for open in open { (errand(shop, role, open)) } }
            }
        }
    }
}

fn errand(shop: &Shop, role: Role, open: &Open) -> Markup {
    let tray = &open.judged.facts.tray;
    let grams = Grams::new(grams_of(&open.errand, tray)).unwrap_or(tray.net);
    markup! {
        li.step data-errand=(open.errand.id) {
            p { @if open.errand.kind == "freeze" { "To the freezer: " } @else { "To the kitchen: " }
                strong { (open.judged.facts.cut.name) } ", " (grams) @if grams != tray.net { " of " (tray.net) }
                " · " a.reach.code href={ "/trays/" (tray.code) } { (tray.code.grouped()) } }
            p.small { (open.judged.place_name) "; " (open.errand.decided_by) ", " (shop.zone.time_of(open.errand.created_at).format("%H:%M").to_string())
                @if open.since == Since::Earlier { "; of an earlier day, the review speaks of it again" } "." }
            @if Permission::Review.allows(role) {
                button type="button" data-drop=(open.errand.id) { "Drop it" }
            }
        }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::TakeOut).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let seen = visitor.service.ask(move |desk, _| {
        desk.look(|reading, shop| {
            let places = all_places(reading)?.into_iter().filter(|place| place.is_frozen());
            let freezers: Vec<(String, String)> = places.map(|place| (place.code, place.name)).collect();
            Ok((carry::open(reading, shop, now)?, freezers))
        })
    });
    match seen.await {
        Ok((open, freezers)) => {
            let shop = visitor.service.desk.shop();
            let content = markup! {
                h1 { "To carry" }
                p.trouble id="trouble" role="alert" hidden {}
                @if open.is_empty() { p.card { "Nothing is to be carried." } }
                (section(shop, visitor.actor.role, &open, &freezers))
            };
            html(page(shop, Some(&visitor.actor), "To carry", "/errands", Some("/assets/review.js"), content))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/errands", route::get().to(get));
}
