//! Records of freezing against parasites: measured by the shop, or told by a supplier's letter.

use super::resource;
use super::stock::query;
use crate::ops::freeze_parasites::{FreezingDraft, LetterDraft, RecordRow, page as records, record};
use crate::units::instant::Instant;
use crate::web::answer::{Outcome, PAGE_LIMIT, created, number, page, read_cursor};
use crate::web::call::{Look, Recorded};
use crate::web::permit::{ReadRecords, Receive};
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// What a supplier's letter says.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ParasiteLetter {
    /// Number, date and writer of the letter.
    #[schema(example = "letter 7 of Hall Ltd, 20 Nov 2026")]
    pub reference: String,
    /// All parts were kept at or below this, in thousandths of a degree Celsius.
    #[schema(example = -35000)]
    pub temperature_mc: i64,
    /// For so many hours.
    #[schema(example = 20)]
    pub hours: i64,
    /// It was frozen at or below this until solid, where the letter says it.
    #[serde(default)]
    #[schema(example = -35000)]
    pub solid_at_mc: Option<i64>,
}

impl From<ParasiteLetter> for LetterDraft {
    fn from(letter: ParasiteLetter) -> LetterDraft {
        LetterDraft {
            reference: letter.reference,
            temperature_mc: letter.temperature_mc,
            hours: letter.hours,
            solid_at_mc: letter.solid_at_mc,
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostFreezing {
    /// lot or batch.
    #[schema(example = "lot")]
    pub scope: String,
    /// A lot code; or the code of a tray of the batch.
    #[schema(example = "BON-261125-01")]
    pub code: String,
    /// The supplier's letter about the lot. Absent: what the shop's own readings show of what is in its freezers now.
    #[serde(default)]
    pub letter: Option<ParasiteLetter>,
    /// When every part was found frozen solid and at the temperature: the logger measures the air and cannot see it.
    #[serde(default)]
    #[schema(example = "2026-11-20T06:00:00Z")]
    pub solid_since: Option<String>,
    #[serde(default)]
    #[schema(example = "core of two blocks measured -22 °C")]
    pub note: Option<String>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ParasiteFreezing)]
pub struct FreezingBody {
    #[schema(example = 3)]
    pub id: i64,
    /// lot or batch.
    #[schema(example = "lot")]
    pub scope: String,
    /// measured or supplier_letter.
    #[schema(example = "measured")]
    pub evidence: String,
    /// The rule of the profile that was met.
    #[schema(example = "eu_minus_20")]
    pub rule: String,
    pub from: Option<String>,
    pub to: Option<String>,
    /// At or below this, in thousandths of a degree Celsius.
    #[schema(example = -20000)]
    pub temperature_mc: i64,
    #[schema(example = 24)]
    pub hours: i64,
    pub note: Option<String>,
    #[schema(example = "2026-11-25T09:12:00.000000Z")]
    pub recorded_at: String,
    #[schema(example = "Ines")]
    pub recorded_by: String,
    /// When readings that came late showed that it was not cold enough after all.
    pub refuted_at: Option<String>,
}

impl From<RecordRow> for FreezingBody {
    fn from(row: RecordRow) -> FreezingBody {
        let text = |micros: i64| Instant::from_micros(micros).map(|i| i.to_string()).unwrap_or_default();
        FreezingBody {
            id: row.id,
            scope: row.scope,
            evidence: row.evidence,
            rule: row.rule,
            from: row.from_at.map(text),
            to: row.to_at.map(text),
            temperature_mc: row.temperature_mc,
            hours: row.hours,
            note: row.note,
            recorded_at: text(row.recorded_at),
            recorded_by: row.recorded_by,
            refuted_at: row.refuted_at.map(text),
        }
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FreezingsQuery {
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// Records of freezing against parasites, the newest first.
#[utoipa::path(get, path = "/v1/parasite-freezings", tag = "lots", operation_id = "list_parasite_freezings", params(FreezingsQuery),
    extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "Records, by page.", body = Vec<FreezingBody>)))]
async fn list(request: HttpRequest, look: Look<ReadRecords>) -> Outcome {
    let query = query::<FreezingsQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let below = read_cursor(query.cursor.as_deref())?;
    let found = look.ask(move |desk, _| desk.look(|reading, _| records(reading, below, limit))).await?;
    let next = found.last().filter(|_| i64::try_from(found.len()).is_ok_and(|n| n == limit)).map(|row| row.id);
    page(&request, &found.into_iter().map(FreezingBody::from).collect::<Vec<_>>(), next)
}

/// Puts a freezing against parasites on record. Local rules on species and hours decide; a record does not show that fish is safe.
#[utoipa::path(post, path = "/v1/parasite-freezings", tag = "lots", operation_id = "record_parasite_freezing", request_body = PostFreezing,
    extensions(("x-permission" = json!("receive"))),
    responses((status = 201, description = "On record.", body = FreezingBody)))]
async fn post(call: Recorded<Receive, PostFreezing>) -> Outcome {
    let solid_since = call.body().solid_since.as_deref().map(Instant::parse).transpose();
    let solid_since = solid_since.map_err(|e| Problem::invalid("solid_since", e.to_string()))?;
    call.record(move |desk, request, actor, now, body| {
        let draft = FreezingDraft {
            scope: body.scope,
            code: body.code,
            letter: body.letter.map(Into::into),
            solid_since,
            note: body.note,
        };
        desk.act_once(request, now, move |tx, shop| {
            Ok(created(&FreezingBody::from(record(tx, shop, &actor, now, &draft)?)))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    let resource = resource("/v1/parasite-freezings", "GET, POST");
    config.service(resource.route(route::get().to(list)).route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post))]
pub struct Doc;
