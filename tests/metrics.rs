//! What the program publishes of itself, read by the reference parser of the format: the names of the field, labels that nobody can blow
//! up, and numbers that follow what was done.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "http/setting.rs"]
mod setting;
#[path = "prints/stub.rs"]
mod stub;
mod support;

use serde_json::{Value, json};
use setting::{Shop, act, fresh_key};
use support::python;
use support::server::Kind;

/// The parser of the official Python client: text in, its families with their samples out.
const READ: &str = "
import json, sys
from prometheus_client.parser import text_string_to_metric_families
for line in sys.stdin:
    families = text_string_to_metric_families(json.loads(line))
    print(json.dumps([[f.name, f.type, [[s.name, s.labels, s.value] for s in f.samples]] for f in families]))
";

/// Family, type, samples of name, labels and value.
struct Read(Vec<(String, String, Vec<(String, Value, f64)>)>);

impl Read {
    fn of(text: &str) -> Read {
        let mut kinds: Vec<&str> = text.lines().filter(|line| line.starts_with("# TYPE ")).collect();
        let all = kinds.len();
        kinds.sort_unstable();
        kinds.dedup();
        assert_eq!(kinds.len(), all, "a family stands twice:\n{text}");
        let answer = python::lines(READ, &[json!(text).to_string()]);
        Read(serde_json::from_str(&answer[0]).unwrap())
    }

    fn kind(&self, family: &str) -> Option<&str> {
        self.0.iter().find(|(name, ..)| name == family).map(|(_, kind, _)| kind.as_str())
    }

    /// The sum of the samples of this name whose labels hold these.
    fn sum(&self, sample: &str, labels: &Value) -> f64 {
        let holds = |found: &Value| labels.as_object().unwrap().iter().all(|(name, value)| &found[name] == value);
        let samples = self.0.iter().flat_map(|(.., samples)| samples);
        samples.filter(|(name, found, _)| name == sample && holds(found)).map(|(.., value)| value).sum()
    }

    fn label_values(&self, sample: &str, label: &str) -> Vec<String> {
        let samples = self.0.iter().flat_map(|(.., samples)| samples).filter(|(name, ..)| name == sample);
        let mut values: Vec<String> =
            samples.map(|(_, labels, _)| labels[label].as_str().unwrap().to_owned()).collect();
        values.sort();
        values.dedup();
        values
    }
}

fn read(shop: &Shop) -> Read {
    let answer = shop.reader.get("/metrics").send().expect(200);
    // Prometheus exposition formats, text-based format 0.0.4.
    assert_eq!(answer.header("content-type"), Some("text/plain; version=0.0.4; charset=utf-8"));
    Read::of(&answer.text())
}

fn on(kind: Kind) {
    let shop = Shop::open(kind);
    shop.anonymous.get("/metrics").send().expect(401);
    for (client, status) in
        [(&shop.till, 403), (&shop.counter, 403), (&shop.cutter, 403), (&shop.logger, 403), (&shop.manager, 200)]
    {
        client.get("/metrics").send().expect(status);
    }
    names_are_those_of_the_field(&read(&shop), kind);
    numbers_follow(&shop);
    nobody_makes_labels_up(&shop);
}

fn names_are_those_of_the_field(read: &Read, kind: Kind) {
    let rows = [
        // OpenTelemetry, HTTP metrics and database metrics, in Prometheus' spelling (name with its unit); from memory.
        ("http_server_request_duration_seconds", "histogram"),
        ("db_client_operation_duration_seconds", "histogram"),
        // Prometheus, writing client libraries, process metrics.
        ("process_cpu_seconds", "counter"),
        ("process_resident_memory_bytes", "gauge"),
        ("process_virtual_memory_bytes", "gauge"),
        ("process_open_fds", "gauge"),
        ("process_max_fds", "gauge"),
        ("process_start_time_seconds", "gauge"),
        ("sakudana_sales", "counter"),
        ("sakudana_refusals", "counter"),
        ("sakudana_panics", "counter"),
        ("sakudana_live_stock_trays", "gauge"),
        ("sakudana_event_streams_open", "gauge"),
        ("sakudana_webhooks_waiting", "gauge"),
        ("sakudana_write_group_size", "histogram"),
        ("sakudana_acts_waiting", "gauge"),
        ("sakudana_build_info", "gauge"),
    ];
    for (family, kind) in rows {
        assert_eq!(read.kind(family), Some(kind), "{family}");
    }
    assert!(read.sum("process_resident_memory_bytes", &json!({})) > 1e6);
    assert!(read.sum("process_start_time_seconds", &json!({})) > 1.7e9);
    assert_eq!(read.sum("sakudana_build_info", &json!({"version": env!("CARGO_PKG_VERSION")})), 1.0);
    // OpenTelemetry, HTTP metrics, http.server.request.duration: the advised bounds.
    let mut bounds: Vec<f64> = read
        .label_values("http_server_request_duration_seconds_bucket", "le")
        .iter()
        .map(|le| le.parse().unwrap_or(f64::INFINITY))
        .collect();
    bounds.sort_by(f64::total_cmp);
    let advised = [0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0, f64::INFINITY];
    assert_eq!(bounds, advised);
    let system = if kind == Kind::Sqlite { "sqlite" } else { "postgresql" };
    for operation in ["read", "write"] {
        let labels = json!({"db_operation_name": operation, "db_system_name": system});
        assert!(read.sum("db_client_operation_duration_seconds_count", &labels) > 0.0, "{operation}");
    }
}

fn numbers_follow(shop: &Shop) {
    let (_, whole) = shop.receive("YFT", 5_000);
    let trays = shop.cut(&whole, 5_000, &[("lean-saku", "cold-room", 300), ("lean-saku", "cold-room", 310)]);
    shop.label(&trays);
    let before = read(shop);
    let sale = json!({"lines": [{"tray_code": trays[0]}]});
    let key = fresh_key();
    let sell = || shop.till.post("/v1/sales").idempotency_key(&key).json(&sale).send().expect(201);
    sell();
    // Once, however often it is asked for.
    assert_eq!(sell().header("idempotent-replayed"), Some("true"));
    act(&shop.till, "/v1/sales", &sale).expect(409);
    let after = read(shop);
    let grew = |sample: &str, labels: Value| after.sum(sample, &labels) - before.sum(sample, &labels);
    assert_eq!(grew("sakudana_sales_total", json!({})), 1.0);
    assert_eq!(grew("sakudana_refusals_total", json!({"code": "already_sold"})), 1.0);
    let counted = |status: &str| {
        let labels = json!({"http_request_method": "POST", "http_route": "/v1/sales", "http_response_status_code": status, "url_scheme": "http"});
        grew("http_server_request_duration_seconds_count", labels)
    };
    assert_eq!((counted("201"), counted("409"), counted("500")), (2.0, 1.0, 0.0));
    assert_eq!(after.sum("sakudana_panics_total", &json!({})), 0.0);
    if shop.kind == Kind::Sqlite {
        assert!(grew("sakudana_write_group_size_count", json!({})) >= 1.0);
    }
    assert_eq!(after.label_values("sakudana_live_stock_trays", "verdict"), ["sell", "sell_at_markdown", "stop"]);
}

fn nobody_makes_labels_up(shop: &Shop) {
    let label = |sample: &str, label: &str| read(shop).label_values(sample, label);
    let count = "http_server_request_duration_seconds_count";
    let known = label(count, "http_route");
    for n in 0..50 {
        shop.anonymous.get(&format!("/no/such/place-{n}")).send().expect(404);
        shop.till.get(&format!("/v1/trays/NOSUCH{n}")).send();
        shop.anonymous.call(&format!("BREW{n}"), "/v1/trays").send();
    }
    let added: Vec<String> = label(count, "http_route").into_iter().filter(|route| !known.contains(route)).collect();
    assert!(
        added.iter().all(|route| route.is_empty() || route == "/v1/trays" || route == "/v1/trays/{tray_code}"),
        "{added:?}"
    );
    let methods = label(count, "http_request_method");
    assert!(
        methods.contains(&"_OTHER".to_owned()) && methods.iter().all(|method| !method.contains("BREW")),
        "{methods:?}"
    );
}

#[test]
fn what_is_published_on_sqlite() {
    on(Kind::Sqlite);
}

#[test]
fn what_is_published_on_postgres() {
    on(Kind::Postgres);
}
