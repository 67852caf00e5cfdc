//! Whoever scans, guesses or floods: nothing is told of what no label names, no address breaks the server, nobody asks without end.

use crate::setting::Shop;
use crate::{LEAN_SAKU, SCRAPE, page, phone, saku, says};
use std::collections::BTreeSet;

pub fn learn_nothing(shop: &Shop) {
    let label = saku(shop);
    let (lot, fish) = shop.receive("YFT", 20_000);
    let unlabelled = shop.cut(&fish, 20_000, &[("lean-saku", "front-case", 300)]);
    // A whole fish has a label for the shop, none for customers.
    let (_, inside) = shop.receive("YFT", 20_000);
    shop.label(std::slice::from_ref(&inside));
    let (article, tray) = (LEAN_SAKU, &label.tray);
    let mut slip = tray.clone().into_bytes();
    slip.swap(1, 2);
    let slip = String::from_utf8(slip).unwrap();
    let mut unknown = vec![
        format!("/01/{article}/21/{}", unlabelled[0]),
        format!("/01/02900000000018/21/{fish}"),
        format!("/01/02900000000018/21/{inside}"),
        format!("/01/{SCRAPE}/21/{tray}"),
        format!("/01/{article}/10/{lot}/21/{tray}"),
        format!("/01/{article}/10//21/{tray}"),
        format!("/01/2900000001015/21/{tray}"),
        format!("/01/{article}/21/CCCCCCC"),
        format!("/01/{article}/21/{tray}/"),
        format!("/01/{article}/21/{tray}/10/{}", label.lot),
        format!("/01/{article}/22/A/21/{tray}"),
        format!("/01/{article}//21/{tray}"),
        format!("/01/{article}"),
        "/01/".to_owned(),
        "/01/%ff/21/%ff".to_owned(),
        "/01/%/21/%4".to_owned(),
        "/01/..%2f..%2fetc/21/passwd".to_owned(),
        format!("/01/{article}/10/'%20OR%201=1--/21/{tray}"),
        format!("/01/{}/21/{}", "9".repeat(3_000), "C".repeat(3_000)),
        format!("/01/{}", "/".repeat(200)),
        format!("/01/{article}/21/%E3%81%82"),
    ];
    if slip != *tray {
        unknown.push(format!("/01/{article}/21/{slip}"));
    }
    let mut bodies = BTreeSet::new();
    for path in &unknown {
        let answer = phone(shop, path).header("Accept-Language", "ja").send();
        assert_eq!(answer.status, 404, "{path}: {}", answer.text());
        assert_eq!(answer.header("content-language"), Some("ja"), "{path}");
        assert_eq!(answer.header("cache-control"), Some("no-store"), "{path}");
        bodies.insert(answer.text());
    }
    assert_eq!(bodies.len(), 1, "what is not there looks the same as what is not to be seen");
    says(bodies.first().unwrap(), &["<html lang=\"ja\">", "このラベルは見つかりません", "href=\"?lang=en\""]);
    says(&phone(shop, &unknown[0]).send().text(), &["<html lang=\"en\">", "We do not know this label"]);
    for path in [format!("/01/{article}/21/%00"), format!("/01/{article}/21/{tray}?17=%00")] {
        assert_eq!(phone(shop, &path).send().status, 400, "{path}");
    }
    for path in [format!("//01/{article}/21/{tray}"), format!("/stem/01/{article}/21/{tray}"), "/01".to_owned()] {
        assert_eq!(phone(shop, &path).send().status, 404, "{path}");
    }
    let long = format!("{}?x={}", label.path(), "y".repeat(20_000));
    assert_eq!(phone(shop, &long).send().status, 200, "what is not known of the query says nothing");
    for (name, value) in
        [("Accept-Language", ",;q=;=,*;q=9"), ("Accept", "///;;q=a,,*"), ("If-None-Match", "\"\",W/,,\"")]
    {
        assert_eq!(phone(shop, &label.path()).header(name, value).send().status, 200, "{name}: {value}");
    }
}

pub fn are_let_in_at_a_rate(shop: &Shop) {
    let label = saku(shop);
    let ask = |address: &str, path: &str, accept: &str| {
        let call = shop.anonymous.get(path).header("X-Forwarded-For", address).header("Accept", accept);
        call.header("Accept-Language", "ja").send()
    };
    let (flood, html) = ("198.51.100.1", "text/html");
    // Sixty a minute, as settings.example.toml says; a slow run may earn one or two more.
    let statuses: Vec<u16> = (0..70).map(|_| ask(flood, &label.path(), html).status).collect();
    assert!(statuses[..60].iter().all(|status| *status == 200), "{statuses:?}");
    let refused = statuses.iter().filter(|status| **status == 429).count();
    assert!((1..=10).contains(&refused), "{statuses:?}");
    let answer = (0..5).map(|_| ask(flood, &label.path(), html)).find(|answer| answer.status == 429).unwrap();
    let wait: u64 = answer.header("retry-after").unwrap().parse().unwrap();
    assert!((1..=60).contains(&wait), "{wait}");
    assert_eq!(answer.header("cache-control"), Some("no-store"));
    says(&answer.text(), &["<html lang=\"ja\">", "アクセスが多すぎます"]);
    // What is not there costs as much: nobody can guess without end.
    let unknown = format!("/01/{LEAN_SAKU}/21/CCCCCCC");
    let answer = (0..5).map(|_| ask(flood, &unknown, "application/ld+json")).find(|a| a.status == 429).unwrap();
    assert_eq!(answer.header("content-type"), Some("application/problem+json"));
    assert_eq!(answer.json()["code"], "too_many_attempts");
    assert!(answer.header("retry-after").unwrap().parse::<u64>().unwrap() >= 1);
    // Made-up entries before the proxy's own help nobody, and others are let in.
    let spoofed = (0..5).map(|n| ask(&format!("203.0.113.{n}, {flood}"), &label.path(), html).status);
    assert!(spoofed.filter(|status| *status == 429).count() >= 1);
    assert_eq!(ask("198.51.100.2", &label.path(), html).status, 200);
    page(shop, &label.path(), "en");
}
