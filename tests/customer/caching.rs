//! Caches may answer for a little while: validators, freshness, and that a recall makes a new page (RFC 9110, 8.8.3, 13.1.2, 15.4.5;
//! RFC 9111).

use crate::setting::{Shop, act};
use crate::support::http::Answer;
use crate::{phone, saku, says};
use serde_json::json;

fn tag(answer: &Answer) -> String {
    answer.header("etag").unwrap().to_owned()
}

pub fn works(shop: &Shop) {
    let label = saku(shop);
    let get = || phone(shop, &label.path());
    let first = get().send().expect(200);
    let kept = tag(&first);
    assert!(kept.starts_with('"') && kept.ends_with('"') && kept.len() > 20, "strong: {kept}");
    assert_eq!(first.header("cache-control"), Some("public, max-age=60"));
    assert_eq!(first.header("set-cookie"), None);
    assert_eq!(tag(&get().send().expect(200)), kept, "the same facts are the same bytes");
    for known in [kept.clone(), format!("W/{kept}"), format!("\"other\", {kept}"), "*".to_owned()] {
        let answer = get().header("If-None-Match", &known).send().expect(304);
        assert!(answer.body.is_empty() && answer.header("content-type").is_none(), "{known}");
        assert_eq!(tag(&answer), kept);
        for name in ["cache-control", "vary"] {
            assert_eq!(answer.header(name), first.header(name), "{name}");
        }
    }
    get().header("If-None-Match", &kept.to_uppercase().replace('"', "\"x")).send().expect(200);
    // Every language and form is a representation of its own.
    let others = [
        get().header("Accept-Language", "ja"),
        get().header("Accept", "application/ld+json"),
        get().header("Accept", "application/json"),
        get().header("Accept", "application/ld+json").header("Accept-Language", "ja"),
    ];
    let mut tags: Vec<String> = others.into_iter().map(|call| tag(&call.send().expect(200))).collect();
    tags.push(kept.clone());
    tags.sort();
    tags.dedup();
    assert_eq!(tags.len(), 5, "{tags:?}");
    head_and_other_methods(shop, &label.path(), &kept);
    // Whoever asks again after the recall gets it, whatever is kept.
    act(&shop.manager, "/v1/holds", &json!({"scope": "lot", "code": label.lot, "reason": "recalled"})).expect(201);
    let recalled = get().header("If-None-Match", &kept).send().expect(200);
    says(&recalled.text(), &["Do not eat this."]);
}

fn head_and_other_methods(shop: &Shop, path: &str, kept: &str) {
    let call = |method: &str| shop.anonymous.call(method, path).header("X-Forwarded-For", "198.19.0.9");
    let head = call("HEAD").send().expect(200);
    assert!(head.body.is_empty());
    assert_eq!(tag(&head), kept);
    assert_eq!(call("HEAD").header("If-None-Match", kept).send().status, 304);
    for method in ["POST", "PUT", "DELETE", "PATCH"] {
        let answer = call(method).send().expect(405);
        assert_eq!(answer.header("allow"), Some("GET, HEAD"));
    }
}
