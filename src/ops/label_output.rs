//! What is handed out of an issued label: a picture, a page, a drawing, a sheet for an office printer. Nothing is recorded here.

use super::failure::{Failure, refuse};
use super::label::{as_issued, fitting};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::tray::Tray;
use crate::domain::tray_code::TrayCode;
use crate::labels;
use crate::labels::drawing::Drawing;
use crate::labels::facts::TrayLabel;
use crate::labels::layout::{Layout, lay_out};
use crate::labels::pdf::{self, About, Sheet, places};
use crate::labels::stock::{Dpi, LabelStock};
use crate::labels::svg;
use crate::labels::text::Fonts;
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

/// What a label is drawn for. Without a stock it is the smallest that takes all of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    pub stock: Option<String>,
    /// Dots per inch.
    pub dpi: u32,
}

/// A blank that labels are printed on.
pub(super) struct Blank {
    pub name: &'static str,
    on: fn(Dpi) -> LabelStock,
    sheet: Option<Sheet>,
}

/// Three by seven labels of 62 x 40 mm on A4.
const A4: Sheet = Sheet {
    paper_width_um: 210_000,
    paper_height_um: 297_000,
    columns: 3,
    rows: 7,
    left_um: 8_000,
    top_um: 8_500,
    pitch_x_um: 66_000,
    pitch_y_um: 40_000,
};

pub(super) const BLANKS: [Blank; 3] = [
    Blank { name: "62x40", on: LabelStock::standard, sheet: None },
    Blank { name: "80x50", on: LabelStock::large, sheet: None },
    Blank { name: "a4-62x40", on: LabelStock::standard, sheet: Some(A4) },
];

pub(super) const RESOLUTIONS: [Dpi; 2] = [Dpi::D203, Dpi::D300];

/// An issued label, laid out.
pub(super) struct Laid {
    pub tray: Tray,
    pub says: TrayLabel,
    pub layout: Layout,
    pub dpi: Dpi,
}

impl Laid {
    pub fn title(&self) -> String {
        title(&self.tray, &self.says)
    }
}

/// The label of a tray in one of its forms.
pub fn drawn(
    reading: &mut Reading<'_>,
    shop: &Shop,
    code: &str,
    target: &Target,
    form: Form,
) -> Result<Vec<u8>, Failure> {
    let laid = laid_out(reading, shop, code, target)?;
    let (fonts, drawing, title) = (Fonts::standard(), laid.layout.drawing(), laid.title());
    Ok(match form {
        Form::Png => labels::png(&drawing.paint(fonts), laid.dpi),
        Form::Pdf => pdf::one(&drawing, fonts, &About { title: &title, language: LANGUAGE }),
        Form::Svg => svg::write(&drawing, fonts, &title).into_bytes(),
    })
}

/// Labels of trays as a PDF of sheets, beginning at a place counted from 1. All of them, or every reason why not.
pub fn sheets(
    reading: &mut Reading<'_>,
    shop: &Shop,
    codes: &[String],
    stock: &str,
    start_at: i64,
) -> Result<Vec<u8>, Failure> {
    let Some(sheet) = blank(stock)?.sheet else {
        return refuse(
            Code::InvalidValue,
            "stock",
            format!("{stock} is no sheet; known are: {}", names(|b| b.sheet.is_some())),
        );
    };
    let Some(first) = usize::try_from(start_at).ok().filter(|start| (1..=places(&sheet)).contains(start)) else {
        return refuse(Code::InvalidValue, "start_at", format!("the sheet has places 1 to {}", places(&sheet)));
    };
    check_codes(codes)?;
    // The resolution only rounds places: it is a sheet of shapes.
    let target = Target { stock: Some(stock.to_owned()), dpi: 300 };
    let (mut drawings, mut refusals): (Vec<Drawing>, Vec<Refusal>) = (Vec::new(), Vec::new());
    for (place, code) in codes.iter().enumerate() {
        match laid_out(reading, shop, code, &target) {
            Ok(laid) => drawings.push(laid.layout.drawing()),
            Err(Failure::Refused(refusal)) => refusals.push(in_list(refusal, place)),
            Err(failure) => return Err(failure),
        }
    }
    match Refusal::join(refusals) {
        Some(refusal) => Err(refusal.into()),
        None => {
            let about = About { title: "Labels", language: LANGUAGE };
            Ok(pdf::sheets(&drawings, &sheet, first - 1, Fonts::standard(), &about))
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

pub(super) fn laid_out(reading: &mut Reading<'_>, shop: &Shop, code: &str, target: &Target) -> Result<Laid, Failure> {
    let Some(dpi) = RESOLUTIONS.into_iter().find(|dpi| dpi.per_inch() == target.dpi) else {
        let known: Vec<String> = RESOLUTIONS.iter().map(|dpi| dpi.per_inch().to_string()).collect();
        return refuse(Code::InvalidValue, "dpi", format!("must be one of {}", known.join(", ")));
    };
    let stock = target.stock.as_deref().map(blank).transpose()?;
    let (tray, says) = as_issued(reading, shop, code)?;
    let layout = match stock {
        Some(stock) => lay_out(Fonts::standard(), &says, &(stock.on)(dpi))?,
        None => fitting(&says, dpi)?,
    };
    Ok(Laid { tray, says, layout, dpi })
}

fn blank(name: &str) -> Result<&'static Blank, Failure> {
    match BLANKS.iter().find(|blank| blank.name == name) {
        Some(blank) => Ok(blank),
        None => refuse(Code::InvalidValue, "stock", format!("there is no such stock; known are: {}", names(|_| true))),
    }
}

fn names(wanted: impl Fn(&Blank) -> bool) -> String {
    BLANKS.iter().filter(|blank| wanted(blank)).map(|blank| blank.name).collect::<Vec<_>>().join(", ")
}

fn title(tray: &Tray, says: &TrayLabel) -> String {
    format!("{}, tray {}", says.cut_name, tray.code.grouped())
}
