//! That the readers and the comparing would notice: what must fail does.

use sakudana::domain::label_fields::Template;
use sakudana::labels;
use sakudana::labels::bitmap::{Bitmap, Ink, Rect};
use sakudana::labels::layout::{Layout, lay_out};
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::stocks::Stocks;
use sakudana::labels::symbol::{QUIET_MODULES, Symbol};
use serde_json::json;

use crate::compare::{compare, phantoms};
use crate::every_label::FONTS;
use crate::reader::{Answer, Reader};
use crate::report::table;
use crate::trays::{Tray, tray};

fn stock() -> LabelStock {
    Stocks::built_in().find("100x62", Dpi::D203).expect("a built-in stock")
}

/// A block with a linear code and all its elements.
fn block() -> (Tray, Layout) {
    let trays = (1..).map(|number| tray(88_000_000 + number, Template::Block));
    let mut laid = trays.filter_map(|tray| Some((lay_out(&FONTS, &tray.label, &stock()).ok()?, tray)));
    let (layout, tray) = laid.find(|(_, tray)| tray.linear.is_some() && tray.elements.len() == 6).unwrap();
    (tray, layout)
}

fn read(picture: &Bitmap) -> Answer {
    Reader::start().read(&labels::png(picture, Dpi::D203))
}

#[test]
fn blanked_codes_are_not_read() {
    let (tray, layout) = block();
    let mut picture = layout.paint(&FONTS);
    assert_eq!(compare(&tray, &read(&picture)), Ok(()));
    picture.fill(layout.symbol_box(), Ink::White);
    let answer = read(&picture);
    assert_eq!((answer.zxing.len(), answer.zbar.len()), (1, 1), "the linear code is left: {answer:?}");
    assert!(compare(&tray, &answer).is_err());
    picture.fill(layout.linear_box().expect("a linear code"), Ink::White);
    let answer = read(&picture);
    assert!(answer.zxing.is_empty() && answer.zbar.is_empty(), "{answer:?}");
}

/// Of a right reading, every part that could be another is made another.
#[test]
fn every_difference_is_noticed() {
    let (tray, layout) = block();
    let answer = read(&layout.paint(&FONTS));
    assert_eq!(compare(&tray, &answer), Ok(()));
    let noticed = |tray: &Tray, answer: &Answer, what: &str| assert!(compare(tray, answer).is_err(), "{what}");
    let address = tray.address.replace("https", "http");
    noticed(&Tray { address, ..tray.clone() }, &answer, "the address");
    assert_eq!(phantoms(&Tray { linear: None, ..tray.clone() }, &answer), [tray.linear.as_deref().unwrap()]);
    noticed(&Tray { linear: None, ..tray.clone() }, &answer, "a linear code that zbar sees too");
    noticed(&Tray { linear: Some("2112345002682".to_owned()), ..tray.clone() }, &answer, "other digits");
    for element in 0..tray.elements.len() {
        let mut other = tray.clone();
        other.elements[element][1] = json!("0");
        noticed(&other, &answer, "a value");
        other.elements = tray.elements.clone();
        other.elements.remove(element);
        noticed(&other, &answer, "an element too many");
    }
    for (place, what) in [(3, "the weight"), (4, "the date"), (5, "the price")] {
        let mut other = tray.clone();
        let part = if place == 4 { 3 } else { 2 };
        assert!(other.elements[place][part].is_string(), "{what} is there: {:?}", other.elements);
        other.elements[place][part] = json!("2026-02-30");
        noticed(&other, &answer, what);
    }
    let symbol = answer.zxing.iter().position(|(id, ..)| id == "]Q1").unwrap();
    for (part, what) in [("]Q3", "the identifier"), ("L", "the level")] {
        let mut other = answer.clone();
        let (id, level, _) = &mut other.zxing[symbol];
        *(if what == "the level" { level } else { id }) = part.to_owned();
        noticed(&tray, &other, what);
    }
    let mut other = answer.clone();
    other.zbar.pop();
    noticed(&tray, &other, "a code zbar did not see");
}

/// The level is the reader's word: a symbol of level L, made by another encoder, is told as such.
#[test]
fn a_weaker_level_is_told() {
    let code = qrcode::QrCode::with_error_correction_level("https://fish.example/01/1", qrcode::EcLevel::L).unwrap();
    let side = code.width() as i32;
    let mut picture = Bitmap::new((side + 8) * 4, (side + 8) * 4);
    for (place, color) in (0..).zip(code.to_colors()) {
        let ink = if color == qrcode::Color::Dark { Ink::Black } else { Ink::White };
        picture.fill(Rect { x: (4 + place % side) * 4, y: (4 + place / side) * 4, width: 4, height: 4 }, ink);
    }
    assert_eq!(read(&picture).zxing[0].1, "L");
}

/// A symbol in the middle of black, with so many modules of white around it. With all four it is read; how it goes with less is told.
#[test]
fn the_quiet_zone_is_what_lets_it_be_read() {
    let mut reader = Reader::start();
    let trays: Vec<Tray> = (1..=20).map(|number| tray(99_000_000 + number, Template::Block)).collect();
    let mut rows = Vec::new();
    let mut unread_without = 0;
    for white in (0..=QUIET_MODULES).rev() {
        let mut right = [0, 0];
        for tray in &trays {
            let answer = reader.read(&labels::png(&in_black(&tray.address, white), Dpi::D203));
            right[0] += usize::from(answer.zxing.iter().any(|(_, _, text)| *text == tray.address));
            right[1] += usize::from(answer.zbar.iter().any(|(_, text)| *text == tray.address));
        }
        if white == QUIET_MODULES {
            assert_eq!(right, [trays.len(); 2], "ISO/IEC 18004 asks for four modules");
        }
        if white == 0 {
            unread_without = trays.len() - right[0];
        }
        rows.push([white as usize, trays.len(), right[0], right[1]].map(|number| number.to_string()).to_vec());
    }
    table("quiet-zone", &["white modules before black", "labels", "read by zxing-cpp", "read by zbar"], &rows);
    assert!(unread_without > 0, "a symbol that touches black is always read: then this says nothing about quiet zones");
}

fn in_black(text: &str, white: i32) -> Bitmap {
    let symbol = Symbol::encode(text).unwrap();
    let (dots, frame) = (4, 40);
    let side = symbol.modules() * dots;
    let whole = side + 2 * (white * dots + frame);
    let mut picture = Bitmap::new(whole, whole);
    picture.fill(Rect { x: 0, y: 0, width: whole, height: whole }, Ink::Black);
    let inner = side + 2 * white * dots;
    picture.fill(Rect { x: frame, y: frame, width: inner, height: inner }, Ink::White);
    let corner = frame + white * dots;
    for (row, run) in symbol.spans() {
        let x = corner + run.start * dots;
        picture.fill(Rect { x, y: corner + row * dots, width: (run.end - run.start) * dots, height: dots }, Ink::Black);
    }
    picture
}
