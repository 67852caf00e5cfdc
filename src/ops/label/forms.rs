//! What is handed out of an issued label: a picture, a page, a drawing, a sheet for an office printer. Nothing is recorded here.

use super::{Drawn, Wanted, drawn};
use crate::domain::label_fields::Field;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::tray_code::TrayCode;
use crate::labels;
use crate::labels::drawing::Drawing;
use crate::labels::pdf::{self, About};
use crate::labels::stock::LabelStock;
use crate::labels::svg;
use crate::ops::failure::{Failure, refuse};
use crate::ops::press::Press;
use crate::store::Reading;

/// Most trays of one request for sheets.
pub const SHEET_TRAYS: usize = 200;

/// The language labels are written in.
const LANGUAGE: &str = "en";

/// Forms a label is handed out in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One bit a dot, at the printer's resolution.
    Png,
    /// A page of the label's size.
    Pdf,
    /// A drawing for the screen.
    Svg,
}

/// The label of a tray in one of its forms.
pub fn form(
    reading: &mut Reading<'_>,
    shop: &Shop,
    press: &Press,
    code: &str,
    wanted: &Wanted,
    form: Form,
) -> Result<Vec<u8>, Failure> {
    let drawn = drawn(reading, shop, press, code, wanted)?;
    let (fonts, drawing, title) = (press.fonts(), drawn.layout.drawing(), drawn.title());
    Ok(match form {
        Form::Png => labels::png(&drawing.paint(fonts), drawn.stock.dpi()),
        Form::Pdf => pdf::one(drawing, fonts, &About { title: &title, language: LANGUAGE }),
        Form::Svg => svg::write(drawing, fonts, &title).into_bytes(),
    })
}

/// Sheets that are asked for.
#[derive(Debug, Clone)]
pub struct SheetOrder {
    pub tray_codes: Vec<String>,
    /// A stock that is a sheet.
    pub stock: String,
    /// The first free place of the first sheet, counted from 1.
    pub start_at: i64,
}

/// Labels of trays as a PDF of sheets. All of them, or every reason why not.
pub fn sheets(reading: &mut Reading<'_>, shop: &Shop, press: &Press, order: &SheetOrder) -> Result<Vec<u8>, Failure> {
    let stock = sheet_stock(press, &order.stock)?;
    let Some(sheet) = stock.sheet() else {
        return refuse(Code::InvalidValue, "stock", format!("{} is no sheet", order.stock));
    };
    let places = sheet.places();
    let Some(first) = usize::try_from(order.start_at).ok().filter(|start| (1..=places).contains(start)) else {
        return refuse(Code::InvalidValue, "start_at", format!("the sheet has places 1 to {places}"));
    };
    check_codes(&order.tray_codes)?;
    let wanted = Wanted { stock: Some(order.stock.clone()), dpi: Some(stock.dpi().per_inch()) };
    let (mut drawings, mut refusals): (Vec<Drawing>, Vec<Refusal>) = (Vec::new(), Vec::new());
    for (place, code) in order.tray_codes.iter().enumerate() {
        match drawn(reading, shop, press, code, &wanted) {
            Ok(drawn) => drawings.push(drawn.layout.drawing().clone()),
            Err(Failure::Refused(refusal)) => refusals.push(in_list(refusal, place)),
            Err(failure) => return Err(failure),
        }
    }
    match Refusal::join(refusals) {
        Some(refusal) => Err(refusal.into()),
        None => {
            let about = About { title: "Labels", language: LANGUAGE };
            Ok(pdf::sheets(&drawings, &sheet, first - 1, press.fonts(), &about))
        }
    }
}

/// The sheet of a name at its coarsest: it is a sheet of shapes, and the resolution only rounds places.
fn sheet_stock(press: &Press, name: &str) -> Result<LabelStock, Failure> {
    let named = press.stocks().all().iter().filter(|stock| stock.name() == name);
    match named.min_by_key(|stock| stock.dpi().per_inch()) {
        Some(stock) => Ok(stock.clone()),
        None => {
            let sheets = press.stocks().all().iter().filter(|stock| stock.sheet().is_some());
            let mut known: Vec<&str> = sheets.map(LabelStock::name).collect();
            known.dedup();
            refuse(Code::InvalidValue, "stock", format!("there is no such stock; sheets are: {}", known.join(", ")))
        }
    }
}

/// A refusal of one tray, seen from the list that names it.
fn in_list(mut refusal: Refusal, place: usize) -> Refusal {
    if refusal.code == Code::NotFound {
        refusal.code = Code::UnknownReference;
    }
    for finding in refusal.findings.iter_mut().filter(|finding| finding.field == "tray_code") {
        finding.field.clear();
    }
    refusal.under(&format!("tray_codes/{place}"))
}

/// A tray has one label: a second one would end on another tray.
fn check_codes(codes: &[String]) -> Result<(), Failure> {
    if !(1..=SHEET_TRAYS).contains(&codes.len()) {
        return refuse(Code::InvalidValue, "tray_codes", format!("must name 1 to {SHEET_TRAYS} trays"));
    }
    let read: Vec<Option<TrayCode>> = codes.iter().map(|code| TrayCode::parse("tray_codes", code).ok()).collect();
    let twice =
        read.iter().enumerate().find(|(place, code)| code.is_some() && read.iter().take(*place).any(|c| c == *code));
    match twice {
        Some((place, _)) => refuse(Code::DuplicateLine, format!("tray_codes/{place}"), "the tray stands twice"),
        None => Ok(()),
    }
}

impl Drawn {
    /// What it is a label of, in words.
    pub fn title(&self) -> String {
        format!("{}, tray {}", self.says.text(Field::CutName), self.tray.code.grouped())
    }
}
