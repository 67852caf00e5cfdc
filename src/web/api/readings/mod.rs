//! Readings of a place: a logger posts them, whoever may see the stock reads them.

mod json;
mod taking;

use super::resource;
use crate::domain::life::curve::Reading;
use crate::domain::logger::tally::{Listed, Tally};
use crate::domain::logger::{Column, DateOrder, Options, Outcome as Fate, Unit};
use crate::ops::take_readings::{Follows, page as readings_page};
use crate::units::instant::Instant;
use crate::units::zone::Zone;
use crate::web::answer::{Outcome, number, ok, page, read_cursor};
use crate::web::api::stock::query;
use crate::web::call::Look;
use crate::web::permit::{PostReadings, ReadRecords};
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use taking::Courier;
use utoipa::{IntoParams, ToSchema};

/// Most readings of one page, and of one JSON body.
const MOST: i64 = 10_000;
/// Most characters of a column's name.
const COLUMN_LIMIT: usize = 80;

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct TakeQuery {
    /// CSV: `c` (default) or `f`, where neither header nor cell says it.
    #[param(example = "f")]
    unit: Option<String>,
    /// CSV: the IANA zone of times without an offset; the shop's when absent.
    #[param(example = "Europe/Lisbon")]
    zone: Option<String>,
    /// CSV: `dmy` or `mdy`, for dates such as 03/04/2026.
    #[param(example = "dmy")]
    date_order: Option<String>,
    /// CSV: name or number (from 1) of the column of the temperature, where several could be meant.
    #[param(example = "Probe 2")]
    column: Option<String>,
}

impl TakeQuery {
    fn options(self, shop_zone: Zone) -> Result<Options, Problem> {
        let zone = match self.zone {
            None => shop_zone,
            Some(name) => Zone::parse(&name).map_err(|e| Problem::invalid("zone", e.to_string()))?,
        };
        let unit = match self.unit.as_deref() {
            None | Some("c") => Unit::Celsius,
            Some("f") => Unit::Fahrenheit,
            Some(_) => return Err(Problem::invalid("unit", "must be c or f")),
        };
        let date_order = match self.date_order.as_deref() {
            None => None,
            Some("dmy") => Some(DateOrder::DayFirst),
            Some("mdy") => Some(DateOrder::MonthFirst),
            Some(_) => return Err(Problem::invalid("date_order", "must be dmy or mdy")),
        };
        Ok(Options { zone, unit, date_order, column: self.column.as_deref().map(column).transpose()? })
    }

    /// JSON says all of it itself.
    fn refuse_any(&self) -> Result<(), Problem> {
        let given =
            [("unit", &self.unit), ("zone", &self.zone), ("date_order", &self.date_order), ("column", &self.column)];
        match given.into_iter().find(|(_, value)| value.is_some()) {
            Some((name, _)) => Err(Problem::invalid(name, "is for text/csv; JSON says it itself")),
            None => Ok(()),
        }
    }
}

fn column(text: &str) -> Result<Column, Problem> {
    let invalid = || Problem::invalid("column", "must be a column's name of 1 to 80 characters, or its number from 1");
    if text.trim().is_empty() || text.chars().count() > COLUMN_LIMIT {
        return Err(invalid());
    }
    if !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Ok(Column::Name(text.to_owned()));
    }
    text.parse().ok().filter(|number| (1..=256).contains(number)).map(Column::Number).ok_or_else(invalid)
}

/// A line that was not plainly accepted.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ListedLine)]
pub struct ListedBody {
    /// Of the file, from 1; in a JSON body the place in the list.
    #[schema(example = 17)]
    pub line: u64,
    /// repeated, contradicting, sensor_fault, in_future, too_old or unreadable.
    #[schema(example = "sensor_fault")]
    pub outcome: &'static str,
    #[schema(example = "the logger says \"ERR\"")]
    pub reason: String,
}

/// What became of each line.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TakenReadings)]
pub struct TakenBody {
    #[schema(example = "front-case")]
    pub place_code: String,
    /// Lines that say something: the sum of the seven outcomes.
    #[schema(example = 96)]
    pub lines: u64,
    /// New.
    #[schema(example = 94)]
    pub accepted: u64,
    /// The same instant and temperature were there.
    #[schema(example = 0)]
    pub repeated: u64,
    /// The instant was there with another temperature: the warmer counts, both are kept.
    #[schema(example = 1)]
    pub contradicting: u64,
    /// Outside -90 to +60 °C, or no number where one should be.
    #[schema(example = 1)]
    pub sensor_fault: u64,
    /// More than two minutes ahead.
    #[schema(example = 0)]
    pub in_future: u64,
    /// More than 400 days ago.
    #[schema(example = 0)]
    pub too_old: u64,
    #[schema(example = 0)]
    pub unreadable: u64,
    /// Among the accepted: older than the newest reading the place had before.
    #[schema(example = 12)]
    pub late: u64,
    /// Trays in stock that had left the place, or came of one that had, and whose life is another than had been reckoned.
    #[schema(example = 3)]
    pub lives_changed: usize,
    /// Alarms raised, changed or cleared by it, and records of freezing against parasites that it refutes.
    #[schema(example = 1)]
    pub alarms_changed: usize,
    /// The first 200 lines that were not accepted.
    pub listed: Vec<ListedBody>,
    /// Lines that were not accepted and are not in the list.
    #[schema(example = 0)]
    pub not_listed: u64,
}

impl From<Listed> for ListedBody {
    fn from(listed: Listed) -> ListedBody {
        ListedBody { line: listed.line, outcome: listed.outcome.as_str(), reason: listed.reason }
    }
}

impl TakenBody {
    fn of(place_code: String, tally: Tally, follows: Follows) -> TakenBody {
        TakenBody {
            place_code,
            lines: tally.lines(),
            accepted: tally.count(Fate::Accepted),
            repeated: tally.count(Fate::Repeated),
            contradicting: tally.count(Fate::Contradicting),
            sensor_fault: tally.count(Fate::SensorFault),
            in_future: tally.count(Fate::InFuture),
            too_old: tally.count(Fate::TooOld),
            unreadable: tally.count(Fate::Unreadable),
            late: tally.late,
            lives_changed: follows.lives_changed,
            alarms_changed: follows.alarms_changed,
            not_listed: tally.unlisted(),
            listed: tally.listed.into_iter().map(ListedBody::from).collect(),
        }
    }
}

/// Takes readings of a place. Sending them again changes nothing, so no Idempotency-Key is needed.
///
/// `text/csv` is read as loggers export it: separator, decimal comma, columns, units and forms of time are recognised. `text/csv` and
/// `application/x-ndjson` (a reading a line) are taken as a stream of up to 256 MiB; `application/json` holds up to 10,000 readings. A bad
/// line never loses the good ones. When the connection breaks, what was taken stays.
#[utoipa::path(post, path = "/v1/places/{code}/readings", tag = "readings", operation_id = "post_readings",
    extensions(("x-permission" = json!("post_readings"))),
    params(("code" = String, Path, example = "front-case"), TakeQuery),
    request_body(content((json::PostReadingsBody = "application/json"), (String = "application/x-ndjson",
        example = json!("{\"at\":\"2026-11-25T08:00:00Z\",\"celsius\":1.2}\n")), (String = "text/csv",
        example = json!("time;temperature °C\n2026-11-25 08:00;1,2\n")))),
    responses((status = 200, description = "What became of each line.", body = TakenBody)))]
async fn post(
    request: HttpRequest,
    look: Look<PostReadings>,
    code: web::Path<String>,
    payload: web::Payload,
) -> Outcome {
    let kind = taking::Kind::of(&request)?;
    let said = query::<TakeQuery>(&request)?;
    if kind != taking::Kind::Csv {
        said.refuse_any()?;
    }
    let options = said.options(look.service.desk.shop().zone)?;
    let courier = Courier::begin(look, code.into_inner()).await?;
    let (place, tally, follows) = courier.take(kind, options, &request, payload).await?;
    ok(&TakenBody::of(place, tally, follows))
}

/// A reading of a place.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Reading)]
pub struct ReadingBody {
    #[schema(example = "2026-11-25T08:00:00.000000Z")]
    pub at: String,
    /// In thousandths of a degree Celsius.
    #[schema(example = 1200)]
    pub temperature_mc: i64,
}

impl From<Reading> for ReadingBody {
    fn from(reading: Reading) -> ReadingBody {
        ReadingBody { at: reading.at.to_string(), temperature_mc: reading.temperature.get() }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ReadingsQuery {
    /// Not before this instant.
    #[param(example = "2026-11-25T00:00:00Z")]
    from: Option<String>,
    /// Not after this instant.
    #[param(example = "2026-11-25T23:59:59Z")]
    to: Option<String>,
    /// 1 to 10000; 1000 when absent.
    #[param(value_type = Option<i64>, example = 1000)]
    limit: Option<String>,
    /// From the `Link` of the page before.
    cursor: Option<String>,
}

fn instant(field: &str, text: Option<&str>) -> Result<Option<Instant>, Problem> {
    text.map(Instant::parse).transpose().map_err(|e| Problem::invalid(field, e.to_string()))
}

/// Readings of a place, newest first.
#[utoipa::path(get, path = "/v1/places/{code}/readings", tag = "readings", operation_id = "list_readings",
    extensions(("x-permission" = json!("read_records"))),
    params(("code" = String, Path, example = "front-case"), ReadingsQuery),
    responses((status = 200, description = "What counts at each instant, newest first; `Link` names the next page.", body = Vec<ReadingBody>)))]
async fn list(request: HttpRequest, look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let query = query::<ReadingsQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=MOST, 1_000)?;
    let from = instant("from", query.from.as_deref())?.unwrap_or(Instant::EPOCH);
    let to = instant("to", query.to.as_deref())?;
    // The cursor is the instant of the last reading shown: what follows is older.
    let below = match read_cursor(query.cursor.as_deref())? {
        None => None,
        Some(shown) => Some(
            Instant::from_micros(shown - 1)
                .map_err(|_| Problem::at(Speech::MalformedRequest, "cursor", "is not a cursor of these readings"))?,
        ),
    };
    let end = [to, below].into_iter().flatten().min();
    let end = match end {
        Some(end) => end,
        None => Instant::from_micros(Instant::MAXIMUM).map_err(|_| Problem::of(Speech::Internal))?,
    };
    let found =
        look.ask(move |desk, _| desk.look(|reading, _| readings_page(reading, &code, from, end, limit))).await?;
    let full = i64::try_from(found.len()).is_ok_and(|count| count == limit);
    let next = found.last().filter(|last| full && last.at > from).map(|last| last.at.micros());
    page(&request, &found.into_iter().map(ReadingBody::from).collect::<Vec<_>>(), next)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(
        resource("/v1/places/{code}/readings", "GET, POST").route(route::get().to(list)).route(web::post().to(post)),
    );
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post, list))]
pub struct Doc;
