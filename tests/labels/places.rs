//! The rules every placed label keeps, and what a scanner and a file reader make of its picture.

use std::io::Cursor;

use sakudana::domain::label_fields::Field;
use sakudana::labels;
use sakudana::labels::bitmap::{Bitmap, Rect};
use sakudana::labels::facts::TrayLabel;
use sakudana::labels::layout::{Layout, PlacedText};
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::symbol;

/// Everything inside the margins, nothing over anything else, nothing smaller than its rule, every word there.
pub fn check_places(label: &TrayLabel, stock: &LabelStock, layout: &Layout) {
    let inside = inside(stock);
    let texts = layout.texts();
    for (index, text) in texts.iter().enumerate() {
        assert!(inside.contains(&text.rect), "{text:?} is in the margin");
        assert!(!text.rect.overlaps(&layout.symbol_box()), "{text:?} is in the quiet zone");
        for other in &texts[index + 1..] {
            assert!(!text.rect.overlaps(&other.rect), "{text:?} overlaps {other:?}");
        }
        for ornament in layout.ornaments() {
            let apart = !ornament.overlaps(&text.rect);
            assert!(apart || ornament.contains(&text.rect), "{text:?} is cut by {ornament:?}");
        }
        check_size(label, stock, text);
        if let Some(linear) = layout.linear_box() {
            let digit = text.fields == [Field::Linear];
            assert_eq!(linear.overlaps(&text.rect), digit, "{text:?} and the linear code");
        }
    }
    for ornament in layout.ornaments() {
        assert!(inside.contains(&ornament) && !ornament.overlaps(&layout.symbol_box()), "{ornament:?}");
    }
    if let Some(linear) = layout.linear_box() {
        assert!(inside.contains(&linear) && !linear.overlaps(&layout.symbol_box()), "{linear:?}");
        assert!(layout.ornaments().iter().all(|ornament| !ornament.overlaps(&linear)));
    }
    let paper = Rect { x: 0, y: 0, width: stock.width_dots(), height: stock.height_dots() };
    assert!(paper.contains(&layout.symbol_box()));
    // GS1 General Specifications 5.12.3.1: 0.396 to 0.990 mm a module.
    let module_um = i64::from(layout.dots_per_module()) * 25_400 / i64::from(stock.dpi().per_inch());
    assert!((396..=990).contains(&module_um), "{module_um} µm a module");
    check_words(label, layout);
}

fn inside(stock: &LabelStock) -> Rect {
    let margins = stock.margins();
    let [left, top, right, bottom] =
        [margins.left_um, margins.top_um, margins.right_um, margins.bottom_um].map(|um| stock.dpi().dots_at_least(um));
    Rect { x: left, y: top, width: stock.width_dots() - left - right, height: stock.height_dots() - top - bottom }
}

fn check_size(label: &TrayLabel, stock: &LabelStock, text: &PlacedText) {
    let said = text.fields.iter().filter(|field| **field == Field::Captions || !label.text(**field).is_empty());
    let least = said.filter_map(|field| label.rule(*field)).map(|rule| rule.least_x_height_um).max().unwrap();
    assert!(text.x_height >= stock.dpi().dots_at_least(least), "{text:?} is smaller than {least} µm");
}

/// Every word of every field the rules know is on the label, in its own text and in its order.
fn check_words(label: &TrayLabel, layout: &Layout) {
    for rule in &label.rules {
        let field = rule.field;
        let text = label.text(field);
        if [Field::QrText, Field::Captions].contains(&field) || text.is_empty() {
            continue;
        }
        let lines = layout.texts().into_iter().filter(|text| text.fields.contains(&field));
        let shown: String = lines.map(|text| text.text).collect::<Vec<_>>().join(" ");
        assert!(dense(&shown).contains(&dense(text)), "{field:?} {text:?} is not in {shown:?}");
    }
    let heading = label.heading();
    assert!(heading.is_empty() || layout.texts().iter().any(|text| text.text == heading));
}

/// Without what a line may end at; the first letter of a line may have become a capital.
fn dense(text: &str) -> String {
    text.replace(" · ", "").replace([' ', '\u{A0}'], "").to_lowercase()
}

/// All ink lies in a box that was announced, and the codes' quiet zones are white.
pub fn check_ink(layout: &Layout, picture: &Bitmap) {
    let mut boxes: Vec<Rect> = layout.texts().into_iter().map(|text| text.rect).collect();
    boxes.extend(layout.ornaments());
    boxes.extend(layout.linear_box());
    let symbol = layout.symbol_box();
    assert_eq!(symbol::QUIET_MODULES, 4, "ISO/IEC 18004");
    let quiet = symbol::QUIET_MODULES * layout.dots_per_module();
    boxes.push(Rect {
        x: symbol.x + quiet,
        y: symbol.y + quiet,
        width: symbol.width - 2 * quiet,
        height: symbol.height - 2 * quiet,
    });
    for y in 0..picture.height() as i32 {
        for span in picture.spans(y) {
            let run = Rect { x: span.start, y, width: span.end - span.start, height: 1 };
            assert!(boxes.iter().any(|known| known.contains(&run)), "stray ink at {run:?}");
        }
    }
}

/// The text of the one symbol a scanner sees.
pub fn read_symbol(picture: &Bitmap) -> String {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let black = |x: usize, y: usize| picture.is_black(x as i32, y as i32);
    let mut prepared = rqrr::PreparedImage::prepare_from_bitmap(width, height, black);
    let grids = prepared.detect_grids();
    assert_eq!(grids.len(), 1, "one symbol is seen");
    grids[0].decode().expect("the symbol reads").1
}

pub fn read_png(file: &[u8]) -> (png::Info<'static>, Vec<u8>) {
    let mut decoder = png::Decoder::new(Cursor::new(file));
    decoder.set_transformations(png::Transformations::IDENTITY);
    let mut reader = decoder.read_info().unwrap();
    let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut bytes).unwrap();
    (reader.info().clone(), bytes)
}

/// The file holds the picture's dots and tells its resolution.
pub fn check_png(picture: &Bitmap, dpi: Dpi) {
    let file = labels::png(picture, dpi);
    let (info, bytes) = read_png(&file);
    assert_eq!((info.width, info.height), (picture.width(), picture.height()));
    assert_eq!((info.color_type, info.bit_depth), (png::ColorType::Grayscale, png::BitDepth::One));
    let pixels = info.pixel_dims.expect("the file tells its resolution");
    assert_eq!((pixels.xppu, pixels.yppu, pixels.unit), (dpi.per_metre(), dpi.per_metre(), png::Unit::Meter));
    let inverted: Vec<u8> = bytes.iter().map(|byte| !byte).collect();
    assert!(picture.rows().flatten().eq(&inverted), "the file holds other dots than the picture");
}
