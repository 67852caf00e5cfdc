//! Sales of a till that was cut off, a sale a line, read piece by piece: nothing more is read while some are being taken, so that a queue
//! of any length needs the memory of one batch.

use super::resource;
use super::sales::SaleBody;
use crate::domain::logger::lines::{Raw, Splitter};
use crate::domain::scan_text::LIMIT as SCAN_LIMIT;
use crate::ops::replay::{
    self, BATCH, Outcome as Taking, ReplayedDraft, ReplayedLineDraft, Sender, Speech as SalesSpeech, Taken,
};
use crate::ops::sell::LINE_LIMIT;
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::Cents;
use crate::web::answer::{Outcome, created, ok};
use crate::web::body;
use crate::web::call::{KEY_FORM, Look, read_key};
use crate::web::permit::Sell;
use crate::web::problem::{Problem, Speech};
use crate::web::stream::Pieces;
use actix_web::{HttpMessage, HttpRequest, web};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::sync::Arc;
use tokio::sync::Mutex;
use utoipa::ToSchema;

/// Most sales of one request.
const SALES_LIMIT: u64 = 10_000;
/// Longest sale, in bytes: as many lines as a sale may have, each with the longest scan.
const SALE_LIMIT: usize = 64 * 1024;
/// Queues of several tills are taken in turns, a batch each: side by side on PostgreSQL their long transactions would collide again and
/// again, and none would get through.
static TURN: Mutex<()> = Mutex::const_new(());
/// Largest body.
const STREAM_LIMIT: usize = 64 * 1024 * 1024;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReplayedLine {
    /// Tray code, or anything the scanner sent.
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// Out of a tub; a block is sold whole.
    #[serde(default)]
    #[schema(example = 150)]
    pub grams: Option<i64>,
    /// What was charged for the line.
    #[schema(example = 450)]
    pub price_cents: i64,
}

/// One sale as the till kept it: one line of the body.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReplayedSale {
    /// Made by the till before the sale and kept with it; of the same kind, and the same space, as the `Idempotency-Key` of `POST
    /// /v1/sales`.
    #[schema(example = "8e03978e-40d5-43e8-bc93-6894a57f9324")]
    pub key: String,
    /// By the till's clock.
    #[schema(example = "2026-11-25T10:31:07+01:00")]
    pub sold_at: String,
    /// The till's own count of its sales, if it keeps one.
    #[serde(default)]
    #[schema(example = 4711)]
    pub sequence: Option<i64>,
    /// 1 to 100.
    pub lines: Vec<PostReplayedLine>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Contradicted)]
pub struct ContradictedBody {
    /// The line of the sale, from 1; 0 for the sale as a whole.
    #[schema(example = 1)]
    pub line: i64,
    #[schema(example = "already_sold")]
    pub code: &'static str,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ListedSale)]
pub struct ListedBody {
    /// Of the request, from 1.
    #[schema(example = 17)]
    pub number: u64,
    /// accepted, accepted_with_exceptions, replayed, or malformed.
    #[schema(example = "accepted_with_exceptions")]
    pub outcome: &'static str,
    /// None of a malformed line.
    #[schema(example = "8e03978e-40d5-43e8-bc93-6894a57f9324")]
    pub key: Option<String>,
    #[schema(example = 1236)]
    pub sale_id: Option<i64>,
    /// What of it contradicts the stock: each line of it is an exception for the manager.
    pub contradicts: Vec<ContradictedBody>,
    /// plausible, ahead, long_ago or backwards: what is to be said of the till's clock.
    #[schema(example = "plausible")]
    pub clock: Option<&'static str>,
    /// Of a malformed line: what is wrong with it, and where.
    pub field: Option<String>,
    pub reason: Option<String>,
}

/// What became of each sale.
#[derive(Debug, Default, Serialize, ToSchema)]
#[schema(as = TakenSales)]
pub struct TakenBody {
    /// Lines that say something: the sum of the four outcomes.
    #[schema(example = 120)]
    pub sales: u64,
    #[schema(example = 117)]
    pub accepted: u64,
    /// Recorded, and something of it contradicts the stock.
    #[schema(example = 1)]
    pub accepted_with_exceptions: u64,
    /// Was there already: nothing was done again.
    #[schema(example = 2)]
    pub replayed: u64,
    /// Not recorded: the line is no sale.
    #[schema(example = 0)]
    pub malformed: u64,
    /// Every sale that was not plainly accepted or replayed, or whose clock is not plausible.
    pub listed: Vec<ListedBody>,
}

impl TakenBody {
    fn add(&mut self, listed: ListedBody) {
        self.sales += 1;
        match listed.outcome {
            "accepted" => self.accepted += 1,
            "accepted_with_exceptions" => self.accepted_with_exceptions += 1,
            "replayed" => self.replayed += 1,
            _ => self.malformed += 1,
        }
        let plain = listed.contradicts.is_empty() && listed.clock == Some("plausible");
        if !plain {
            self.listed.push(listed);
        }
    }
}

impl From<Taking> for ListedBody {
    fn from(taking: Taking) -> ListedBody {
        let outcome = match taking.taken {
            Taken::Accepted => "accepted",
            Taken::WithExceptions => "accepted_with_exceptions",
            Taken::Replayed => "replayed",
        };
        let contradicts = taking.found.into_iter().map(|(line, what)| ContradictedBody { line, code: what.as_str() });
        ListedBody {
            number: taking.number,
            outcome,
            key: Some(taking.key),
            sale_id: Some(taking.sale_id),
            contradicts: contradicts.collect(),
            clock: Some(taking.clock.as_str()),
            field: None,
            reason: None,
        }
    }
}

fn malformed(number: u64, problem: Problem) -> ListedBody {
    let field = problem.errors.into_iter().next().map(|error| error.field).filter(|field| !field.is_empty());
    ListedBody {
        number,
        outcome: "malformed",
        key: None,
        sale_id: None,
        contradicts: Vec::new(),
        clock: None,
        field,
        reason: Some(problem.detail),
    }
}

fn fingerprint(content: &Value) -> Result<String, Problem> {
    Ok(body::parse::<Value>(content.to_string().as_bytes())?.fingerprint)
}

/// Of the lines alone: told with another time or count, it is the same sale.
fn fingerprint_of_lines(sale: &PostReplayedSale) -> Result<String, Problem> {
    let lines: Vec<Value> =
        sale.lines.iter().map(|l| json!({"tray": l.tray_code, "grams": l.grams, "price": l.price_cents})).collect();
    fingerprint(&json!({"lines": lines}))
}

/// The fingerprints of the same lines sent to `POST /v1/sales`, with their prices and without: under the same key it is the same sale.
fn fingerprints_as_sale(text: &[u8]) -> Result<(String, String), Problem> {
    let sale = body::parse::<Value>(text)?.value;
    let mut lines = sale.get("lines").cloned().unwrap_or_default();
    let priced = fingerprint(&json!({"lines": lines}))?;
    for line in lines.as_array_mut().into_iter().flatten().filter_map(Value::as_object_mut) {
        line.remove("price_cents");
    }
    Ok((priced, fingerprint(&json!({"lines": lines}))?))
}

fn draft(number: u64, text: &[u8]) -> Result<ReplayedDraft, Problem> {
    let sale = body::parse::<PostReplayedSale>(text)?.value;
    let key = read_key(&sale.key).ok_or_else(|| Problem::invalid("key", KEY_FORM))?;
    let device_time = Instant::parse(&sale.sold_at).map_err(|e| Problem::invalid("sold_at", e.to_string()))?;
    if sale.lines.is_empty() || sale.lines.len() > LINE_LIMIT {
        return Err(Problem::invalid("lines", format!("must be 1 to {LINE_LIMIT}")));
    }
    let fingerprint = fingerprint_of_lines(&sale)?;
    let (fingerprint_as_sale, fingerprint_unpriced) = fingerprints_as_sale(text)?;
    let mut lines = Vec::with_capacity(sale.lines.len());
    let mut total = 0;
    for (index, line) in sale.lines.into_iter().enumerate() {
        let invalid = |field: &str, reason: String| Problem::invalid(&format!("lines/{index}/{field}"), reason);
        let grams = line.grams.map(Grams::new).transpose().map_err(|e| invalid("grams", e.to_string()))?;
        if grams.is_some_and(Grams::is_zero) {
            return Err(invalid("grams", "must be above zero".into()));
        }
        let charged = Cents::new(line.price_cents).map_err(|e| invalid("price_cents", e.to_string()))?;
        total += charged.get();
        // Longer than any code it names nothing, and that much of it is enough to say so.
        let tray = line.tray_code.chars().take(SCAN_LIMIT + 1).collect();
        lines.push(ReplayedLineDraft { tray, grams, charged });
    }
    let total = Cents::new(total).map_err(|e| Problem::invalid("lines", e.to_string()))?;
    Ok(ReplayedDraft {
        number,
        key,
        fingerprint,
        fingerprint_as_sale,
        fingerprint_unpriced,
        device_time,
        sequence: sale.sequence,
        lines,
        total,
    })
}

/// One request on its way.
struct Courier {
    look: Look<Sell>,
    sender: Arc<Sender>,
    batch: Vec<ReplayedDraft>,
    /// When the last sale taken happened.
    last: Option<Instant>,
    seen: u64,
    taken: TakenBody,
}

impl Courier {
    fn of(look: Look<Sell>) -> Courier {
        let speech = SalesSpeech { say: |sold| created(&SaleBody::from(sold)), sale_of };
        let sender = Sender { client: look.client().to_owned(), actor: look.actor.clone(), speech };
        let (batch, taken) = (Vec::new(), TakenBody::default());
        Courier { look, sender: Arc::new(sender), batch, last: None, seen: 0, taken }
    }

    async fn take(&mut self, mut pieces: Pieces) -> Result<(), Problem> {
        let mut splitter = Splitter::with_limit(SALE_LIMIT);
        while let Some(piece) = pieces.next().await? {
            // A piece that holds a great many short lines is not held as sales all at once.
            for part in piece.chunks(SALE_LIMIT) {
                splitter.push(part, &mut |number, raw| self.read(number, raw));
                self.deliver(BATCH).await?;
                self.check_number()?;
            }
        }
        splitter.finish(&mut |number, raw| self.read(number, raw));
        self.check_number()?;
        self.deliver(1).await
    }

    fn check_number(&self) -> Result<(), Problem> {
        if self.seen <= SALES_LIMIT {
            return Ok(());
        }
        let reason = format!("at most {SALES_LIMIT} sales a request; send the others in the next");
        Err(Problem::at(Speech::TooLarge, "", reason))
    }

    fn read(&mut self, number: u64, raw: Raw<'_>) {
        let text = match raw {
            Raw::Whole(text) if text.iter().all(u8::is_ascii_whitespace) => return,
            // Some programs open a file with a byte order mark.
            Raw::Whole(text) => Ok(text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text)),
            Raw::TooLong => Err(Problem::invalid("", format!("is longer than {SALE_LIMIT} bytes"))),
        };
        self.seen += 1;
        if self.seen > SALES_LIMIT {
            return;
        }
        match text.and_then(|text| draft(number, text)) {
            Ok(draft) => self.batch.push(draft),
            Err(problem) => self.taken.add(malformed(number, problem)),
        }
    }

    /// Takes what waits, a batch at a time, as long as that is at least so many sales.
    async fn deliver(&mut self, least: usize) -> Result<(), Problem> {
        while self.batch.len() >= least.max(1) {
            let rest = self.batch.split_off(self.batch.len().min(BATCH));
            let drafts = std::mem::replace(&mut self.batch, rest);
            let (sender, last) = (Arc::clone(&self.sender), self.last);
            let _turn = TURN.lock().await;
            let (outcomes, last) =
                self.look.ask(move |desk, now| replay::take(desk, &sender, now, last, drafts)).await?;
            self.last = last;
            for outcome in outcomes {
                self.taken.add(ListedBody::from(outcome));
            }
        }
        Ok(())
    }
}

/// The number of the sale in an answer of `POST /v1/sales`.
fn sale_of(answer: &str) -> Option<i64> {
    serde_json::from_str::<Value>(answer).ok()?.get("sale_id")?.as_i64()
}

/// Says how far it came.
fn partly(mut problem: Problem, taken: &TakenBody) -> Problem {
    let recorded = taken.sales - taken.malformed;
    if recorded > 0 {
        let told = format!("{recorded} sales are recorded and stay: send all of it again, nothing is sold twice");
        problem.detail = format!("{}; {told}", problem.detail);
    }
    problem
}

/// Takes what a till sold while it was cut off: up to 10,000 sales, one a line, in the order they were sold.
///
/// A sale that happened is never refused. What contradicts the stock is recorded as an exception for the manager: goods that are there
/// leave the stock, what is not there moves nothing, the money is recorded as charged. Each sale has a key of its own, in the same space as
/// the `Idempotency-Key` of `POST /v1/sales`, so the request needs none: when the connection breaks anywhere, send all of it again, and
/// each sale is recorded once. A line that is no sale is listed as `malformed` with its number, and keeps no other from being taken.
/// The same lines under the same key are the same sale, whatever is said of its time or its number. `sold_at` is kept as the till's claim; a
/// clock that contradicts the order of the sales, or the server's clock, is noted and not followed; where a tray had run out by now and
/// `sold_at` alone says that it was sold before, or says that it was sold before it was here, that is an exception. Sales are taken a hundred at a time, each hundred in one transaction.
#[utoipa::path(post, path = "/v1/sales/replays", tag = "sales", operation_id = "replay_sales",
    extensions(("x-permission" = json!("sell"))),
    request_body(content((PostReplayedSale = "application/x-ndjson"))),
    responses((status = 200, description = "What became of each sale; all but the malformed are recorded for good.", body = TakenBody)))]
async fn post(request: HttpRequest, look: Look<Sell>, payload: web::Payload) -> Outcome {
    if !request.content_type().eq_ignore_ascii_case("application/x-ndjson") {
        return Err(Problem::at(Speech::MediaType, "Content-Type", "must be application/x-ndjson, a sale a line"));
    }
    let pieces = Pieces::of(&request, payload, STREAM_LIMIT)?;
    let mut courier = Courier::of(look);
    match courier.take(pieces).await {
        Ok(()) => ok(&courier.taken),
        Err(problem) => Err(partly(problem, &courier.taken)),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/sales/replays", "POST").route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post))]
pub struct Doc;
