//! Prints: labels on their way to a printer, and the printers.

use super::resource;
use super::stock::query;
use crate::domain::printing::{Heard, Printer, State};
use crate::ops::print::{self, Found, Shown};
use crate::web::answer::{Outcome, PAGE_LIMIT, created, id, number, ok, page, read_cursor};
use crate::web::call::{Look, Recorded};
use crate::web::permit::PrintLabels;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Print)]
pub struct PrintBody {
    #[schema(example = 12)]
    pub print_id: i64,
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "counter")]
    pub printer: String,
    #[schema(example = 1)]
    pub copies: i64,
    /// waiting (in our queue), sending, printing (the printer has it), done, failed, unknown (a person has to look whether it was printed),
    /// cancelled, or superseded (the tray has or wants another label, or is gone).
    #[schema(example = "waiting")]
    pub state: &'static str,
    /// What the printer says, or why it ended; empty when there is nothing to say.
    #[schema(example = "waits: it is out of labels")]
    pub reasons: String,
    /// Its number at the printer.
    #[schema(example = 31)]
    pub job_id: Option<i64>,
    /// How often it was sent, or tried.
    #[schema(example = 1)]
    pub attempts: i64,
    #[schema(example = "2026-11-25T09:12:00.000000Z")]
    pub wanted_at: String,
    #[schema(example = "Ines")]
    pub wanted_by: String,
    /// Why it is printed, where someone said.
    pub reason: Option<String>,
    /// Who asked the printer to cancel it, while that is not settled.
    pub cancel_wanted_by: Option<String>,
    pub finished_at: Option<String>,
}

impl From<Shown> for PrintBody {
    fn from(shown: Shown) -> PrintBody {
        let print = shown.print;
        PrintBody {
            print_id: print.id,
            tray_code: shown.tray.code.to_string(),
            printer: print.printer,
            copies: print.copies,
            state: print.state.as_str(),
            reasons: print.reasons,
            job_id: print.job_id,
            attempts: print.attempts,
            wanted_at: print.wanted_at.to_string(),
            wanted_by: print.actor,
            reason: print.reason,
            cancel_wanted_by: print.cancel_by,
            finished_at: print.finished_at.map(|at| at.to_string()),
        }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Printer)]
pub struct PrinterBody {
    #[schema(example = "counter")]
    pub name: String,
    /// The stock it prints on.
    #[schema(example = "62x40")]
    pub stock: String,
    #[schema(example = 203)]
    pub dpi: u32,
    /// not_asked, idle, processing, stopped, or silent when it does not answer.
    #[schema(example = "idle")]
    pub state: &'static str,
    /// What it says of itself, in words.
    pub reasons: Vec<String>,
    /// When it was last asked.
    pub asked_at: Option<String>,
    /// Prints before it that are not over.
    #[schema(example = 2)]
    pub queue_length: i64,
}

impl PrinterBody {
    fn of(printer: &Printer, heard: Heard, queue_length: i64) -> PrinterBody {
        PrinterBody {
            name: printer.name.clone(),
            stock: printer.stock.clone(),
            dpi: printer.dpi,
            state: heard.standing.as_str(),
            reasons: heard.reasons,
            asked_at: heard.at.map(|at| at.to_string()),
            queue_length,
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostPrint {
    /// A tray code, or anything a scanner sends for it.
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    /// May be left out where there is one printer.
    #[serde(default)]
    #[schema(example = "counter")]
    pub printer: Option<String>,
    /// 1 to 20; 1 when absent.
    #[serde(default)]
    #[schema(example = 1)]
    pub copies: Option<i64>,
    /// Required to print again what was printed.
    #[serde(default)]
    #[schema(example = "the first got wet")]
    pub reason: Option<String>,
}

/// Prints the label of a tray: issues it where one is wanted, prints an issued one for the first time as it is, and again only with a reason.
#[utoipa::path(post, path = "/v1/prints", tag = "labels", operation_id = "print_label", request_body = PostPrint, extensions(("x-permission" = json!("print_labels"))),
    responses((status = 201, description = "In the queue.", body = PrintBody)))]
async fn post(call: Recorded<PrintLabels, PostPrint>) -> Outcome {
    call.record(move |desk, request, actor, now, body| {
        let printer = desk.printers().named(body.printer.as_deref())?.clone();
        let (press, copies) = (desk.press(), body.copies.unwrap_or(1));
        let answer = desk.act_once(request, now, move |tx, shop| {
            let (code, reason) = (&body.tray_code, body.reason.as_deref());
            let queued = print::issue_and_queue(tx, shop, &press, &actor, now, code, reason, &printer, copies)?;
            Ok(created(&PrintBody::from(queued)))
        })?;
        desk.printers().bell().ring();
        Ok(answer)
    })
    .await
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PrintsQuery {
    /// A state; all when absent.
    pub state: Option<String>,
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// Prints, the newest first.
#[utoipa::path(get, path = "/v1/prints", tag = "labels", operation_id = "list_prints", params(PrintsQuery), extensions(("x-permission" = json!("print_labels"))),
    responses((status = 200, description = "A page of prints.", body = Vec<PrintBody>)))]
async fn list(request: HttpRequest, look: Look<PrintLabels>) -> Outcome {
    let query = query::<PrintsQuery>(&request)?;
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let below = read_cursor(query.cursor.as_deref())?;
    let state = query.state.as_deref().map(|text| {
        let known: Vec<&str> = State::ALL.iter().map(|state| state.as_str()).collect();
        State::parse(text).ok_or_else(|| Problem::invalid("state", format!("must be one of {}", known.join(", "))))
    });
    let state = state.transpose()?;
    let found = look.ask(move |desk, _| desk.look(|reading, _| print::page(reading, state, below, limit))).await?;
    let full = i64::try_from(found.len()).is_ok_and(|n| n == limit);
    let next = found.last().filter(|_| full).map(|shown| shown.print.id);
    page(&request, &found.into_iter().map(PrintBody::from).collect::<Vec<_>>(), next)
}

/// One print as it stands.
#[utoipa::path(get, path = "/v1/prints/{id}", tag = "labels", operation_id = "get_print", extensions(("x-permission" = json!("print_labels"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 200, description = "The print.", body = PrintBody)))]
async fn get(look: Look<PrintLabels>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let found = look.ask(move |desk, _| desk.look(|reading, _| print::one(reading, id))).await?;
    ok(&PrintBody::from(found))
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostCancel {
    #[serde(default)]
    #[schema(example = "printed on the other one")]
    pub reason: Option<String>,
}

/// Gives a print up. One that the printer has is asked back from it: `cancel_wanted_by` stands until the printer has said how it ended.
#[utoipa::path(post, path = "/v1/prints/{id}/cancel", tag = "labels", operation_id = "cancel_print", request_body = PostCancel, extensions(("x-permission" = json!("print_labels"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "Given up, or asked back.", body = PrintBody)))]
async fn post_cancel(call: Recorded<PrintLabels, PostCancel>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        let answer = desk.act_once(request, now, move |tx, _| {
            Ok(created(&PrintBody::from(print::cancel(tx, &actor, now, id, body.reason.as_deref())?)))
        })?;
        desk.printers().bell().ring();
        Ok(answer)
    })
    .await
}

#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(example = "yes")]
pub enum WhatWasFound {
    Yes,
    No,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostResolution {
    /// Whether the label is there: `yes`, or `no`, and then it is printed again. To leave it at that, cancel it.
    pub printed: WhatWasFound,
}

/// Says what became of a print that nobody knows of, or that failed.
#[utoipa::path(post, path = "/v1/prints/{id}/resolve", tag = "labels", operation_id = "resolve_print", request_body = PostResolution, extensions(("x-permission" = json!("print_labels"))),
    params(("id" = i64, Path, example = 12)),
    responses((status = 201, description = "Done, or in the queue again.", body = PrintBody)))]
async fn post_resolution(call: Recorded<PrintLabels, PostResolution>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    call.record(move |desk, request, actor, now, body| {
        let found = match body.printed {
            WhatWasFound::Yes => Found::Printed,
            WhatWasFound::No => Found::Missing,
        };
        let answer = desk.act_once(request, now, move |tx, _| {
            Ok(created(&PrintBody::from(print::resolve(tx, &actor, now, id, found)?)))
        })?;
        desk.printers().bell().ring();
        Ok(answer)
    })
    .await
}

/// The printers of the settings, how each last was, and how much is before it.
#[utoipa::path(get, path = "/v1/printers", tag = "labels", operation_id = "list_printers", extensions(("x-permission" = json!("print_labels"))),
    responses((status = 200, description = "Printers, in the order of the settings.", body = Vec<PrinterBody>)))]
async fn list_printers(look: Look<PrintLabels>) -> Outcome {
    let bodies = look
        .ask(|desk, _| {
            let lengths = desk.look(|reading, _| print::queue_lengths(reading))?;
            let length = |name: &str| lengths.get(name).copied().unwrap_or(0);
            let all = desk.printers().all().into_iter();
            Ok(all.map(|(printer, heard)| PrinterBody::of(printer, heard, length(&printer.name))).collect::<Vec<_>>())
        })
        .await?;
    ok(&bodies)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/prints", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(resource("/v1/prints/{id}", "GET").route(route::get().to(get)));
    config.service(resource("/v1/prints/{id}/cancel", "POST").route(web::post().to(post_cancel)));
    config.service(resource("/v1/prints/{id}/resolve", "POST").route(web::post().to(post_resolution)));
    config.service(resource("/v1/printers", "GET").route(route::get().to(list_printers)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post, list, get, post_cancel, post_resolution, list_printers))]
pub struct Doc;
