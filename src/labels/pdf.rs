//! Drawings as a PDF file (ISO 32000-1, PDF 1.7) of true size: one label a page, or many on the sheets of an office printer. Everything is
//! a shape, so it is as sharp as the printer that draws it; text can be searched and copied. The same drawings give the same bytes.

mod lettering;

use super::bitmap::{Ink, Rect};
use super::drawing::{Drawing, Stroke};
use super::outline::{Corner, Way, contours};
use super::stock::Sheet;
use super::symbol::QUIET_MODULES;
use super::text::{Fonts, Type};
use flate2::{Compression, write::ZlibEncoder};
use lettering::{Lettering, Piece};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Ref, Settings, Str, TextStr};
use std::io::Write as _;

const POINTS_PER_INCH: f64 = 72.0;
const MICROMETRES_PER_INCH: f64 = 25_400.0;

/// How far shapes made of whole dots stay inside them, in dots: more than rounding takes, less than anyone sees.
const HAIR: f32 = 0.01;

const PRODUCER: &str = concat!("Sakudana ", env!("CARGO_PKG_VERSION"));

/// What the file says of itself.
#[derive(Debug, Clone, Copy)]
pub struct About<'a> {
    /// Shown by viewers instead of the name of the file.
    pub title: &'a str,
    /// The language of the labels (BCP 47).
    pub language: &'a str,
}

/// Labels on one sheet.
pub const fn places(sheet: &Sheet) -> usize {
    (sheet.columns as usize).saturating_mul(sheet.rows as usize)
}

/// The left and top edge of a place, counted from 0 along the rows.
fn corner_um(sheet: &Sheet, place: usize) -> (u64, u64) {
    let (place, columns) = (place as u64, u64::from(sheet.columns.max(1)));
    let (column, row) = (place % columns, place / columns);
    let at = |first: u32, steps: u64, pitch: u32| u64::from(first) + steps * u64::from(pitch);
    (at(sheet.left_um, column, sheet.pitch_x_um), at(sheet.top_um, row, sheet.pitch_y_um))
}

/// One label on a page of its size.
pub fn one(drawing: &Drawing, fonts: &Fonts, about: &About<'_>) -> Vec<u8> {
    let points = |dots: i32| f64::from(dots) * POINTS_PER_INCH / f64::from(drawing.dpi.per_inch());
    let page = Page { width: points(drawing.width), height: points(drawing.height), labels: vec![(0.0, 0.0, drawing)] };
    write(&[page], fonts, about)
}

/// Labels on sheets, the first of them on place `first_free` of the first sheet (counted from 0, along the rows): what was used of a
/// sheet is passed over. A first place that is not on the sheet is counted on from the next.
pub fn sheets(drawings: &[Drawing], sheet: &Sheet, first_free: usize, fonts: &Fonts, about: &About<'_>) -> Vec<u8> {
    let places = places(sheet).max(1);
    let points = |um: u64| um as f64 * POINTS_PER_INCH / MICROMETRES_PER_INCH;
    let taken = first_free % places;
    let (first, others) = drawings.split_at(drawings.len().min(places - taken));
    let filled = std::iter::once((taken, first)).chain(others.chunks(places).map(|drawings| (0, drawings)));
    let pages = filled.map(|(place, drawings)| {
        let at = |(place, drawing)| {
            let (x, y) = corner_um(sheet, place);
            (points(x), points(y), drawing)
        };
        let labels = (place..).zip(drawings).map(at).collect();
        Page { width: points(sheet.paper_width_um.into()), height: points(sheet.paper_height_um.into()), labels }
    });
    write(&pages.collect::<Vec<Page<'_>>>(), fonts, about)
}

/// A page in points, and where on it labels stand, from its top left corner.
struct Page<'a> {
    width: f64,
    height: f64,
    labels: Vec<(f64, f64, &'a Drawing)>,
}

/// Hands out the numbers of the file's objects.
struct Numbers(i32);

impl Numbers {
    fn next(&mut self) -> Ref {
        self.0 += 1;
        Ref::new(self.0)
    }
}

fn write(pages: &[Page<'_>], fonts: &Fonts, about: &About<'_>) -> Vec<u8> {
    let mut lettering = Lettering::new(fonts);
    let contents: Vec<Vec<u8>> = pages.iter().map(|page| content(page, &mut lettering)).collect();
    let mut numbers = Numbers(0);
    let mut pdf = Pdf::with_settings(Settings { pretty: false });
    let (catalog, tree) = (numbers.next(), numbers.next());
    front_matter(&mut pdf, catalog, tree, numbers.next(), about);
    let typefaces = lettering.write(&mut pdf, &mut numbers);
    let resources = numbers.next();
    let mut written = pdf.indirect(resources).dict();
    let mut named = written.insert(Name(b"Font")).dict();
    for (number, typeface) in (0..).zip(&typefaces) {
        named.pair(Name(typeface_name(number).as_bytes()), *typeface);
    }
    named.finish();
    written.finish();
    let ids: Vec<(Ref, Ref)> = pages.iter().map(|_| (numbers.next(), numbers.next())).collect();
    pdf.pages(tree).kids(ids.iter().map(|(page, _)| *page)).count(i32::try_from(ids.len()).unwrap_or(i32::MAX));
    for ((page, content), (id, stream)) in pages.iter().zip(&contents).zip(ids) {
        let mut written = pdf.page(id);
        written.parent(tree).media_box(pdf_writer::Rect::new(0.0, 0.0, extent(page.width), extent(page.height)));
        written.contents(stream).pair(Name(b"Resources"), resources);
        written.finish();
        packed(&mut pdf, stream, content);
    }
    pdf.finish()
}

/// The catalogue and what the file says of itself. Print dialogs are asked not to scale: a label is as large as it is.
fn front_matter(pdf: &mut Pdf, catalog: Ref, tree: Ref, info: Ref, about: &About<'_>) {
    let mut written = pdf.catalog(catalog);
    written.pages(tree).lang(TextStr(about.language));
    written.viewer_preferences().display_doc_title(true).pair(Name(b"PrintScaling"), Name(b"None"));
    written.finish();
    pdf.document_info(info).title(TextStr(about.title)).producer(TextStr(PRODUCER));
}

/// The length of a page in points, never above the true one: a viewer that counts the dots of a page rounds up, and a hair too much would
/// be one dot more.
fn extent(points: f64) -> f32 {
    ((points * 10_000.0).floor() / 10_000.0) as f32
}

fn typeface_name(number: usize) -> String {
    format!("T{number}")
}

/// A stream, packed where that makes it smaller.
fn packed(pdf: &mut Pdf, id: Ref, bytes: &[u8]) {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
    let taken = encoder.write_all(bytes);
    match (taken, encoder.finish()) {
        (Ok(()), Ok(smaller)) if smaller.len() + FILTER_ENTRY < bytes.len() => {
            pdf.stream(id, &smaller).filter(Filter::FlateDecode);
        }
        _ => {
            pdf.stream(id, bytes);
        }
    }
}

/// What naming a filter takes in a stream's dictionary.
const FILTER_ENTRY: usize = "/Filter/FlateDecode".len();

fn content(page: &Page<'_>, lettering: &mut Lettering<'_>) -> Vec<u8> {
    let mut content = Content::with_settings(Settings { pretty: false });
    for (x, y, drawing) in &page.labels {
        let scale = (POINTS_PER_INCH / f64::from(drawing.dpi.per_inch())) as f32;
        content.save_state();
        // From here on a unit is a dot, and y runs down as in a drawing.
        content.transform([scale, 0.0, 0.0, -scale, *x as f32, extent(page.height) - *y as f32]);
        let mut pen = Pen { content: &mut content, lettering, ink: Ink::Black };
        for stroke in &drawing.strokes {
            pen.lay(stroke);
        }
        content.restore_state();
    }
    content.finish().into_vec()
}

/// Lays strokes onto a page, in dots.
struct Pen<'a, 'f> {
    content: &'a mut Content,
    lettering: &'a mut Lettering<'f>,
    ink: Ink,
}

impl Pen<'_, '_> {
    fn lay(&mut self, stroke: &Stroke) {
        match stroke {
            Stroke::Rect { rect, ink } => self.boxes(std::iter::once(*rect), *ink),
            Stroke::Linear { code, x, y, dots_per_module, height } => {
                self.boxes(code.rects(*x, *y, *dots_per_module, *height), Ink::Black);
            }
            Stroke::Text { size, text, x, baseline, ink } => {
                self.dip(*ink);
                self.text(*size, text, *x, *baseline);
            }
            Stroke::Symbol { symbol, x, y, dots_per_module } => {
                self.dip(Ink::Black);
                let (left, top) = (x + QUIET_MODULES * dots_per_module, y + QUIET_MODULES * dots_per_module);
                for contour in contours(symbol.spans()) {
                    let in_dots = |(x, y, way): &Corner| (left + x * dots_per_module, top + y * dots_per_module, *way);
                    self.contour(&contour.iter().map(in_dots).collect::<Vec<Corner>>());
                }
                self.content.fill_nonzero();
            }
        }
    }

    fn dip(&mut self, ink: Ink) {
        if self.ink != ink {
            self.content.set_fill_gray(if ink == Ink::Black { 0.0 } else { 1.0 });
            self.ink = ink;
        }
    }

    fn boxes(&mut self, rects: impl Iterator<Item = Rect>, ink: Ink) {
        self.dip(ink);
        for r in rects {
            let (left, top, right, bottom) = (r.x, r.y, r.right(), r.bottom());
            self.contour(&[
                (left, top, Way::Right),
                (right, top, Way::Down),
                (right, bottom, Way::Left),
                (left, bottom, Way::Up),
            ]);
        }
        self.content.fill_nonzero();
    }

    /// Adds a contour in dots to the path. PDF paints every dot that a shape so much as touches (ISO 32000-1, 10.6.5), and rounding makes
    /// it touch its neighbours: so it stays a hair inside its own dots.
    fn contour(&mut self, corners: &[Corner]) {
        let mut before = corners.last().map_or(Way::Up, |(.., way)| *way);
        for (place, (x, y, way)) in corners.iter().enumerate() {
            let ((ax, ay), (bx, by)) = (before.right().step(), way.right().step());
            let (x, y) = (*x as f32 + (ax + bx) as f32 * HAIR, *y as f32 + (ay + by) as f32 * HAIR);
            if place == 0 {
                self.content.move_to(x, y)
            } else {
                self.content.line_to(x, y)
            };
            before = *way;
        }
        self.content.close_path();
    }

    fn text(&mut self, size: Type, text: &str, x: i32, baseline: i32) {
        self.content.begin_text();
        for run in self.lettering.set(size, text) {
            let name = typeface_name(run.typeface);
            self.content.set_font(Name(name.as_bytes()), run.size);
            // Letters stand upright although y runs down.
            self.content.set_text_matrix([1.0, 0.0, 0.0, -1.0, (x + run.pen) as f32, baseline as f32]);
            let mut shown = self.content.show_positioned();
            let mut items = shown.items();
            for piece in &run.pieces {
                match piece {
                    Piece::Letters(codes) => items.show(Str(codes)),
                    Piece::Back(thousandths) => items.adjust(*thousandths),
                };
            }
        }
        self.content.end_text();
    }
}

#[cfg(test)]
mod tests {
    use super::{corner_um, extent, places};
    use crate::labels::stock::Sheet;

    const SHEET: Sheet = Sheet {
        paper_width_um: 210_000,
        paper_height_um: 297_000,
        columns: 3,
        rows: 7,
        left_um: 8_000,
        top_um: 12_000,
        pitch_x_um: 65_000,
        pitch_y_um: 39_000,
    };

    #[test]
    fn places_are_counted_along_the_rows() {
        assert_eq!(places(&SHEET), 21);
        assert_eq!(
            [0, 2, 3].map(|place| corner_um(&SHEET, place)),
            [(8_000, 12_000), (138_000, 12_000), (8_000, 51_000)]
        );
    }

    #[test]
    fn a_page_is_never_longer_than_its_dots() {
        for dpi in [203, 300, 600] {
            for dots in 1..4_000 {
                let exact = f64::from(dots) * 72.0 / f64::from(dpi);
                let written = f64::from(extent(exact));
                assert!(
                    exact - written < 0.001 && (written * f64::from(dpi) / 72.0 - 0.001).ceil() as i32 == dots,
                    "{dots}"
                );
            }
        }
    }
}
