//! Stock counts: what lies there is weighed, and the books follow.

use super::resource;
use crate::ops::count::{CountLine, Counted, count};
use crate::web::answer::{Outcome, created};
use crate::web::call::Recorded;
use crate::web::permit::Count;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostCountLine {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// 0 when the tray is not there.
    #[schema(example = 310, minimum = 0)]
    pub counted_g: i64,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostCount {
    pub lines: Vec<PostCountLine>,
    /// Required when anything differs.
    #[serde(default)]
    #[schema(example = "evening count")]
    pub reason: Option<String>,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CountedLine)]
pub struct CountedBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = 320)]
    pub book_g: i64,
    #[schema(example = 310)]
    pub counted_g: i64,
    #[schema(example = -10)]
    pub difference_g: i64,
}

impl From<Counted> for CountedBody {
    fn from(c: Counted) -> CountedBody {
        CountedBody {
            tray_code: c.tray.code.to_string(),
            book_g: c.book_g,
            counted_g: c.counted_g,
            difference_g: c.counted_g - c.book_g,
        }
    }
}

/// Books a count: all lines or none.
#[utoipa::path(post, path = "/v1/counts", tag = "counts", operation_id = "count_stock", request_body = PostCount, extensions(("x-permission" = json!("count"))),
    responses((status = 201, description = "Booked.", body = Vec<CountedBody>)))]
async fn post(call: Recorded<Count, PostCount>) -> Outcome {
    call.record(|desk, request, actor, now, body| {
        let lines: Vec<CountLine> =
            body.lines.into_iter().map(|l| CountLine { tray: l.tray_code, counted_g: l.counted_g }).collect();
        desk.act_once(request, now, move |tx, shop| {
            let counted = count(tx, shop, &actor, now, &lines, body.reason.as_deref())?;
            Ok(created(&counted.into_iter().map(CountedBody::from).collect::<Vec<_>>()))
        })
    })
    .await
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/counts", "POST").route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post))]
pub struct Doc;
