//! The pages of picking in a real browser: a refill and an order made by touch and worked off by a scanner that types, a stand-in asked for in
//! words, a plan written and filled by, everything large enough on a phone; and the list on paper. `SAKUDANA_PICTURES` keeps pictures.

use crate::counter::{Counter, PASSWORD, actor, fill, shop};
use crate::support::browser::Browser;
use crate::support::server::Server;
use base64::prelude::{BASE64_STANDARD, Engine};
use sakudana::domain::picking::plan::PlanLine;
use sakudana::domain::place::PlaceDraft;
use sakudana::ops::access::{NewPerson, create_person};
use sakudana::ops::case_plan;
use sakudana::ops::desk::Desk;
use sakudana::ops::edit_catalogue::{Expected, put_place};
use sakudana::ops::press::Press;
use sakudana::store::StoreOptions;
use sakudana::web::clock;
use serde_json::json;
use std::path::{Path, PathBuf};

struct Visit {
    browser: Browser,
    server: Server,
    counter: Counter,
    _folder: tempfile::TempDir,
}

/// The counter of the other page tests, with a second case that should hold two trays of lean saku.
fn visit() -> Visit {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let counter = fill(&database);
    let desk = Desk::open(&StoreOptions { database: database.clone(), readers: 1 }, shop())
        .unwrap()
        .with_press(Press::default());
    desk.act(|tx, shop| {
        let place = PlaceDraft {
            name: "Window case".into(),
            method: "chill".into(),
            set_point_mc: 500,
            upper_limit_mc: 2_000,
            ..PlaceDraft::default()
        };
        put_place(tx, shop, &actor(), clock::now(), "window", &place, Expected::New)?;
        let ben = NewPerson::check("Ben", "counter", PASSWORD)?;
        create_person(tx, &actor(), clock::now(), &ben)?;
        let lines = [PlanLine { cut: "lean-saku".into(), trays: 2 }];
        case_plan::put(tx, &actor(), clock::now(), "window", &lines, Expected::New)
    })
    .unwrap();
    drop(desk);
    let settings = folder.path().join("settings.toml");
    std::fs::write(&settings, "[shop]\nname = \"Test Counter\"\naddress = \"1 Quay\"\ntime_zone = \"Europe/Lisbon\"\nweb_address = \"https://counter.example\"\n").unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], &database, None);
    let browser = Browser::open();
    browser.goto(&server.url("/"));
    sign_in(&browser, "Marta");
    Visit { browser, server, counter, _folder: folder }
}

fn sign_in(browser: &Browser, name: &str) {
    browser.find("h1", "Sign in");
    browser.type_keys(name);
    browser.click("#password", "");
    browser.type_keys(PASSWORD);
    browser.press_enter();
    browser.find("h1", "Board");
}

fn pictures() -> Option<PathBuf> {
    std::env::var("SAKUDANA_PICTURES").ok().map(PathBuf::from)
}

impl Visit {
    /// WCAG 2.2: 1.4.10 reflow; 2.5.5 targets of 44 by 44.
    fn fits(&self, name: &str) {
        for (width, height) in [(320, 640), (390, 844), (1_280, 800)] {
            self.browser.set_viewport(width, height);
            let wide = self.browser.execute("return document.documentElement.scrollWidth").as_u64().unwrap();
            assert!(wide <= u64::from(width), "{name} is {wide} wide on {width}");
            let small = self.browser.execute(
                "return [...document.querySelectorAll('main button, main input, main a, main select, main summary, header a')]
                    .filter(e => e.offsetParent !== null && (e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.outerHTML)",
            );
            assert_eq!(small.as_array().map(Vec::len), Some(0), "{name} at {width}: {small}");
        }
        self.browser.set_viewport(390, 844);
        self.picture(name);
    }

    fn picture(&self, name: &str) {
        if let Some(folder) = pictures() {
            self.browser.screenshot(&folder.join(format!("{name}.png")));
        }
    }

    /// The page on paper, as text.
    fn paper(&self) -> String {
        let folder = tempfile::tempdir().unwrap();
        let printed = self.browser.devtools(
            "Page.printToPDF",
            &json!({"preferCSSPageSize": false, "paperWidth": 8.27, "paperHeight": 11.69}),
        );
        let file = folder.path().join("list.pdf");
        std::fs::write(&file, BASE64_STANDARD.decode(printed["data"].as_str().unwrap()).unwrap()).unwrap();
        if let Some(pictures) = pictures() {
            let target = pictures.join("pick-paper");
            let ran =
                std::process::Command::new("pdftoppm").args(["-png", "-r", "80"]).arg(&file).arg(&target).status();
            assert!(ran.unwrap().success());
        }
        text_of(&file)
    }
}

fn text_of(file: &Path) -> String {
    let ran = std::process::Command::new("pdftotext").args(["-layout"]).arg(file).arg("-").output().unwrap();
    String::from_utf8(ran.stdout).unwrap()
}

#[test]
fn a_refill_and_an_order_are_made_and_worked_off() {
    let v = visit();
    let [first, second, third] = [0, 1, 2].map(|at: usize| v.counter.blocks[at].clone());
    v.browser.goto(&v.server.url("/picks"));
    v.fits("picks");
    v.browser.click("form[data-purpose=refill] button", "Fill up Window case");
    v.browser.find("h1", "Fill up Window case");
    v.browser.find(".next .where", "Front case");
    assert_eq!(v.browser.text(".next .which").replace(' ', ""), first);
    v.fits("pick-refill");
    // What is scanned is typed: the field has the focus by itself.
    v.browser.scan(&first);
    v.browser.find("#answer .word", "Picked");
    v.browser.find("#state .counted", "1 of 2 trays");
    v.browser.wait_for("the next tray", || (v.browser.text(".next .which").replace(' ', "") == second).then_some(()));
    v.browser.scan(&v.counter.held);
    v.browser.find("#answer .why", "case door stood open");
    v.browser.scan(&third);
    v.browser.find("#answer .word", "Take this one?");
    v.fits("pick-confirm");
    v.browser.click("#take", "");
    v.browser.find("#answer .word", "Picked instead");
    v.browser.find("#state", "Done.");
    v.picture("pick-done");
    let place = v
        .browser
        .execute_async(&format!("fetch('/v1/trays/{third}').then(a => a.json()).then(t => done(t.place_code))"));
    assert_eq!(place.as_str(), Some("window"), "it stands in the case");

    v.browser.goto(&v.server.url("/picks"));
    v.browser.find(".card", "No list is open");
    v.browser.click("#low", "");
    v.browser.type_keys("500");
    v.browser.click("#high", "");
    v.browser.type_keys("530");
    v.browser.click("#note", "");
    v.browser.type_keys("Ana <b>at five</b>");
    v.browser.click("form[data-purpose=order] button", "Make the list");
    v.browser.find("h1", "Order: 500 to 530 g Lean saku");
    v.browser.find("p.for", "Ana <b>at five</b>");
    v.browser.find("#state .counted", "0 of 2 trays");
    v.browser.find(".passed", "no selection comes within the weight");
    v.fits("pick-order");
    let paper = v.paper();
    for said in [
        "Order: 500 to 530 g Lean saku",
        "Ana <b>at five</b>",
        "Window case",
        "268 g",
        "244 g",
        "Older trays left lying",
    ] {
        assert!(paper.contains(said), "{said} is not on paper:\n{paper}");
    }
    for hidden in ["Scan the tray", "Sign out", "Give the list up", "Cautions", "Next"] {
        assert!(!paper.contains(hidden), "{hidden} is on paper:\n{paper}");
    }
    // A wanted tray is sold: the list says so, and cannot be filled up in this weight.
    let sale = format!(
        "fetch('/v1/sales', {{method: 'POST', headers: {{'Content-Type': 'application/json', 'Idempotency-Key': crypto.randomUUID()}}, body: JSON.stringify({{lines: [{{tray_code: '{first}'}}]}})}}).then(a => done(a.status))"
    );
    assert_eq!(v.browser.execute_async(&sale).as_u64(), Some(201));
    v.browser.goto(&v.browser.url());
    v.browser.find(".alarms", "no longer in stock: sold");
    v.fits("pick-missing");
    v.browser.click("[data-post=refills]", "");
    v.browser.find("#trouble", "The nearest that can be put together");
    assert!(
        v.browser.console().iter().all(|entry| entry.level != "SEVERE" || entry.message.contains("409")),
        "{:?}",
        v.browser.console()
    );
}

#[test]
fn a_plan_is_written_and_a_case_filled_by_it() {
    let v = visit();
    v.browser.goto(&v.server.url("/picks"));
    v.browser.click("form[data-purpose=refill] a", "Change the plan");
    v.browser.find("h1", "Window case: what it should hold");
    v.browser.find("#here-lean-saku", "0 here now, 3 in the stores, 2 missing");
    let planned = "return [...document.querySelectorAll('#case-plan input')].map(i => `${i.dataset.cut} ${i.value}`)";
    assert_eq!(v.browser.execute(planned), json!(["lean-saku 2", "short-saku ", "scrape "]), "no bulk, by item number");
    v.fits("case-plan");
    v.browser.click("#trays-lean-saku", "");
    v.browser.execute("document.querySelector('#trays-lean-saku').select()");
    v.browser.type_keys("0");
    v.browser.click("#trays-short-saku", "");
    v.browser.type_keys("3");
    v.browser.click("#trays-scrape", "");
    v.browser.type_keys("1");
    v.browser.click("#case-plan button.main", "Keep the plan");
    v.browser.find("form[data-purpose=refill] p.small", "1 Scrape, 3 Short saku");
    v.browser.find("form[data-purpose=refill] h3", "Window case: 4 trays missing, 2 of them in the stores");
    v.browser.click("form[data-purpose=refill] button", "Fill up Window case");
    v.browser.find("h1", "Fill up Window case");
    v.browser.find("#state .counted", "0 of 4 trays");
    v.browser.find("#state .alarms h2", "2 trays are missing");

    // A place's first plan; and one that another person changed since it was read, which is not written over.
    v.browser.goto(&v.server.url("/places/case"));
    v.browser.click("a.reach", "What it should hold");
    v.browser.click("#trays-scrape", "");
    v.browser.type_keys("5");
    v.browser.click("#case-plan button.main", "Keep the plan");
    v.browser.find("form[data-purpose=refill] button", "Fill up Front case");
    // Its own store is a case now: a tub stands where it should, and no other is anywhere.
    v.browser.find("form[data-purpose=refill] h3", "Front case: 4 trays missing, none in the stores");
    v.fits("picks-planned");
    v.browser.goto(&v.server.url("/places/case/case-plan"));
    let put = |trays: i64, version: i64| {
        let body = json!({"lines": [{"cut_code": "scrape", "trays": trays}]});
        format!(
            "fetch('/v1/places/case/case-plan', {{method: 'PUT', headers: {{'Content-Type': 'application/json', 'If-Match': '\"{version}\"'}}, body: JSON.stringify({body})}}).then(a => done(a.status))"
        )
    };
    assert_eq!(v.browser.execute_async(&put(7, 1)).as_u64(), Some(200));
    v.browser.click("#case-plan button.main", "Keep the plan");
    v.browser.find("#trouble", "changed meanwhile");
    v.browser.goto(&v.server.url("/places/case/case-plan"));
    assert_eq!(v.browser.execute("return document.querySelector('#trays-scrape').value"), "7");

    v.browser.goto(&v.server.url("/places/freezer/case-plan"));
    v.browser.find("p.card", "A frozen place has no plan");
    v.browser.click("header button", "Sign out");
    sign_in(&v.browser, "Ben");
    v.browser.goto(&v.server.url("/picks"));
    v.browser.click("form[data-purpose=refill] a", "The plan");
    v.browser.find(".plan-lines li", "Scrape");
    v.browser.find(".card", "A manager changes it.");
    assert_eq!(v.browser.execute("return document.querySelectorAll('main form, main input').length"), 0);
    v.fits("case-plan-read");
}
