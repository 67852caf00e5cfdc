//! The page of exceptions in a real browser: what happened, what to do, and one settled by its buttons.

use crate::counter::{Counter, PASSWORD, fill};
use crate::setting::new_key;
use crate::support::browser::Browser;
use crate::support::server::Server;
use serde_json::json;

#[test]
fn a_manager_reads_and_settles() {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let Counter { blocks, held, tub, .. } = fill(&database);
    let settings = folder.path().join("settings.toml");
    std::fs::write(&settings, "[shop]\nname = \"Test Counter\"\naddress = \"1 Quay\"\ntime_zone = \"Europe/Lisbon\"\nweb_address = \"https://counter.example\"\n").unwrap();
    let server = Server::start_with(&["--settings", settings.to_str().unwrap()], &database, None);
    let manager = crate::setting::sign_in(&server.client(), "Marta", PASSWORD);
    let till = server.client().with_key(&new_key(&manager, "till 1", "till").0);

    let browser = Browser::open();
    browser.goto(&server.url("/exceptions"));
    assert!(browser.url().ends_with("/sign-in"), "strangers are sent to sign in");
    browser.type_keys("Marta");
    browser.click("#password", "");
    browser.type_keys(PASSWORD);
    browser.press_enter();
    browser.find("h1", "Board");
    assert_eq!(browser.execute("return document.querySelectorAll('#exceptions').length"), json!(0));
    browser.goto(&server.url("/exceptions"));
    browser.find("p.card", "Nothing waits");

    let sale = |key: &str, tray: &str, grams: Option<i64>| {
        let lines = json!([{"tray_code": tray, "grams": grams, "price_cents": 1_997}]);
        format!(
            "{}\n",
            json!({"key": format!("page-of-the-test-{key}"), "sold_at": sakudana::web::clock::now().to_string(), "lines": lines})
        )
    };
    let queue =
        [sale("1", &blocks[0], None), sale("2", &blocks[0], None), sale("3", &held, None), sale("4", &tub, Some(650))]
            .concat();
    till.post("/v1/sales/replays").bytes("application/x-ndjson", queue.as_bytes()).send().expect(200);

    browser.goto(&server.url("/"));
    browser.find("#exceptions h2", "3 exceptions");
    browser.click("#exceptions a", "See what to do");
    browser.find("h1", "Exceptions");
    let titles = browser
        .execute("return [...document.querySelectorAll('section[data-exception] > h2')].map(e => e.textContent)");
    assert_eq!(titles, json!(["More was sold than it held", "Sold although it was on hold", "Sold twice"]));
    browser.find("[data-danger=eaten] .caution", "food-safety plan");
    browser.find("section[data-exception] .step", "case door stood open");
    // WCAG 2.2: 1.4.10 reflow at 320 CSS pixels; 2.5.5 targets of 44 by 44.
    for (width, height) in [(320, 640), (768, 1_024), (1_280, 800)] {
        browser.set_viewport(width, height);
        browser.goto(&server.url("/exceptions"));
        let wide = browser.execute("return document.documentElement.scrollWidth").as_u64().unwrap();
        assert!(wide <= u64::from(width), "{wide} wide on {width}");
        let small = browser.execute(
            "return [...document.querySelectorAll('main button, main input, main a, header a, header button')]
                .filter(e => e.offsetParent !== null && (e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.outerHTML)",
        );
        assert_eq!(small.as_array().map(Vec::len), Some(0), "at {width}: {small}");
    }
    if let Ok(pictures) = std::env::var("SAKUDANA_PICTURES") {
        browser.screenshot(&std::path::Path::new(&pictures).join("exceptions.png"));
    }
    // Whom to call is asked for; a tray that is gone is none that went.
    browser.click("[data-way=recalled] button", "Told who bought it");
    browser.find("#trouble", "who was told");
    let twice =
        browser.execute("return [...document.querySelectorAll('section[data-exception]')].at(-1).dataset.exception");
    let twice = twice.as_str().unwrap().to_owned();
    let try_tray = |code: &str| {
        browser.click(&format!("#tray-{twice}"), "");
        browser.type_keys(code);
        browser.click(&format!("#exception-{twice} [data-way=was_other_tray] button"), "It was this tray");
    };
    try_tray(&held);
    browser.find("#trouble", "no longer in stock");
    try_tray(&blocks[1]);
    browser.find(&format!("[data-settled='{twice}']"), "it was another tray");
    browser.find("#settled", "310 g");
    let over = browser.execute("return document.querySelector('section[data-exception]').dataset.exception");
    let over = over.as_str().unwrap().to_owned();
    browser.click(&format!("#exception-{over} [data-way=count_difference] button"), "Book as count difference");
    browser.find(&format!("[data-settled='{over}']"), "booked as a count difference, 50 g");
    let note = browser.execute("return document.querySelector('[data-way=recalled] input[name=note]').id");
    browser.click(&format!("#{}", note.as_str().unwrap()), "");
    browser.type_keys("called the regular");
    browser.click("[data-way=recalled] button", "Told who bought it");
    browser.find("#settled", "called the regular");
    browser.find("p.card", "Nothing waits");
    browser.goto(&server.url("/"));
    browser.find("h1", "Board");
    assert_eq!(browser.execute("return document.querySelectorAll('#exceptions').length"), json!(0));
    assert!(browser.console().iter().all(|entry| entry.level != "SEVERE"), "{:?}", browser.console());
    let verified = std::process::Command::new(env!("CARGO_BIN_EXE_sakudana"))
        .args(["verify", "--database", &database])
        .output()
        .unwrap();
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
}
