//! Places: how cold each is now, the temperature curve of one of them, and what it did to the stock in it.

use super::case_plan::path_of;
use super::layout::{page, span_in_words};
use super::plot::{self, Picture};
use super::visitor::{html, welcome};
use crate::domain::permissions::Permission;
use crate::domain::shop::Shop;
use crate::ops::alarm::{self, Shown};
use crate::ops::stretch::{self, PlaceNow, Stretch, because};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// How far back a page looks, in hours: what stands in the address, and its words.
const SPANS: [(&str, i64, &str); 3] = [("24h", 24, "24 hours"), ("3d", 72, "3 days"), ("14d", 14 * 24, "14 days")];
/// Rows of the table of what a place did.
const ROWS: usize = 60;

/// How a place stands, as a class of the style sheet and in words; never the class alone.
fn state(now_there: &PlaceNow, now: Instant) -> (&'static str, String) {
    let place = &now_there.place;
    let Some(last) = now_there.last_reading else {
        return if place.expects_readings {
            ("soon", "No reading yet".to_owned())
        } else {
            ("quiet", "Not measured".to_owned())
        };
    };
    let age = now.since(last.at);
    if age > place.gap_minutes * MICROS_PER_MINUTE {
        ("soon", format!("No reading for {}", span_in_words(age)))
    } else if last.temperature > place.upper_limit {
        ("soon", format!("Too warm: {}, the limit is {}", last.temperature, place.upper_limit))
    } else {
        ("fine", format!("Within its limit of {}", place.upper_limit))
    }
}

fn all_places(shop: &Shop, places: &[PlaceNow], now: Instant) -> Markup {
    markup! {
        h1 { "Places" }
        p.small { "As of " (shop.zone.write(now)) ". What is not measured counts at the worst: at the upper limit, or at the last reading where that was too warm for too long." }
        @if places.is_empty() { p.card { "There is no place yet. The catalogue takes them: see /docs." } }
        ul.places { @for there in places { (place_row(there, now)) } }
    }
}

fn place_row(there: &PlaceNow, now: Instant) -> Markup {
    let (class, words) = state(there, now);
    markup! {
        li class=(class) {
            a.reach href={ "/places/" (there.place.code) } { (there.place.name) }
            span.what { strong { (words) } " " small { (there.place.method.as_str()) } }
            span.reading {
                @if let Some(last) = there.last_reading { (last.temperature) small { " " (span_in_words(now.since(last.at))) " ago" } }
                @else { small { "no reading" } }
            }
            span.counted { "counts at " (there.counted) }
        }
    }
}

/// What a page of one place shows.
struct Told {
    stretch: Stretch,
    now_there: Option<PlaceNow>,
    alarms: Vec<Shown>,
}

fn one_place(shop: &Shop, told: &Told, span: &str, now: Instant) -> Markup {
    let (stretch, place) = (&told.stretch, &told.stretch.place);
    let picture = picture(shop, stretch);
    markup! {
        h1 { (place.name) " " small { (place.method.as_str()) } }
        @for shown in &told.alarms { p.trouble { (shown.alarm.reason) ". Since " (shop.zone.write(shown.alarm.since)) "."
            @if let Some(noted) = &shown.alarm.acknowledged { " " (noted.by) " took note." } } }
        section.card {
            dl {
                @if let Some(there) = &told.now_there {
                    dt { "Now" } dd { (state(there, now).1) }
                    dt { "Last reading" } dd { @match there.last_reading { Some(last) => { (last.temperature) ", " (shop.zone.write(last.at)) }, None => "none" } }
                }
                dt { "From now on" } dd { (because(&stretch.projection).1) }
                dt { "Limits" } dd { "Upper limit " (place.upper_limit) "; a gap of more than " (place.gap_minutes) " min is not measured; warm for up to " (place.warm_minutes) " min passes." }
            }
        }
        @if !place.is_frozen() { p.ways { a.reach href=(path_of(&place.code)) { "What it should hold" } } }
        section.card {
            h2 { "Temperature" }
            nav.spans aria-label="How far back" {
                @for (name, _, words) in SPANS { a.reach href={ "/places/" (place.code) "?span=" (name) } aria-current=[(name == span).then_some("page")] { (words) } }
            }
            (plot::draw(&picture))
            (plot::legend(&picture))
            p.small { (plot::in_words(&picture)) " " (measured_share(stretch)) }
        }
        (warm_and_gaps(shop, stretch))
        (what_it_did(shop, stretch))
    }
}

fn picture<'a>(shop: &Shop, stretch: &'a Stretch) -> Picture<'a> {
    let alarms = stretch.spells.iter().filter(|spell| spell.too_long);
    Picture {
        id: "place",
        title: &stretch.place.name,
        zone: shop.zone,
        from: stretch.from,
        to: stretch.to,
        traces: vec![&stretch.trace],
        alarms: alarms.map(|spell| (spell.spell.from, spell.spell.to.unwrap_or(stretch.to))).collect(),
        borders: Vec::new(),
    }
}

fn measured_share(stretch: &Stretch) -> String {
    let (measured, assumed) = (stretch.wear.measured_micros, stretch.wear.assumed_micros);
    format!("Measured: {}; not measured: {}.", span_in_words(measured), span_in_words(assumed))
}

fn warm_and_gaps(shop: &Shop, stretch: &Stretch) -> Markup {
    let peak =
        |peak: MilliCelsius, too_long: bool| markup! { "up to " (peak) @if too_long { strong { ", too long" } } };
    markup! {
        @if !stretch.spells.is_empty() {
            section.card { h2 { "Above the limit" } ul.plain { @for spell in stretch.spells.iter().rev().take(ROWS) { li {
                (shop.zone.write(spell.spell.from)) ", for " (span_in_words(spell.spell.to.unwrap_or(stretch.to).since(spell.spell.from))) ": " (peak(spell.spell.peak, spell.too_long))
            } } } }
        }
        @if !stretch.trace.gaps.is_empty() {
            section.card { h2 { "Not measured" } ul.plain { @for gap in stretch.trace.gaps.iter().rev().take(ROWS) { li {
                (shop.zone.write(gap.from)) ", for " (span_in_words(gap.to.since(gap.from))) ": counted at " (gap.counted)
            } } } }
        }
    }
}

/// The cost of the stretch, tray by tray.
fn what_it_did(shop: &Shop, stretch: &Stretch) -> Markup {
    let left_out = stretch.trays_left_out + stretch.trays.len().saturating_sub(ROWS);
    markup! {
        section.card {
            h2 { "What it did to the stock" }
            @if stretch.trays.is_empty() { p { "No tray in stock stood here." } }
            @else {
                table {
                    thead { tr { th { "Tray" } th { "Stood here" } th { "Time at 0 °C used" } th { "Of its life" } } }
                    tbody { @for line in stretch.trays.iter().take(ROWS) { tr {
                        td { a.reach.code href={ "/trays/" (line.tray_code) } { (line.tray_code) } " " (line.cut)
                            @if line.place_code != stretch.place.code { small { " now in " (line.place_code) } } }
                        td data-label="Stood here" { (span_in_words(line.to.since(line.from))) small { " from " (shop.zone.write(line.from)) } }
                        td data-label="Time at 0 °C used" { (span_in_words(line.cost.raw_micros)) }
                        td data-label="Of its life" { (percent(line.raw_permille)) }
                    } } }
                }
                @if left_out > 0 { p.small { (left_out) " more trays are not shown; /v1/places/" (stretch.place.code) "/life has them." } }
            }
        }
    }
}

/// A share in permille as a percentage with one decimal.
pub fn percent(permille: i64) -> String {
    format!("{}.{} %", permille / 10, permille % 10)
}

async fn get_all(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadRecords).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    match visitor.service.ask(move |desk, _| desk.look(|reading, _| stretch::places_now(reading, now))).await {
        Ok(places) => {
            let shop = visitor.service.desk.shop();
            html(page(shop, Some(&visitor.actor), "Places", "/places", None, all_places(shop, &places, now)))
        }
        Err(problem) => problem.error_response(),
    }
}

/// How far back an address looks; what it does not know is a day.
fn span_of(request: &HttpRequest) -> (&'static str, i64) {
    let asked = request.query_string().split('&').find_map(|part| part.strip_prefix("span="));
    let known = SPANS.iter().find(|(name, ..)| asked == Some(name));
    known.map_or(("24h", 24), |(name, hours, _)| (name, *hours))
}

async fn get_one(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadRecords).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let (span, hours) = span_of(&request);
    let found = visitor.service.ask(move |desk, _| {
        desk.look(|reading, _| {
            let from = now.plus_micros(-hours * MICROS_PER_HOUR);
            let stretch = stretch::of_place(reading, now, &code, Some(from), Some(now))?;
            let now_there = stretch::places_now(reading, now)?.into_iter().find(|there| there.place.code == *code);
            let alarms = alarm::open(reading)?;
            Ok(Told {
                stretch,
                now_there,
                alarms: alarms.into_iter().filter(|shown| shown.concerns_place(&code)).collect(),
            })
        })
    });
    match found.await {
        Ok(told) => {
            let shop = visitor.service.desk.shop();
            let name = told.stretch.place.name.clone();
            html(page(shop, Some(&visitor.actor), &name, "/places", None, one_place(shop, &told, span, now)))
        }
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/places", route::get().to(get_all));
    config.route("/places/{code}", route::get().to(get_one));
}
