//! Live stock: all that is for sale at one place of the change sequence, for a till that keeps its own copy and follows the changes from
//! there.

use super::changes::cursor;
use super::events::FollowOptions;
use super::resource;
use super::stock::query;
use crate::ops::desk::Desk;
use crate::ops::failure::Failure;
use crate::ops::live_stock::{self, CutSum, LiveStock, Wanted, verdict};
use crate::units::instant::Instant;
use crate::web::answer::Outcome;
use crate::web::call::Look;
use crate::web::clock;
use crate::web::negotiation::{accepts_gzip, joined};
use crate::web::outflow::{self, Coding, Spout};
use crate::web::permit::ReadStock;
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::http::{Method, header};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, rt, web};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use tokio::sync::oneshot;
use utoipa::{IntoParams, ToSchema};

/// A tray for sale. It is kept as text by `ops/shelf/offer.rs`; this is its shape.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Offer)]
pub struct OfferBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// block (sold whole) or tub (sold by weight).
    #[schema(example = "block")]
    pub kind: String,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    #[schema(example = "YFT")]
    pub species_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = 268)]
    pub net_weight_g: i64,
    #[schema(example = 7450)]
    pub price_per_kg_cents: i64,
    #[schema(example = 7450)]
    pub list_price_per_kg_cents: i64,
    /// Of the whole block; absent of a tub.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 1997)]
    pub price_cents: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub markdown_reason: Option<String>,
    /// As printed on its label; absent when it has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub use_by: Option<String>,
    /// Until when it may be sold where it stands, as far as is known now. Told in steps of a quarter of an hour, rounded down; a scan knows
    /// the minute.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "2026-11-27T09:00:00.000000Z")]
    pub sell_until: Option<String>,
    /// sell, sell_at_markdown or stop.
    #[schema(example = "sell")]
    pub verdict: String,
    /// Codes of what stops it, the gravest first.
    pub stops: Vec<String>,
}

/// What there is of one cut.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LiveCut)]
pub struct CutSumBody {
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "Lean saku")]
    pub cut_name: String,
    /// Trays among those above, stopped ones too.
    #[schema(example = 12)]
    pub trays: i64,
    /// Grams that can be sold now.
    #[schema(example = 3180)]
    pub sellable_g: i64,
}

impl From<CutSum> for CutSumBody {
    fn from(sum: CutSum) -> CutSumBody {
        CutSumBody { cut_code: sum.cut_code, cut_name: sum.cut_name, trays: sum.trays, sellable_g: sum.sellable_g }
    }
}

/// Written piece by piece in `tell`; this is its shape.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LiveStock)]
pub struct LiveStockBody {
    /// Where this state stands in the change sequence: changes `after` it lead on from here.
    #[schema(example = "0.4d2-cdca25f9")]
    pub cursor: String,
    /// Every tray for sale, also those that are stopped, in the order in which they were made.
    pub trays: Vec<OfferBody>,
    /// The same by cut.
    pub cuts: Vec<CutSumBody>,
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LiveStockQuery {
    /// Only this cut.
    #[param(example = "lean-saku")]
    pub cut: Option<String>,
    /// Only in this place.
    #[param(example = "front-case")]
    pub place: Option<String>,
    /// Only this tray: its code, or anything a scanner sends of it.
    #[param(example = "C4H7K9P")]
    pub code: Option<String>,
    /// Only so judged: sell, sell_at_markdown or stop.
    #[param(example = "sell")]
    pub verdict: Option<String>,
}

/// What is asked for, and what the client has already.
struct Asked {
    now: Instant,
    wanted: Wanted,
    coding: Coding,
    if_none_match: String,
    is_head: bool,
}

/// How an answer begins.
enum Begin {
    Whole(String),
    NotModified(String),
}

/// Everything for sale, as of one place in the change sequence: a till that keeps it and applies the changes after its `cursor` has
/// the same again at every later place.
///
/// It is sent as it is read and takes little memory here however large it is. A client that has not taken it within the time of the settings (30 seconds)
/// is cut off. One key or person is told one at a time: a second request waits for the first, and is answered 503 with the time to wait
/// if that takes longer than two seconds.
/// With `If-None-Match`, an unchanged stock answers 304 and is not read. `Accept-Encoding: gzip` is honoured.
#[utoipa::path(get, path = "/v1/live-stock", tag = "stock", operation_id = "live_stock", extensions(("x-permission" = json!("read_stock"))),
    params(LiveStockQuery, ("If-None-Match" = Option<String>, Header, description = "The ETag of an earlier answer.", example = "\"1.0.4d2-cdca25f9.0\"")),
    responses(
        (status = 200, description = "The stock, its ETag strong.", body = LiveStockBody, headers(("ETag" = String, description = "Of this state, filter and coding."))),
        (status = 304, description = "Nothing changed since the ETag.", headers(("ETag" = String, description = "As sent.")))))]
async fn get(request: HttpRequest, look: Look<ReadStock>, options: web::Data<FollowOptions>) -> Outcome {
    let query = query::<LiveStockQuery>(&request)?;
    let judged = query.verdict.as_deref().map(verdict).transpose()?;
    let gzip = accepts_gzip(&joined(request.headers(), header::ACCEPT_ENCODING));
    let asked = Asked {
        now: clock::now(),
        wanted: Wanted { cut: query.cut, place: query.place, code: query.code, verdict: judged },
        coding: if gzip { Coding::Gzip } else { Coding::Plain },
        if_none_match: joined(request.headers(), header::IF_NONE_MATCH),
        is_head: request.method() == Method::HEAD,
    };
    // Taken before there is a thread: a client that takes its time holds one, never more, and whoever waits holds none.
    let seat = look.service.limits.seats.take(look.client()).await?;
    let (spout, flow) = outflow::open(asked.coding, options.snapshot);
    let (begin, begun) = oneshot::channel();
    let desk = Arc::clone(&look.service.desk);
    // Not waited for: it pours while the answer goes out.
    drop(rt::task::spawn_blocking(move || {
        pour(&desk, asked, spout, begin);
        drop(seat);
    }));
    match begun.await.map_err(|_| Problem::of(Speech::Internal))?? {
        Begin::NotModified(tag) => Ok(with_tag(HttpResponse::NotModified(), &tag).finish()),
        Begin::Whole(tag) => {
            let mut response = with_tag(HttpResponse::Ok(), &tag);
            if gzip {
                response.insert_header((header::CONTENT_ENCODING, "gzip"));
            }
            Ok(response.content_type("application/json").streaming(flow))
        }
    }
}

fn with_tag(mut response: HttpResponseBuilder, tag: &str) -> HttpResponseBuilder {
    response.insert_header((header::ETAG, tag));
    // To be kept by the client and asked about each time.
    response.insert_header((header::CACHE_CONTROL, "private, no-cache"));
    response.insert_header((header::VARY, "Accept-Encoding"));
    response
}

/// Looks at one state and pours it; runs on a thread of its own. What fails before the answer began becomes the answer; later, the answer
/// is cut off.
fn pour(desk: &Desk, asked: Asked, spout: Spout, begin: oneshot::Sender<Result<Begin, Problem>>) {
    let mut begin = Some(begin);
    let mut answer = |how| begin.take().is_some_and(|begin| begin.send(how).is_ok());
    let poured = desk.look_at_length(|reading, shop| {
        let stock = live_stock::open(reading, shop, asked.now, asked.wanted.clone())?;
        let tag = tag(&stock, &asked);
        if matches(&asked.if_none_match, &tag) {
            answer(Ok(Begin::NotModified(tag)));
            return Ok(());
        }
        if answer(Ok(Begin::Whole(tag))) {
            if asked.is_head {
                spout.end();
            } else {
                tell(&stock, spout, |sink| stock.pour(reading, sink))?;
            }
        }
        Ok(())
    });
    if let Err(failure) = poured {
        tracing::debug!(error = %failure, "live stock was not told to its end");
        answer(Err(Problem::from(failure)));
    }
}

type Sums = Option<Vec<CutSum>>;

fn tell(
    stock: &LiveStock,
    mut spout: Spout,
    pour: impl FnOnce(live_stock::Sink<'_>) -> Result<Sums, Failure>,
) -> Result<(), Failure> {
    if spout.pour(&format!("{{\"cursor\":\"{}\",\"trays\":[", cursor(stock.position))).is_break() {
        return Ok(());
    }
    if let Some(sums) = pour(&mut |text| spout.pour(text))? {
        let cuts: Vec<CutSumBody> = sums.into_iter().map(CutSumBody::from).collect();
        let cuts = serde_json::to_string(&cuts).unwrap_or_default();
        if spout.pour(&format!("],\"cuts\":{cuts}}}")).is_continue() {
            spout.end();
        }
    }
    Ok(())
}

/// The state is that of the cursor and of what was asked, exactly; so is the tag. When the cursor's change was recorded stands in it too,
/// since after a restored backup other changes may come to stand where these stood. The first figure is that of the form.
fn tag(stock: &LiveStock, asked: &Asked) -> String {
    let (at, wanted) = (stock.recorded_at.map_or(0, Instant::micros), &asked.wanted);
    let filter = format!("{:?} {:?} {:?} {:?}", wanted.cut, wanted.place, stock.tray_id, wanted.verdict);
    let coding = if asked.coding == Coding::Gzip { ".gzip" } else { "" };
    format!("\"1.{}.{at:x}.{:x}{coding}\"", cursor(stock.position), crc32fast::hash(filter.as_bytes()))
}

/// Weak comparison, as RFC 9110 wants it here (13.1.2).
fn matches(if_none_match: &str, tag: &str) -> bool {
    let mut known = if_none_match.split(',').map(str::trim);
    known.any(|known| known == "*" || known.strip_prefix("W/").unwrap_or(known) == tag)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/live-stock", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get))]
pub struct Doc;

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9110, 8.8.3.2: weak comparison looks past the mark; 13.1.2: a list, or `*`.
    #[test]
    fn a_known_tag_is_found_however_it_is_sent() {
        let rows = [
            ("", false),
            ("\"1.a\"", true),
            ("W/\"1.a\"", true),
            ("\"0\", \"1.a\"", true),
            ("\"0\",W/\"1.a\" ", true),
            ("*", true),
            ("1.a", false),
            ("\"1.a.gzip\"", false),
            ("w/\"1.a\"", false),
        ];
        for (sent, expected) in rows {
            assert_eq!(matches(sent, "\"1.a\""), expected, "{sent}");
        }
    }
}
