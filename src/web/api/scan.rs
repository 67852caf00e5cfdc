//! A scan: any code a scanner can send, or typed by hand, to a verdict.

use super::resource;
use super::stock::StockBody;
use crate::ops::scan::{Scanned, scan};
use crate::web::answer::{Outcome, ok};
use crate::web::call::Told;
use crate::web::clock;
use crate::web::permit::Scan;
use actix_web::web;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostScan {
    /// As the scanner sent it: a Digital Link address, an element string with its separators or in brackets, with or without its symbology
    /// identifier, the number of the shop's linear code, or the tray code alone; in upper or lower case.
    #[schema(
        example = "https://fish.example/01/02900000001015/10/YFT-261125-01/21/C4H7K9P?3103=000268&17=261127&3922=1997"
    )]
    pub text: String,
}

/// The verdict of a scan.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ScanVerdict)]
pub struct ScanBody {
    /// sell, sell_at_markdown or stop.
    #[schema(example = "sell")]
    pub verdict: &'static str,
    pub tray: StockBody,
    /// The sale it went out with, if it was sold.
    #[schema(example = 1235)]
    pub sale_id: Option<i64>,
}

/// Reads a code and judges the tray. Changes nothing.
#[utoipa::path(post, path = "/v1/scans", tag = "stock", operation_id = "scan", request_body = PostScan, extensions(("x-permission" = json!("scan"))),
    responses((status = 200, description = "The verdict, with every reason.", body = ScanBody)))]
async fn post(told: Told<Scan, PostScan>) -> Outcome {
    let now = clock::now();
    let text = told.body.text;
    let scanned = told.look.glance(move |reading, shop| scan(reading, shop, now, &text)).await?;
    let Scanned { facts, verdict, sold, lot_codes } = scanned;
    let tray = StockBody::said(facts, &verdict, lot_codes, now);
    ok(&ScanBody { verdict: verdict.outcome.as_str(), tray, sale_id: sold.map(|s| s.id) })
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/scans", "POST").route(web::post().to(post)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post))]
pub struct Doc;
