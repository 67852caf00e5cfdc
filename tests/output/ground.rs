//! Labels to draw, poppler's programs, and pictures compared dot by dot.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::Arc;

use sakudana::domain::label_fields::Field;
use sakudana::labels::bitmap::{Bitmap, Rect};
use sakudana::labels::drawing::{Drawing, Stroke};
use sakudana::labels::facts::TrayLabel;
use sakudana::labels::layout::lay_out;
use sakudana::labels::linear;
use sakudana::labels::pdf::About;
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::symbol::QUIET_MODULES;
use sakudana::labels::text::Fonts;

use crate::labels::{akami, american, japanese, japanese_fonts, markdown, stock};

pub const ABOUT: About<'static> = About { title: "Akami saku, tray 7K3M 9QX2", language: "en" };

pub fn address(tray: &str) -> String {
    format!("https://shop.example/01/09520123456788/10/2611-YFT-03/21/{tray}?17=261126&3103=000268")
}

/// A label for one of many trays.
pub fn numbered(number: usize) -> TrayLabel {
    let tray = format!("7K3M9Q{number:02}");
    akami().with(Field::TrayCode, format!("{} {}", &tray[..4], &tray[4..])).with(Field::QrText, address(&tray))
}

pub fn drawing(label: &TrayLabel, fonts: &Fonts, stock: &LabelStock) -> Drawing {
    let layout = lay_out(fonts, label, stock).unwrap_or_else(|refusal| panic!("{refusal}: {label:?}"));
    layout.drawing().clone()
}

/// A label laid out, with what it says and what it is set in.
pub struct Laid {
    pub label: TrayLabel,
    pub fonts: Arc<Fonts>,
    pub drawing: Drawing,
}

impl Laid {
    pub fn qr_text(&self) -> String {
        self.label.text(Field::QrText).to_owned()
    }

    /// The codes on it: the symbol, and the linear code where it has one. In the order of their texts.
    pub fn codes(&self) -> Vec<String> {
        let mut codes = vec![self.label.text(Field::Linear).to_owned(), self.qr_text()];
        codes.retain(|code| !code.is_empty());
        codes
    }
}

/// One of each kind: plain, marked down, American, with a linear code, Japanese; from 203 to 600 dpi.
pub fn laid_out() -> Vec<Laid> {
    let (latin, japanese_fonts) = (Arc::new(Fonts::with(Vec::new()).unwrap()), Arc::new(japanese_fonts()));
    let linear = || akami().with(Field::Linear, "2112233789657");
    [
        (akami(), "62x40", Dpi::D203, &latin),
        (markdown(), "80x50", Dpi::D203, &latin),
        (linear(), "100x62", Dpi::D203, &latin),
        (japanese(), "80x50", Dpi::D203, &japanese_fonts),
        (american(), "62x40", Dpi::D300, &latin),
        (linear(), "80x50", Dpi::D300, &latin),
        (markdown(), "62x40", Dpi::D600, &latin),
    ]
    .into_iter()
    .map(|(label, name, dpi, fonts)| {
        let drawing = drawing(&label, fonts, &stock(name, dpi));
        Laid { label, fonts: Arc::clone(fonts), drawing }
    })
    .collect()
}

/// The dots of the codes, quiet zones not counted.
pub fn code_boxes(drawing: &Drawing) -> Vec<Rect> {
    let boxes = drawing.strokes.iter().filter_map(|stroke| match stroke {
        Stroke::Symbol { symbol, x, y, dots_per_module } => {
            let (quiet, side) = (QUIET_MODULES * dots_per_module, symbol.modules() * dots_per_module);
            Some(Rect { x: x + quiet, y: y + quiet, width: side, height: side })
        }
        // Down to where the digits begin to stand between the guard bars.
        Stroke::Linear { x, y, dots_per_module, height, .. } => Some(Rect {
            x: x + linear::QUIET_LEFT * dots_per_module,
            y: *y,
            width: linear::MODULES * dots_per_module,
            height: height - linear::GUARD_DEPTH * dots_per_module,
        }),
        _ => None,
    });
    boxes.collect()
}

/// One of poppler's programs on a file, with the options before its name and after it. What it has to complain of fails the test.
pub fn poppler(program: &str, before: &[&str], file: &[u8], after: &[&str]) -> Vec<u8> {
    let output = try_poppler(program, before, file, after);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.is_empty(), "{program}: {}: {said}", output.status);
    output.stdout
}

pub fn try_poppler(program: &str, before: &[&str], file: &[u8], after: &[&str]) -> Output {
    let mut kept = tempfile::Builder::new().suffix(".pdf").tempfile().expect("a temporary file");
    kept.write_all(file).expect("room for a file");
    Command::new(program)
        .args(before)
        .arg(kept.path())
        .args(after)
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|error| panic!("{program} does not start (`bash tests/run` installs it): {error}"))
}

/// A page drawn at a resolution, as a grey PNG.
pub fn drawn(pdf: &[u8], page: usize, dpi: u32) -> Vec<u8> {
    let (page, dpi) = (page.to_string(), dpi.to_string());
    poppler("pdftoppm", &["-gray", "-png", "-r", &dpi, "-f", &page, "-l", &page], pdf, &[])
}

/// A grey picture: dots in rows, 255 is white.
pub struct Grey {
    pub width: usize,
    pub height: usize,
    pub dots: Vec<u8>,
}

impl Grey {
    pub fn of(png: &[u8]) -> Self {
        let picture = image::load_from_memory_with_format(png, image::ImageFormat::Png).expect("a PNG").to_luma8();
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        Self { width, height, dots: picture.into_raw() }
    }

    pub fn at(&self, x: i32, y: i32) -> u8 {
        let inside = (0..self.width as i32).contains(&x) && (0..self.height as i32).contains(&y);
        if inside { self.dots[y as usize * self.width + x as usize] } else { 255 }
    }

    /// A part of it as a picture of its own.
    pub fn cut(&self, rect: Rect) -> Self {
        let rows = rect.y..rect.bottom();
        let dots = rows.flat_map(|y| (rect.x..rect.right()).map(move |x| (x, y))).map(|(x, y)| self.at(x, y)).collect();
        Self { width: rect.width as usize, height: rect.height as usize, dots }
    }
}

/// How a grey picture and ours of the same size differ, a grey dot counting as the nearer of black and white.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Differences {
    /// All dots that differ.
    pub dots: usize,
    /// Those inside the codes, and there also those that are neither black nor white.
    pub in_codes: usize,
    /// Those with no edge of ours in the eight dots around them.
    pub off_edges: usize,
    /// Black dots of ours, to compare with.
    pub ink: usize,
}

pub fn differences(ours: &Bitmap, theirs: &Grey, codes: &[Rect]) -> Differences {
    assert_eq!(
        (ours.width() as usize, ours.height() as usize),
        (theirs.width, theirs.height),
        "the pictures are of one size"
    );
    let mut found = Differences::default();
    for y in 0..theirs.height as i32 {
        for x in 0..theirs.width as i32 {
            let (black, grey) = (ours.is_black(x, y), theirs.at(x, y));
            found.ink += usize::from(black);
            let dot = Rect { x, y, width: 1, height: 1 };
            let inside = codes.iter().any(|code| code.contains(&dot));
            if inside && grey != if black { 0 } else { 255 } {
                found.in_codes += 1;
            }
            if black != (grey < 128) {
                found.dots += 1;
                let around = (y - 1..=y + 1).flat_map(|y| (x - 1..=x + 1).map(move |x| (x, y)));
                found.off_edges += usize::from(around.into_iter().all(|(x, y)| ours.is_black(x, y) == black));
            }
        }
    }
    found
}

/// Where pictures go when somebody asks to see them.
pub fn keep(name: &str, bytes: &[u8]) {
    if let Ok(folder) = std::env::var("SAKUDANA_PICTURES") {
        std::fs::write(Path::new(&folder).join(name), bytes).expect("room for a picture");
    }
}
