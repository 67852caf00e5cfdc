//! When the first part of it was frozen: never, here, before it came on a day that is known, or on one that is not.

use crate::setting::{Shop, act, arrival, text};
use crate::{LEAN_SAKU, page, saku, saku_of, says};
use sakudana::units::zone::{Zone, write_day};
use sakudana::web::clock;
use serde_json::{Value, json};

fn came_frozen(frozen_on: Option<&str>) -> Value {
    let mut frozen = arrival();
    frozen["previously_frozen"] = json!(true);
    frozen["frozen_on"] = json!(frozen_on);
    frozen
}

pub fn is_told(shop: &Shop) {
    let today = write_day(Zone::parse("Asia/Tokyo").unwrap().day_of(clock::now()));
    let frozen = "<dt>First frozen</dt><dd>";
    let said = |path: &str, what: &str| says(&page(shop, path, "en"), &[&format!("{frozen}{what}")]);
    let day = |iso: &str, words: &str| format!("<time datetime=\"{iso}\">{words}</time>");
    said(&saku(shop).path(), "Never frozen");
    let known = saku_of(shop, &came_frozen(Some("2026-01-07")));
    said(&known.path(), &day("2026-01-07", "7 Jan 2026"));
    says(&page(shop, &known.path(), "ja"), &["最初の凍結日", "2026年1月7日", "解凍品です"]);
    let unknown = saku_of(shop, &came_frozen(None));
    said(&unknown.path(), "Before it came to the shop, date not recorded");
    says(&page(shop, &unknown.path(), "ja"), &["当店への入荷前"]);
    what_is_frozen_here(shop, &today);
    what_the_papers_may_say(shop);
}

/// A loin is cut in two: of the first half everything is fresh; the rest is frozen, thawed and cut.
fn what_is_frozen_here(shop: &Shop, today: &str) {
    let (lot, fish) = shop.receive("YFT", 31_400);
    let [loin] = shop.cut(&fish, 31_400, &[("loin", "cold-room", 8_000)]).try_into().unwrap();
    let half = |grams: Option<i64>, out: i64| {
        let body = json!({"inputs": [{"tray_code": loin, "grams": grams}], "place_code": "bench", "losses": [{"name": "skin", "grams": 1_000}],
            "outputs": [{"cut_code": "lean-saku", "place_code": "front-case", "net_weight_g": out}]});
        let made = act(&shop.cutter, "/v1/breakdowns", &body).expect(201).json();
        let tray = text(&made["trays"][0]["tray_code"]);
        shop.label(std::slice::from_ref(&tray));
        format!("/01/{LEAN_SAKU}/10/{lot}/21/{tray}")
    };
    let fresh = half(Some(4_000), 3_000);
    act(&shop.cutter, &format!("/v1/trays/{loin}/freezes"), &json!({"place_code": "freezer"})).expect(201);
    act(&shop.cutter, &format!("/v1/trays/{loin}/thaws"), &json!({"place_code": "cold-room"})).expect(201);
    let thawed = half(None, 3_000);
    says(&page(shop, &fresh, "en"), &["Never frozen"]);
    let text = page(shop, &thawed, "en");
    says(&text, &["First frozen", &format!("\">{today}</time><p>It was frozen and is thawed.")]);
}

fn what_the_papers_may_say(shop: &Shop) {
    let refused = |body: &Value, reason: &str| {
        let answer = act(&shop.cutter, "/v1/lots", body).expect(422).json();
        assert_eq!((&answer["code"], &answer["errors"][0]["field"]), (&json!("invalid_value"), &json!("frozen_on")));
        assert!(answer["detail"].as_str().unwrap().contains(reason), "{answer}");
    };
    refused(&came_frozen(Some("2026-01-04")), "before the catch");
    refused(&came_frozen(Some("2200-01-01")), "after the day of receiving");
    refused(&came_frozen(Some("7 Jan 2026")), "YYYY-MM-DD");
    let mut never = came_frozen(Some("2026-01-07"));
    never["previously_frozen"] = json!(false);
    refused(&never, "previously_frozen");
}
