//! Names in other languages: kept with the species and the cut, under their version, and refused like any other name.

use crate::setting::Shop;
use crate::{change, page, saku, says};
use serde_json::{Value, json};

pub fn are_kept(shop: &Shop) {
    for path in ["/v1/species/YFT", "/v1/cuts/lean-saku"] {
        let names = || shop.reader.get(path).send().expect(200).json()["names"].clone();
        assert_eq!(names(), json!({}), "{path}");
        let answer = change(shop, path, &json!({"names": {"ja": " キハダ ", "en": "Yellowfin"}})).expect(200);
        assert_eq!(answer.json()["names"], json!({"ja": "キハダ", "en": "Yellowfin"}));
        assert_eq!(answer.header("etag"), Some("\"2\""));
        assert_eq!(names(), json!({"ja": "キハダ", "en": "Yellowfin"}));
        let list = path.rsplit_once('/').unwrap().0;
        let listed: Value = shop.reader.get(list).send().expect(200).json();
        let named: Vec<&Value> = listed.as_array().unwrap().iter().filter(|one| one["names"] != json!({})).collect();
        assert_eq!(named.len(), 1, "{listed}");
        for wrong in [json!({"ja": ""}), json!({"ja": "n".repeat(81)}), json!({"ja": "a\u{202e}b"})] {
            let refused = change(shop, path, &json!({"names": wrong})).expect(422).json();
            assert_eq!(refused["errors"][0]["field"], "names/ja", "{refused}");
        }
        assert!([400, 422].contains(&change(shop, path, &json!({"names": {"fr": "Albacore"}})).status));
        assert_eq!(names(), json!({"ja": "キハダ", "en": "Yellowfin"}), "a refusal changes nothing");
        change(shop, path, &json!({"names": {"en": "Yellowfin, by its English name"}})).expect(200);
        assert_eq!(names(), json!({"en": "Yellowfin, by its English name"}));
    }
    let label = saku(shop);
    says(&page(shop, &label.path(), "en"), &["<h1>Yellowfin, by its English name</h1>", "Lean saku"]);
    says(&page(shop, &label.path(), "ja"), &["<h1>Lean saku</h1>"]);
}
