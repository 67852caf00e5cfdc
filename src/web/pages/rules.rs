//! The rules in force, with every constant and where the shop differs; and the cautions, which anyone may read.

use super::layout::page;
use super::visitor::{html, welcome};
use crate::domain::permissions::Permission;
use crate::domain::profile::{Rules, own};
use crate::domain::shop::{PAGE_CAUTION, Shop};
use crate::web::call::Service;
use crate::web::{route, session};
use actix_web::{HttpRequest, HttpResponse, web};
use maud::{Markup, html as markup};

/// Generic, and second to the local food code and to licensed practice, in the order in which a counter meets them.
const CAUTIONS: [(&str, &str); 12] = [
    (
        "What this is",
        "Everything here is an estimate for planning stock and quality. It does not show that food is safe: that is for the food code, the approved food-safety plan and the inspector to say.",
    ),
    (
        "Which limit counts",
        "Of the supplier's date, the legal date mark, the safety limit and the estimate the shortest always counts.",
    ),
    (
        "Histamine",
        "Tuna and its kin can harm through histamine while they look and smell right. Cooking, freezing and washing do not take it away. Where nobody knows how long fish was above the cold limit, hold it and do not sell it.",
    ),
    (
        "Cold",
        "Keep fish at 0 °C or close to it. All time above the limit counts, at every step from the boat on, and it never starts anew.",
    ),
    (
        "Parasites",
        "Which fish must be frozen before it is eaten raw, how cold and for how long, differs from country to country, and so do the species that need not be. Keep the freezing record or the supplier's letter. “Sashimi grade” is a trade word; it is neither a legal class nor a safety class.",
    ),
    (
        "Freezing",
        "Freezing makes no old fish new and does not kill bacteria: the days go on when it is thawed. Do not freeze again what was thawed for raw eating.",
    ),
    (
        "Thawing and vacuum packs",
        "Thaw in the cold. Take frozen fish out of its vacuum pack, or open the pack, before it thaws. Vacuum-packing chilled raw fish in the shop usually needs an approval, because of botulism.",
    ),
    (
        "Saying what it is",
        "Say “previously frozen” or “defrosted” where the law asks for it. Superchilled fish may hold ice: find out how the law sees it.",
    ),
    (
        "Listeria",
        "Listeria grows in the cold, even a little below 0 °C. Warn customers who are pregnant, old or immune-weak, and show the advice on raw fish that the law asks for.",
    ),
    (
        "Colour",
        "Colour is not freshness: treated or thawed fish can be red at any age. Scrape, trim and cut pieces spoil faster than a block. A mix is as old as the oldest fish in it.",
    ),
    (
        "Thermometers",
        "Measure with a thermometer that is checked, in the product. The number on the case's display is a set-point, not the temperature of the fish.",
    ),
    (
        "No log, no extension",
        "Without a temperature log nothing is kept longer. What is missing shortens the estimate and never lengthens it.",
    ),
];

fn cautions(shop: &Shop) -> Markup {
    markup! {
        h1 { "Cautions" }
        p { (PAGE_CAUTION) }
        p.small { "Rules in use: " (shop.jurisdiction.as_str().to_uppercase()) ". Where the local food code says otherwise, it decides." }
        section.card { dl.cautions { @for (about, caution) in CAUTIONS { dt { (about) } dd { (caution) } } } }
    }
}

fn profile(rules: &Rules) -> Markup {
    let differs = |name: &str| rules.own.iter().find(|own| own.name == name);
    markup! {
        h1 { "Rules in use: " (rules.jurisdiction.as_str().to_uppercase()) }
        p.small { "Temperatures end in mc: thousandths of a degree Celsius. Shares end in permille. Where each number comes from stands in the profile's file." }
        (own_settings(rules))
        section.card {
            h2 { "Every constant" }
            table {
                thead { tr { th { "Name" } th { "In use" } th { "Profile" } } }
                tbody { @for (name, value) in own::in_words(rules) { tr {
                    td { code { (name) } }
                    td data-label="In use" { (value) }
                    td data-label="Profile" { @match differs(name) { Some(own) => (own.profile_value), None => "the same" } }
                } } }
            }
        }
        section.card {
            h2 { "Freezing against parasites" }
            ul.plain { @for rule in rules.parasites.freezing { li { (rule.hold_at) " or colder for " (rule.hold_hours) " h" @if let Some(solid) = rule.solid_at { ", frozen solid at " (solid) } } } }
            p { "Without freezing: " @if rules.parasites.exempt.is_empty() { "no species by name; " (rules.parasites.other_grounds) }
                @for (index, species) in rules.parasites.exempt.iter().enumerate() { @if index > 0 { ", " } em { (species.scientific_name) } } "." }
        }
    }
}

fn own_settings(rules: &Rules) -> Markup {
    markup! {
        section.card id="own" {
            h2 { "Where the shop differs" }
            @if rules.own.is_empty() { p { "Nowhere: the profile is in use as it is." } }
            ul.plain { @for own in &rules.own { li {
                code { (own.name) } ": " (own.value) " instead of " (own.profile_value) ". "
                @match &own.validated { Some(ground) => { strong { "Looser, validated by the shop: " } (ground) }, None => "Stricter." }
            } } }
            p { "A longer time for raw eating that the shop validated for one of its cuts is named with its ground at every tray of that cut." }
        }
    }
}

async fn get_profile(request: HttpRequest) -> HttpResponse {
    match welcome(&request, Permission::ReadRecords).await {
        Ok(visitor) => {
            let shop = visitor.service.desk.shop();
            html(page(shop, Some(&visitor.actor), "Rules in use", "/profile", None, profile(&shop.rules)))
        }
        Err(answer) => answer,
    }
}

/// No sign-in is needed; whoever is signed in keeps the way to the other pages.
async fn get_cautions(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let known = session::known(&request, &service).await.ok();
    let shop = service.desk.shop();
    html(page(shop, known.as_ref().map(|known| &known.actor), "Cautions", "/cautions", None, cautions(shop)))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/profile", route::get().to(get_profile));
    config.route("/cautions", route::get().to(get_cautions));
}
