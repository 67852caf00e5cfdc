//! The page behind the QR, from outside, on both databases: what it says in each language and form, what it never says, and how it holds
//! off whoever asks too much. Knows the server only by its addresses; a past date is written into the database, since no act makes one.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    dead_code,
    reason = "a test that meets what it did not expect should stop right there; the shop is shared with other tests"
)]

#[path = "customer/caching.rs"]
mod caching;
#[path = "customer/freezing.rs"]
mod freezing;
#[path = "customer/linked_data.rs"]
mod linked_data;
#[path = "customer/names.rs"]
mod names;
#[path = "customer/saying.rs"]
mod saying;
#[path = "http/setting.rs"]
mod setting;
#[path = "customer/strangers.rs"]
mod strangers;
#[path = "prints/stub.rs"]
mod stub;
mod support;
#[path = "customer/warnings.rs"]
mod warnings;

use serde_json::{Value, json};
use setting::Shop;
use std::sync::atomic::{AtomicU32, Ordering};
use support::http::{Answer, Call};

/// Declares a test for each database out of one function that takes a fresh shop.
macro_rules! on_both {
    ($($scenario:path => $sqlite:ident, $postgres:ident;)*) => {
        $(
            #[test]
            fn $sqlite() {
                $scenario(&crate::setting::Shop::open(crate::support::server::Kind::Sqlite));
            }

            #[test]
            fn $postgres() {
                $scenario(&crate::setting::Shop::open(crate::support::server::Kind::Postgres));
            }
        )*
    };
}

on_both! {
    saying::everything_in_both_languages => says_everything_on_sqlite, says_everything_on_postgres;
    saying::every_lot => says_every_lot_on_sqlite, says_every_lot_on_postgres;
    warnings::come_first => warns_on_sqlite, warns_on_postgres;
    freezing::is_told => tells_of_freezing_on_sqlite, tells_of_freezing_on_postgres;
    caching::works => is_cached_on_sqlite, is_cached_on_postgres;
    linked_data::is_read_by_others => linked_data_on_sqlite, linked_data_on_postgres;
    strangers::learn_nothing => strangers_learn_nothing_on_sqlite, strangers_learn_nothing_on_postgres;
    strangers::are_let_in_at_a_rate => the_rate_on_sqlite, the_rate_on_postgres;
    names::are_kept => names_on_sqlite, names_on_postgres;
}

/// A labelled tray and how its code names it.
pub struct Labelled {
    pub article: String,
    pub lot: String,
    pub tray: String,
}

impl Labelled {
    pub fn path(&self) -> String {
        format!("/01/{}/10/{}/21/{}", self.article, self.lot, self.tray)
    }
}

/// The article numbers of the shop's cuts: restricted circulation, 029, the item number in ten digits, the check digit of each worked out
/// by hand (GS1 General Specifications 7.9.1).
pub const LEAN_SAKU: &str = "02900000001015";
pub const SCRAPE: &str = "02900000001022";

/// A lean saku of a fresh yellowfin, labelled.
pub fn saku(shop: &Shop) -> Labelled {
    saku_of(shop, &setting::arrival())
}

/// The same of another arrival.
pub fn saku_of(shop: &Shop, arrival: &Value) -> Labelled {
    let answer = setting::act(&shop.cutter, "/v1/lots", arrival).expect(201).json();
    let fish = setting::text(&answer["tray_code"]);
    let grams = arrival["received_g"].as_i64().unwrap();
    let trays = shop.cut(&fish, grams, &[("lean-saku", "front-case", 268)]);
    shop.label(&trays);
    let [tray] = trays.try_into().unwrap();
    Labelled { article: LEAN_SAKU.to_owned(), lot: setting::text(&answer["lot"]["lot_code"]), tray }
}

/// A call of a stranger's phone, each from an address of its own: the rate is asked for where it is meant.
pub fn phone(shop: &Shop, path: &str) -> Call {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let number = COUNT.fetch_add(1, Ordering::Relaxed);
    let address = format!("198.18.{}.{}", number / 250, number % 250);
    shop.anonymous.get(path).header("X-Forwarded-For", &address)
}

/// The page in a language, which must be there.
#[track_caller]
pub fn page(shop: &Shop, path: &str, language: &str) -> String {
    let answer = phone(shop, path).header("Accept-Language", language).header("Accept", "text/html").send();
    let answer = answer.expect(200);
    assert_eq!(answer.header("content-type"), Some("text/html; charset=utf-8"));
    assert_eq!(answer.header("content-language"), Some(language));
    answer.text()
}

#[track_caller]
pub fn says(text: &str, all: &[&str]) {
    for said in all {
        assert!(text.contains(said), "{said} is missing in\n{text}");
    }
}

#[track_caller]
pub fn never_says(text: &str, none: &[&str]) {
    for said in none {
        assert!(!text.contains(said), "{said} is told in\n{text}");
    }
}

/// Puts a species or a cut again, with these fields changed.
pub fn change(shop: &Shop, path: &str, fields: &Value) -> Answer {
    let old = shop.reader.get(path).send().expect(200);
    let mut body = old.json();
    for field in ["code", "version"] {
        body.as_object_mut().unwrap().remove(field);
    }
    for (name, value) in fields.as_object().unwrap() {
        body[name] = value.clone();
    }
    shop.manager.put(path).if_match(old.header("etag").unwrap()).json(&body).send()
}

/// Japanese names for what the tests look at.
pub fn name_in_japanese(shop: &Shop) {
    change(shop, "/v1/species/YFT", &json!({"names": {"ja": "キハダ"}})).expect(200);
    change(shop, "/v1/cuts/lean-saku", &json!({"names": {"ja": "赤身サク"}})).expect(200);
}
