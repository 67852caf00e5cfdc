//! What a handler is handed: a look (permission checked) or a recorded act (permission, idempotency key and body checked, in this order).

use super::answer::Outcome;
use super::body::{self, Body};
use super::limits::Limits;
use super::pane::Pane;
use super::permit::Permit;
use super::problem::{Problem, Speech};
use super::{clock, session};
use crate::domain::shop::Shop;
use crate::domain::tray_code::TrayCode;
use crate::ops::access::Known;
use crate::ops::desk::{Actor, Desk, View};
use crate::ops::failure::Failure;
use crate::ops::once::{Answer, Request};
use crate::ops::till::Reply;
use actix_web::dev::Payload;
use actix_web::http::StatusCode;
use actix_web::{FromRequest, HttpRequest, HttpResponse, web};
use serde::de::DeserializeOwned;
use std::collections::HashMap;
use std::future::Future;
use std::marker::PhantomData;
use std::pin::Pin;
use std::sync::Arc;
use tokio::sync::{Semaphore, oneshot};

/// What every handler shares: the shop's desk, and how cookies are set.
#[derive(Clone)]
pub struct Service {
    pub desk: Arc<Desk>,
    pub secure_cookies: bool,
    pub limits: Arc<Limits>,
    /// Password hashes take 19 MiB each: at most two at once, so that a flood of sign-ins cannot eat the memory.
    hashing: Arc<Semaphore>,
}

impl Service {
    pub fn new(desk: Arc<Desk>, secure_cookies: bool, limits: Arc<Limits>) -> Service {
        Service { desk, secure_cookies, limits, hashing: Arc::new(Semaphore::new(2)) }
    }

    fn of(request: &HttpRequest) -> Result<Service, Problem> {
        request
            .app_data::<web::Data<Service>>()
            .map(|data| data.get_ref().clone())
            .ok_or_else(|| Problem::of(Speech::Internal))
    }

    /// Runs one call into the shop away from the threads that speak HTTP.
    pub async fn ask<T, F>(&self, question: F) -> Result<T, Problem>
    where
        F: FnOnce(&Desk, crate::units::instant::Instant) -> Result<T, Failure> + Send + 'static,
        T: Send + 'static,
    {
        let desk = Arc::clone(&self.desk);
        let turn = self.limits.turns.take().await?;
        let work = move || {
            let answer = question(&desk, clock::now());
            drop(turn);
            answer
        };
        let answer = web::block(work).await;
        answer.map_err(|_| Problem::of(Speech::Internal))?.map_err(Problem::from)
    }

    /// A short look, from this thread where that is the cheaper way.
    pub async fn glance<T, F>(&self, pane: &Pane, question: F) -> Result<T, Problem>
    where
        F: FnOnce(&mut View<'_>, &Shop) -> Result<T, Failure> + Send + 'static,
        T: Send + 'static,
    {
        match pane.look(question) {
            Ok(answer) => answer,
            Err(question) => self.ask(move |desk, _| desk.look(question)).await,
        }
    }

    /// The same for what hashes a password.
    pub async fn ask_hashing<T, F>(&self, question: F) -> Result<T, Problem>
    where
        F: FnOnce(&Desk, crate::units::instant::Instant) -> Result<T, Failure> + Send + 'static,
        T: Send + 'static,
    {
        let _turn = self.hashing.acquire().await.map_err(|_| Problem::of(Speech::Unavailable))?;
        self.ask(question).await
    }
}

async fn permitted<P: Permit>(request: &HttpRequest, service: &Service) -> Result<Known, Problem> {
    let known = session::known(request, service).await?;
    if P::PERMISSION.allows(known.actor.role) {
        return Ok(known);
    }
    let reason = format!("needs {}; you are {}", P::PERMISSION.as_str(), known.actor.role.as_str());
    Err(Problem::at(Speech::Forbidden, "", reason))
}

/// A call by someone who has the permission `P`.
pub struct Look<P: Permit> {
    pub service: Service,
    pub actor: Actor,
    /// Scope of the idempotency keys.
    client: String,
    pane: Pane,
    permission: PhantomData<P>,
}

impl<P: Permit> Look<P> {
    /// Who asks, as a scope of its own: for whatever is counted by client.
    pub fn client(&self) -> &str {
        &self.client
    }

    /// One call into the shop.
    pub async fn ask<T, F>(&self, question: F) -> Result<T, Problem>
    where
        F: FnOnce(&Desk, crate::units::instant::Instant) -> Result<T, Failure> + Send + 'static,
        T: Send + 'static,
    {
        self.service.ask(question).await
    }

    /// A short look into the shop.
    pub async fn glance<T, F>(&self, question: F) -> Result<T, Problem>
    where
        F: FnOnce(&mut View<'_>, &Shop) -> Result<T, Failure> + Send + 'static,
        T: Send + 'static,
    {
        self.service.glance(&self.pane, question).await
    }
}

type Extracting<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

impl<P: Permit> FromRequest for Look<P> {
    type Error = Problem;
    type Future = Extracting<Look<P>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            let service = Service::of(&request)?;
            let Known { actor, client } = permitted::<P>(&request, &service).await?;
            let pane = Pane::of_request(&request);
            Ok(Look { service, actor, client, pane, permission: PhantomData })
        })
    }
}

/// A call with a body that records nothing by itself (a scan, a change under a version).
pub struct Told<P: Permit, B> {
    pub look: Look<P>,
    pub body: B,
}

impl<P: Permit, B: DeserializeOwned + 'static> FromRequest for Told<P, B> {
    type Error = Problem;
    type Future = Extracting<Told<P, B>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, mut payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let look = Look::<P>::extract(&request).await?;
            let body = body::read(&request, &mut payload).await?.value;
            Ok(Told { look, body })
        })
    }
}

/// An act to be recorded once: by someone with the permission `P`, under an idempotency key, with a body `B`.
pub struct Recorded<P: Permit, B> {
    look: Look<P>,
    request: Request,
    body: B,
}

impl<P: Permit, B: DeserializeOwned + 'static> FromRequest for Recorded<P, B> {
    type Error = Problem;
    type Future = Extracting<Recorded<P, B>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, mut payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let look = Look::<P>::extract(&request).await?;
            let key = idempotency_key(&request)?;
            let Body { value, fingerprint } = body::read(&request, &mut payload).await?;
            let route = route(&request).await;
            let client = look.client.clone();
            Ok(Recorded { look, request: Request { client, route, key, fingerprint }, body: value })
        })
    }
}

/// The scope of a key beside its client: method and address, in the one spelling that all others of the same address have.
async fn route(request: &HttpRequest) -> String {
    let mut address = request.match_pattern().unwrap_or_else(|| request.path().to_owned());
    let named = web::Path::<HashMap<String, String>>::extract(request).await;
    for (name, value) in named.map(web::Path::into_inner).unwrap_or_default() {
        let tray = || TrayCode::parse(&name, &value).map(|code| code.to_string()).ok();
        let number = || value.parse::<i64>().map(|number| number.to_string()).ok();
        let spelled = match name.as_str() {
            "tray_code" => tray(),
            "id" => number(),
            _ => None,
        };
        address = address.replace(&format!("{{{name}}}"), &spelled.unwrap_or(value));
    }
    format!("{} {address}", request.method())
}

impl<P: Permit, B> Recorded<P, B> {
    /// The body as it was sent.
    pub const fn body(&self) -> &B {
        &self.body
    }

    /// Does the act through `act_once` and answers with what it says, or what it said the first time.
    pub async fn record<F>(self, act: F) -> Outcome
    where
        F: FnOnce(&Desk, Request, Actor, crate::units::instant::Instant, B) -> Result<Answer, Failure> + Send + 'static,
        B: Send + 'static,
    {
        let Recorded { look, request, body } = self;
        let Look { service, actor, .. } = look;
        Ok(recorded(service.ask(move |desk, now| act(desk, request, actor, now, body)).await?))
    }

    /// The same for what waits in the shop's own line: no thread is held meanwhile.
    pub async fn record_later<F>(self, begin: F) -> Outcome
    where
        F: FnOnce(&Desk, Request, Actor, crate::units::instant::Instant, B, Reply),
    {
        let Recorded { look, request, body } = self;
        let Look { service, actor, .. } = look;
        let (sender, answer) = oneshot::channel();
        // The client may have gone away: the act is done all the same.
        let reply = Box::new(move |outcome: Result<Answer, Failure>| drop(sender.send(outcome)));
        begin(&service.desk, request, actor, clock::now(), body, reply);
        let answer = answer.await.map_err(|_| Problem::of(Speech::Internal))?;
        Ok(recorded(answer.map_err(Problem::from)?))
    }
}

/// A recorded act in HTTP.
fn recorded(answer: Answer) -> HttpResponse {
    let status = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::OK);
    let mut response = HttpResponse::build(status);
    response.content_type("application/json").insert_header(("Cache-Control", "no-store"));
    if answer.replayed {
        response.insert_header(("Idempotent-Replayed", "true"));
    }
    response.body(answer.body)
}

/// The key of the header: a string in quotes (RFC 8941 style), or bare; UUIDs in either case are one key.
fn idempotency_key(request: &HttpRequest) -> Result<String, Problem> {
    let name = "Idempotency-Key";
    let mut values = request.headers().get_all(name);
    let missing = || Problem::at(Speech::KeyMissing, name, "send one key per act, such as a UUID; see /docs");
    let value = values.next().ok_or_else(missing)?;
    let malformed = |reason: &str| Problem::at(Speech::MalformedRequest, name, reason);
    if values.next().is_some() {
        return Err(malformed("stands twice"));
    }
    let text = value.to_str().map_err(|_| malformed("must be printable ASCII"))?.trim();
    let bare = text.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or(text);
    read_key(bare).ok_or_else(|| malformed(KEY_FORM))
}

/// What a key has to be.
pub const KEY_FORM: &str = "must be 16 to 255 letters, digits and - _ . :";

/// An idempotency key as it is kept; none when it is not one.
pub fn read_key(text: &str) -> Option<String> {
    let plain = text.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_.:".contains(&b));
    if !(16..=255).contains(&text.len()) || !plain {
        return None;
    }
    let uuid = text.len() == 36
        && text
            .bytes()
            .enumerate()
            .all(|(i, b)| if [8, 13, 18, 23].contains(&i) { b == b'-' } else { b.is_ascii_hexdigit() });
    Some(if uuid { text.to_ascii_lowercase() } else { text.to_owned() })
}
