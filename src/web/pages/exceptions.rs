//! Exceptions: what tills sold while they were cut off that contradicts the stock, what it means, what to do about it, and settling it.
//! Works without a script.

use super::layout::page;
use super::visitor::{Visitor, html, see_other, welcome};
use crate::domain::permissions::{Permission, Role};
use crate::domain::refusal::Code;
use crate::domain::replay::{Danger, Finding, Way};
use crate::domain::shop::Shop;
use crate::ops::settle::{self, Decision, Place, Shown, Which};
use crate::units::mass::Grams;
use crate::units::money::Cents;
use crate::web::answer::{PAGE_LIMIT, id};
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};
use serde::Deserialize;

/// On the board of whoever can settle them: how many wait. Nothing when there are none.
pub fn on_top(open: i64, role: Role) -> Markup {
    markup! {
        @if open > 0 && Permission::Review.allows(role) {
            section.alarms id="exceptions" aria-label="Exceptions" {
                h2 { (open) @if open == 1 { " exception" } @else { " exceptions" } }
                p { "A till that was cut off sold what contradicts the books." }
                a.reach href="/exceptions" { "See what to do" }
            }
        }
    }
}

fn content(shop: &Shop, found: &[Shown], open: i64, trouble: Option<&str>) -> Markup {
    let (waiting, settled): (Vec<&Shown>, Vec<&Shown>) =
        found.iter().partition(|shown| shown.exception.resolution.is_none());
    let hidden = open - i64::try_from(waiting.len()).unwrap_or(open);
    markup! {
        h1 { "Exceptions" }
        @if let Some(trouble) = trouble { p.trouble id="trouble" role="alert" { (trouble) } }
        p { "What a till sold while it was cut off is never refused: it has happened. Where it contradicts the books, it stands here until you settle it." }
        @if waiting.is_empty() { p.card { "Nothing waits. The books and the tills agree." } }
        @for shown in &waiting { (waits(shop, shown)) }
        @if hidden > 0 { p.small { "And " (hidden) " older ones: settle these first." } }
        @if !settled.is_empty() {
            section.card id="settled" {
                h2 { "Settled" }
                ul.plain { @for shown in &settled { (was(shop, shown)) } }
            }
        }
    }
}

fn grams(grams: Option<i64>) -> String {
    let text = |grams: i64| Grams::new(grams).map_or_else(|_| format!("{grams} g"), |grams| grams.to_string());
    grams.map_or_else(|| "nobody knows how much".to_owned(), text)
}

fn money(shop: &Shop, cents: i64) -> String {
    Cents::new(cents).map(|cents| shop.money(cents)).unwrap_or_default()
}

fn title(shown: &Shown) -> &'static str {
    shown.exception.findings.first().map_or("", |finding| finding.what.title())
}

/// What was sold, as the till says it.
fn what(shop: &Shop, shown: &Shown) -> Markup {
    let exception = &shown.exception;
    markup! {
        p.small {
            @match &shown.tray_code {
                Some(code) => { "Tray " a.reach.code href={ "/trays/" (code) } { (code) } }
                None => { "Scanned: " code { (exception.scanned.chars().take(80).collect::<String>()) } }
            }
            @if let Some(claimed) = exception.claimed_g { ", " (grams(Some(claimed))) }
            ", " (money(shop, exception.price_cents)) " charged. Sale " (exception.sale_id)
            @if exception.line_number > 0 { ", line " (exception.line_number) }
            ", " (exception.till) ", " (shop.zone.write(exception.happened_at)) "."
            @if exception.happened_at != exception.device_time { " The till's clock said " (shop.zone.write(exception.device_time)) "." }
        }
    }
}

fn waits(shop: &Shop, shown: &Shown) -> Markup {
    let exception = &shown.exception;
    let eaten = exception.findings.iter().any(|finding| finding.what.danger() == Danger::Eaten);
    let missing = exception.missing_g != Some(0);
    markup! {
        section.card id={ "exception-" (exception.id) } data-exception=(exception.id) data-danger=[eaten.then_some("eaten")] {
            h2 { (title(shown)) }
            (what(shop, shown))
            ul.plain {
                @for finding in &exception.findings { li.step { strong { (finding.what.title()) } ": " (finding.reason) ". " (finding.what.advice()) } }
            }
            p { "Left the stock: " strong { (grams(Some(exception.moved_g))) } ". Missing in the books: " strong { (grams(exception.missing_g)) } "." }
            @if eaten {
                p.caution { "Someone may have eaten, or may still eat, what should not have been sold. Follow the shop's food-safety plan, and ask the food authority where it says so. "
                    @if !shown.lot_codes.is_empty() { "Its lots: " @for lot in &shown.lot_codes { code { (lot) } " " } "; their stories name everything else that came of them." } }
                (form(exception.id, Way::Recalled, "Told who bought it", markup! { (field(exception.id, "recalled-note", "note", "Who was told, or how they were looked for", 400)) }))
            }
            @if missing || exception.moved_g > 0 {
                (form(exception.id, Way::WasOtherTray, "It was this tray", markup! {
                    @if !missing { p.small { "What was taken off goes back onto the tray that was scanned." } }
                    (field(exception.id, "tray", "tray_code", "The tray that really went: scan it, or type its code", 400))
                    @if exception.missing_g.is_none() { (field(exception.id, "tray-grams", "grams", "How many grams, if it is a tub", 8)) }
                }))
                @if missing && exception.tray_id.is_some() {
                    (form(exception.id, Way::CountDifference, "Book as count difference", markup! {
                        @if exception.missing_g.is_none() { (field(exception.id, "grams", "grams", "How many grams were sold", 8)) }
                    }))
                }
            }
            (form(exception.id, Way::Noted, "Noted: nothing to correct", markup! {}))
        }
    }
}

fn field(id: i64, name: &str, sent_as: &str, label: &str, longest: usize) -> Markup {
    let own = format!("{name}-{id}");
    markup! {
        label for=(own) { (label) }
        input id=(own) name=(sent_as) maxlength=(longest) autocomplete="off";
    }
}

fn form(id: i64, way: Way, button: &str, fields: Markup) -> Markup {
    markup! {
        form.step method="post" action={ "/exceptions/" (id) "/settle" } data-way=(way.as_str()) {
            input type="hidden" name="way" value=(way.as_str());
            (fields)
            button.main[way != Way::Noted] type="submit" { (button) }
        }
    }
}

const fn in_words(way: Way) -> &'static str {
    match way {
        Way::Noted => "noted",
        Way::WasOtherTray => "it was another tray",
        Way::CountDifference => "booked as a count difference",
        Way::Recalled => "who bought it was told, or looked for",
    }
}

fn was(shop: &Shop, shown: &Shown) -> Markup {
    let other = shown.other_tray_code.as_ref().map(|code| format!("tray {code}: ")).unwrap_or_default();
    let of_other = |finding: &&Finding| !other.is_empty() && finding.reason.starts_with(&other);
    let found: Vec<&Finding> = shown.exception.findings.iter().filter(of_other).collect();
    markup! {
        li.step data-settled=(shown.exception.id) {
            p { strong { (title(shown)) } }
            (what(shop, shown))
            @for finding in &found { p { strong { (finding.what.title()) } ": " (finding.reason) ". " (finding.what.advice()) } }
            @if found.iter().any(|finding| finding.what.danger() == Danger::Eaten) { p.caution { "Someone may have eaten, or may still eat, what should not have been sold. Follow the shop's food-safety plan." } }
            @if let Some(resolution) = &shown.exception.resolution {
                p.small { (resolution.by) ", " (shop.zone.write(resolution.at)) ": " (in_words(resolution.way))
                    @if let Some(code) = &shown.other_tray_code { ", " a.reach.code href={ "/trays/" (code) } { (code) } }
                    @if resolution.settled_g > 0 { ", " (grams(Some(resolution.settled_g))) }
                    @if let Some(note) = &resolution.note { ": " (note) } "." }
            }
        }
    }
}

async fn shown(visitor: &Visitor, trouble: Option<&str>) -> HttpResponse {
    let found = visitor.service.ask(move |desk, _| {
        desk.look(|reading, _| {
            let (found, _) = settle::page(reading, Which::All, Place::BEGINNING, PAGE_LIMIT)?;
            Ok((found, settle::count_open(reading)?))
        })
    });
    match found.await {
        Ok((found, open)) => {
            let shop = visitor.service.desk.shop();
            let content = content(shop, &found, open, trouble);
            html(page(shop, Some(&visitor.actor), "Exceptions", "/exceptions", None, content))
        }
        Err(problem) => problem.error_response(),
    }
}

async fn get(request: HttpRequest) -> HttpResponse {
    match welcome(&request, Permission::Review).await {
        Ok(visitor) => shown(&visitor, None).await,
        Err(answer) => answer,
    }
}

#[derive(Deserialize)]
struct Form {
    way: String,
    #[serde(default)]
    tray_code: String,
    #[serde(default)]
    grams: String,
    #[serde(default)]
    note: String,
}

fn some(text: &str) -> Option<String> {
    Some(text.trim()).filter(|text| !text.is_empty()).map(str::to_owned)
}

impl Form {
    fn decision(&self) -> Result<Decision, Problem> {
        let way = Way::parse(&self.way).ok_or_else(|| Problem::invalid("way", "is none that there is"))?;
        let grams = some(&self.grams).map(|text| text.parse::<i64>()).transpose();
        let grams = grams.map_err(|_| Problem::invalid("grams", "grams must be a whole number"))?;
        Ok(Decision { way, tray: some(&self.tray_code), grams, note: some(&self.note) })
    }
}

async fn post(request: HttpRequest, path: web::Path<String>, form: web::Form<Form>) -> HttpResponse {
    let id = match id(&path) {
        Ok(id) => id,
        Err(problem) => return problem.error_response(),
    };
    let visitor = match welcome(&request, Permission::Review).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let actor = visitor.actor.clone();
    let settled = match form.decision() {
        Ok(decision) => {
            let act = visitor
                .service
                .ask(move |desk, now| desk.act(move |tx, shop| settle::settle(tx, shop, &actor, now, id, &decision)));
            act.await.map(drop)
        }
        Err(problem) => Err(problem),
    };
    match settled {
        Ok(()) => see_other("/exceptions"),
        // The button was pressed twice, or someone else was quicker: the list says who.
        Err(problem) if problem.code == Code::AlreadyResolved.as_str() => see_other("/exceptions"),
        Err(problem) if problem.status < 500 => shown(&visitor, Some(&problem.detail)).await,
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/exceptions", route::get().to(get));
    config.route("/exceptions/{id}/settle", web::post().to(post));
}
