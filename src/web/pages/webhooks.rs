//! Webhooks for the manager: who is told of changes, how it goes, what could not be delivered, and sending it again. Secrets are made and
//! shown over the interface alone.

use super::layout::page;
use super::visitor::{html, see_other, welcome};
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::domain::webhook::DeadLetter;
use crate::ops::failure::Failure;
use crate::ops::webhooks::{self, Fares, Replay};
use crate::web::answer::id;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// Dead letters of one webhook that are shown.
const SHOWN: i64 = 20;

fn content(shop: &Shop, all: &[Fares]) -> Markup {
    markup! {
        h1 { "Webhooks" }
        @if all.is_empty() {
            p { "Nobody is told of changes. A webhook is created over the interface: " code { "POST /v1/webhooks" } "; see " a href="/docs/" { "its description" } "." }
        }
        @for fares in all { (card(shop, fares)) }
    }
}

fn card(shop: &Shop, fares: &Fares) -> Markup {
    let hook = &fares.hook;
    markup! {
        section.card data-webhook=(hook.id) {
            h2 { (hook.id) ": " (hook.url) }
            @match &hook.disabled {
                Some(disabled) => p { strong { "Nothing is sent" } " since " (shop.zone.write(disabled.at)) ": " (disabled.why) "." },
                None if hook.tries > 0 => p { strong { "Does not get through" } ", tried " (hook.tries) " times; again on " (shop.zone.write(hook.next_try_at)) "." },
                None => p { strong { "In order" } "." },
            }
            @if let Some(failure) = &hook.last_failure { p { "The last failure: " (failure) "." } }
            p.small { "Told of " (hook.kinds.iter().map(|kind| kind.as_str()).collect::<Vec<_>>().join(", ")) ". "
                @match hook.last_success_at {
                    Some(at) => { "Last got through on " (shop.zone.write(at)) "." },
                    None => { "Nothing got through yet." },
                }
                @if let Some(outcome) = &hook.test_outcome { " The last test: " (outcome) "." }
                " Created by " (hook.created_by) " on " (shop.zone.write(hook.created_at)) "." }
            @if hook.disabled.is_none() {
                form method="post" action={ "/webhooks/" (hook.id) "/test" } { button type="submit" { "Send a test" } }
            }
            (dead(shop, fares))
        }
    }
}

fn dead(shop: &Shop, fares: &Fares) -> Markup {
    let hook = fares.hook.id;
    markup! {
        @if fares.letter_count > 0 {
            h3 { (fares.letter_count) @if fares.letter_count == 1 { " dead letter" } @else { " dead letters" } }
            ul.plain { @for letter in &fares.letters { (letter_row(shop, letter)) } }
            @if fares.hook.disabled.is_none() {
                form method="post" action={ "/webhooks/" (hook) "/replay" } { button type="submit" { "Send all of them again" } }
            }
        }
    }
}

fn letter_row(shop: &Shop, letter: &DeadLetter) -> Markup {
    markup! {
        li.step data-letter=(letter.id) {
            p { "Change " (letter.place.1) ", given up on " (shop.zone.write(letter.failed_at)) " after " (letter.tries) " tries: " (letter.reason) "."
                @if letter.replay_asked_at.is_some() { " On its way again." } }
        }
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ManageWebhooks).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let seen = visitor.service.ask(|desk, _| {
        desk.look(|reading, _| {
            let all = webhooks::all(reading)?;
            all.into_iter().map(|hook| webhooks::fares(reading, hook.id, None, SHOWN)).collect::<Result<Vec<_>, _>>()
        })
    });
    match seen.await {
        Ok(all) => {
            let shop = visitor.service.desk.shop();
            html(page(shop, Some(&visitor.actor), "Webhooks", "/webhooks", None, content(shop, &all)))
        }
        Err(problem) => problem.error_response(),
    }
}

async fn press(request: HttpRequest, path: web::Path<(String, String)>) -> HttpResponse {
    let (number, what) = path.into_inner();
    let id = match id(&number) {
        Ok(id) => id,
        Err(problem) => return problem.error_response(),
    };
    let visitor = match welcome(&request, Permission::ManageWebhooks).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let actor = visitor.actor.clone();
    let done = visitor.service.ask(move |desk, now| -> Result<(), Failure> {
        desk.act(move |tx, _| match what.as_str() {
            "test" => webhooks::ask_for_test(tx, now, id).map(drop),
            _ => webhooks::replay(tx, &actor, now, id, Replay::AllLetters).map(drop),
        })?;
        desk.bell().ring();
        Ok(())
    });
    match done.await {
        Ok(()) => see_other("/webhooks"),
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/webhooks", route::get().to(get));
    config.route("/webhooks/{id}/{what:test|replay}", web::post().to(press));
}
