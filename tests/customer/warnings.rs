//! What stands at the top: recalled before or after the sale, past its date, a label that no longer holds.

use crate::setting::{Shop, act, text};
use crate::support::server::Kind;
use crate::{Labelled, never_says, page, saku, says};
use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, SqliteConnection};
use serde_json::json;

pub fn come_first(shop: &Shop) {
    a_hold_on_the_tray(shop);
    a_hold_on_the_lot_after_the_sale(shop);
    a_date_that_passed(shop);
    a_label_that_was_replaced(shop);
    what_was_thrown_away(shop);
}

/// The first thing after the heading is the warning.
fn warned(shop: &Shop, label: &Labelled, english: &str, japanese: &str) {
    let text = page(shop, &label.path(), "en");
    says(&text, &["Do not eat this.", english]);
    let (top, facts) = (text.find("role=\"alert\"").unwrap(), text.find("<dl>").unwrap());
    assert!(top < facts, "{text}");
    let text = page(shop, &label.path(), "ja");
    says(&text, &["食べないでください。", japanese]);
    never_says(&text, &["Do not eat"]);
}

fn a_hold_on_the_tray(shop: &Shop) {
    let label = saku(shop);
    let hold = json!({"scope": "tray", "code": label.tray, "reason": "scale was off, ask Kerstin"});
    let placed = act(&shop.manager, "/v1/holds", &hold).expect(201).json();
    warned(shop, &label, "stopped and recalled", "回収");
    never_says(&page(shop, &label.path(), "en"), &["Kerstin"]);
    let released = format!("/v1/holds/{}/release", placed["hold_id"]);
    act(&shop.manager, &released, &json!({"note": "weighed again"})).expect(201);
    never_says(&page(shop, &label.path(), "en"), &["Do not eat"]);
}

fn a_hold_on_the_lot_after_the_sale(shop: &Shop) {
    let label = saku(shop);
    act(&shop.counter, "/v1/sales", &json!({"lines": [{"tray_code": label.tray}]})).expect(201);
    never_says(&page(shop, &label.path(), "en"), &["Do not eat", "sold"]);
    let hold = json!({"scope": "lot", "code": label.lot, "reason": "histamine in the counter-sample"});
    act(&shop.manager, "/v1/holds", &hold).expect(201);
    warned(shop, &label, "stopped and recalled", "回収");
}

/// Moves a date of one tray and of its labels ten days back.
fn ten_days_back(shop: &Shop, tray: &str) {
    let statements = format!(
        "UPDATE trays SET use_by = use_by - 864000000000 WHERE code = '{tray}'; UPDATE issued_labels SET use_by = use_by - 864000000000 \
         WHERE tray_id = (SELECT id FROM trays WHERE code = '{tray}')"
    );
    match shop.kind {
        Kind::Sqlite => SqliteConnection::establish(&shop.database).unwrap().batch_execute(&statements).unwrap(),
        Kind::Postgres => PgConnection::establish(&shop.database).unwrap().batch_execute(&statements).unwrap(),
    }
}

fn a_date_that_passed(shop: &Shop) {
    let (in_stock, sold) = (saku(shop), saku(shop));
    act(&shop.counter, "/v1/sales", &json!({"lines": [{"tray_code": sold.tray}]})).expect(201);
    for label in [in_stock, sold] {
        ten_days_back(shop, &label.tray);
        warned(shop, &label, "Its use-by has passed.", "消費期限が過ぎています");
    }
}

/// The date in the code is compared with the one that binds; what is shown is always the latter.
fn a_label_that_was_replaced(shop: &Shop) {
    let label = saku(shop);
    let use_by = text(&shop.tray(&label.tray)["use_by"]);
    let there = sakudana::units::instant::Instant::parse(&use_by).unwrap().plus_micros(9 * 3_600_000_000).to_chrono();
    let (same, shown) = (there.format("%y%m%d").to_string(), there.format("%-d %b %Y %H:%M").to_string());
    let with = |query: &str| page(shop, &format!("{}?{query}", label.path()), "en");
    let newer = "There is a newer label";
    for query in
        [format!("3103=000268&17={same}&3922=1997"), "3103=009999&3922=1".into(), "17=".into(), "17=abcdef".into()]
    {
        let text = with(&query);
        never_says(&text, &[newer, "no longer holds"]);
        says(&text, &[&shown]);
    }
    let other = with("3103=000268&17=200101&3922=1997");
    says(&other, &[newer, &shown, "href=\"?lang=ja&amp;17=200101\""]);
    says(&page(shop, &format!("{}?17=200101", label.path()), "ja"), &["新しいラベルがあります"]);
    let hostile = with("17=%22%3E%3Cb&lang=en");
    never_says(&hostile, &["\"><b", newer]);
    // Frozen, its date stands still; thawed, no label on it says so.
    act(&shop.cutter, &format!("/v1/trays/{}/freezes", label.tray), &json!({"place_code": "freezer"})).expect(201);
    says(&with(&format!("17={same}")), &["no longer holds", "It is frozen now", "-18 °C"]);
    act(&shop.cutter, &format!("/v1/trays/{}/thaws", label.tray), &json!({"place_code": "front-case"})).expect(201);
    says(&with(&format!("17={same}")), &["no longer holds", "Do not freeze it again"]);
    shop.label(std::slice::from_ref(&label.tray));
    never_says(&page(shop, &label.path(), "en"), &["no longer holds", newer]);
    says(&with("17=200101"), &[newer]);
}

fn what_was_thrown_away(shop: &Shop) {
    let label = saku(shop);
    let body = json!({"reason": "dropped"});
    act(&shop.cutter, &format!("/v1/trays/{}/wastes", label.tray), &body).expect(201);
    warned(shop, &label, "taken it out of sale", "売り場から下げた");
    never_says(&page(shop, &label.path(), "en"), &["dropped"]);
}
