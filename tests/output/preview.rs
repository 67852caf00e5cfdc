//! The page that shows a label before it is printed, and the files it leads to.

use std::path::Path;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use serde_json::{Value, json};

use crate::ground::{drawn, poppler};
use crate::pages::{Visit, visit};
use crate::support::decoders::{zbar, zxing};

/// Fetches as the page would; the status, two headers and the body.
fn fetched(v: &Visit, path: &str, body: Option<&Value>) -> (u64, String, String, Vec<u8>) {
    let options = match body {
        Some(body) => {
            json!({"method": "POST", "headers": {"Content-Type": "application/json"}, "body": body.to_string()})
        }
        None => json!({}),
    };
    let answer = v.browser.execute_async(&format!(
        "fetch({path:?}, {options}).then(async a => {{
            const bytes = new Uint8Array(await a.arrayBuffer());
            done([a.status, a.headers.get('content-type'), a.headers.get('content-disposition'), btoa(bytes.reduce((t, b) => t + String.fromCharCode(b), ''))]);
        }})"
    ));
    let text = |place: usize| answer[place].as_str().unwrap_or_default().to_owned();
    (answer[0].as_u64().unwrap(), text(1), text(2), BASE64_STANDARD.decode(text(3)).unwrap())
}

#[test]
fn a_label_is_seen_at_its_true_size_with_all_it_must_say() {
    let v = visit();
    let code = &v.counter.blocks[0];
    v.browser.goto(&v.server.url(&format!("/trays/{code}")));
    v.browser.click("a", "True size");
    v.browser.find("h1", "Lean saku");
    let measured = v.browser.wait_for("the pictures", || {
        let script = "const all = [...document.images]; if (!all.every(i => i.complete && i.naturalWidth)) return null;
            const [label, ruler] = [document.querySelector('.desk img'), document.querySelector('.ruler')].map(e => e.getBoundingClientRect().width * 25.4 / 96);
            return [label, ruler, all.length]";
        Some(v.browser.execute(script)).filter(Value::is_array)
    });
    let mm = |place: usize| measured[place].as_f64().unwrap();
    assert!((mm(0) - 496.0 * 25.4 / 203.0).abs() < 0.05, "the label is {} mm wide on the screen", mm(0));
    assert!((mm(1) - 53.98).abs() < 0.05, "the ruler is {} mm long", mm(1));
    assert_eq!(measured[2], 3);
    for (field, says) in [("cut name", "Lean saku"), ("net weight", "268 g"), ("scientific name", "Thunnus albacares")]
    {
        v.browser.find(".checks tr", field);
        let row = v.browser.find(".checks tr", says);
        drop(row);
    }
    assert_eq!(v.browser.execute("return document.querySelectorAll('.checks .no').length"), 0);
    let parts = v.browser.execute("return [...document.querySelectorAll('.card:last-of-type tbody tr')].map(r => r.innerText.replaceAll('\\t', ' '))");
    let parts: Vec<&str> = parts.as_array().unwrap().iter().filter_map(Value::as_str).collect();
    for said in [
        "https://counter.example",
        "Article, numbered by the shop",
        "Lot",
        code.as_str(),
        "Net weight 0.268 kg",
        "Use by",
        "Price 19.97 EUR",
    ] {
        assert!(parts.iter().any(|part| part.contains(said)), "{said} is not in {parts:#?}");
    }
    // Another stock and resolution are a choice away.
    v.browser.execute("document.querySelector('#stock').value = '80x50'; document.querySelector('#dpi').value = '300'");
    v.browser.click("form.choose button", "Show");
    v.browser.find(".card", "944 × 590 dots at 300");
    assert!(v.browser.url().ends_with("?stock=80x50&dpi=300"), "{}", v.browser.url());
    // What does not fit says why and lets another stock be tried; it is no defect of the page.
    for (query, why) in [("stock=40x30", "does not fit"), ("stock=a4-62x40&dpi=203", "no such label stock")] {
        v.browser.goto(&v.server.url(&format!("/trays/{code}/preview?{query}")));
        v.browser.find("h2", "Not printed so");
        v.browser.find(".caution", why);
    }
    v.browser.click("form.choose button", "Show");
    v.browser.find("h2", "Not printed so");
    assert!(v.browser.console().iter().all(|entry| entry.level != "SEVERE"), "{:?}", v.browser.console());
    if let Ok(folder) = std::env::var("SAKUDANA_PICTURES") {
        v.browser.goto(&v.server.url(&format!("/trays/{code}/preview")));
        for (name, width, height) in [("preview.png", 1_100, 2_000), ("preview-phone.png", 360, 3_600)] {
            v.browser.set_viewport(width, height);
            v.browser.find("h1", "Lean saku");
            v.browser.screenshot(&Path::new(&folder).join(name));
        }
    }
}

#[test]
fn every_form_is_the_same_label() {
    let v = visit();
    let code = v.counter.blocks[0].clone();
    let (status, content_type, disposition, png) = fetched(&v, &format!("/v1/trays/{code}/label.png"), None);
    assert_eq!((status, content_type.as_str()), (200, "image/png"));
    assert_eq!(disposition, format!("inline; filename=\"label-{code}.png\""));
    let said = zxing(&png);
    assert!(said.len() == 1 && said[0].contains(&format!("/21/{code}?")), "{said:?}");
    let lower = code.to_lowercase();
    let (status, content_type, disposition, pdf) = fetched(&v, &format!("/v1/trays/{lower}/label.pdf"), None);
    assert_eq!((status, content_type.as_str()), (200, "application/pdf"));
    assert_eq!(disposition, format!("inline; filename=\"label-{code}.pdf\""));
    assert_eq!(zbar(&drawn(&pdf, 1, 300)), said);
    let (status, content_type, _, svg) = fetched(&v, &format!("/v1/trays/{code}/label.svg"), None);
    assert_eq!((status, content_type.as_str()), (200, "image/svg+xml"));
    assert!(String::from_utf8(svg).unwrap().contains(&format!(
        "<title>Lean saku, tray {} {}</title>",
        &code[..3],
        &code[3..]
    )));
}

#[test]
fn sheets_come_from_the_shop() {
    let v = visit();
    let codes = [&v.counter.blocks[2], &v.counter.blocks[0], &v.counter.tub];
    let body = json!({"tray_codes": codes, "stock": "a4-62x40", "start_at": 20});
    let (status, content_type, disposition, pdf) = fetched(&v, "/v1/label-sheets", Some(&body));
    assert_eq!(
        (status, content_type.as_str(), disposition.as_str()),
        (200, "application/pdf", "inline; filename=\"labels.pdf\"")
    );
    let on = |page: usize| -> Vec<String> {
        let mut found = zxing(&drawn(&pdf, page, 300));
        found.sort_unstable();
        found.iter().map(|text| text.split("/21/").nth(1).unwrap()[..7].to_owned()).collect()
    };
    let mut first = vec![codes[0].clone(), codes[1].clone()];
    first.sort_unstable();
    let mut found = on(1);
    found.sort_unstable();
    assert_eq!((found, on(2)), (first, vec![codes[2].clone()]));
    assert!(String::from_utf8(poppler("pdftotext", &[], &pdf, &["-"])).unwrap().contains("by weight"));
}

/// WCAG 2.2: 1.4.10 reflow at 320 CSS pixels; 2.5.5 targets of 44 by 44.
#[test]
fn the_preview_fits_a_phone_and_keeps_its_targets_large() {
    let v = visit();
    for query in ["", "?stock=80x50&dpi=300"] {
        for (width, height) in [(320, 640), (1_280, 800)] {
            v.browser.set_viewport(width, height);
            v.browser.goto(&v.server.url(&format!("/trays/{}/preview{query}", v.counter.blocks[0])));
            let wide = v.browser.execute("return document.documentElement.scrollWidth").as_u64().unwrap();
            assert!(wide <= u64::from(width), "the page is {wide} wide on {width}");
            let small = v.browser.execute(
                "return [...document.querySelectorAll('main button, main input, main select, main a')]
                    .filter(e => e.offsetHeight < 44 || e.offsetWidth < 44).map(e => e.outerHTML)",
            );
            assert_eq!(small.as_array().map(Vec::len), Some(0), "{small}");
        }
    }
}
