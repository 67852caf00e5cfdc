//! The pages in a real browser: sign in, scan by keys, sell, undo, accept a markdown; every page fits a phone and keeps its targets large.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod counter;
mod support;

use counter::{Counter, PASSWORD, fill};
use sakudana::domain::gs1::own::Article;
use sakudana::units::instant::MICROS_PER_MINUTE;
use sakudana::units::zone::Zone;
use sakudana::web::clock;
use support::browser::Browser;
use support::server::Server;

struct Visit {
    browser: Browser,
    server: Server,
    counter: Counter,
    _folder: tempfile::TempDir,
}

/// A filled shop, served, with someone signed in.
fn visit() -> Visit {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let counter = fill(&database);
    let settings = folder.path().join("settings.toml");
    std::fs::write(&settings, settings_now()).unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], &database, None);
    let browser = Browser::open();
    browser.goto(&server.url("/"));
    assert!(browser.url().ends_with("/sign-in"), "strangers are sent to sign in");
    browser.type_keys("Marta");
    browser.click("#password", "");
    browser.type_keys(PASSWORD);
    browser.press_enter();
    browser.find("h1", "Board");
    Visit { browser, server, counter, _folder: folder }
}

/// A shop that is always open, where the day's review is just over, hardly anyone comes, and a lower price brings many more.
fn settings_now() -> String {
    let review = clock::now().plus_micros(-10 * MICROS_PER_MINUTE);
    let review = Zone::parse("Europe/Lisbon").unwrap().time_of(review).format("%H:%M");
    let days =
        ["mon", "tue", "wed", "thu", "fri", "sat", "sun"].map(|day| format!("{day} = \"00:00-23:59\"\n")).concat();
    format!(
        "[shop]\nname = \"Test Counter\"\naddress = \"1 Quay\"\ntime_zone = \"Europe/Lisbon\"\nweb_address = \"https://counter.example\"\n\
         [shop.hours]\n{days}[shop.terms]\nreview_times = [\"{review}\"]\nkitchen_permille = 0\nelasticity_permille = 4000\n\
         prior_units_per_hour_permille = 50\n"
    )
}

fn verdict(browser: &Browser, word: &str) -> String {
    browser.find("#verdict .word", word);
    browser.text("#verdict .why")
}

#[test]
fn scan_sell_scan_again_and_put_back() {
    let v = visit();
    v.browser.goto(&v.server.url("/scan"));
    // Nothing is clicked: the field has the focus by itself.
    v.browser.scan(&v.counter.blocks[0]);
    assert!(verdict(&v.browser, "Sell").contains("Lean saku, 268 g, 19.97 €"));
    let address = format!("https://counter.example/01/02900000001015/21/{}?3103=000310", v.counter.blocks[1]);
    v.browser.scan(&address);
    v.browser.find("#lines li", "310 g");
    assert_eq!(v.browser.text("#total"), "43.07 €");
    v.browser.scan(&v.counter.tub);
    v.browser.find("#weigh-text", "out of 600");
    v.browser.scan("150");
    v.browser.find("#lines li", "Scrape, 150 g");
    v.browser.click("#sell", "Sold");
    assert!(verdict(&v.browser, "Sold").contains("3 tray(s), 47.57 €"));
    v.browser.scan(&v.counter.blocks[0]);
    assert!(verdict(&v.browser, "Stop").contains("by Marta"), "the second till is told by whom");
    v.browser.click("#undo-button", "");
    verdict(&v.browser, "Put back");
    v.browser.scan(&v.counter.blocks[0].to_lowercase());
    verdict(&v.browser, "Sell");
    assert!(v.browser.console().iter().all(|entry| entry.level != "SEVERE"), "{:?}", v.browser.console());
}

/// The sale is made and its answer lost; what is scanned then belongs to the next sale, and asking again sells nothing twice.
#[test]
fn a_lost_answer_sells_once() {
    let v = visit();
    v.browser.goto(&v.server.url("/scan"));
    v.browser.scan(&v.counter.tub);
    v.browser.find("#weigh-text", "out of 600");
    v.browser.scan("150");
    v.browser.find("#lines li", "Scrape, 150 g");
    v.browser.execute(
        "const real = window.fetch;
         window.fetch = async (...given) => { window.fetch = real; await real(...given); throw new TypeError('lost'); };",
    );
    v.browser.click("#sell", "Sold");
    verdict(&v.browser, "Not sure");
    v.browser.scan(&v.counter.blocks[0]);
    v.browser.find("#lines li", "268 g (next sale)");
    v.browser.click("#clear", "");
    assert_eq!(v.browser.text("#lines"), "Scrape, 150 g\n4.50 €", "a pending sale cannot be thrown away or changed");
    v.browser.scan(&v.counter.blocks[0]);
    v.browser.find("#lines li", "268 g (next sale)");
    v.browser.click("#sell", "Sold");
    assert!(verdict(&v.browser, "Sold").contains("1 tray(s), 4.50 €"));
    assert!(v.browser.text("#lines").starts_with("Lean saku, 268 g\n"), "the next sale is kept");
    let sales = v.browser.execute_async("fetch('/v1/sales').then(a => a.json()).then(done)");
    assert_eq!(sales.as_array().map(Vec::len), Some(1), "{sales}");
}

/// The address in the QR answers a stranger's phone, says what it must, and nothing of the purchase.
#[test]
fn a_customer_reads_what_the_label_leads_to() {
    let v = visit();
    let anonymous = v.server.client();
    let all = v.browser.execute_async("fetch('/v1/trays?state=all').then(a => a.json()).then(done)");
    let all = all.as_array().unwrap();
    let whole = all.iter().find(|t| t["kind"] == "bulk").unwrap()["tray_code"].as_str().unwrap();
    let lot = all[0]["lot_codes"][0].as_str().unwrap();
    let article = |item_number| Article::Restricted { item_number }.number().unwrap();
    let (saku, fish) = (article(101), article(1));
    let page = |code: &str| anonymous.get(&format!("/01/{saku}/10/{lot}/21/{code}?3103=000268&17=261127")).send();
    let fine = page(&v.counter.blocks[0]);
    assert_eq!(fine.status, 200);
    let text = fine.text();
    for said in ["Lean saku", "Thunnus albacares", "Pacific, Western Central (FAO 71)", "Fiji", "Use by", "immune-weak"]
    {
        assert!(text.contains(said), "{said} is missing");
    }
    for secret in ["64.00", "6400", "H-1", "Hall", "Marta", "Do not eat this"] {
        assert!(!text.contains(secret), "{secret} is told to strangers");
    }
    assert!(page(&v.counter.held).text().contains("Do not eat this"));
    assert_eq!(page("CCCCCCC").status, 404);
    let (block, tub) = (&v.counter.blocks[0], &v.counter.tub);
    let status = |path: String| anonymous.get(&path).send().status;
    assert_eq!(status(format!("/01/{saku}/21/{block}")), 200, "the lot may be left out");
    assert_eq!(status(format!("/01/{saku}/21/{tub}")), 404, "the article of another cut");
    assert_eq!(status(format!("/01/{saku}/10/{lot}9/21/{block}")), 404, "another lot");
    assert_eq!(status(format!("/01/{fish}/21/{whole}")), 404, "no label was issued");
}

/// Pictures for the reader of README and for whoever changes the look: written only when asked for.
#[test]
fn pictures_on_request() {
    let Ok(folder) = std::env::var("SAKUDANA_PICTURES") else { return };
    let v = visit();
    v.browser.set_viewport(1_100, 700);
    v.browser.screenshot(&std::path::Path::new(&folder).join("board.png"));
    v.browser.goto(&v.server.url("/scan"));
    v.browser.scan(&v.counter.blocks[0]);
    verdict(&v.browser, "Sell");
    v.browser.screenshot(&std::path::Path::new(&folder).join("scan.png"));
    v.browser.scan(&v.counter.held);
    verdict(&v.browser, "Stop");
    v.browser.screenshot(&std::path::Path::new(&folder).join("stop.png"));
    v.browser.goto(&v.server.url("/review"));
    v.browser.screenshot(&std::path::Path::new(&folder).join("review.png"));
    v.browser.set_viewport(390, 1_300);
    let saku = Article::Restricted { item_number: 101 }.number().unwrap();
    for language in ["en", "ja"] {
        for (name, code, query) in [
            ("fine", &v.counter.blocks[0], ""),
            ("recalled", &v.counter.held, ""),
            ("replaced", &v.counter.blocks[1], "&17=200101"),
        ] {
            v.browser.goto(&v.server.url(&format!("/01/{saku}/21/{code}?lang={language}{query}")));
            v.browser.screenshot(&std::path::Path::new(&folder).join(format!("customer-{name}-{language}.png")));
        }
        v.browser.goto(&v.server.url(&format!("/01/{saku}/21/CCCCCCC?lang={language}")));
        v.browser.screenshot(&std::path::Path::new(&folder).join(format!("customer-unknown-{language}.png")));
    }
}

#[test]
fn what_may_not_be_sold_stops_with_its_reason() {
    let v = visit();
    v.browser.goto(&v.server.url("/scan"));
    v.browser.scan(&v.counter.held);
    assert!(verdict(&v.browser, "Stop").contains("case door stood open"));
    let mut slip: Vec<char> = v.counter.blocks[0].chars().collect();
    slip.swap(1, 2);
    let slip: String = slip.into_iter().collect();
    if slip != v.counter.blocks[0] {
        v.browser.scan(&slip);
        v.browser.wait_for("the reason", || {
            v.browser.text("#verdict .why").contains("wrong or two are swapped").then_some(())
        });
    }
    v.browser.scan(&format!("https://other.example/01/02900000001015/21/{}", v.counter.blocks[0]));
    v.browser.wait_for("the other shop", || v.browser.text("#verdict .why").contains("other.example").then_some(()));
}

#[test]
fn a_markdown_is_accepted_in_one_touch() {
    let v = visit();
    v.browser.goto(&v.server.url("/review"));
    v.browser.find("[data-cut=short-saku] .sentence", "Lower Short saku to ");
    v.browser.click("[data-cut=short-saku] button[data-accept]", "Accept");
    v.browser.find("#decided li", "Short saku accepted");
    v.browser.click("#decided button[data-undo]", "Undo");
    v.browser.find("#decided li", "taken back by Marta");
    v.browser.click("[data-cut=short-saku] summary", "");
    // Which price is advised hangs on the minute; another one is chosen.
    let first =
        "document.querySelector('[data-cut=short-saku] button[data-choice]').closest('tr').cells[0].textContent";
    let other = v.browser.execute(&format!("return {first}")).as_str().unwrap().trim().to_owned();
    let price = other.strip_suffix(" €/kg").unwrap_or_else(|| panic!("{other}"));
    v.browser.click("[data-cut=short-saku] button[data-choice]", "Do this");
    v.browser.find("#decided li", &format!("Short saku changed, {other}"));
    let cents = (price.replace('.', "").parse::<i64>().unwrap() * 280 + 500) / 1_000;
    v.browser.goto(&v.server.url("/scan"));
    v.browser.scan(&v.counter.ending);
    assert!(verdict(&v.browser, "Sell, marked down").contains(&format!("{}.{:02} €", cents / 100, cents % 100)));
    v.browser.goto(&v.server.url(&format!("/trays/{}", v.counter.ending)));
    v.browser.click("button.main", "Issue the label");
    v.browser.find("h2", "Label");
    let width = v.browser.wait_for("the label's picture", || {
        v.browser
            .execute("const i = document.querySelector('img.label'); return i && i.complete ? i.naturalWidth : null")
            .as_u64()
            .filter(|w| *w > 0)
    });
    assert_eq!(width, 496, "62 mm at 203 dpi, in the whole bytes of its printer");
}

#[test]
fn demand_is_shown_and_said_otherwise() {
    let v = visit();
    v.browser.goto(&v.server.url("/demand"));
    v.browser.find("h1", "Demand");
    v.browser.find("figure.week figcaption", "opening hour");
    v.browser.find("tr[data-cut=lean-saku]", "hardly known");
    v.browser.goto(&v.server.url("/demand/lean-saku"));
    v.browser.find("section.card h2", "in an average opening hour at list");
    v.browser.click("#units_per_hour", "");
    v.browser.type_keys("1,25");
    v.browser.click("#kitchen", "");
    v.browser.type_keys("-0.50");
    v.browser.click("button.main", "Keep");
    v.browser.find("section.card p.small", "Marta said otherwise on");
    v.browser.find("section.card h2", "1.25");
    v.browser.find("section.card p", "what a person said");
    assert_eq!(v.browser.execute("return document.querySelector('#kitchen').value"), "-0.50");
    // What cannot be read is named, and what was typed stays.
    v.browser.click("#portion", "");
    v.browser.type_keys("a lot");
    v.browser.click("button.main", "Keep");
    v.browser.find(".trouble", "Portion cannot be read");
    assert_eq!(v.browser.execute("return document.querySelector('#portion').value"), "a lot");
}

/// WCAG 2.2: 1.4.10 reflow at 320 CSS pixels; 2.5.5 targets of 44 by 44.
#[test]
fn every_page_fits_a_phone_and_keeps_its_targets_large() {
    let v = visit();
    let tray = format!("/trays/{}", v.counter.blocks[0]);
    let saku = Article::Restricted { item_number: 101 }.number().unwrap();
    let customer = |code: &str, language: &str| format!("/01/{saku}/21/{code}?lang={language}&17=200101");
    let customers = ["en", "ja"].map(|language| customer(&v.counter.held, language));
    let [english, japanese] = customers.each_ref().map(String::as_str);
    let pages = [
        "/",
        "/scan",
        "/review",
        "/report",
        "/plan",
        "/errands",
        "/demand",
        "/demand/lean-saku",
        "/places/case/case-plan",
        &tray,
        "/problems",
        english,
        japanese,
    ];
    for path in pages {
        for (width, height) in [(320, 640), (768, 1_024), (1_280, 800)] {
            v.browser.set_viewport(width, height);
            v.browser.goto(&v.server.url(path));
            let wide = v.browser.execute("return document.documentElement.scrollWidth").as_u64().unwrap();
            assert!(wide <= u64::from(width), "{path} is {wide} wide on {width}");
            let small = v.browser.execute(
                "return [...document.querySelectorAll('main button, main input, main a, header a, header button')]
                    .filter(e => e.offsetParent !== null && !e.closest('.proposal p.small, dl') && (e.offsetHeight < 44 || e.offsetWidth < 44))
                    .map(e => e.outerHTML)",
            );
            assert_eq!(small.as_array().map(Vec::len), Some(0), "{path} at {width}: {small}");
            let styled = v.browser.execute("return getComputedStyle(document.body).margin");
            assert_eq!(styled.as_str(), Some("0px"), "the style sheet is loaded");
        }
    }
    assert!(v.browser.console().iter().all(|entry| entry.level != "SEVERE"), "{:?}", v.browser.console());
}
