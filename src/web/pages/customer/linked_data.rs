//! The same facts for machines: JSON-LD with the terms of schema.org and, for what identifies and dates it, of the GS1 Web Vocabulary. The
//! context stands inside, so that nobody has to fetch anything to read it.

use super::address::canonical;
use super::words::{production, scanned, storage, warning};
use crate::domain::gs1::restricted::is_restricted;
use crate::domain::language::Language;
use crate::domain::shop::Shop;
use crate::ops::customer::{Card, FirstFrozen, Named, Origin, Scanned, Warning};
use serde_json::{Value, json};

/// The document of a card.
pub fn document(shop: &Shop, language: Language, card: &Card) -> Value {
    let mut document = json!({
        "@context": {
            "@vocab": "https://schema.org/",
            "gs1": "https://ref.gs1.org/voc/",
            "xsd": "http://www.w3.org/2001/XMLSchema#",
            "url": {"@type": "@id"},
            "gs1:expirationDateTime": {"@type": "xsd:dateTime"},
            "gs1:firstFreezeDate": {"@type": "xsd:date"},
        },
        "@id": format!("{}{}", shop.web_address, canonical(card)),
        "@type": ["Product", "IndividualProduct", "gs1:Product"],
        "name": named(language, &card.cut),
        "category": named(language, &card.fish),
        "productID": card.article,
        "serialNumber": card.tray_code.to_string(),
        "gs1:hasSerialNumber": card.tray_code.to_string(),
        "gs1:hasBatchLotNumber": card.origins.iter().map(|origin| origin.lot_code.as_str()).collect::<Vec<_>>(),
        "offers": {
            "@type": "Offer",
            "seller": {"@type": "Organization", "name": shop.name, "address": shop.address, "url": shop.web_address},
        },
        "additionalProperty": properties(shop, language, card),
    });
    // A restricted number means something in this shop alone, and would collide with everybody else's.
    if !is_restricted(&card.article) {
        set(&mut document, "gtin", json!(card.article));
        set(&mut document, "gs1:gtin", json!(card.article));
    }
    if let Some(use_by) = card.use_by {
        set(&mut document, "gs1:expirationDateTime", json!(use_by.to_string()));
    }
    if let FirstFrozen::On(day) = card.first_frozen {
        set(&mut document, "gs1:firstFreezeDate", json!(day.to_string()));
    }
    document
}

fn set(document: &mut Value, key: &str, value: Value) {
    if let Some(object) = document.as_object_mut() {
        object.insert(key.to_owned(), value);
    }
}

fn named(language: Language, name: &Named) -> Value {
    match name.in_language(language) {
        (name, true) => json!({"@value": name, "@language": language.tag()}),
        (name, false) => json!(name),
    }
}

fn property(id: &str, value: impl Into<Value>) -> Value {
    json!({"@type": "PropertyValue", "propertyID": id, "value": value.into()})
}

/// With nothing but words.
fn worded(language: Language, id: &str, words: &str) -> Value {
    property(id, json!({"@value": words, "@language": language.tag()}))
}

/// With words beside the value.
fn described(language: Language, id: &str, value: &str, words: &str) -> Value {
    json!({
        "@type": "PropertyValue", "propertyID": id, "value": value,
        "description": {"@value": words, "@language": language.tag()},
    })
}

fn properties(shop: &Shop, language: Language, card: &Card) -> Vec<Value> {
    let mut all = Vec::new();
    for one in &card.warnings {
        let (what, why) = warning(language, *one);
        all.push(described(language, "warning", warning_code(*one), &format!("{what} {why}")));
    }
    if let Some(said) = scanned(language, card.scanned) {
        let code = if card.scanned == Scanned::Replaced { "replaced" } else { "outdated" };
        all.push(described(language, "scanned_label", code, said));
    }
    all.push(property("scientific_name", card.scientific_name.as_str()));
    all.push(property("cut_on", card.cut_on.to_string()));
    if let Some(use_by) = card.use_by {
        all.push(described(language, "use_by", &use_by.to_string(), &language.moment(shop.zone, use_by)));
    }
    all.push(match card.first_frozen {
        FirstFrozen::Never => property("first_frozen", "never"),
        FirstFrozen::On(day) => property("first_frozen", day.to_string()),
        FirstFrozen::BeforeItCame => property("first_frozen", "not_recorded"),
    });
    all.push(worded(language, "storage", &storage(language, card.condition)));
    all.extend(card.origins.iter().map(|origin| lot(language, origin)));
    let words = super::words::words(language);
    let cook = (!card.for_raw_eating).then_some(words.cook_it);
    let cautions = cook.into_iter().chain(words.label_cautions).chain([words.time_out_of_the_cold]);
    all.extend(cautions.map(|caution| worded(language, "caution", caution)));
    all
}

fn lot(language: Language, Origin { lot_code, catch }: &Origin) -> Value {
    let mut facts = vec![
        described(language, "production", catch.production.as_str(), production(language, catch.production)),
        described(language, "catch_area_fao", &catch.area, catch.area_in(language)),
        property("country", catch.country.as_str()),
        property("caught_from", catch.caught_from.to_string()),
        property("caught_to", catch.caught_to.to_string()),
    ];
    if let (Some(code), Some(words)) = (&catch.gear, catch.gear_in(language)) {
        facts.push(described(language, "gear_isscfg", code, words));
    }
    json!({"@type": "PropertyValue", "propertyID": "lot", "value": lot_code, "valueReference": facts})
}

const fn warning_code(warning: Warning) -> &'static str {
    match warning {
        Warning::Held => "held",
        Warning::TooWarm => "too_warm",
        Warning::PastUseBy => "past_use_by",
        Warning::LifeEnded => "life_ended",
        Warning::Withdrawn => "withdrawn",
    }
}
