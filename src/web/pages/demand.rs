//! What the shop's own sales say of demand, what that rests on, and saying otherwise. No way leads here but from the review and the plan.

mod form;
mod week;

use super::layout::page;
use super::visitor::{Visitor, html, see_other, welcome};
use crate::domain::demand::{Basis, Elasticity, WEEKS, multiplier};
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::domain::terms::{CutTerms, Said, Terms};
use crate::domain::tray::Kind;
use crate::ops::demand::{Study, open_week, studies, study};
use crate::ops::edit_catalogue::Expected;
use crate::ops::failure::Failure;
use crate::ops::terms::{put, standing};
use crate::web::clock;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use form::Form;
use maud::{Markup, html as markup};

/// A number as the shop writes it.
#[expect(clippy::cast_possible_truncation, reason = "rates and hours of a shop; what is none saturates")]
fn number(shop: &Shop, value: f64, decimals: u32) -> String {
    let scale = (0..decimals).fold(1.0, |scale, _| scale * 10.0);
    shop.currency.mark.write((value * scale).round() as i64, decimals)
}

fn rate(shop: &Shop, belief: crate::domain::demand::Belief) -> Markup {
    markup! {
        strong { (number(shop, belief.mean(), 2)) } " "
        span.small { "(" (number(shop, belief.quantile(0.1), 2)) " to " (number(shop, belief.quantile(0.9), 2)) ")" }
    }
}

fn answer(shop: &Shop, elasticity: Elasticity) -> Markup {
    markup! {
        strong { (number(shop, elasticity.at_list, 1)) } " "
        span.small { "(" (number(shop, elasticity.low, 1)) " to " (number(shop, elasticity.high, 1)) ")" }
    }
}

/// What a cut's rate was taken from.
const fn rate_basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "its own sales",
        Basis::Shop => "what cuts like it sell, since its own sales are few",
        Basis::Stated => "the default of the settings, since there are few sales",
        Basis::Told => "what a person said",
    }
}

const fn answer_basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "its own markdowns",
        Basis::Shop => "the markdowns of all cuts, since its own are few",
        Basis::Stated => "the default of the settings, since markdowns are few",
        Basis::Told => "what a person said",
    }
}

/// How well a rate is known, by how wide its range is.
fn how_well(study: &Study) -> &'static str {
    let belief = study.learned.forecast.belief;
    match (belief.quantile(0.9) - belief.quantile(0.1)) / belief.mean() {
        width if width < 0.4 => "well known",
        width if width < 0.9 => "roughly known",
        _ => "hardly known",
    }
}

const fn units(study: &Study) -> &'static str {
    match study.cut.kind {
        Kind::Tub => "portions",
        Kind::Block | Kind::Bulk => "sold",
    }
}

fn rests_on(shop: &Shop, study: &Study) -> Markup {
    let forecast = &study.learned.forecast;
    markup! {
        @match study.learned.since {
            None => { "Nothing was seen of it in " (WEEKS) " weeks" },
            Some(since) => {
                (forecast.units_sold) " " (units(study)) " in " (number(shop, forecast.hours_in_stock, 0)) " h in stock since " (shop.write_day_of(since))
            }
        }
    }
}

fn row(shop: &Shop, study: &Study) -> Markup {
    let forecast = &study.learned.forecast;
    markup! {
        tr data-cut=(study.cut.code) {
            td { a.reach href={ "/demand/" (study.cut.code) } { (study.cut.name) } }
            td data-label="An hour at list" { (rate(shop, forecast.belief)) " " span.badge { (how_well(study)) } }
            td data-label="Answer to the price" { (answer(shop, forecast.elasticity)) }
            td data-label="Rests on" { (rests_on(shop, study)) ". " span.small { "An hour: " (rate_basis(forecast.basis)) ". The price: " (answer_basis(forecast.elasticity.basis)) "." } }
        }
    }
}

fn all(shop: &Shop, found: &[Study]) -> Markup {
    markup! {
        h1 { "Demand" }
        p { "What the shop's own sales of the last " (WEEKS) " weeks say. An hour counts only while there was something to sell: sold out is no sign that nobody asked. "
            "In brackets the range in which the true number lies four times out of five, if the model is right." }
        p.ways { a.reach href="/review" { "To the review" } }
        @if let Some(first) = found.first() {
            section.card {
                h2 { "How the week runs" }
                (week::picture(&open_week(shop), &first.learned.forecast.pattern))
                p.small { "From all cuts together, "
                    (found.iter().map(|study| study.learned.forecast.units_sold).sum::<i64>()) " sold. Hours with few sales are drawn towards what is usual." }
            }
            table {
                thead { tr { th { "Cut" } th { "An hour at list" } th { "Answer to the price" } th { "Rests on" } } }
                tbody { @for study in found { (row(shop, study)) } }
            }
        } @else { p.card { "There is no cut that is sold over the counter." } }
    }
}

fn prices(shop: &Shop, elasticity: Elasticity, terms: &Terms) -> Markup {
    let list = terms.prices.first().map_or(0, |price| price.get());
    let times = |of: f64, price: i64| {
        if list > 0 { number(shop, multiplier(of, as_number(price), as_number(list)), 2) } else { number(shop, 1.0, 2) }
    };
    markup! {
        table {
            thead { tr { th { "Price" } th { "Customers, times those at list" } th { "If it answers little" } th { "If it answers much" } } }
            tbody {
                @for price in &terms.prices {
                    tr {
                        td data-label="Price" { (shop.money(*price)) "/kg" }
                        td data-label="Customers, times those at list" { strong { (times(elasticity.at_list, price.get())) } }
                        td data-label="If it answers little" { (times(elasticity.low, price.get())) }
                        td data-label="If it answers much" { (times(elasticity.high, price.get())) }
                    }
                }
            }
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "prices are far below 2^53")]
const fn as_number(cents: i64) -> f64 {
    cents as f64
}

fn said_by(shop: &Shop, said: Option<&Said>) -> Markup {
    markup! {
        @if let Some(said) = said {
            p.small { (said.set_by) @if said.terms.is_empty() { " left everything to sales and settings" } @else { " said otherwise" }
                " on " (shop.zone.write(said.set_at)) "." }
        }
    }
}

/// What a page of one cut shows.
struct Shown {
    study: Study,
    /// What holds if the cut says nothing.
    without: Terms,
    terms: Terms,
}

fn one(shop: &Shop, shown: &Shown, form: &Form, trouble: Option<&str>) -> Markup {
    let Shown { study, without, terms } = shown;
    let (learned, forecast) = (&study.learned, &study.learned.forecast);
    let by_sales = (number(shop, learned.own_belief.mean(), 2), number(shop, learned.own_elasticity.at_list, 1));
    markup! {
        h1 { (study.cut.name) ": demand" }
        p.ways { a.reach href="/demand" { "All cuts" } }
        @if let Some(trouble) = trouble { p.trouble role="alert" { (trouble) } }
        section.card {
            h2 { (rate(shop, forecast.belief)) @if study.cut.kind == Kind::Tub { " portions" } " in an average opening hour at list: " (how_well(study)) }
            p { "Taken from " (rate_basis(forecast.basis)) ". " (rests_on(shop, study)) "." }
            @if forecast.basis == Basis::Told { p { "The sales say: " (rate(shop, learned.own_belief)) ", from " (rate_basis(learned.own_basis)) "." } }
            @if study.cut.kind == Kind::Tub {
                p { (study.draws) " draws"
                    @if let Some(mean) = study.mean_draw_g { ", " (mean) " g each on average" }
                    "; counted in portions of " (study.portion_g) " g." }
            }
            (said_by(shop, study.said.as_ref()))
        }
        section.card {
            h2 { "Answer to the price: " (answer(shop, forecast.elasticity)) }
            p { "Taken from " (answer_basis(forecast.elasticity.basis)) "; of this cut "
                (number(shop, learned.lowered_units, 0)) " sold in " (number(shop, learned.lowered_hours, 0)) " h at lowered prices. "
                "Fish is marked down when it is old: what is told is what a lower price did together with that." }
            @if forecast.elasticity.basis == Basis::Told { p { "The sales say: " (answer(shop, learned.own_elasticity)) ", from " (answer_basis(learned.own_elasticity.basis)) "." } }
            (prices(shop, forecast.elasticity, terms))
        }
        section.card { h2 { "How the week runs, all cuts together" } (week::picture(&open_week(shop), &forecast.pattern)) }
        (form.show(shop, &study.cut.code, without, by_sales))
    }
}

async fn list(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Review).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let found = visitor.service.ask(move |desk, _| desk.look(|reading, shop| studies(reading, shop, now))).await;
    match found {
        Ok(found) => {
            let shop = visitor.service.desk.shop();
            html(page(shop, Some(&visitor.actor), "Demand", "/demand", None, all(shop, &found)))
        }
        Err(problem) => problem.error_response(),
    }
}

async fn look(visitor: &Visitor, code: &str) -> Result<Shown, Problem> {
    let (now, code) = (clock::now(), code.to_owned());
    let look = visitor.service.ask(move |desk, _| {
        desk.look(|reading, shop| {
            let study = study(reading, shop, now, &code)?;
            let without = shop.terms.of(&CutTerms::default(), study.cut.price);
            let (_, terms) = standing(reading, shop, &code)?;
            Ok(Shown { study, without, terms })
        })
    });
    look.await
}

/// The page of a cut, with what was typed where it was not taken.
async fn show(visitor: &Visitor, code: &str, typed: Option<Form>, trouble: Option<&str>) -> HttpResponse {
    match look(visitor, code).await {
        Ok(shown) => {
            let shop = visitor.service.desk.shop();
            let said = shown.study.said.as_ref();
            let none = CutTerms::default();
            let kept = || Form::of(shop, said.map_or(&none, |said| &said.terms), said.map_or(0, |said| said.version));
            let form = typed.unwrap_or_else(kept);
            let title = format!("{}: demand", shown.study.cut.name);
            html(page(shop, Some(&visitor.actor), &title, "/demand", None, one(shop, &shown, &form, trouble)))
        }
        Err(problem) => problem.error_response(),
    }
}

async fn get(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    match welcome(&request, Permission::Review).await {
        Ok(visitor) => show(&visitor, &code, None, None).await,
        Err(answer) => answer,
    }
}

async fn post(request: HttpRequest, code: web::Path<String>, form: web::Form<Form>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::EditCatalogue).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let (form, code) = (form.into_inner(), code.into_inner());
    let kept = match form.terms(visitor.service.desk.shop()) {
        Ok(terms) => keep(&visitor, code.clone(), terms, form.version).await,
        Err(problem) => Err(problem),
    };
    match kept {
        Ok(()) => see_other(&format!("/demand/{code}")),
        // Somebody else was quicker: what is kept now is shown, not what was typed over what was kept before.
        Err(problem) if problem.status == 412 => {
            show(&visitor, &code, None, Some("It was changed meanwhile: this is how it is now.")).await
        }
        Err(problem) if problem.status < 500 => show(&visitor, &code, Some(form), Some(&in_words(&problem))).await,
        Err(problem) => problem.error_response(),
    }
}

/// Every reason, each with its field.
fn in_words(problem: &Problem) -> String {
    let errors = problem.errors.iter().map(|error| format!("{}: {}", error.field.replace('_', " "), error.detail));
    let all: Vec<String> = errors.collect();
    if all.is_empty() { problem.detail.clone() } else { all.join("; ") }
}

async fn keep(visitor: &Visitor, code: String, terms: CutTerms, version: i64) -> Result<(), Problem> {
    let actor = visitor.actor.clone();
    let act = visitor.service.ask(move |desk, now| -> Result<(), Failure> {
        desk.act(move |tx, _| put(tx, &actor, now, &code, &terms, Expected::Version(version)).map(drop))
    });
    act.await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/demand", route::get().to(list));
    config.route("/demand/{cut}", route::get().to(get));
    config.route("/demand/{cut}", web::post().to(post));
}
