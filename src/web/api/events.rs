//! The event stream: changes as they come (server-sent events, WHATWG HTML, section "Server-sent events"). A stream keeps its own place
//! and takes what is behind it only when the client has taken what was before: whoever is slow is behind, and nothing piles up.

use super::changes::{Telling, cursor, position, speak};
use super::resource;
use super::stock::query;
use crate::ops::changes::{self, FeedPosition};
use crate::ops::desk::Desk;
use crate::ops::feed::{Behind, Told};
use crate::web::answer::Outcome;
use crate::web::call::{Look, Service};
use crate::web::permit::ReadStock;
use crate::web::problem::{Problem, Speech};
use crate::web::stopping::Stopping;
use crate::web::{route, session};
use actix_web::http::{Method, header};
use actix_web::web::Bytes;
use actix_web::{HttpRequest, HttpResponse, rt, web};
use futures_core::Stream;
use prometheus_client::metrics::gauge::Gauge;
use serde::Deserialize;
use std::collections::HashMap;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::{Instant, sleep_until, timeout};
use utoipa::{IntoParams, ToSchema};

/// A quiet stream says so this often, and asks whether its client may still listen.
const BEAT: Duration = Duration::from_secs(15);
/// How long a client waits before it comes again, in milliseconds.
const RETRY: u32 = 2_000;
/// Most changes of one piece.
const PIECE: usize = 100;

/// How many may listen, and how patiently they are waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FollowOptions {
    /// Streams at once in this process.
    pub streams: usize,
    /// Of them, those of one key or person.
    pub streams_per_client: usize,
    /// A client that takes nothing for so long is dropped.
    pub stalled: Duration,
    /// So long a client may take over a snapshot of the live stock.
    pub snapshot: Duration,
}

/// The streams that are open, and the word that there is something new.
pub struct Streams {
    options: FollowOptions,
    open: Arc<Mutex<HashMap<String, usize>>>,
    news: watch::Receiver<()>,
    counted: Gauge,
}

/// The place of one open stream; dropping it gives the place back.
struct Seat {
    open: Arc<Mutex<HashMap<String, usize>>>,
    client: String,
    counted: Gauge,
}

fn locked(open: &Mutex<HashMap<String, usize>>) -> MutexGuard<'_, HashMap<String, usize>> {
    // Numbers: a panic elsewhere leaves nothing half done.
    open.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Streams {
    pub fn new(desk: &Desk, options: FollowOptions) -> Streams {
        let (sender, news) = watch::channel(());
        desk.feed().on_news(move || sender.send_replace(()));
        Streams { options, open: Arc::default(), news, counted: desk.figures().event_streams.clone() }
    }

    fn enter(&self, client: &str) -> Result<Seat, Problem> {
        let mut open = locked(&self.open);
        let full = |reason: String| Err(Problem::at(Speech::TooManyStreams, "", reason));
        if open.values().sum::<usize>() >= self.options.streams {
            return full(format!("this server has {} open", self.options.streams));
        }
        let own = open.entry(client.to_owned()).or_default();
        if *own >= self.options.streams_per_client {
            return full(format!("you have {own} open"));
        }
        *own += 1;
        self.counted.inc();
        Ok(Seat { open: Arc::clone(&self.open), client: client.to_owned(), counted: self.counted.clone() })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.counted.dec();
        let mut open = locked(&self.open);
        if let Some(own) = open.get_mut(&self.client) {
            *own = own.saturating_sub(1);
            if *own == 0 {
                open.remove(&self.client);
            }
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct EventsQuery {
    /// A cursor to go on from, as in the changes. Without one, and without `Last-Event-ID`, only what comes from now on.
    #[param(example = "0.4d2-cdca25f9")]
    pub after: Option<String>,
}

/// One event, as a client takes it from the stream.
#[derive(Debug, ToSchema)]
#[schema(as = Event)]
#[allow(dead_code, reason = "events are written line by line; this is what they say in the document")]
pub struct EventBody {
    /// The cursor of a change; to be kept. Empty where the old one is to be given up.
    #[schema(example = "0.4d2-cdca25f9")]
    pub id: Option<String>,
    /// tray, act, reset or bye.
    #[schema(example = "tray")]
    pub event: String,
    /// JSON: a change as `/v1/changes` gives it, or the reason.
    pub data: String,
    /// Milliseconds to wait before coming again.
    #[schema(example = 2000)]
    pub retry: Option<i64>,
}

/// What happens, as it happens: server-sent events.
///
/// `tray` and `act` carry a change as `/v1/changes` gives it, its cursor as `id`; `act` is one that touched no tray. After a break the client
/// sends the last `id` as `Last-Event-ID` (browsers do so by themselves) or as `after`, and goes on there; nothing is skipped. `reset` says
/// that this cursor is none of this shop's record (it was restored from a backup): take a new snapshot and begin from its cursor. `bye` says
/// that the server is about to end: come again. After both the stream ends. A quiet stream carries a comment every 15 seconds; when that
/// stays away, come again. A client that takes nothing for the time of the settings is dropped. No key goes into the address: send it as a
/// header, or be signed in.
#[utoipa::path(get, path = "/v1/events", tag = "changes", operation_id = "follow_events", extensions(("x-permission" = json!("read_stock"))),
    params(EventsQuery, ("Last-Event-ID" = Option<String>, Header, description = "The `id` of the last event received; it counts before `after`.", example = "0.4d2-cdca25f9")),
    responses(
        (status = 200, description = "Events, until either side ends them.", body = EventBody, content_type = "text/event-stream")))]
async fn get(
    request: HttpRequest,
    look: Look<ReadStock>,
    streams: web::Data<Streams>,
    stopping: web::Data<Stopping>,
) -> Outcome {
    let query = query::<EventsQuery>(&request)?;
    let mut response = HttpResponse::Ok();
    response.content_type("text/event-stream").insert_header((header::CACHE_CONTROL, "no-store"));
    // Some proxies would hold events back to pack them.
    response.insert_header(("X-Accel-Buffering", "no"));
    let last = request.headers().get("Last-Event-ID").map(|value| value.to_str().unwrap_or("?").to_owned());
    let after = match (last.filter(|last| !last.is_empty()), query.after.filter(|after| after != "now")) {
        // Browsers send what they have, right or wrong: a cursor that is none of ours is one that has to be given up.
        (Some(last), _) => Some(position("Last-Event-ID", &last).ok()),
        (None, Some(after)) => Some(Some(position("after", &after)?)),
        (None, None) => None,
    };
    if request.method() == Method::HEAD {
        return Ok(response.finish());
    }
    let seat = streams.enter(look.client())?;
    let begin = look.ask(move |desk, _| desk.look(|reading, _| changes::begin(reading, after))).await?;
    let (pieces, flow) = mpsc::channel(1);
    let line = Line { pieces, stalled: streams.options.stalled, _seat: seat };
    let listener = Listener {
        credential: session::shown(&request, &look.service).unwrap_or_default(),
        service: look.service.clone(),
        telling: Telling::to(look.actor.role),
        news: streams.news.clone(),
        stopping: stopping.get_ref().clone(),
        check: Instant::now() + BEAT,
    };
    rt::spawn(follow(line, listener, begin));
    Ok(response.streaming(Flow(flow)))
}

/// The way to the client.
struct Line {
    pieces: mpsc::Sender<Bytes>,
    stalled: Duration,
    _seat: Seat,
}

/// The client is gone, or takes nothing.
struct Gone;

impl Line {
    async fn say(&self, text: String) -> Result<(), Gone> {
        match timeout(self.stalled, self.pieces.send(Bytes::from(text))).await {
            Ok(sent) => sent.map_err(|_| Gone),
            Err(_) => {
                tracing::warn!("an event stream was dropped: its client takes nothing");
                Err(Gone)
            }
        }
    }
}

/// What a stream listens to, and for whom.
struct Listener {
    service: Service,
    credential: String,
    telling: Telling,
    news: watch::Receiver<()>,
    stopping: Stopping,
    /// When to ask next whether the client may still listen.
    check: Instant,
}

impl Listener {
    /// Whether the credential is still good: a key may be revoked, a person signed out. Listening is no use of a sign-in, and does not
    /// prolong it.
    async fn may_listen(&mut self) -> bool {
        self.check = Instant::now() + BEAT;
        let credential = self.credential.clone();
        // When the database cannot say, who was let in stays in.
        self.service.ask(move |desk, now| desk.still_knows(now, &credential)).await.unwrap_or(true)
    }

    /// What is behind a position: from memory, or page by page from the database.
    async fn behind(&self, position: FeedPosition) -> Result<Vec<Arc<Told>>, Problem> {
        match self.service.desk.feed().behind(position, PIECE) {
            Behind::News(news) => Ok(news),
            Behind::Nothing => Ok(Vec::new()),
            Behind::More => {
                let page = move |desk: &Desk, _| {
                    desk.look(|reading, _| changes::behind(reading, position, i64::try_from(PIECE).unwrap_or(i64::MAX)))
                };
                Ok(self.service.ask(page).await?.into_iter().map(|change| Arc::new(Told::from(change))).collect())
            }
        }
    }
}

async fn follow(line: Line, mut listener: Listener, begin: Option<FeedPosition>) {
    let Some(position) = begin else {
        // The empty id makes a browser forget the cursor that is of no use.
        let text = "id:\nevent: reset\ndata: {\"reason\":\"the cursor is none of this shop's record\"}\n\n";
        let _ = line.say(format!("retry: {RETRY}\n{text}")).await;
        return;
    };
    if line.say(format!("retry: {RETRY}\nid: {}\n\n", cursor(position))).await.is_ok() {
        let _ = go_on(&line, &mut listener, position).await;
    }
}

async fn go_on(line: &Line, listener: &mut Listener, mut position: FeedPosition) -> Result<(), Gone> {
    loop {
        if listener.stopping.begun() {
            return line.say("event: bye\ndata: {\"reason\":\"the server is about to end\"}\n\n".to_owned()).await;
        }
        if Instant::now() >= listener.check {
            if !listener.may_listen().await {
                return Ok(());
            }
            line.say(":\n\n".to_owned()).await?;
        }
        // Before looking: news that come between looking and waiting end the wait.
        listener.news.borrow_and_update();
        // What cannot be read now is read at the next beat, or when there is more.
        let news = listener.behind(position).await.unwrap_or_default();
        if let Some(last) = news.last() {
            position = last.change.position;
            let mut text = String::new();
            news.iter().for_each(|told| text.push_str(&event(told, listener.telling)));
            line.say(text).await?;
            continue;
        }
        tokio::select! {
            () = listener.stopping.begins() => {}
            changed = listener.news.changed() => if changed.is_err() { return Ok(()) },
            () = sleep_until(listener.check) => {}
            () = line.pieces.closed() => return Err(Gone),
        }
    }
}

fn event(told: &Told, telling: Telling) -> Arc<str> {
    let kept = match telling {
        Telling::Whole => &told.spoken,
        Telling::ToTill => &told.spoken_to_tills,
    };
    let spoken = kept.get_or_init(|| {
        let name = if told.change.tray_code.is_some() { "tray" } else { "act" };
        format!("id: {}\nevent: {name}\ndata: {}\n\n", cursor(told.change.position), speak(&told.change, telling))
            .into()
    });
    Arc::clone(spoken)
}

struct Flow(mpsc::Receiver<Bytes>);

impl Stream for Flow {
    type Item = Result<Bytes, Infallible>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.poll_recv(context).map(|piece| piece.map(Ok))
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/events", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get))]
pub struct Doc;
