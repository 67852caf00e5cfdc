//! Open alarms on top of the board, and taking note of one by name.

use super::visitor::{see_other, welcome};
use crate::domain::alarm::Subject;
use crate::domain::permissions::{Permission, Role};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::ops::alarm::{self, Shown};
use crate::web::answer::id;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};
use serde::Deserialize;

/// The alarms that are not over, as someone of a role sees them. Nothing when there are none.
pub fn on_top(shop: &Shop, open: &[Shown], role: Role) -> Markup {
    markup! {
        @if !open.is_empty() {
            section.alarms id="alarms" aria-label="Alarms" {
                h2 { (open.len()) @if open.len() == 1 { " alarm" } @else { " alarms" } }
                ul { @for shown in open { (one(shop, shown, role)) } }
            }
        }
    }
}

fn one(shop: &Shop, shown: &Shown, role: Role) -> Markup {
    let alarm = &shown.alarm;
    markup! {
        li.noted[alarm.acknowledged.is_some()] {
            p { strong { (alarm.reason) } }
            p.small { "Since " (shop.zone.write(alarm.since)) @if let Some(end) = alarm.ended_at { ", ended " (shop.zone.write(end)) } "." }
            @match &alarm.subject {
                Subject::Place(code) => { a.reach href={ "/places/" (code) } { "See the place" } }
                Subject::Tray(_) => { @if let Some(code) = &shown.tray_code { a.reach href={ "/trays/" (code) } { "See the tray" } } }
            }
            @if let Some(noted) = &alarm.acknowledged {
                p.small { (noted.by) " took note on " (shop.zone.write(noted.at)) @if let Some(note) = &noted.note { ": " (note) } "." }
            } @else if Permission::Acknowledge.allows(role) {
                form.note method="post" action={ "/alarms/" (alarm.id) "/note" } {
                    label for={ "note-" (alarm.id) } { "What was found or done" small { " (may be left empty)" } }
                    div.row {
                        input id={ "note-" (alarm.id) } name="note" maxlength="400" autocomplete="off";
                        button type="submit" { "Take note" }
                    }
                }
            }
        }
    }
}

#[derive(Deserialize)]
struct Form {
    note: String,
}

async fn post(request: HttpRequest, path: web::Path<String>, form: web::Form<Form>) -> HttpResponse {
    let id = match id(&path) {
        Ok(id) => id,
        Err(problem) => return problem.error_response(),
    };
    let visitor = match welcome(&request, Permission::Acknowledge).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let (actor, note) = (visitor.actor.clone(), form.into_inner().note);
    let noted = visitor.service.ask(move |desk, now| {
        desk.act(move |tx, _| {
            let note = Some(note.trim()).filter(|note| !note.is_empty());
            alarm::acknowledge(tx, &actor, now, id, note)
        })
    });
    match noted.await {
        Ok(_) => see_other("/#alarms"),
        // Someone else was quicker, or the button was pressed twice: the board says who.
        Err(problem) if problem.code == Code::AlreadyAcknowledged.as_str() => see_other("/#alarms"),
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/alarms/{id}/note", web::post().to(post));
}
