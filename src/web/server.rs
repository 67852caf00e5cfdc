//! Starts the HTTP server: limits, headers, the request log, health, the document and its page, and everything the rooms below answer.

use super::api::events::{FollowOptions, Streams};
use super::call::Service;
use super::health::Checkup;
use super::limits::{LimitOptions, Limits, pace, quota};
use super::listen::{self, Entrance};
use super::metrics::Metrics;
use super::pages::customer::{CustomerPage, Door};
use super::pages::trust::Trust;
use super::pane::Pane;
use super::problem::{Problem, Speech};
use super::tls::{self, Tls};
use super::{api, assets, clock, health, metrics, openapi, pages, stopping};
use crate::ops::desk::Desk;
use crate::web::route;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::{Next, from_fn};
use actix_web::{App, Error, HttpResponse, ResponseError, web};
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use utoipa_swagger_ui::{Config, SwaggerUi};

#[derive(Clone)]
pub struct ServerOptions {
    /// Address and port; port 0 takes a free one.
    pub listen: String,
    pub workers: usize,
    /// Whether the shop is reached by HTTPS: then the sign-in cookie is sent over nothing else.
    pub secure_cookies: bool,
    pub customer_page: CustomerPage,
    pub limits: LimitOptions,
    /// None for plain HTTP.
    pub tls: Option<Tls>,
    pub following: FollowOptions,
}

/// Where connections are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Addresses {
    pub shop: SocketAddr,
    /// Where plain HTTP leads to HTTPS.
    pub plain: Option<SocketAddr>,
}

/// The OpenAPI document, pretty printed, with a line end.
pub fn openapi_json() -> String {
    let mut text = openapi::document().to_pretty_json().unwrap_or_default();
    text.push('\n');
    text
}

/// Serves until told to stop, then finishes what it has begun. `ready` hears the address once connections are taken.
pub fn run(desk: Arc<Desk>, options: &ServerOptions, ready: impl FnOnce(Addresses)) -> std::io::Result<()> {
    let stalled = options.following.stalled;
    let streams = web::Data::new(Streams::new(&desk, options.following));
    let following = web::Data::new(options.following);
    let limits = Arc::new(Limits::new(&options.limits, desk.long_looks()));
    let connections = Arc::clone(&limits.connections);
    let service = web::Data::new(Service::new(desk, options.secure_cookies, limits));
    let customers = web::Data::new(Door::new(options.customer_page.clone()));
    // Written once and shared: a document for each worker would cost megabytes.
    let document = web::Data::new(Document(openapi_json()));
    let socket = listen::socket(&options.listen)?;
    let address = socket.local_addr()?;
    let plain = options.tls.as_ref().and_then(|tls| tls.http_listen.as_deref()).map(listen::socket).transpose()?;
    let addresses = Addresses { shop: address, plain: plain.as_ref().map(TcpListener::local_addr).transpose()? };
    let authority = options.tls.as_ref().and_then(|tls| tls.authority.clone());
    // Only where no authority of the shop's own could ever take its place: a browser keeps to this for a year.
    let strict = web::Data::new(Strict(options.tls.is_some() && authority.is_none()));
    let trust = web::Data::new(Trust {
        authority,
        https_port: address.port(),
        names: options.tls.as_ref().map(|tls| tls.names.clone()).unwrap_or_default(),
    });
    actix_web::rt::System::new().block_on(async {
        let (told_to_stop, stopping) = stopping::on_signal()?;
        let stopping = web::Data::new(stopping);
        let scheme = if options.tls.is_some() { "https" } else { "http" };
        let metrics = web::Data::new(Metrics::new(&service.desk, scheme));
        let checkup = web::Data::new(Checkup::default());
        let (plain_trust, plain_service) = (web::Data::clone(&trust), web::Data::clone(&service));
        let plain_app = move || {
            App::new()
                .app_data(web::Data::clone(&plain_trust))
                .app_data(web::Data::clone(&plain_service))
                .wrap(from_fn(quota::admit))
                .wrap(from_fn(headers))
                .wrap(from_fn(pace::watch))
                .configure(pages::trust::routes)
                .configure(assets::routes)
                .default_service(web::to(pages::trust::lead_to_https))
        };
        let app = move || {
            App::new()
                .app_data(web::Data::clone(&stopping))
                .app_data(web::Data::clone(&metrics))
                .app_data(web::Data::clone(&checkup))
                .app_data(web::Data::clone(&trust))
                .app_data(web::Data::clone(&strict))
                .app_data(web::Data::clone(&service))
                .app_data(Pane::of(&service.desk))
                .app_data(web::Data::clone(&streams))
                .app_data(web::Data::clone(&following))
                .app_data(web::Data::clone(&customers))
                .wrap(from_fn(quota::admit))
                .wrap(from_fn(headers))
                .wrap(from_fn(log))
                .wrap(from_fn(pace::watch))
                .wrap(from_fn(metrics::measure))
                .configure(api::routes)
                .configure(pages::routes)
                .configure(pages::trust::routes)
                .configure(assets::routes)
                .route("/livez", route::get().to(health::live))
                .route("/readyz", route::get().to(health::ready))
                .route("/metrics", route::get().to(metrics::page))
                .service(web::redirect("/docs", "/docs/"))
                .route("/problems", route::get().to(pages::problems::page))
                .service(SwaggerUi::new("/docs/{_:.*}").config(Config::new(["/v1/openapi.json"]).validator_url("none")))
                .app_data(web::Data::clone(&document))
                .route("/v1/openapi.json", route::get().to(served_document))
                .default_service(web::to(|| async { Err::<HttpResponse, Problem>(Problem::of(Speech::NoSuchAddress)) }))
        };
        let entrance = Entrance { connections, tls: options.tls.as_ref().map(|tls| Arc::clone(&tls.config)), stalled };
        let mut server =
            actix_server::Server::build().workers(options.workers).shutdown_signal(told_to_stop).shutdown_timeout(20);
        if let Some(plain) = plain {
            let entrance = Entrance { tls: None, ..entrance.clone() };
            server = listen::serve(server, "plain", plain, entrance, plain_app)?;
        }
        let server = listen::serve(server, "shop", socket, entrance, app)?;
        if let Some(tls) = &options.tls {
            tls::keep_fresh(tls)?;
        }
        let running = actix_web::rt::spawn(server.run());
        // The first turn of the server takes connections: only then is it ready.
        tokio::task::yield_now().await;
        ready(addresses);
        running.await.map_err(std::io::Error::other)?
    })
}

/// Whether browsers are told to use nothing but HTTPS.
struct Strict(bool);

/// The OpenAPI document as text.
struct Document(String);

async fn served_document(document: web::Data<Document>) -> HttpResponse {
    HttpResponse::Ok().content_type("application/json").body(document.0.clone())
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
    let strict = response.request().app_data::<web::Data<Strict>>().is_some_and(|strict| strict.0);
    guard(response.headers_mut(), docs);
    let mut set =
        |name: HeaderName, value: &'static str| response.headers_mut().insert(name, HeaderValue::from_static(value));
    if strict {
        set(header::STRICT_TRANSPORT_SECURITY, "max-age=31536000");
    }
    Ok(response)
}

/// What every answer tells a browser not to do.
pub fn guard(headers: &mut HeaderMap, docs: bool) {
    let mut set = |name: HeaderName, value: &'static str| headers.insert(name, HeaderValue::from_static(value));
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::REFERRER_POLICY, "same-origin");
    set(header::CONTENT_SECURITY_POLICY, if docs { POLICY_DOCS } else { POLICY });
    set(HeaderName::from_static("permissions-policy"), "camera=(self), microphone=(), geolocation=()");
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
