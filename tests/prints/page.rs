//! The page of prints in a real browser: plain words, what is in doubt on top, buttons that do what they say.

use crate::counter::PASSWORD;
use crate::shop::Shop;
use crate::stub::Stub;
use crate::support::browser::Browser;
use crate::support::printer::{Printer, Variant};
use crate::support::server::Kind;

fn signed_in(shop: &Shop) -> Browser {
    let browser = Browser::open();
    browser.goto(&shop.server.url("/sign-in"));
    browser.type_keys("Marta");
    browser.click("#password", "");
    browser.type_keys(PASSWORD);
    browser.press_enter();
    browser.find("h1", "Board");
    browser
}

/// WCAG 2.2: 1.4.10 reflow at 320 CSS pixels; 2.5.5 targets of 44 by 44.
fn fits(browser: &Browser) {
    for (width, height) in [(320, 640), (1_280, 800)] {
        browser.set_viewport(width, height);
        let wide = browser.execute("return document.documentElement.scrollWidth").as_u64().unwrap();
        assert!(wide <= u64::from(width), "{wide} wide on {width}");
        let small = browser.execute(
            "return [...document.querySelectorAll('main button, main input, main a')]
                .filter(e => e.offsetParent !== null && (e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.outerHTML)",
        );
        assert_eq!(small.as_array().map(Vec::len), Some(0), "{small}");
    }
}

#[test]
fn labels_are_printed_and_troubles_seen_on_the_page() {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    let browser = signed_in(&shop);
    printer.fault("media-empty-error");
    browser.goto(&shop.server.url(&format!("/trays/{}", shop.counter.blocks[0])));
    browser.click("button.main", "Print");
    browser.find("h1", "Printing");
    browser.find("[data-state=printing]", "it is out of labels");
    browser.find("[data-printer=counter]", "it is out of labels");
    fits(&browser);
    printer.mend();
    browser.find("#over [data-state=done]", "Printed");
    assert_eq!(browser.text("#queue p"), "Nothing waits.");
    assert_eq!(printer.documents().len(), 1);

    printer.fault("cover-open");
    shop.print(&shop.counter.blocks[1]);
    shop.print(&shop.counter.blocks[2]);
    browser.goto(&shop.server.url("/prints"));
    browser.find("[data-state=printing]", "its cover is open");
    browser.click("[data-state=waiting] button", "Cancel");
    browser.find("#over [data-state=cancelled]", "Given up");
    printer.mend();
    assert!(browser.console().iter().all(|entry| entry.level != "SEVERE"), "{:?}", browser.console());
}

#[test]
fn what_nobody_knows_stands_on_top_until_someone_has_looked() {
    let stub = Stub::that_hangs_up();
    let shop = Shop::open(Kind::Sqlite, &[("counter", &stub.uri)]);
    let (one, two) = (shop.print(&shop.counter.blocks[0]), shop.print(&shop.counter.blocks[1]));
    shop.becomes(one, "unknown", "");
    shop.becomes(two, "unknown", "");
    let browser = signed_in(&shop);
    browser.goto(&shop.server.url("/prints"));
    browser.find("#in-doubt h2", "Please look at the printer");
    fits(&browser);
    browser.click(&format!("[data-print='{one}'] button"), "It printed");
    browser.find("#over [data-state=done]", "Marta has seen it printed");
    browser.click(&format!("[data-print='{two}'] button"), "Print again");
    // The stub hangs up again: again nobody knows, and it was sent once more.
    shop.until(|| {
        let print = shop.get(two);
        if print["state"] == "unknown" && print["attempts"] == 2 { Ok(print) } else { Err(print) }
    });
}
