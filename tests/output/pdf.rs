//! A label as a page: of its size, in order, read by decoders at any resolution, the same dots as the picture, its text to be found.

use std::sync::Arc;

use sakudana::domain::label_fields::Field;
use sakudana::labels::bitmap::Ink;
use sakudana::labels::drawing::{Drawing, Stroke};
use sakudana::labels::pdf;
use sakudana::labels::stock::Dpi;
use sakudana::labels::symbol::Symbol;
use sakudana::labels::text::{Face, Fonts, Type};

use crate::ground::{ABOUT, Grey, Laid, code_boxes, differences, drawn, keep, laid_out, poppler, try_poppler};
use crate::support::decoders::{zbar, zxing};

fn page(drawing: &Drawing) -> Vec<u8> {
    pdf::one(drawing, Fonts::standard(), &ABOUT)
}

fn page_of(laid: &Laid) -> Vec<u8> {
    pdf::one(&laid.drawing, &laid.fonts, &ABOUT)
}

fn sorted(mut texts: Vec<String>) -> Vec<String> {
    texts.sort_unstable();
    texts
}

#[test]
fn every_page_reads_at_its_own_resolution_and_at_those_of_office_printers() {
    for (number, laid) in laid_out().iter().enumerate() {
        let file = page_of(laid);
        keep(&format!("label-{number}.pdf"), &file);
        for dpi in [laid.drawing.dpi.per_inch(), 300, 600] {
            let picture = drawn(&file, 1, dpi);
            assert_eq!(sorted(zxing(&picture)), laid.codes(), "zxing-cpp, label {number} at {dpi}");
            assert_eq!(sorted(zbar(&picture)), laid.codes(), "zbar, label {number} at {dpi}");
        }
        let mut bare = laid.drawing.clone();
        bare.strokes.retain(|stroke| !matches!(stroke, Stroke::Symbol { .. } | Stroke::Linear { .. }));
        let bare = pdf::one(&bare, &laid.fonts, &ABOUT);
        assert_eq!(zxing(&drawn(&bare, 1, 300)), Vec::<String>::new(), "a page without a code reads as none");
    }
}

/// The picture's letters are nudged so that their stems fall on dots, the page's are not: their edges may differ, and nothing else but the
/// odd dot between the strokes of an ideograph.
#[test]
fn a_page_drawn_at_the_labels_resolution_is_its_picture_but_for_the_edges_of_letters() {
    for (number, laid) in laid_out().iter().enumerate() {
        let drawing = &laid.drawing;
        let ours = drawing.paint(&laid.fonts);
        let theirs = Grey::of(&drawn(&page_of(laid), 1, drawing.dpi.per_inch()));
        let found = differences(&ours, &theirs, &code_boxes(drawing));
        println!("label {number}, {} dpi: {found:?} of {} dots", drawing.dpi.per_inch(), ours.width() * ours.height());
        assert!(found.in_codes == 0 && found.off_edges * 5_000 < found.ink, "label {number}: {found:?}");
        assert!(found.dots * 10 < found.ink, "label {number}: {found:?}");
    }
}

/// A printer of one bit paints every dot that a shape touches: the codes stay as they are.
#[test]
fn the_codes_are_the_same_dots_drawn_one_bit() {
    for laid in laid_out() {
        let dpi = laid.drawing.dpi.per_inch().to_string();
        let mono = poppler("pdftoppm", &["-mono", "-r", &dpi, "-singlefile"], &page_of(&laid), &[]);
        let ours = laid.drawing.paint(&laid.fonts);
        let (width, height, bits) = pbm(&mono);
        assert_eq!((width, height), (ours.width() as usize, ours.height() as usize));
        let black = |x: i32, y: i32| bits[y as usize * width.div_ceil(8) + x as usize / 8] & (0x80 >> (x % 8)) != 0;
        for code in code_boxes(&laid.drawing) {
            let places = (code.y..code.bottom()).flat_map(|y| (code.x..code.right()).map(move |x| (x, y)));
            assert_eq!(places.filter(|(x, y)| black(*x, *y) != ours.is_black(*x, *y)).count(), 0);
        }
    }
}

/// Width, height and packed rows of a PBM file; 1 is black.
fn pbm(file: &[u8]) -> (usize, usize, &[u8]) {
    let mut ends = file.iter().enumerate().filter(|(_, byte)| byte.is_ascii_whitespace()).map(|(place, _)| place);
    let [first, second, third] = std::array::from_fn(|_| ends.next().expect("a header"));
    let number = |range: std::ops::Range<usize>| std::str::from_utf8(&file[range]).unwrap().trim().parse().unwrap();
    assert_eq!(&file[..first], b"P4");
    (number(first..second), number(second..third), &file[third + 1..])
}

/// The measures above see what they should: a code moved by a dot, a text moved by two.
#[test]
fn what_is_moved_is_seen() {
    let laid = &laid_out()[0];
    let (ours, codes) = (laid.drawing.paint(&laid.fonts), code_boxes(&laid.drawing));
    let moved = |change: &dyn Fn(&mut Stroke)| {
        let mut drawing = laid.drawing.clone();
        drawing.strokes.iter_mut().for_each(change);
        Grey::of(&drawn(&page(&drawing), 1, drawing.dpi.per_inch()))
    };
    let code = moved(&|stroke| {
        if let Stroke::Symbol { x, .. } = stroke {
            *x += 1;
        }
    });
    assert!(differences(&ours, &code, &codes).in_codes > 1_000);
    let text = moved(&|stroke| {
        if let Stroke::Text { x, .. } = stroke {
            *x += 2;
        }
    });
    let found = differences(&ours, &text, &codes);
    assert!(found.in_codes == 0 && found.off_edges > 100, "{found:?}");
}

#[test]
fn a_page_is_as_large_as_its_label() {
    for laid in laid_out() {
        let told = String::from_utf8(poppler("pdfinfo", &["-box"], &page_of(&laid), &[])).unwrap();
        let line = told.lines().find(|line| line.starts_with("MediaBox:")).expect("a size");
        let sides: Vec<f64> = line.split_whitespace().skip(1).map(|side| side.parse().unwrap()).collect();
        let exact = |dots: i32| f64::from(dots) * 72.0 / f64::from(laid.drawing.dpi.per_inch());
        let wanted = [0.0, 0.0, exact(laid.drawing.width), exact(laid.drawing.height)];
        assert!(
            sides.iter().zip(wanted).all(|(side, wanted)| (side - wanted).abs() <= 0.01),
            "{sides:?} for {wanted:?}"
        );
    }
}

#[test]
fn the_file_says_what_it_is_and_its_text_is_found() {
    for laid in laid_out() {
        let file = page_of(&laid);
        let told = String::from_utf8(poppler("pdfinfo", &[], &file, &[])).unwrap();
        for said in
            ["Akami saku, tray 7K3M 9QX2", "Producer:        Sakudana", "Pages:           1", "PDF version:     1.7"]
        {
            assert!(told.contains(said), "{said}: {told}");
        }
        assert!(!told.contains("CreationDate"), "no clock was asked");
        let lang = b"/Lang(en)";
        assert!(file.windows(lang.len()).any(|window| window == lang));
        let text = String::from_utf8(poppler("pdftotext", &["-layout"], &file, &["-"])).unwrap();
        // Poppler fills its lines up with spaces; those of ours are words apart.
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for whole in
            [Field::TrayCode, Field::UseBy, Field::CutName, Field::ShopName].map(|field| laid.label.text(field))
        {
            // What is broken into lines is still there word by word.
            assert!(whole.split_whitespace().all(|word| text.contains(word)), "{whole} is not in\n{text}");
        }
        for whole in [Field::TrayCode, Field::UseBy].map(|field| laid.label.text(field)) {
            assert!(text.contains(whole), "{whole} is not in\n{text}");
        }
        assert_eq!(page_of(&laid), file, "the same label is the same bytes");
        assert!(file.len() < 80 * 1_024, "{} bytes", file.len());
    }
}

#[test]
fn a_broken_file_is_not_passed() {
    let file = page_of(&laid_out()[0]);
    let broken = try_poppler("pdfinfo", &[], &file[..file.len() / 2], &[]);
    assert!(!broken.status.success() || !broken.stderr.is_empty());
}

/// More letters than one typeface of the file has codes for: each is drawn, and each is found as what it is.
#[test]
fn many_letters_take_several_typefaces() {
    let fonts = Fonts::standard();
    let letters: Vec<char> = (0x21..0x530)
        .filter_map(char::from_u32)
        .filter(|letter| fonts.can_set(*letter) && letter.is_alphanumeric())
        .collect();
    assert!(letters.len() > 600, "{}", letters.len());
    let mut drawing = Drawing { width: 2_000, height: 1_300, dpi: Dpi::D300, strokes: Vec::new() };
    for (row, line) in letters.chunks(30).enumerate() {
        let text: String = line.iter().flat_map(|letter| [*letter, ' ']).collect();
        let size = Type { face: if row % 2 == 0 { Face::Regular } else { Face::Bold }, x_height: 16 + row as i32 % 3 };
        let baseline = 40 + row as i32 * 40;
        drawing.strokes.push(Stroke::Text { size, text, x: 20, baseline, ink: Ink::Black });
    }
    let file = page(&drawing);
    let fonts_told = String::from_utf8(poppler("pdffonts", &[], &file, &[])).unwrap();
    assert!(fonts_told.lines().filter(|line| line.contains("Type 3")).count() >= 4, "{fonts_told}");
    let text = String::from_utf8(poppler("pdftotext", &["-layout"], &file, &["-"])).unwrap();
    let mut missing = letters.clone();
    missing.retain(|letter| !text.contains(*letter));
    assert_eq!(missing, Vec::<char>::new());
    let (ours, theirs) = (drawing.paint(fonts), Grey::of(&drawn(&file, 1, 300)));
    let found = differences(&ours, &theirs, &[]);
    assert!(found.dots * 6 < found.ink && found.off_edges * 1_000 < found.ink, "{found:?}");
}

/// A drawing with nothing on it, and one of a single module's worth of everything, are files too.
#[test]
fn small_drawings_are_files() {
    let empty = Drawing { width: 8, height: 8, dpi: Dpi::D203, strokes: Vec::new() };
    assert!(Grey::of(&drawn(&page(&empty), 1, 203)).dots.iter().all(|dot| *dot == 255));
    let symbol = Arc::new(Symbol::encode("A").unwrap());
    let side = symbol.side(1);
    let code = Stroke::Symbol { symbol, x: 0, y: 0, dots_per_module: 1 };
    let tiny = Drawing { width: side, height: side, strokes: vec![code], ..empty };
    let found =
        differences(&tiny.paint(Fonts::standard()), &Grey::of(&drawn(&page(&tiny), 1, 203)), &code_boxes(&tiny));
    assert_eq!((found.dots, found.in_codes), (0, 0));
}
