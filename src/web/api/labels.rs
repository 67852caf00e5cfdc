//! The label of a tray as last issued, in the forms it is wanted in, and sheets of labels for an office printer.

use super::resource;
use crate::ops::desk::Desk;
use crate::ops::label::Wanted;
use crate::ops::label::forms::{self, Form, Sheets};
use crate::web::answer::{Outcome, number};
use crate::web::call::{Look, Told};
use crate::web::permit::{PrintLabels, ReadRecords};
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, web};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LabelQuery {
    /// Dots per inch of the printer, 203, 300 or 600; as the shop prints when absent.
    #[param(value_type = Option<i64>, example = 203)]
    pub dpi: Option<String>,
    /// Name of a label stock; the first of the shop's own that takes the whole label when absent.
    #[param(example = "62x40")]
    pub stock: Option<String>,
}

impl LabelQuery {
    pub fn wanted(self) -> Result<Wanted, Problem> {
        let number = |text: &str| number("dpi", Some(text), 203..=600, 203).map(|dpi| u32::try_from(dpi).unwrap_or(0));
        Ok(Wanted { stock: self.stock, dpi: self.dpi.as_deref().map(number).transpose()? })
    }
}

/// The bytes of the file.
#[derive(ToSchema)]
#[schema(value_type = String, format = Binary)]
struct File(#[expect(dead_code, reason = "stands for the body in the document alone")] Vec<u8>);

/// A file to be looked at where it arrives, and to be kept under a name that says what it is.
fn file(bytes: Vec<u8>, content_type: &str, name: &str) -> HttpResponse {
    HttpResponse::Ok()
        .content_type(content_type)
        .insert_header(("Cache-Control", "no-store"))
        .insert_header(("Content-Disposition", format!("inline; filename=\"{name}\"")))
        .body(bytes)
}

async fn form(request: &HttpRequest, look: &Look<ReadRecords>, code: &str, form: Form) -> Outcome {
    let wanted = super::stock::query::<LabelQuery>(request)?.wanted()?;
    let (content_type, ending) = match form {
        Form::Png => ("image/png", "png"),
        Form::Pdf => ("application/pdf", "pdf"),
        Form::Svg => ("image/svg+xml", "svg"),
    };
    let asked = code.to_owned();
    let drawn = move |desk: &Desk, _| {
        let press = desk.press();
        desk.look(|reading, _| forms::hand_out(reading, &press, &asked, &wanted, form))
    };
    let bytes = look.ask(drawn).await?;
    // A code that was found holds letters and digits, and perhaps what people put between them.
    let plain: String = code.chars().filter(char::is_ascii_alphanumeric).collect();
    Ok(file(bytes, content_type, &format!("label-{}.{ending}", plain.to_ascii_uppercase())))
}

/// The label as it is to be printed, dot by dot: as it was last issued. Where `label_wanted` stands, issue it first.
#[utoipa::path(get, path = "/v1/trays/{tray_code}/label.png", tag = "labels", operation_id = "get_label", extensions(("x-permission" = json!("read_records"))),
    params(("tray_code" = String, Path, example = "C4H7K9P"), LabelQuery),
    responses((status = 200, description = "One-bit picture at the printer's resolution.", body = inline(File), content_type = "image/png")))]
async fn get_png(request: HttpRequest, look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    form(&request, &look, &code, Form::Png).await
}

/// The same label as a page of its size, for printers that take PDF: shapes only, its text to be searched.
#[utoipa::path(get, path = "/v1/trays/{tray_code}/label.pdf", tag = "labels", operation_id = "get_label_page", extensions(("x-permission" = json!("read_records"))),
    params(("tray_code" = String, Path, example = "C4H7K9P"), LabelQuery),
    responses((status = 200, description = "One page of the label's true size.", body = inline(File), content_type = "application/pdf")))]
async fn get_pdf(request: HttpRequest, look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    form(&request, &look, &code, Form::Pdf).await
}

/// The same label as a drawing for the screen, of its true size.
#[utoipa::path(get, path = "/v1/trays/{tray_code}/label.svg", tag = "labels", operation_id = "get_label_drawing", extensions(("x-permission" = json!("read_records"))),
    params(("tray_code" = String, Path, example = "C4H7K9P"), LabelQuery),
    responses((status = 200, description = "A drawing in millimetres.", body = String, content_type = "image/svg+xml")))]
async fn get_svg(request: HttpRequest, look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    form(&request, &look, &code, Form::Svg).await
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostLabelSheets {
    /// Trays in the order their labels stand, 1 to 200, each once. Their labels are issued already.
    #[schema(example = json!(["C4H7K9P"]))]
    pub tray_codes: Vec<String>,
    /// A stock that is a sheet.
    #[schema(example = "a4-62x40")]
    pub stock: String,
    /// The first free place of the first sheet, counted from 1 along the rows; 1 when absent.
    #[serde(default)]
    #[schema(example = 1)]
    pub start_at: Option<i64>,
}

/// Labels on sheets, for a shop with an office printer. Records nothing: the labels are those last issued.
#[utoipa::path(post, path = "/v1/label-sheets", tag = "labels", operation_id = "draw_label_sheets", request_body = PostLabelSheets, extensions(("x-permission" = json!("print_labels"))),
    responses((status = 200, description = "Sheets of labels.", body = inline(File), content_type = "application/pdf")))]
async fn post_sheets(told: Told<PrintLabels, PostLabelSheets>) -> Outcome {
    let Told { look, body } = told;
    let PostLabelSheets { tray_codes, stock, start_at } = body;
    let asked = Sheets { tray_codes, stock, start_at: start_at.unwrap_or(1) };
    let drawn = look.ask(move |desk, now| {
        let press = desk.press();
        desk.look(|reading, _| forms::sheets(reading, &press, now, &asked))
    });
    Ok(file(drawn.await?, "application/pdf", "labels.pdf"))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/trays/{tray_code}/label.png", "GET").route(route::get().to(get_png)));
    config.service(resource("/v1/trays/{tray_code}/label.pdf", "GET").route(route::get().to(get_pdf)));
    config.service(resource("/v1/trays/{tray_code}/label.svg", "GET").route(route::get().to(get_svg)));
    config.service(resource("/v1/label-sheets", "POST").route(web::post().to(post_sheets)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get_png, get_pdf, get_svg, post_sheets))]
pub struct Doc;
