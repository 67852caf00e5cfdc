//! Labels on A4: each place holds the label it should, what is used stays free, and what is too much goes on the next sheet.

use std::collections::BTreeSet;

use sakudana::domain::label_fields::Field;
use sakudana::labels::bitmap::Rect;
use sakudana::labels::drawing::Drawing;
use sakudana::labels::pdf::{self, places};
use sakudana::labels::stock::{Dpi, Sheet};
use sakudana::labels::text::Fonts;

use crate::ground::{ABOUT, Grey, drawing, drawn, keep, numbered, poppler};
use crate::labels::stock;
use crate::support::decoders::{zbar, zxing};

fn a4() -> Sheet {
    stock("a4-62x40", Dpi::D300).sheet().expect("a sheet")
}

fn labels(count: usize) -> Vec<Drawing> {
    (0..count).map(|number| drawing(&numbered(number), Fonts::standard(), &stock("a4-62x40", Dpi::D300))).collect()
}

/// What is read on each place of a page drawn at 300 dpi, the place cut out of it.
fn read_places(picture: &Grey) -> Vec<Option<String>> {
    let (a4, dots) = (a4(), |um: u32| (u64::from(um) * 300 / 25_400) as i32);
    let place = |place: u32| Rect {
        x: dots(a4.left_um + place % a4.columns * a4.pitch_x_um),
        y: dots(a4.top_um + place / a4.columns * a4.pitch_y_um),
        width: dots(62_000),
        height: dots(40_000),
    };
    let read = |rect: Rect| {
        let Grey { width, height, dots } = picture.cut(rect);
        let mut prepared = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| dots[y * width + x]);
        let grids = prepared.detect_grids();
        assert!(grids.len() <= 1, "{} codes on one place", grids.len());
        grids.first().map(|grid| grid.decode().expect("a code that reads").1)
    };
    (0..a4.columns * a4.rows).map(place).map(read).collect()
}

#[test]
fn every_place_holds_its_label_and_used_places_stay_free() {
    let first = 4;
    let file = pdf::sheets(&labels(25), &a4(), first, Fonts::standard(), &ABOUT);
    keep("sheets.pdf", &file);
    let told = String::from_utf8(poppler("pdfinfo", &[], &file, &[])).unwrap();
    assert!(told.contains("Pages:           2") && told.contains("(A4)"), "{told}");
    let mut expected: Vec<Option<String>> = vec![None; first];
    expected.extend((0..25).map(|number| Some(numbered(number).text(Field::QrText).to_owned())));
    expected.resize(2 * places(&a4()), None);
    let pictures = [1, 2].map(|page| drawn(&file, page, 300));
    let found: Vec<Option<String>> = pictures.iter().flat_map(|picture| read_places(&Grey::of(picture))).collect();
    assert_eq!(found, expected);
    // Both unrelated readers see the same codes on a whole sheet.
    for (picture, expected) in pictures.iter().zip(expected.chunks(places(&a4()))) {
        let expected: BTreeSet<String> = expected.iter().flatten().cloned().collect();
        assert_eq!(zxing(picture).into_iter().collect::<BTreeSet<_>>(), expected);
        assert_eq!(zbar(picture).into_iter().collect::<BTreeSet<_>>(), expected);
    }
}

/// A label a millimetre off its place is seen: its picture is not the one of a page of its own.
#[test]
fn labels_lie_exactly_on_their_places() {
    let one = labels(1);
    let alone = Grey::of(&drawn(&pdf::one(&one[0], Fonts::standard(), &ABOUT), 1, 300));
    let ink = |sheet: &Sheet| {
        let page = Grey::of(&drawn(&pdf::sheets(&one, sheet, 5, Fonts::standard(), &ABOUT), 1, 300));
        let dots = |um: u64| (um * 300 / 25_400) as i32;
        let (left, top) = (dots(8_000 + 2 * 66_000), dots(8_500 + 40_000));
        let (width, height) = (alone.width as i32, alone.height as i32);
        let same = |dx: i32, dy: i32| {
            let all = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
            all.filter(|(x, y)| page.at(left + dx + x, top + dy + y).abs_diff(alone.at(*x, *y)) > 128).count()
        };
        // A place need not begin on a dot of 300 dpi.
        (0..=1).flat_map(|dx| (0..=1).map(move |dy| (dx, dy))).map(|(dx, dy)| same(dx, dy)).min().unwrap()
    };
    let black = alone.dots.iter().filter(|dot| **dot < 128).count();
    let (right, wrong) = (ink(&a4()), ink(&Sheet { left_um: 9_000, ..a4() }));
    assert!(right * 10 < black, "{right} of {black} differ");
    assert!(wrong * 2 > black, "{wrong} of {black} differ");
}

#[test]
fn a_full_sheet_ends_where_it_is_full() {
    let pages = |count: usize, first: usize| {
        let file = pdf::sheets(&labels(count), &a4(), first, Fonts::standard(), &ABOUT);
        let told = String::from_utf8(poppler("pdfinfo", &[], &file, &[])).unwrap();
        told.lines().find_map(|line| line.strip_prefix("Pages:")).unwrap().trim().parse::<usize>().unwrap()
    };
    assert_eq!([pages(21, 0), pages(1, 20), pages(2, 20), pages(22, 0), pages(0, 0)], [1, 1, 2, 2, 1]);
}
