//! Labels to draw, poppler's programs, and pictures compared dot by dot.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use sakudana::labels::bitmap::{Bitmap, Rect};
use sakudana::labels::drawing::{Drawing, Stroke};
use sakudana::labels::facts::{Captions, TrayLabel};
use sakudana::labels::layout::lay_out;
use sakudana::labels::pdf::About;
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::symbol::QUIET_MODULES;
use sakudana::labels::text::Fonts;

pub const ABOUT: About<'static> = About { title: "Akami saku, tray 7K3M 9QX2", language: "en" };

pub fn address(tray: &str) -> String {
    format!("https://shop.example/01/09520123456788/10/2611-YFT-03/21/{tray}?17=261126&3103=000268")
}

pub fn akami() -> TrayLabel {
    TrayLabel {
        shop_name: "Kallio Fish, Vaasankatu 7, Helsinki".to_owned(),
        cut_name: "Akami saku".to_owned(),
        species_line: "Yellowfin tuna · Thunnus albacares".to_owned(),
        origin_line: "Wild, Pacific, Western Central (FAO 71), longline".to_owned(),
        net_weight: "268 g".to_owned(),
        unit_price: "79.50 €/kg".to_owned(),
        price: "21.31 €".to_owned(),
        old_price: None,
        markdown_reason: None,
        use_by: "26 Nov 2026 18:00".to_owned(),
        cut_on: "24 Nov 2026".to_owned(),
        storage: "Keep at 0 to 2 °C".to_owned(),
        lot_code: "2611-YFT-03".to_owned(),
        tray_code: "7K3M 9QX2".to_owned(),
        notices: vec!["Previously frozen".to_owned()],
        cautions: vec!["Raw fish: not for pregnant women, small children or people with weak immunity.".to_owned()],
        qr_text: address("7K3M9QX2"),
        captions: Captions::default(),
    }
}

/// Old price struck through, white on black, a frame, accents.
pub fn markdown() -> TrayLabel {
    TrayLabel {
        shop_name: "Fischhandlung Österström & Söhne, Große Elbstraße 212, Hamburg".to_owned(),
        cut_name: "Ō-toro".to_owned(),
        old_price: Some("21.31 €".to_owned()),
        markdown_reason: Some("Last day: −25 %".to_owned()),
        price: "15.98 €".to_owned(),
        unit_price: "59.63 €/kg".to_owned(),
        ..akami()
    }
}

/// A label for one of many trays.
pub fn numbered(number: usize) -> TrayLabel {
    let tray = format!("7K3M9Q{number:02}");
    TrayLabel { tray_code: format!("{} {}", &tray[..4], &tray[4..]), qr_text: address(&tray), ..akami() }
}

pub fn drawing(label: &TrayLabel, stock: &LabelStock) -> Drawing {
    let layout = lay_out(Fonts::standard(), label, stock).unwrap_or_else(|refusal| panic!("{refusal}: {label:?}"));
    layout.drawing()
}

/// Every label on every stock it is tested on.
pub fn drawings() -> Vec<(TrayLabel, Drawing)> {
    let mut drawings = Vec::new();
    for dpi in [Dpi::D203, Dpi::D300] {
        for (label, stock) in [
            (akami(), LabelStock::standard(dpi)),
            (akami(), LabelStock::large(dpi)),
            (markdown(), LabelStock::large(dpi)),
        ] {
            let drawing = drawing(&label, &stock);
            drawings.push((label, drawing));
        }
    }
    drawings
}

/// The dots of the code, quiet zone not counted.
pub fn symbol_box(drawing: &Drawing) -> Rect {
    let found = drawing.strokes.iter().find_map(|stroke| match stroke {
        Stroke::Symbol { symbol, x, y, dots_per_module } => {
            let (quiet, side) = (QUIET_MODULES * dots_per_module, symbol.modules() * dots_per_module);
            Some(Rect { x: x + quiet, y: y + quiet, width: side, height: side })
        }
        _ => None,
    });
    found.expect("a code")
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
    /// Those inside the code, and there also those that are neither black nor white.
    pub in_symbol: usize,
    /// Those with no edge of ours in the eight dots around them.
    pub off_edges: usize,
    /// Black dots of ours, to compare with.
    pub ink: usize,
}

pub fn differences(ours: &Bitmap, theirs: &Grey, symbol: Rect) -> Differences {
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
            let inside = symbol.contains(&Rect { x, y, width: 1, height: 1 });
            if inside && grey != if black { 0 } else { 255 } {
                found.in_symbol += 1;
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
