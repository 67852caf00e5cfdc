//! What the program measures of itself, in the text form of Prometheus, at `/metrics`: for whoever may read metrics, by key. Names and buckets
//! are those of the field (OpenTelemetry's HTTP and database conventions, the process metrics of Prometheus clients); what is ours alone
//! begins with `sakudana_`. No label takes a value that a client makes up.

mod process;

use super::call::Look;
use super::permit::ReadMetrics;
use super::problem::{Problem, Refused, Speech};
use crate::domain::verdict::Outcome as Judgement;
use crate::ops::desk::Desk;
use crate::ops::figures::Figures;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::Method;
use actix_web::middleware::Next;
use actix_web::{Error, HttpResponse, ResponseError, web};
use prometheus_client::encoding::{EncodeLabelSet, prometheus_text};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::{Registry, Unit};
use std::future::{Future, poll_fn};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::pin;
use std::sync::{Mutex, PoisonError};
use std::task::Poll;
use std::time::{Duration, Instant};

/// OpenTelemetry, HTTP metrics, `http.server.request.duration`: the advised bounds in seconds.
const SECONDS: [f64; 14] = [0.005, 0.01, 0.025, 0.05, 0.075, 0.1, 0.25, 0.5, 0.75, 1.0, 2.5, 5.0, 7.5, 10.0];
/// The shelf is counted at most so often, however often it is asked for.
const SHELF_AGE: Duration = Duration::from_secs(15);

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Http {
    http_request_method: &'static str,
    /// The template of the address; empty for what is at no address of ours.
    http_route: String,
    http_response_status_code: u16,
    url_scheme: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfCode {
    code: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfVerdict {
    verdict: &'static str,
}

/// All that is published. One for all threads.
pub struct Metrics {
    registry: Registry,
    requests: Family<Http, Histogram, fn() -> Histogram>,
    refusals: Family<OfCode, Counter>,
    panics: Counter,
    shelf: Family<OfVerdict, Gauge>,
    shelf_counted: Mutex<Option<Instant>>,
    scheme: &'static str,
}

fn histogram() -> Histogram {
    Histogram::new(SECONDS)
}

impl Metrics {
    pub fn new(desk: &Desk, scheme: &'static str) -> Metrics {
        let mut registry = Registry::default();
        let requests = Family::new_with_constructor(histogram as fn() -> Histogram);
        let (refusals, panics, shelf) = (Family::default(), Counter::default(), Family::default());
        let text = "Duration of HTTP server requests";
        registry.register_with_unit("http_server_request_duration", text, Unit::Seconds, requests.clone());
        let operations = desk.figures().load.operations.clone();
        let text = "Duration of database client operations";
        registry.register_with_unit("db_client_operation_duration", text, Unit::Seconds, operations);
        let own = registry.sub_registry_with_prefix("sakudana");
        own.register("refusals", "Answers that are no yes, by their code", refusals.clone());
        own.register("panics", "Requests that met a defect and were answered with 500", panics.clone());
        own.register("live_stock_trays", "Trays on the shelf by what a scan would say", shelf.clone());
        register_figures(own, desk.figures());
        let build: Gauge = Gauge::default();
        build.set(1);
        own.sub_registry_with_label(("version".into(), env!("CARGO_PKG_VERSION").into())).register(
            "build_info",
            "The version that runs; always 1",
            build,
        );
        process::register(&mut registry);
        Metrics { registry, requests, refusals, panics, shelf, shelf_counted: Mutex::default(), scheme }
    }

    /// Everything as text. Counts the shelf anew if that was long ago.
    fn encoded(&self, desk: &Desk) -> Result<String, crate::ops::failure::Failure> {
        let mut counted = self.shelf_counted.lock().unwrap_or_else(PoisonError::into_inner);
        if counted.is_none_or(|at| at.elapsed() >= SHELF_AGE) {
            let verdicts = [Judgement::Sell, Judgement::SellAtMarkdown, Judgement::Stop].map(Judgement::as_str);
            for (verdict, count) in verdicts.into_iter().zip(desk.shelf_by_verdict(verdicts)?) {
                self.shelf.get_or_create(&OfVerdict { verdict }).set(count);
            }
            *counted = Some(Instant::now());
        }
        drop(counted);
        let mut text = String::new();
        // Writing to a String does not fail.
        let _ = prometheus_text::encode(&mut text, &self.registry);
        Ok(text)
    }

    fn observe(&self, method: &'static str, response: &ServiceResponse<impl MessageBody>, begun: Instant) {
        let labels = Http {
            http_request_method: method,
            http_route: response.request().match_pattern().unwrap_or_default(),
            http_response_status_code: response.status().as_u16(),
            url_scheme: self.scheme,
        };
        self.requests.get_or_create(&labels).observe(begun.elapsed().as_secs_f64());
        if let Some(Refused(code)) = response.response().extensions().get::<Refused>() {
            self.refusals.get_or_create(&OfCode { code }).inc();
        }
    }
}

fn register_figures(own: &mut Registry, figures: &Figures) {
    own.register("sales", "Sales recorded, each once", figures.sales.clone());
    own.register("event_streams_open", "Streams of events that are open", figures.event_streams.clone());
    own.register(
        "webhooks_waiting",
        "Webhooks whose next delivery failed and is to be tried again",
        figures.webhooks_waiting.clone(),
    );
    own.register("write_group_size", "Acts that shared a commit", figures.load.group_size.clone());
    own.register("acts_waiting", "Acts that wait for the commit before theirs", figures.load.waiting.clone());
}

/// The methods there are (RFC 9110, 9.1, and RFC 5789); what a client makes up is `_OTHER`, as OpenTelemetry has it.
fn known_method(method: &Method) -> &'static str {
    let known = ["GET", "HEAD", "POST", "PUT", "DELETE", "CONNECT", "OPTIONS", "TRACE", "PATCH"];
    known.into_iter().find(|name| *name == method.as_str()).unwrap_or("_OTHER")
}

/// Measures every request. A defect that stops a handler is answered with 500 here, where the connection would be cut without a word.
pub async fn measure(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let Some(metrics) = request.app_data::<web::Data<Metrics>>().cloned() else { return next.call(request).await };
    let (begun, method) = (Instant::now(), known_method(request.method()));
    let Some(response) = unless_it_panics(next.call(request)).await else {
        metrics.panics.inc();
        let labels = Http {
            http_request_method: method,
            http_route: String::new(),
            http_response_status_code: 500,
            url_scheme: metrics.scheme,
        };
        metrics.requests.get_or_create(&labels).observe(begun.elapsed().as_secs_f64());
        tracing::error!("a defect stopped a handler");
        let mut answer = Problem::of(Speech::Internal).error_response();
        super::server::guard(answer.headers_mut(), false);
        return Err(InternalError::from_response("a handler panicked", answer).into());
    };
    let response = response?;
    metrics.observe(method, &response, begun);
    Ok(response)
}

/// What a future comes to; none when it panics.
async fn unless_it_panics<F: Future>(future: F) -> Option<F::Output> {
    let mut future = pin!(future);
    // After a panic the future is dropped and nothing of it is used again.
    poll_fn(|context| match catch_unwind(AssertUnwindSafe(|| future.as_mut().poll(context))) {
        Ok(Poll::Pending) => Poll::Pending,
        Ok(Poll::Ready(output)) => Poll::Ready(Some(output)),
        Err(_) => Poll::Ready(None),
    })
    .await
}

/// The metrics as they stand.
pub async fn page(look: Look<ReadMetrics>, metrics: web::Data<Metrics>) -> Result<HttpResponse, Problem> {
    let text = look.ask(move |desk, _| metrics.encoded(desk)).await?;
    Ok(HttpResponse::Ok()
        .content_type("text/plain; version=0.0.4; charset=utf-8")
        .insert_header(("Cache-Control", "no-store"))
        .body(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_caught_wherever_it_happens() {
        actix_web::rt::System::new().block_on(async {
            assert_eq!(unless_it_panics(async { 7 }).await, Some(7));
            let late = async {
                tokio::task::yield_now().await;
                let empty: [u8; 0] = [];
                assert!(!empty.is_empty(), "this test means to panic here");
            };
            assert_eq!(unless_it_panics(late).await, None);
        });
    }

    #[test]
    fn methods_are_a_closed_list() {
        assert_eq!(known_method(&Method::PATCH), "PATCH");
        for made_up in ["BREW", "get", "PROPFIND"] {
            assert_eq!(Method::from_bytes(made_up.as_bytes()).as_ref().map(known_method).ok(), Some("_OTHER"));
        }
    }
}
