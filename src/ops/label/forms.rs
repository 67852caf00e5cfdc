//! What is handed out of an issued label: a picture, a page, a drawing, a sheet for an office printer. Nothing is recorded here.

use super::{Drawn, Wanted, drawn};
use crate::domain::label_fields::Field;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::tray_code::TrayCode;
use crate::labels;
use crate::labels::drawing::Drawing;
use crate::labels::pdf::{self, About, places};
use crate::labels::stock::{LabelStock, Sheet};
use crate::labels::svg;
use crate::ops::failure::{Failure, refuse};
use crate::ops::press::Press;
use crate::ops::printing::outdated;
use crate::store::Reading;
use crate::units::instant::Instant;

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

/// The newest label of a tray in one of its forms.
pub fn hand_out(
    reading: &mut Reading<'_>,
    press: &Press,
    code: &str,
    wanted: &Wanted,
    form: Form,
) -> Result<Vec<u8>, Failure> {
    let label = drawn(reading, press, code, wanted)?;
    let (fonts, drawing, title) = (press.fonts(), label.layout.drawing(), title(&label));
    Ok(match form {
        Form::Png => labels::png(&drawing.paint(fonts), label.stock.dpi()),
        Form::Pdf => pdf::one(drawing, fonts, &About { title: &title, language: LANGUAGE }),
        Form::Svg => svg::write(drawing, fonts, &title).into_bytes(),
    })
}

/// What it is a label of.
pub(super) fn title(label: &Drawn) -> String {
    format!("{}, tray {}", label.says.text(Field::CutName), label.tray.code.grouped())
}

/// Sheets of labels as they are asked for.
#[derive(Debug, Clone)]
pub struct Sheets {
    pub tray_codes: Vec<String>,
    /// The name of a stock that is a sheet.
    pub stock: String,
    /// The first free place of the first sheet, counted from 1.
    pub start_at: i64,
}

/// The newest labels of trays as a PDF of sheets: all of them, or every reason why not.
pub fn sheets(reading: &mut Reading<'_>, press: &Press, now: Instant, asked: &Sheets) -> Result<Vec<u8>, Failure> {
    let (stock, sheet) = sheet_of(press, &asked.stock)?;
    let Some(first) = usize::try_from(asked.start_at).ok().filter(|start| (1..=places(&sheet)).contains(start)) else {
        return refuse(Code::InvalidValue, "start_at", format!("the sheet has places 1 to {}", places(&sheet)));
    };
    check_codes(&asked.tray_codes)?;
    let wanted = Wanted { stock: Some(asked.stock.clone()), dpi: Some(stock.dpi().per_inch()) };
    let (mut drawings, mut refusals): (Vec<Drawing>, Vec<Refusal>) = (Vec::new(), Vec::new());
    for (place, code) in asked.tray_codes.iter().enumerate() {
        match fit_to_print(reading, press, now, code, &wanted) {
            Ok(label) => drawings.push(label.layout.drawing().clone()),
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

/// A label that may go out on paper: not one of a tray that is gone, or that wants another.
fn fit_to_print(
    reading: &mut Reading<'_>,
    press: &Press,
    now: Instant,
    code: &str,
    wanted: &Wanted,
) -> Result<Drawn, Failure> {
    let label = drawn(reading, press, code, wanted)?;
    match outdated(reading, label.tray.id, label.issued.act_id, now)? {
        Some(why) => refuse(Code::LabelOutdated, "tray_code", why),
        None => Ok(label),
    }
}

/// The sheet of a name at its finest resolution: it is drawn in shapes, and a resolution only rounds their places.
fn sheet_of(press: &Press, name: &str) -> Result<(LabelStock, Sheet), Failure> {
    let stocks = press.stocks().all();
    let of_the_name = stocks.iter().filter(|stock| stock.name() == name);
    let found = of_the_name.filter_map(|stock| Some((stock.clone(), stock.sheet()?))).max_by_key(|(s, _)| s.dpi());
    if let Some(found) = found {
        return Ok(found);
    }
    let mut known: Vec<&str> = stocks.iter().filter(|stock| stock.sheet().is_some()).map(LabelStock::name).collect();
    known.dedup();
    refuse(Code::InvalidValue, "stock", format!("there is no sheet of this name; known are: {}", known.join(", ")))
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
    let stands_before = |(place, code): &(usize, &Option<TrayCode>)| {
        code.is_some() && read.iter().take(*place).any(|before| before == *code)
    };
    match read.iter().enumerate().find(stands_before) {
        Some((place, _)) => refuse(Code::DuplicateLine, format!("tray_codes/{place}"), "the tray stands twice"),
        None => Ok(()),
    }
}
