//! Starts the HTTP server: limits, headers, the request log, health, the document and its page, and everything the rooms below answer.

use super::call::Service;
use super::pages::customer::{CustomerPage, Door};
use super::pane::Pane;
use super::problem::{Problem, Speech};
use super::{api, assets, clock, openapi, pages, stopping};
use crate::ops::desk::Desk;
use crate::ops::failure::Failure;
use crate::web::route;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::middleware::{Next, from_fn};
use actix_web::{App, Error, HttpResponse, HttpServer, ResponseError, web};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use utoipa_swagger_ui::{Config, SwaggerUi};

#[derive(Debug, Clone)]
pub struct ServerOptions {
    /// Address and port; port 0 takes a free one.
    pub listen: String,
    pub workers: usize,
    /// Whether the shop is reached by HTTPS: then the sign-in cookie is sent over nothing else.
    pub secure_cookies: bool,
    pub customer_page: CustomerPage,
}

/// The OpenAPI document, pretty printed, with a line end.
pub fn openapi_json() -> String {
    let mut text = openapi::document().to_pretty_json().unwrap_or_default();
    text.push('\n');
    text
}

/// Serves until told to stop, then finishes what it has begun. `ready` hears the address once connections are taken.
pub fn run(desk: Arc<Desk>, options: &ServerOptions, ready: impl FnOnce(SocketAddr)) -> std::io::Result<()> {
    let service = web::Data::new(Service::new(desk, options.secure_cookies));
    let customers = web::Data::new(Door::new(options.customer_page.clone()));
    // Written once and shared: a document for each worker would cost megabytes.
    let document = web::Data::new(Document(openapi_json()));
    actix_web::rt::System::new().block_on(async {
        let (told_to_stop, stopping) = stopping::on_signal()?;
        let stopping = web::Data::new(stopping);
        let server = HttpServer::new(move || {
            App::new()
                .app_data(web::Data::clone(&stopping))
                .app_data(web::Data::clone(&service))
                .app_data(Pane::of(&service.desk))
                .app_data(web::Data::clone(&customers))
                .wrap(from_fn(headers))
                .wrap(from_fn(log))
                .configure(api::routes)
                .configure(pages::routes)
                .configure(assets::routes)
                .route("/livez", route::get().to(live))
                .route("/readyz", route::get().to(readiness))
                .service(web::redirect("/docs", "/docs/"))
                .route("/problems", route::get().to(pages::problems::page))
                .service(SwaggerUi::new("/docs/{_:.*}").config(Config::new(["/v1/openapi.json"]).validator_url("none")))
                .app_data(web::Data::clone(&document))
                .route("/v1/openapi.json", route::get().to(served_document))
                .default_service(web::to(|| async { Err::<HttpResponse, Problem>(Problem::of(Speech::NoSuchAddress)) }))
        })
        .workers(options.workers)
        .max_connections(1_024)
        .client_request_timeout(Duration::from_secs(5))
        .shutdown_signal(told_to_stop)
        .shutdown_timeout(20)
        .bind(&options.listen)?;
        let address = server.addrs().first().copied();
        let running = actix_web::rt::spawn(server.run());
        // The first turn of the server takes connections: only then is it ready.
        tokio::task::yield_now().await;
        if let Some(address) = address {
            ready(address);
        }
        running.await.map_err(std::io::Error::other)?
    })
}

/// The OpenAPI document as text.
struct Document(String);

async fn served_document(document: web::Data<Document>) -> HttpResponse {
    HttpResponse::Ok().content_type("application/json").body(document.0.clone())
}

/// The process is up.
async fn live() -> HttpResponse {
    HttpResponse::Ok().content_type("application/health+json").body(r#"{"status":"pass"}"#)
}

/// The database answers.
async fn readiness(service: web::Data<Service>) -> Result<HttpResponse, Problem> {
    let kind = service
        .ask(|desk, _| -> Result<_, Failure> {
            desk.look(|_, _| Ok(()))?;
            Ok(desk.database_kind())
        })
        .await?;
    let body =
        serde_json::json!({"status": "pass", "checks": {"database": [{"status": "pass", "observedValue": kind}]}});
    Ok(HttpResponse::Ok().content_type("application/health+json").body(body.to_string()))
}

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'";
/// The documentation page styles itself inline.
const POLICY_DOCS: &str = "default-src 'none'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
                           connect-src 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'";

/// Headers every answer carries.
async fn headers(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let docs = request.path().starts_with("/docs");
    // No database takes a NUL in a text, and no thing has one in its name.
    let mut response = if request.uri().path_and_query().is_some_and(|address| address.as_str().contains("%00")) {
        let problem = Problem::at(Speech::MalformedRequest, "", "an address holds no NUL character");
        request.into_response(problem.error_response()).map_into_right_body()
    } else {
        next.call(request).await?.map_into_left_body()
    };
    let headers = response.headers_mut();
    let mut set = |name: HeaderName, value: &'static str| headers.insert(name, HeaderValue::from_static(value));
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::REFERRER_POLICY, "same-origin");
    set(header::CONTENT_SECURITY_POLICY, if docs { POLICY_DOCS } else { POLICY });
    set(HeaderName::from_static("permissions-policy"), "camera=(self), microphone=(), geolocation=()");
    Ok(response)
}

/// One line a request: no query, no secret.
async fn log(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let (method, path, begun) = (request.method().clone(), request.path().to_owned(), clock::now());
    let response = next.call(request).await?;
    let status = response.status().as_u16();
    tracing::info!(%method, path, status, micros = clock::now().since(begun), "answered");
    Ok(response)
}
