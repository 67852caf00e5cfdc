//! The same as JSON-LD, read by an unrelated library (rdflib) that may not use the network: what it understands must be the facts.

use crate::setting::{Shop, act, text};
use crate::support::from_tests_run;
use crate::support::server::Server;
use crate::{Labelled, name_in_japanese, never_says, phone, saku, says};
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

/// Prints every triple as subject, predicate, object, language and type. Opening any connection fails.
const READER: &str = "
import json, socket, sys
def refuse(*_, **__):
    raise RuntimeError('the context was looked for in the network')
socket.socket.connect = refuse
socket.create_connection = refuse
socket.getaddrinfo = refuse
from rdflib import Graph
graph = Graph()
graph.parse(data=sys.stdin.read(), format='json-ld')
print(json.dumps([[str(s), str(p), str(o), getattr(o, 'language', None), str(getattr(o, 'datatype', None) or '')] for s, p, o in graph]))
";

type Triple = (String, String, String, Option<String>, String);

fn triples(document: &str) -> Vec<Triple> {
    let mut child = Command::new(from_tests_run("SAKUDANA_TEST_PYTHON"))
        .args(["-c", READER])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let _ = child.stdin.take().unwrap().write_all(document.as_bytes());
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

struct Graph(Vec<Triple>);

impl Graph {
    fn objects(&self, subject: &str, predicate: &str) -> Vec<&Triple> {
        self.0.iter().filter(|(s, p, ..)| s == subject && p == predicate).collect()
    }

    /// The one object of a predicate.
    #[track_caller]
    fn one(&self, subject: &str, predicate: &str) -> &str {
        let found = self.objects(subject, predicate);
        assert_eq!(found.len(), 1, "{predicate}: {found:?}");
        &found[0].2
    }

    /// Values of the additional properties of one name, of the thing or of a lot.
    fn properties(&self, id: &str) -> Vec<&str> {
        let named = self.0.iter().filter(|(_, p, o, ..)| p == "https://schema.org/propertyID" && o == id);
        named.flat_map(|(node, ..)| self.objects(node, "https://schema.org/value")).map(|t| t.2.as_str()).collect()
    }
}

fn asked(shop: &Shop, label: &Labelled, accept: &str, language: &str) -> (String, Graph) {
    let call = phone(shop, &label.path()).header("Accept", accept).header("Accept-Language", language);
    let answer = call.send().expect(200);
    assert_eq!(answer.header("content-type"), Some(accept));
    assert_eq!(answer.header("content-language"), Some(language));
    let text = answer.text();
    let graph = Graph(triples(&text));
    (text, graph)
}

/// Terms of schema.org, and of the GS1 Web Vocabulary: `gs1:firstFreezeDate` and `gs1:expirationDateTime` as the GS1 Digital Link Toolkit
/// translates AI 7006 and 7003; `gs1:hasBatchLotNumber` and `gs1:hasSerialNumber` from memory.
pub fn is_read_by_others(shop: &Shop) {
    name_in_japanese(shop);
    let label = saku(shop);
    let id = format!("https://fish.example{}", label.path());
    for accept in ["application/ld+json", "application/json"] {
        let (text_of, graph) = asked(shop, &label, accept, "ja");
        never_says(&text_of, &crate::saying::SECRETS);
        identity(shop, &graph, &id, &label);
        let name = graph.objects(&id, "https://schema.org/name");
        assert_eq!((name[0].2.as_str(), name[0].3.as_deref()), ("赤身サク", Some("ja")));
        says(&text_of, &["太平洋中西部", "生の魚です"]);
    }
    let (_, graph) = asked(shop, &label, "application/ld+json", "en");
    let name = graph.objects(&id, "https://schema.org/name");
    assert_eq!((name[0].2.as_str(), name[0].3.as_deref()), ("Lean saku", None), "nobody said in which language it is");
    assert_eq!(graph.properties("warning"), Vec::<&str>::new());
    act(&shop.manager, "/v1/holds", &json!({"scope": "tray", "code": label.tray, "reason": "why"})).expect(201);
    assert_eq!(asked(shop, &label, "application/ld+json", "en").1.properties("warning"), ["held"]);
    strangers_get_problem_details(shop);
    a_number_of_the_world_is_a_gtin(shop, &label);
}

/// The same shop, once it has a prefix of GS1's: the old label still leads there, and the article has a number that is its own everywhere.
fn a_number_of_the_world_is_a_gtin(shop: &Shop, label: &Labelled) {
    let file = shop.server.directory().join("with-prefix.toml");
    let text = std::fs::read_to_string(&shop.settings).unwrap();
    std::fs::write(&file, format!("{text}\n[shop.codes]\ngs1_prefix = \"0614141\"\n")).unwrap();
    let server = Server::start_with(&["--settings", file.to_str().unwrap()], &shop.database, None);
    // 9 for variable measure, the prefix, the item number; the check digit worked out by hand (GS1 General Specifications 7.9.1).
    let gtin = "90614141001012";
    let id = format!("https://fish.example/01/{gtin}/10/{}/21/{}", label.lot, label.tray);
    for article in [gtin, label.article.as_str()] {
        let path = format!("/01/{article}/21/{}", label.tray);
        let answer = server.client().get(&path).header("Accept", "application/ld+json").send().expect(200);
        let graph = Graph(triples(&answer.text()));
        for term in ["https://schema.org/gtin", "https://ref.gs1.org/voc/gtin", "https://schema.org/productID"] {
            assert_eq!(graph.one(&id, term), gtin);
        }
    }
}

fn identity(shop: &Shop, graph: &Graph, id: &str, label: &Labelled) {
    let types: Vec<&str> = graph
        .objects(id, "http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
        .iter()
        .map(|triple| triple.2.as_str())
        .collect();
    assert!(types.contains(&"https://schema.org/Product") && types.contains(&"https://ref.gs1.org/voc/Product"));
    assert_eq!(graph.one(id, "https://schema.org/productID"), label.article);
    // The shop of this test has no prefix of GS1's: its number means nothing elsewhere.
    assert!(graph.objects(id, "https://schema.org/gtin").is_empty());
    assert_eq!(graph.one(id, "https://schema.org/serialNumber"), label.tray);
    assert_eq!(graph.one(id, "https://ref.gs1.org/voc/hasSerialNumber"), label.tray);
    assert_eq!(graph.one(id, "https://ref.gs1.org/voc/hasBatchLotNumber"), label.lot);
    let use_by = graph.objects(id, "https://ref.gs1.org/voc/expirationDateTime")[0];
    assert_eq!(use_by.4, "http://www.w3.org/2001/XMLSchema#dateTime");
    let expected = text(&shop.tray(&label.tray)["use_by"]);
    assert_eq!(instant(&use_by.2), instant(&expected));
    let rows = [
        ("scientific_name", "Thunnus albacares"),
        ("lot", label.lot.as_str()),
        ("catch_area_fao", "71"),
        ("gear_isscfg", "LLD"),
        ("country", "Fiji"),
        ("production", "wild"),
        ("caught_from", "2026-01-05"),
        ("caught_to", "2026-01-06"),
        ("first_frozen", "never"),
    ];
    for (property, value) in rows {
        assert_eq!(graph.properties(property), [value], "{property}");
    }
    assert_eq!(graph.properties("caution").len(), 3);
}

fn instant(text: &str) -> i64 {
    let text = text.replace("+00:00", "Z");
    sakudana::units::instant::Instant::parse(&text).unwrap().micros()
}

fn strangers_get_problem_details(shop: &Shop) {
    let call = phone(shop, "/01/02900000001015/21/CCCCCCC").header("Accept", "application/ld+json");
    let answer = call.send().expect(404);
    assert_eq!(answer.header("content-type"), Some("application/problem+json"));
    let body: Value = answer.json();
    assert_eq!(body["code"], json!("not_found"));
}
