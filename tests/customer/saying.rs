//! What the page says: everything a buyer may know, in the language asked for, and nothing of the purchase or of people.

use crate::setting::{Shop, act, arrival, text};
use crate::{LEAN_SAKU, SCRAPE, name_in_japanese, never_says, page, phone, saku, says};
use serde_json::json;

/// Everything that a customer must not learn of this shop's fish: price and supplier, the supplier's codes, who cut and received it.
pub const SECRETS: [&str; 10] =
    ["486.70", "48670", "74.50", "7450", "Auction", "harbour-hall", "HH-4711", "cutter", "owner", "bright, firm"];

pub fn everything_in_both_languages(shop: &Shop) {
    name_in_japanese(shop);
    let label = saku(shop);
    let use_by = text(&shop.tray(&label.tray)["use_by"]);
    let english = page(shop, &label.path(), "en");
    says(
        &english,
        &[
            "<html lang=\"en\">",
            "<h1>Lean saku</h1>",
            "Yellowfin tuna",
            "<em lang=\"la\">Thunnus albacares</em>",
            "Caught in",
            "Pacific, Western Central (FAO 71)",
            "Fiji",
            "drifting longline",
            "5 Jan 2026 to 6 Jan 2026",
            &label.lot,
            "Never frozen",
            "Cut on",
            "Use by",
            &use_by,
            "At 0 to 2 °C",
            "immune-weak",
            "Contains fish.",
            "Harbour counter",
            "lang=\"ja\" hreflang=\"ja\"",
        ],
    );
    let japanese = page(shop, &label.path(), "ja");
    says(
        &japanese,
        &[
            "<html lang=\"ja\">",
            "<h1>赤身サク</h1>",
            "Lean saku",
            "キハダ",
            "Thunnus albacares",
            "産地",
            "太平洋中西部（FAO 71）",
            "浮きはえ縄",
            "天然",
            "2026年1月5日～2026年1月6日",
            "消費期限",
            &use_by,
            "加工日",
            "凍結していません",
            "0～2℃",
            "妊娠中",
            "魚を含みます",
        ],
    );
    // The dates are those of the shop's wall, nine hours ahead of UTC, in the form of each language.
    let day = chrono_day(&use_by, 9);
    says(&english, &[&day.0]);
    says(&japanese, &[&day.1]);
    for text in [&english, &japanese] {
        never_says(text, &SECRETS);
        never_says(text, &["Do not eat this", "食べないでください。</strong>", "newer label", "<script"]);
    }
    languages_are_switched(shop, &label.path());
}

/// `26 Nov 2026` and `2026年11月26日` of an instant, so many hours east.
fn chrono_day(instant: &str, hours: i64) -> (String, String) {
    use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
    let there = Instant::parse(instant).unwrap().plus_micros(hours * MICROS_PER_HOUR).to_chrono();
    (there.format("%-d %b %Y %H:%M").to_string(), there.format("%Y年%-m月%-d日 %-H:%M").to_string())
}

fn languages_are_switched(shop: &Shop, path: &str) {
    let language = |query: &str, wishes: Option<&str>| {
        let call = phone(shop, &format!("{path}{query}"));
        let call = match wishes {
            Some(wishes) => call.header("Accept-Language", wishes),
            None => call,
        };
        let answer = call.send().expect(200);
        assert_eq!(answer.header("vary"), Some("Accept-Language, Accept"));
        answer.header("content-language").unwrap().to_owned()
    };
    let rows = [
        ("", None, "en"),
        ("", Some("ja-JP,ja;q=0.9,en-US;q=0.8,en;q=0.7"), "ja"),
        ("", Some("de, ja;q=0.2, en;q=0.1"), "ja"),
        ("", Some("de"), "en"),
        ("?lang=ja", Some("en"), "ja"),
        ("?lang=en", Some("ja"), "en"),
        ("?17=261127&lang=JA&linkType=gs1:pip", None, "ja"),
        ("?lang=fr", Some("ja"), "ja"),
    ];
    for (query, wishes, expected) in rows {
        assert_eq!(language(query, wishes), expected, "{query} {wishes:?}");
    }
    let text = page(shop, path, "en");
    for tag in ["en", "ja"] {
        let link =
            format!("<link rel=\"alternate\" hreflang=\"{tag}\" href=\"https://fish.example{path}?lang={tag}\">");
        says(&text, &[&link]);
    }
    says(&text, &["hreflang=\"x-default\"", "href=\"?lang=ja\""]);
}

/// Two fishes in one tub: where each came from.
pub fn every_lot(shop: &Shop) {
    let (first, fish) = shop.receive("YFT", 20_000);
    let mut farmed = arrival();
    farmed["catch"] = json!({"production": "farmed", "area": "37.1", "country": "Malta",
                             "caught_from": "2026-01-07", "caught_to": "2026-01-07"});
    let answer = act(&shop.cutter, "/v1/lots", &farmed).expect(201).json();
    let (second, other) = (text(&answer["lot"]["lot_code"]), text(&answer["tray_code"]));
    let tubs = shop.cut(&fish, 20_000, &[("scrape", "front-case", 600)]);
    let more = shop.cut(&other, 31_400, &[("scrape", "front-case", 500)]);
    act(&shop.cutter, &format!("/v1/trays/{}/top-ups", tubs[0]), &json!({"source_tray_code": more[0], "grams": 500}))
        .expect(201);
    shop.label(&tubs);
    for lot in [&first, &second] {
        let text = page(shop, &format!("/01/{SCRAPE}/10/{lot}/21/{}", tubs[0]), "en");
        says(&text, &[&first, &second, "Fiji", "Malta", "Caught in", "Farmed in", "Harvested on", "7 Jan 2026"]);
        assert!(text.find(first.as_str()) < text.find(second.as_str()), "the oldest first");
    }
    // The lot may be left out, and parts may come percent-encoded or in the other case.
    let lower = tubs[0].to_lowercase();
    let encoded = first.replace('-', "%2D");
    for path in [
        format!("/01/{SCRAPE}/21/{}", tubs[0]),
        format!("/01/{SCRAPE}/10/{encoded}/21/{lower}"),
        format!("/01/{SCRAPE}/10/{}/21/{lower}?17=&3103=%zz&&x", first.to_lowercase()),
    ] {
        page(shop, &path, "en");
    }
    assert_eq!(phone(shop, &format!("/01/{LEAN_SAKU}/21/{}", tubs[0])).send().status, 404, "another article");
}
