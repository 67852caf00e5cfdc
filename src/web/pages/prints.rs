//! Printing: what nobody knows of first, then the queue and the printers, in plain words. Works without a script; it looks again by itself
//! while something is under way.

use super::layout::page;
use super::visitor::{html, see_other, welcome};
use crate::domain::permissions::Permission;
use crate::domain::printing::{Heard, Print, Printer, Standing, State};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::ops::failure::Failure;
use crate::ops::print::{self, Found, Shown};
use crate::web::answer::id;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};
use serde::Deserialize;
use std::collections::HashMap;

/// Finished prints that are shown.
const SHOWN: i64 = 20;

/// Everything the page shows.
struct Seen {
    printers: Vec<(Printer, Heard)>,
    lengths: HashMap<String, i64>,
    open: Vec<Shown>,
    over: Vec<Shown>,
}

/// A state as people say it.
const fn in_words(state: State) -> &'static str {
    match state {
        State::Waiting => "Waits",
        State::Sending => "Is being sent",
        State::Printing => "At the printer",
        State::Done => "Printed",
        State::Failed => "Not printed",
        State::Unknown => "Printed or not? Please look",
        State::Cancelled => "Given up",
        State::Superseded => "Not printed: the tray has another label, or is gone",
    }
}

const fn printer_in_words(standing: Standing) -> &'static str {
    match standing {
        Standing::NotAsked => "not asked yet",
        Standing::Idle => "ready",
        Standing::Processing => "prints",
        Standing::Stopped => "stands still",
        Standing::Silent => "does not answer",
    }
}

fn content(shop: &Shop, seen: &Seen) -> Markup {
    let (in_doubt, queued): (Vec<&Shown>, Vec<&Shown>) =
        seen.open.iter().partition(|shown| shown.print.state == State::Unknown);
    markup! {
        h1 { "Printing" }
        @if !in_doubt.is_empty() {
            section.alarms id="in-doubt" aria-label="Please look" {
                h2 { "Printed or not? Please look at the printer" }
                ul { @for shown in in_doubt { (row(shop, shown)) } }
            }
        }
        section.card id="printers" {
            h2 { "Printers" }
            @if seen.printers.is_empty() { p { "No printer is set up. They stand in the settings, under [[printers]]." } }
            ul.plain { @for (printer, heard) in &seen.printers { (printer_row(printer, heard, seen)) } }
        }
        section.card id="queue" {
            h2 { "On their way" }
            @if queued.is_empty() { p { "Nothing waits." } }
            ul.plain { @for shown in queued { (row(shop, shown)) } }
        }
        section.card id="over" {
            h2 { "The last ones" }
            @if seen.over.is_empty() { p { "None yet." } }
            ul.plain { @for shown in &seen.over { (row(shop, shown)) } }
        }
    }
}

fn printer_row(printer: &Printer, heard: &Heard, seen: &Seen) -> Markup {
    let length = seen.lengths.get(&printer.name).copied().unwrap_or(0);
    markup! {
        li.step data-printer=(printer.name) {
            p { strong { (printer.name) } " " (printer_in_words(heard.standing))
                @if !heard.reasons.is_empty() { ": " (heard.reasons.join(", ")) } "." }
            p.small { "Labels " (printer.stock) " at " (printer.dpi) " dpi. " (length) " before it." }
        }
    }
}

fn row(shop: &Shop, shown: &Shown) -> Markup {
    let print = &shown.print;
    markup! {
        li.step data-print=(print.id) data-state=(print.state.as_str()) {
            p { strong { (in_words(print.state)) } " " a.reach.code href={ "/trays/" (shown.tray.code) } { (shown.tray.code.grouped()) }
                @if !print.reasons.is_empty() { " " (print.reasons) "." } }
            p.small { (print.copies) @if print.copies == 1 { " label on " } @else { " labels on " } (print.printer) ", wanted by " (print.actor) " on " (shop.zone.write(print.wanted_at))
                @if let Some(reason) = &print.reason { ": " (reason) }
                @if let Some(by) = &print.cancel_by { ". " (by) " has asked the printer to cancel it" } "." }
            (buttons(print))
        }
    }
}

/// What a person can do about it.
fn buttons(print: &Print) -> Markup {
    let doubtful = matches!(print.state, State::Unknown | State::Failed);
    let alive = matches!(print.state, State::Waiting | State::Sending | State::Printing) && !print.given_up();
    let to = |what: &str| format!("/prints/{}/{what}", print.id);
    markup! {
        @if doubtful || alive {
            div.row {
                @if doubtful {
                    form method="post" action=(to("printed")) { button.main type="submit" { "It printed" } }
                    form method="post" action=(to("again")) { button.main type="submit" { "Print again" } }
                }
                @if alive || print.state == State::Unknown {
                    form method="post" action=(to("cancel")) { button type="submit" { "Cancel" } }
                }
            }
        }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::PrintLabels).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let seen = visitor.service.ask(|desk, _| {
        desk.look(|reading, _| {
            let all = print::page(reading, None, None, SHOWN)?;
            Ok(Seen {
                printers: desk.printers().all().into_iter().map(|(printer, heard)| (printer.clone(), heard)).collect(),
                lengths: print::queue_lengths(reading)?,
                open: print::open(reading)?,
                over: all.into_iter().filter(|shown| shown.print.state.is_over()).collect(),
            })
        })
    });
    match seen.await {
        Ok(seen) => {
            let moves = seen.open.iter().any(|shown| shown.print.state != State::Unknown);
            let shop = visitor.service.desk.shop();
            let mut answer = html(page(shop, Some(&visitor.actor), "Printing", "/prints", None, content(shop, &seen)));
            if moves {
                let again = actix_web::http::header::HeaderName::from_static("refresh");
                answer.headers_mut().insert(again, actix_web::http::header::HeaderValue::from_static("3"));
            }
            answer
        }
        Err(problem) => problem.error_response(),
    }
}

/// Goes back to the list, whatever came of a button: pressed twice, or late, the list says what is true now.
fn back(outcome: Result<(), Problem>) -> HttpResponse {
    let late = [Code::PrintOver.as_str(), Code::NotInDoubt.as_str()];
    match outcome {
        Ok(()) => see_other("/prints"),
        Err(problem) if late.contains(&problem.code) => see_other("/prints"),
        Err(problem) => problem.error_response(),
    }
}

async fn press(request: HttpRequest, path: web::Path<(String, String)>) -> HttpResponse {
    let (number, what) = path.into_inner();
    let id = match id(&number) {
        Ok(id) => id,
        Err(problem) => return problem.error_response(),
    };
    let visitor = match welcome(&request, Permission::PrintLabels).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let actor = visitor.actor.clone();
    let done = visitor.service.ask(move |desk, now| {
        desk.act(move |tx, _| match what.as_str() {
            "printed" => print::resolve(tx, &actor, now, id, Found::Printed).map(drop),
            "again" => print::resolve(tx, &actor, now, id, Found::Missing).map(drop),
            _ => print::cancel(tx, &actor, now, id, None).map(drop),
        })?;
        desk.printers().bell().ring();
        Ok(())
    });
    back(done.await)
}

#[derive(Deserialize)]
struct Form {
    #[serde(default)]
    printer: Option<String>,
    #[serde(default)]
    reason: Option<String>,
}

/// The button on the page of a tray.
async fn print_tray(request: HttpRequest, code: web::Path<String>, form: web::Form<Form>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::PrintLabels).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let (actor, form) = (visitor.actor.clone(), form.into_inner());
    let queued = visitor.service.ask(move |desk, now| -> Result<(), Failure> {
        let printer = desk.printers().named(form.printer.as_deref())?.clone();
        let press = desk.press();
        desk.act(move |tx, shop| {
            let reason = form.reason.as_deref().map(str::trim).filter(|reason| !reason.is_empty());
            print::issue_and_queue(tx, shop, &press, &actor, now, &code, reason, &printer, 1).map(drop)
        })?;
        desk.printers().bell().ring();
        Ok(())
    });
    match queued.await {
        Ok(()) => see_other("/prints"),
        Err(problem) => problem.error_response(),
    }
}

/// A button for each printer, with a reason where the label was printed before.
pub fn tray_buttons(code: &str, printers: &[String], again: bool) -> Markup {
    markup! {
        @if !printers.is_empty() {
            form method="post" action={ "/trays/" (code) "/print" } {
                @if again {
                    label for="print-reason" { "Why again" small { " (not needed the first time)" } }
                    input id="print-reason" name="reason" maxlength="400" autocomplete="off";
                }
                div.row { @for printer in printers {
                    button.main type="submit" name="printer" value=(printer) { "Print" @if printers.len() > 1 { " on " (printer) } }
                } }
            }
        }
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/prints", route::get().to(get));
    config.route("/prints/{id}/{what:cancel|printed|again}", web::post().to(press));
    config.route("/trays/{code}/print", web::post().to(print_tray));
}
