//! Where the address in the QR leads a customer's phone: what the fish is, where it came from, until when, and the cautions. No sign-in; in
//! the language and the form that are asked for; from caches for a minute or so, no longer than a recall may stay unseen.

mod address;
mod admission;
mod linked_data;
mod sheet;
mod words;

use crate::domain::language::Language;
use crate::domain::refusal::{Code, Refusal};
use crate::ops::customer::{Card, card};
use crate::ops::failure::Failure;
use crate::units::instant::{Instant, MICROS_PER_SECOND};
use crate::web::call::Service;
use crate::web::limits::address::address_of;
use crate::web::negotiation;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderMap};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, ResponseError, web};
use admission::Admission;
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};
use std::num::NonZeroU32;

/// What a shop sets for its customers' page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CustomerPage {
    /// For whoever asks for none that we have.
    pub language: Language,
    /// For how long a cache may answer.
    pub cache_seconds: u32,
    /// Of one client address.
    pub requests_a_minute: NonZeroU32,
    /// The header in which a proxy of the shop's own names the client; the connection's other end when there is none.
    pub trusted_proxy_header: Option<String>,
}

/// The door for customers, one for all threads of a server.
pub struct Door {
    settings: CustomerPage,
    admission: Admission,
}

impl Door {
    pub fn new(settings: CustomerPage) -> Door {
        Door { admission: Admission::new(settings.requests_a_minute), settings }
    }
}

/// In which form an answer is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Page,
    LinkedData,
    Json,
}

const FORMS: [(Form, &str); 3] =
    [(Form::Page, "text/html"), (Form::LinkedData, "application/ld+json"), (Form::Json, "application/json")];

/// How a caller wants to be answered.
#[derive(Debug, Clone, Copy)]
struct Wish {
    language: Language,
    form: Form,
}

impl Wish {
    fn of(request: &HttpRequest, settings: &CustomerPage) -> Wish {
        let list = |name| negotiation::joined(request.headers(), name);
        let language = address::language(request.query_string())
            .or_else(|| negotiation::language(&list(header::ACCEPT_LANGUAGE)))
            .unwrap_or(settings.language);
        let offer = negotiation::form(&list(header::ACCEPT), &FORMS.map(|(_, media_type)| media_type));
        Wish { language, form: FORMS.get(offer).map_or(Form::Page, |(form, _)| *form) }
    }

    const fn content_type(self) -> &'static str {
        match self.form {
            Form::Page => "text/html; charset=utf-8",
            Form::LinkedData => "application/ld+json",
            Form::Json => "application/json",
        }
    }

    /// An answer that says what it depends on and in which language it is.
    fn begin(self, status: StatusCode) -> HttpResponseBuilder {
        let mut response = HttpResponse::build(status);
        response.insert_header((header::VARY, "Accept-Language, Accept"));
        response.insert_header((header::CONTENT_LANGUAGE, self.language.tag()));
        response
    }
}

async fn get(request: HttpRequest, service: web::Data<Service>, door: web::Data<Door>) -> HttpResponse {
    let wish = Wish::of(&request, &door.settings);
    let words = words::words(wish.language);
    if let Err(seconds) = door.admission.admit(address_of(&request, door.settings.trusted_proxy_header.as_deref())) {
        let problem = Refusal::new(Code::TooManyAttempts, "", format!("try again in {seconds} seconds"));
        let mut response = no(&service, wish, Failure::from(problem).into(), words.too_often);
        response.headers_mut().insert(header::RETRY_AFTER, header::HeaderValue::from(seconds));
        return response;
    }
    // The path as it was sent: what is decoded before it is taken apart may come apart elsewhere.
    let Some(address) = address::read(request.uri().path(), request.query_string()) else {
        return no(&service, wish, no_such_label(), words.not_found);
    };
    let use_by_in_code = address.use_by.clone();
    let looked =
        service.ask(move |desk, now| desk.look(|reading, shop| Ok((card(reading, shop, now, &address)?, now))));
    match looked.await {
        Ok((card, now)) => {
            let body = match wish.form {
                Form::Page => {
                    sheet::page(service.desk.shop(), wish.language, &card, use_by_in_code.as_deref()).into_string()
                }
                _ => linked_data::document(service.desk.shop(), wish.language, &card).to_string(),
            };
            yes(&request, wish, body, fresh_for(&card, now, door.settings.cache_seconds))
        }
        Err(problem) if problem.status == StatusCode::NOT_FOUND => no(&service, wish, no_such_label(), words.not_found),
        Err(problem) => no(&service, wish, problem, words.not_now),
    }
}

fn no_such_label() -> Problem {
    Failure::from(Refusal::new(Code::NotFound, "", "there is no such label")).into()
}

/// Everything that is not the card, as a short page or as problem details; no cache keeps it.
fn no(service: &Service, wish: Wish, problem: Problem, says: (&str, &str)) -> HttpResponse {
    let mut response = match wish.form {
        Form::Page => {
            let page = sheet::notice(service.desk.shop(), wish.language, says);
            let mut response = wish.begin(problem.status_code());
            response.insert_header((header::CACHE_CONTROL, "no-store")).content_type(wish.content_type());
            response.body(page.into_string())
        }
        _ => problem.error_response(),
    };
    response.headers_mut().insert(header::VARY, header::HeaderValue::from_static("Accept-Language, Accept"));
    response
}

/// Seconds for which an answer stays right: a use-by that passes meanwhile ends it earlier.
fn fresh_for(card: &Card, now: Instant, most: u32) -> i64 {
    let left = card.use_by.map(|end| end.since(now) / MICROS_PER_SECOND).filter(|left| *left >= 0);
    left.map_or(i64::from(most), |left| left.min(i64::from(most)))
}

/// The card, or nothing new to whoever has it already.
fn yes(request: &HttpRequest, wish: Wish, body: String, seconds: i64) -> HttpResponse {
    let mut hash = Sha256::new();
    hash.update(wish.content_type());
    hash.update([0]);
    hash.update(&body);
    let digest = hash.finalize();
    let tag = format!("\"{}\"", BASE64_URL_SAFE_NO_PAD.encode(digest.get(..18).unwrap_or(&digest)));
    let known = knows(request.headers(), &tag);
    let mut response = wish.begin(if known { StatusCode::NOT_MODIFIED } else { StatusCode::OK });
    response.insert_header((header::ETAG, tag));
    response.insert_header((header::CACHE_CONTROL, format!("public, max-age={seconds}")));
    if known {
        return response.finish();
    }
    response.content_type(wish.content_type()).body(body)
}

/// Whether `If-None-Match` names a tag (RFC 9110, 13.1.2: compared weakly). None of our tags holds a comma.
fn knows(headers: &HeaderMap, tag: &str) -> bool {
    let list = negotiation::joined(headers, header::IF_NONE_MATCH);
    list.split(',').map(str::trim).any(|one| one == "*" || one.strip_prefix("W/").unwrap_or(one) == tag)
}

pub fn routes(config: &mut web::ServiceConfig) {
    let other = web::to(|| async { Err::<HttpResponse, Problem>(Problem::method_not_allowed("GET, HEAD")) });
    config.service(web::resource("/01/{label:.*}").route(route::get().to(get)).default_service(other));
}
