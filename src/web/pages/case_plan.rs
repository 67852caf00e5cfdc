//! What a case should hold: a number a cut beside what lies there now, kept in one touch. The ways here are from picking and from a place.

use super::fitness;
use super::layout::page;
use super::picks::SCRIPT;
use super::visitor::{Visitor, html, welcome};
use crate::domain::permissions::Permission;
use crate::domain::picking::plan::TRAYS_LIMIT;
use crate::ops::case_plan::{Laid, LaidOut, laid_out};
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// What whoever looks may do with plans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlansMay {
    BeChanged,
    BeRead,
}

impl PlansMay {
    pub fn of(visitor: &Visitor) -> PlansMay {
        if Permission::EditCatalogue.allows(visitor.actor.role) { PlansMay::BeChanged } else { PlansMay::BeRead }
    }

    /// What the way to a plan is called.
    pub const fn word(self) -> &'static str {
        match self {
            PlansMay::BeChanged => "Change the plan",
            PlansMay::BeRead => "The plan",
        }
    }
}

/// The address of the plan of a place.
pub fn path_of(place: &str) -> String {
    format!("/places/{place}/case-plan")
}

/// What lies where, and whether that is less than planned.
fn lying(laid: &Laid) -> Markup {
    let planned = usize::try_from(laid.trays.unwrap_or(0)).unwrap_or(0);
    let missing = planned.saturating_sub(laid.there);
    markup! {
        span.small { (laid.there) " here now, " (laid.in_stores) " in the stores"
            @if missing > 0 { ", " strong.together { (missing) " missing" } } }
    }
}

fn to_change(laid: &Laid) -> Markup {
    let (id, here) = (format!("trays-{}", laid.cut.code), format!("here-{}", laid.cut.code));
    markup! {
        li {
            label for=(id) { (laid.cut.name) }
            span id=(here) { (lying(laid)) }
            input id=(id) data-cut=(laid.cut.code) value=[laid.trays] placeholder="0" aria-describedby=(here)
                type="number" inputmode="numeric" min="0" max=(TRAYS_LIMIT) step="1" autocomplete="off";
        }
    }
}

fn to_read(laid: &Laid) -> Markup {
    markup! { li { strong { (laid.cut.name) } (lying(laid)) span.trays-planned { (laid.trays.unwrap_or(0)) } } }
}

fn lines(found: &LaidOut, may: PlansMay) -> Markup {
    markup! {
        @match may {
            PlansMay::BeChanged => {
                form.card id="case-plan" data-place=(found.place.code) data-version=[found.version] {
                    ul.plan-lines { @for laid in &found.lines { (to_change(laid)) } }
                    p.small { "Empty or 0: none is wanted. Without any number it is no case that is filled." }
                    button.main type="submit" { "Keep the plan" }
                }
                noscript { p.trouble { "This page needs a script. The interface under /docs does without." } }
            }
            PlansMay::BeRead => {
                section.card { ul.plan-lines { @for laid in &found.lines { (to_read(laid)) } } p.small { "A manager changes it." } }
            }
        }
    }
}

fn one(found: &LaidOut, may: PlansMay) -> Markup {
    let place = &found.place;
    markup! {
        h1 { (place.name) ": what it should hold" }
        p.ways.row { a.reach href="/picks" { "To picking" } a.reach href={ "/places/" (place.code) } { "The place" } }
        p.trouble id="trouble" role="alert" hidden {}
        @if place.is_frozen() { p.card { "A frozen place has no plan: what stands in a case is not frozen." } }
        @else if found.lines.is_empty() { p.card { "There is no cut that is sold yet. The catalogue takes them: see /docs." } }
        @else {
            p { "So many trays of each cut. A refill fetches what is missing from the stores: the cold places that are no case with a plan. "
                "Counted is what may be sold now." }
            (lines(found, may))
        }
    }
}

async fn get(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadRecords).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let look = visitor.service.ask(move |desk, _| desk.look(|reading, shop| laid_out(reading, shop, now, &code)));
    match look.await {
        Ok(found) => {
            let (desk, title) = (&visitor.service.desk, format!("{}: what it should hold", found.place.name));
            let content = markup! { (fitness::on_top(desk)) (one(&found, PlansMay::of(&visitor))) };
            html(page(desk.shop(), Some(&visitor.actor), &title, "/picks", Some(SCRIPT), content))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/places/{code}/case-plan", route::get().to(get));
}
