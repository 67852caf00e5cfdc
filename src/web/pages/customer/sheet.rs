//! The customer's page and its short notices as HTML: one frame, in the reader's language, readable without a script.

use super::address::canonical;
use super::words::{Words, production, scanned, storage, warning, where_and_when, words};
use crate::domain::language::Language;
use crate::domain::lot::CatchFacts;
use crate::domain::shop::Shop;
use crate::ops::customer::{Card, Condition, FirstFrozen, Origin, Scanned};
use crate::units::instant::Instant;
use chrono::NaiveDate;
use maud::{DOCTYPE, Markup, html};

/// A page of its own, outside the shop's: strangers are shown no way in. `card` gives the addresses it has in other languages and forms.
fn frame(shop: &Shop, language: Language, title: &str, card: Option<(&Card, &str)>, content: &Markup) -> Markup {
    let words = words(language);
    let attributes = card.map_or("", |(_, attributes)| attributes);
    html! {
        (DOCTYPE)
        html lang=(language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · " (shop.name) }
                link rel="icon" href="/assets/icon.svg";
                link rel="stylesheet" href="/assets/style.css";
                @if let Some((card, _)) = card { (alternates(shop, card)) }
            }
            body.customer {
                a.skip href="#content" { (words.to_the_content) }
                header {
                    p.shop { (shop.name) }
                    nav aria-label=(words.languages) {
                        @for other in Language::ALL {
                            a href={ "?lang=" (other.tag()) (attributes) } lang=(other.tag()) hreflang=(other.tag())
                                aria-current=[(other == language).then_some("true")] { (other.own_name()) }
                        }
                    }
                }
                main id="content" { (content) }
                footer {
                    p { (shop.name) ", " (shop.address) }
                    p { (words.footer) }
                }
            }
        }
    }
}

/// The same in the other languages and as linked data, for machines.
fn alternates(shop: &Shop, card: &Card) -> Markup {
    let address = format!("{}{}", shop.web_address, canonical(card));
    html! {
        @for language in Language::ALL {
            link rel="alternate" hreflang=(language.tag()) href={ (address) "?lang=" (language.tag()) };
        }
        link rel="alternate" hreflang="x-default" href=(address);
        link rel="alternate" type="application/ld+json" href=(address);
    }
}

/// A page with nothing but a notice; it says the same of everything it is about.
pub fn notice(shop: &Shop, language: Language, (title, what_to_do): (&str, &str)) -> Markup {
    let content = html! { h1 { (title) } section.card { p { (what_to_do) } } };
    frame(shop, language, title, None, &content)
}

/// The page of a tray. `use_by_in_code` is kept in the links between the languages: it decides whether the label still holds.
pub fn page(shop: &Shop, language: Language, card: &Card, use_by_in_code: Option<&str>) -> Markup {
    let words = words(language);
    let (name, translated) = card.cut.in_language(language);
    let content = html! {
        h1 { (name) }
        p.small {
            @if translated { (card.cut.own()) " · " }
            (words.label) " " span.code { (card.tray_code.grouped()) }
        }
        @if !card.warnings.is_empty() {
            div.trouble role="alert" {
                @for (number, one) in card.warnings.iter().enumerate() {
                    @let (what, why) = warning(language, *one);
                    p { @if number == 0 { strong { (what) } " " } (why) }
                }
            }
        }
        @if let Some(said) = scanned(language, card.scanned) { p.caution role="status" { (said) } }
        section.card { (facts(shop, language, card)) }
        (origins(language, card))
        section.card {
            h2 { (words.cautions) }
            @if !card.for_raw_eating { p { strong { (words.cook_it) } } }
            @for caution in words.label_cautions { p { (caution) } }
            p { (words.time_out_of_the_cold) }
        }
    };
    let kept = use_by_in_code.filter(|_| card.scanned != Scanned::Current);
    let attributes = kept.map(|digits| format!("&17={digits}")).unwrap_or_default();
    frame(shop, language, name, Some((card, &attributes)), &content)
}

fn facts(shop: &Shop, language: Language, card: &Card) -> Markup {
    let words = words(language);
    html! {
        dl {
            dt { (words.fish) } dd { (card.fish.in_language(language).0) " " em lang="la" { (card.scientific_name) } }
            dt { (words.use_by) } dd {
                @match card.use_by {
                    Some(end) => { strong { (moment(shop, language, end)) } }
                    None => (words.no_use_by)
                }
            }
            dt { (words.keep) } dd { (storage(language, card.condition)) }
            dt { (words.cut_on) } dd { (day(language, card.cut_on)) }
            (freezing(words, language, card))
        }
    }
}

fn freezing(words: &Words, language: Language, card: &Card) -> Markup {
    html! {
        dt { (words.first_frozen) } dd {
            @match card.first_frozen {
                FirstFrozen::Never => (words.never_frozen)
                FirstFrozen::On(on) => (day(language, on))
                FirstFrozen::BeforeItCame => (words.frozen_before_it_came)
            }
            @if card.condition == Condition::Thawed { p { (words.thawed) } }
        }
    }
}

/// One card a lot.
fn origins(language: Language, card: &Card) -> Markup {
    html! { @for origin in &card.origins { section.card { (lot(language, origin)) } } }
}

fn lot(language: Language, Origin { lot_code, catch }: &Origin) -> Markup {
    let words = words(language);
    let (place, time) = where_and_when(language, catch.production);
    html! {
        dl {
            dt { (place) } dd { (area(language, catch)) }
            dt { (words.country) } dd { (catch.country) }
            dt { (words.production) } dd { (production(language, catch.production)) }
            @if let Some(gear) = catch.gear_in(language) { dt { (words.gear) } dd { (gear) } }
            dt { (time) } dd { (language.days(catch.caught_from, catch.caught_to)) }
            dt { (words.lot) } dd.code { (lot_code) }
        }
    }
}

/// The fishing area in words, and by its number as on the label.
fn area(language: Language, catch: &CatchFacts) -> String {
    let (words, number) = (catch.area_in(language), &catch.area);
    match language {
        Language::English => format!("{words} (FAO {number})"),
        Language::Japanese => format!("{words}（FAO {number}）"),
    }
}

fn moment(shop: &Shop, language: Language, at: Instant) -> Markup {
    html! { time datetime=(at.to_string()) { (language.moment(shop.zone, at)) } }
}

fn day(language: Language, day: NaiveDate) -> Markup {
    html! { time datetime=(day.to_string()) { (language.day(day)) } }
}
