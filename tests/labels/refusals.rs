//! What is not printed, and what is said of it.

use std::collections::BTreeSet;

use sakudana::domain::label_fields::{Field, Template};
use sakudana::labels;
use sakudana::labels::facts::{Captions, TrayLabel};
use sakudana::labels::layout::lay_out;
use sakudana::labels::refusal::LabelRefusal;
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::text::Fonts;

use crate::ground::{address, akami, american, bulk, crowded, japanese, japanese_fonts, kitchen, markdown, stock, tub};
use crate::places::read_symbol;

fn refusal(label: &TrayLabel, stock: &LabelStock) -> LabelRefusal {
    labels::draw(Fonts::standard(), label, stock).expect_err("a refusal")
}

fn does_not_fit(label: &TrayLabel, stock: &LabelStock) -> Vec<&'static str> {
    match refusal(label, stock) {
        LabelRefusal::DoesNotFit { fields } => fields,
        other => panic!("another refusal: {other}"),
    }
}

#[test]
fn all_missing_fields_are_named_at_once() {
    let label = markdown()
        .with(Field::CutName, "")
        .with(Field::CatchArea, "  ")
        .with(Field::QrText, "")
        .with(Field::OldPrice, "")
        .with(Field::Allergen, "");
    let refusal = refusal(&label, &stock("62x40", Dpi::D203));
    let fields = vec!["cut_name", "catch_area", "old_price", "allergen", "qr_text"];
    assert_eq!(refusal, LabelRefusal::MissingField { fields });
    assert_eq!(refusal.to_string(), "the label lacks: cut_name, catch_area, old_price, allergen, qr_text");
    let wordless = kitchen().in_words(Captions { kitchen: String::new(), ..Captions::default() });
    let fields = vec!["captions"];
    assert_eq!(self::refusal(&wordless, &stock("62x40", Dpi::D203)), LabelRefusal::MissingField { fields });
}

#[test]
fn what_is_optional_may_be_left_out_and_what_the_template_has_no_place_for_is_not_printed() {
    let stock = stock("62x40", Dpi::D300);
    let label = akami().with(Field::Advisory, "").with(Field::Price, "21.31 €");
    assert!(lay_out(Fonts::standard(), &label, &stock).is_ok());
    let priced = kitchen().with(Field::Price, "9.99 €");
    assert_eq!(priced.template, Template::Kitchen);
    let layout = lay_out(Fonts::standard(), &priced, &stock).unwrap();
    assert!(layout.texts().iter().all(|text| !text.text.contains('€')));
}

#[test]
fn a_character_without_a_glyph_is_a_refusal_and_not_a_blank() {
    let stock = stock("62x40", Dpi::D203);
    let refusal = |label: &TrayLabel| refusal(label, &stock);
    let label = akami().with(Field::CutName, "赤身 saku");
    assert_eq!(refusal(&label), LabelRefusal::NoGlyph { character: '赤', field: "cut_name" });
    let label = akami().with(Field::Notices, "Keep\ncold");
    assert_eq!(refusal(&label), LabelRefusal::NoGlyph { character: '\n', field: "notices" });
    let label = akami().in_words(Captions { use_by: "消費期限".to_owned(), ..Captions::default() });
    assert_eq!(refusal(&label), LabelRefusal::NoGlyph { character: '消', field: "captions" });
    // With the shop's own file Japanese is set; what no file has is still refused.
    let fonts = japanese_fonts();
    assert!(lay_out(&fonts, &japanese(), &stock).is_ok());
    let label = japanese().with(Field::CutName, "عربى");
    let refused = lay_out(&fonts, &label, &stock).expect_err("a refusal");
    assert_eq!(refused, LabelRefusal::NoGlyph { character: 'ع', field: "cut_name" });
    assert_eq!(Fonts::with(vec![b"no typeface".to_vec()]).err(), Some(0));
}

#[test]
fn what_does_not_fit_is_named() {
    let stock = stock("62x40", Dpi::D203);
    let label = akami().with(Field::Cautions, "Keep this raw fish cold. ".repeat(40));
    assert_eq!(does_not_fit(&label, &stock), ["cautions"]);
    let label = akami().with(Field::CommercialName, "Thunfischrückenfiletstücke".repeat(3));
    assert_eq!(does_not_fit(&label, &stock), ["commercial_name"]);
    let label = akami().with(Field::TrayCode, "7K3M".repeat(12)).with(Field::UseBy, "26 November ".repeat(9));
    let fields = does_not_fit(&label, &stock);
    assert!(fields.contains(&"tray_code") && fields.contains(&"use_by"), "{fields:?}");
}

#[test]
fn a_long_code_is_blamed_where_a_shorter_one_would_fit() {
    let stock = stock("62x40", Dpi::D203);
    let label = |characters| {
        let cautions = "Keep this raw fish cold. ".repeat(8);
        akami().with(Field::Cautions, cautions).with(Field::QrText, address(characters))
    };
    assert!(lay_out(Fonts::standard(), &label(60), &stock).is_ok());
    let fields = does_not_fit(&label(130), &stock);
    assert!(fields.contains(&"qr_text") && fields.contains(&"cautions"), "{fields:?}");
}

#[test]
fn the_smallest_stock_takes_the_labels_of_the_house_and_no_european_sales_label() {
    for dpi in Dpi::ALL {
        let stock = stock("40x30", dpi);
        for label in [kitchen(), bulk()] {
            let layout =
                lay_out(Fonts::standard(), &label, &stock).unwrap_or_else(|refusal| panic!("{dpi:?} {refusal}"));
            assert_eq!(read_symbol(&layout.paint(Fonts::standard())), label.text(Field::QrText));
        }
        let label = akami().with(Field::QrText, address(60));
        let fields = does_not_fit(&label, &stock);
        assert!(fields.len() > 2, "{fields:?}");
    }
}

#[test]
fn usual_labels_fit_the_standard_stock_at_every_resolution() {
    for dpi in Dpi::ALL {
        for label in [akami(), markdown(), tub(), american()] {
            let layout = lay_out(Fonts::standard(), &label, &stock("62x40", dpi)).unwrap_or_else(|r| panic!("{r}"));
            // The size to aim at is 0.495 mm (memory).
            assert!(dpi.um_of(layout.dots_per_module()) >= 495);
        }
    }
}

#[test]
fn a_linear_code_that_has_no_room_is_named() {
    let label = crowded().with(Field::Linear, "2112233789657");
    let fields = does_not_fit(&label, &stock("62x40", Dpi::D203));
    assert!(fields.contains(&"linear"), "{fields:?}");
    assert!(lay_out(Fonts::standard(), &label, &stock("100x62", Dpi::D203)).is_ok());
    let label = akami().with(Field::Linear, "2112233789650");
    let expected = LabelRefusal::LinearCheckDigit { given: 0, expected: 7 };
    assert_eq!(refusal(&label, &stock("100x62", Dpi::D203)), expected);
}

#[test]
fn the_symbol_has_its_own_refusals() {
    let coded = |text: &str, stock: &LabelStock| refusal(&akami().with(Field::QrText, text), stock);
    let standard = stock("62x40", Dpi::D203);
    assert_eq!(coded(&address(201), &standard), LabelRefusal::CodeTooLong { characters: 201, limit: 200 });
    assert_eq!(coded("https://kalakauppa.example/ä", &standard), LabelRefusal::CodeNotAscii { character: 'ä' });
    let low = LabelStock::new(62_000, 25_000, 1_000, Dpi::D203).unwrap();
    assert_eq!(coded(&address(130), &low), LabelRefusal::CodeDoesNotFit);
}

#[test]
fn a_larger_stock_gives_larger_type() {
    for dpi in Dpi::ALL {
        let size = |name, field| {
            let layout = lay_out(Fonts::standard(), &akami(), &stock(name, dpi)).unwrap();
            layout.texts().iter().find(|text| text.fields.contains(&field)).unwrap().x_height
        };
        for field in [Field::CutName, Field::Price, Field::ScientificName] {
            assert!(size("80x50", field) > size("62x40", field), "{field:?}");
            assert!(size("100x62", field) > size("80x50", field), "{field:?}");
        }
    }
}

#[test]
fn the_check_list_has_every_rule_with_its_size() {
    let label = akami();
    let layout = lay_out(Fonts::standard(), &label, &stock("62x40", Dpi::D300)).unwrap();
    let checks = layout.checks();
    let fields: Vec<Field> = checks.iter().map(|check| check.field).collect();
    assert_eq!(fields, label.rules.iter().map(|rule| rule.field).collect::<Vec<_>>());
    for check in checks {
        assert!(check.text.is_empty() || check.set_um >= check.least_um, "{check:?}");
        assert!(check.text == label.text(check.field), "{check:?}");
    }
    let name = checks.iter().find(|check| check.field == Field::ScientificName).unwrap();
    assert_eq!((name.text.as_str(), name.least_um), ("Thunnus albacares", 1_200));
    assert!((1_200..2_000).contains(&name.set_um), "{name:?}");
}

#[test]
fn every_refusal_has_a_code_of_its_own_and_a_sentence() {
    let refusals = [
        LabelRefusal::MissingField { fields: vec!["price"] },
        LabelRefusal::DoesNotFit { fields: vec!["price"] },
        LabelRefusal::NoGlyph { character: '鮪', field: "cut_name" },
        LabelRefusal::CodeTooLong { characters: 300, limit: 200 },
        LabelRefusal::CodeNotAscii { character: 'ä' },
        LabelRefusal::CodeDoesNotFit,
        LabelRefusal::LinearNotDigits { characters: 12 },
        LabelRefusal::LinearCheckDigit { given: 1, expected: 2 },
        LabelRefusal::StockOutOfRange { measure: "width", value_um: 1, min_um: 2, max_um: 3 },
    ];
    let codes: BTreeSet<&str> = refusals.iter().map(LabelRefusal::code).collect();
    assert_eq!(codes.len(), refusals.len());
    assert!(codes.iter().all(|code| { code.chars().all(|letter| letter.is_ascii_lowercase() || letter == '_') }));
    assert!(refusals.iter().all(|refusal| refusal.to_string().len() > 10));
}

#[test]
fn the_same_facts_give_the_same_dots() {
    let stock = stock("80x50", Dpi::D300);
    let draw = || labels::draw(Fonts::standard(), &crowded(), &stock).unwrap();
    assert!(draw() == draw());
}
