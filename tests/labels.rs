//! Tray labels as a printer and a scanner see them: many labels drawn, every symbol read back to the exact text, no
//! two texts on top of each other, and a few pictures kept to be compared dot for dot.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, reason = "tests stop at a surprise")]

use std::collections::BTreeSet;
use std::io::Cursor;
use std::path::PathBuf;

use sakudana::labels;
use sakudana::labels::bitmap::{Bitmap, Rect};
use sakudana::labels::facts::{Captions, TrayLabel};
use sakudana::labels::layout::{Layout, lay_out};
use sakudana::labels::refusal::LabelRefusal;
use sakudana::labels::steps;
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::symbol;

const DPIS: [Dpi; 2] = [Dpi::D203, Dpi::D300];

fn address(characters: usize) -> String {
    let start =
        "https://shop.example/01/09520123456788/10/2611-YFT-03/21/7K3M9QX2?17=261126&3103=000268&8008=2611241830";
    start.chars().chain("&x=aB3_".chars().cycle()).take(characters).collect()
}

fn akami() -> TrayLabel {
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
        cautions: vec![
            "Raw fish: not for pregnant women, small children or people with weak immunity.".to_owned(),
            "Do not refreeze.".to_owned(),
        ],
        qr_text: address(80),
        captions: Captions::default(),
    }
}

fn markdown() -> TrayLabel {
    TrayLabel {
        old_price: Some("21.31 €".to_owned()),
        markdown_reason: Some("Last day: −25 %".to_owned()),
        price: "15.98 €".to_owned(),
        unit_price: "59.63 €/kg".to_owned(),
        ..akami()
    }
}

fn crowded() -> TrayLabel {
    TrayLabel {
        shop_name: "Fischhandlung Österström & Söhne, Große Elbstraße 212, Hamburg".to_owned(),
        cut_name: "Chūtoro-Saku vom Rückenfilet, geputzt".to_owned(),
        species_line: "Nördlicher Blauflossen-Thun · Thunnus thynnus".to_owned(),
        origin_line: "Aquakultur, Mittelmeer, Balearen (FAO 37.1.1), Ringwade, gemästet in Spanien".to_owned(),
        net_weight: "1 268 g".to_owned(),
        unit_price: "179,50 €/kg".to_owned(),
        price: "227,61 €".to_owned(),
        use_by: "26. Nov. 2026, 18:00 Uhr".to_owned(),
        cut_on: "24. Nov. 2026".to_owned(),
        storage: "Bei 0 bis 2 °C lagern".to_owned(),
        notices: vec!["Aufgetaut".to_owned(), "Roh nur bis zum Verbrauchsdatum".to_owned()],
        captions: Captions {
            use_by: "ZU VERBRAUCHEN BIS".to_owned(),
            cut_on: "Zerlegt".to_owned(),
            lot: "Los".to_owned(),
        },
        cautions: vec![
            "Roher Fisch: nicht für Schwangere, kleine Kinder und Menschen mit schwachem Immunsystem.".to_owned(),
            "Nicht wieder einfrieren.".to_owned(),
        ],
        qr_text: address(106),
        ..akami()
    }
}

/// Long and short texts crossed with each other; not every one fits the small stock, all fit the large one.
fn many() -> Vec<TrayLabel> {
    let cuts = ["Ō-toro", "Akami saku", "Bluefin chūtoro saku, sinew drawn", "Filet de thon à la japonaise, paré"];
    let species = ["Tuna · Thunnus alalunga", "Thon à nageoires jaunes · Thunnus albacares"];
    let origins = ["Wild, FAO 27, handline", "Sauvage, Pacifique Centre-Ouest (FAO 71), palangre dérivante"];
    let prices = [
        ("21.31 €", "79.50 €/kg", "268 g"),
        ("£187.20", "£93.60/kg", "2 kg"),
        ("$1,204.99", "$44.00/lb", "27.39 lb"),
        ("9,30\u{A0}€", "31,00\u{A0}€/kg", "300\u{A0}g"),
        ("1\u{202F}284 kr", "4\u{202F}790 kr/kg", "268 g"),
    ];
    let mut labels = Vec::new();
    for cut in cuts {
        for species in species {
            for origin in origins {
                for characters in [60, 84, 106, 130] {
                    let base = if labels.len() % 3 == 0 { markdown() } else { akami() };
                    let (price, unit_price, net_weight) = prices[labels.len() % prices.len()];
                    labels.push(TrayLabel {
                        cut_name: cut.to_owned(),
                        species_line: species.to_owned(),
                        origin_line: origin.to_owned(),
                        price: price.to_owned(),
                        unit_price: unit_price.to_owned(),
                        net_weight: net_weight.to_owned(),
                        qr_text: address(characters),
                        ..base
                    });
                }
            }
        }
    }
    labels
}

fn read_symbol(picture: &Bitmap) -> String {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let black = |x: usize, y: usize| picture.is_black(x as i32, y as i32);
    let mut prepared = rqrr::PreparedImage::prepare_from_bitmap(width, height, black);
    let grids = prepared.detect_grids();
    assert_eq!(grids.len(), 1, "one symbol is seen");
    grids[0].decode().expect("the symbol reads").1
}

fn read_png(file: &[u8]) -> (png::Info<'static>, Vec<u8>) {
    let mut decoder = png::Decoder::new(Cursor::new(file));
    decoder.set_transformations(png::Transformations::IDENTITY);
    let mut reader = decoder.read_info().unwrap();
    let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut bytes).unwrap();
    (reader.info().clone(), bytes)
}

/// The rules every placed label keeps.
fn check_places(label: &TrayLabel, stock: &LabelStock, layout: &Layout) {
    let texts = layout.texts();
    let margin = stock.margin_dots();
    let inside =
        Rect { x: margin, y: margin, width: stock.width_dots() - 2 * margin, height: stock.height_dots() - 2 * margin };
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
        let fine = ["lot_code", "cut_on", "cautions"].contains(&text.field);
        let least_um = if fine { steps::SMALLEST_FINE_UM } else { steps::SMALLEST_BODY_UM };
        assert!(text.x_height >= stock.dpi().dots_at_least(least_um), "{text:?} is too small");
    }
    for ornament in layout.ornaments() {
        assert!(inside.contains(&ornament) && !ornament.overlaps(&layout.symbol_box()), "{ornament:?}");
    }
    let paper = Rect { x: 0, y: 0, width: stock.width_dots(), height: stock.height_dots() };
    assert!(paper.contains(&layout.symbol_box()));
    assert!(stock.dpi().dots_per_module().contains(&layout.dots_per_module()));
    check_words(label, layout);
}

/// Every word of every field is on the label, in its field, in its order.
fn check_words(label: &TrayLabel, layout: &Layout) {
    let shown = |field: &str| {
        let lines: Vec<String> =
            layout.texts().into_iter().filter(|text| text.field == field).map(|text| text.text).collect();
        words(&lines.join(" "))
    };
    let joined = |texts: &[String]| texts.join(" ");
    assert_eq!(shown("shop_name"), words(&label.shop_name));
    assert_eq!(shown("cut_name"), words(&label.cut_name));
    assert_eq!(shown("species_line"), words(&label.species_line));
    assert_eq!(shown("origin_line"), words(&label.origin_line));
    assert_eq!(shown("net_weight"), words(&label.net_weight));
    assert_eq!(shown("unit_price"), words(&label.unit_price));
    assert_eq!(shown("price"), words(&label.price));
    assert_eq!(shown("old_price"), words(label.old_price.as_deref().unwrap_or_default()));
    assert_eq!(shown("markdown_reason"), words(label.markdown_reason.as_deref().unwrap_or_default()));
    assert_eq!(shown("use_by"), words(&label.use_by));
    assert_eq!(shown("storage"), words(&label.storage));
    assert_eq!(shown("tray_code"), words(&label.tray_code));
    assert_eq!(shown("captions"), words(&label.captions.use_by));
    assert_eq!(shown("lot_code"), words(&format!("{} {}", label.captions.lot, label.lot_code)));
    assert_eq!(shown("cut_on"), words(&format!("{} {}", label.captions.cut_on, label.cut_on)));
    assert_eq!(shown("notices"), words(&joined(&label.notices)));
    assert_eq!(shown("cautions"), words(&joined(&label.cautions)));
}

fn words(text: &str) -> Vec<String> {
    text.split(' ').filter(|word| !word.is_empty() && *word != "·").map(str::to_owned).collect()
}

/// All ink lies in a box that was announced, and the symbol's quiet zone is white.
fn check_ink(layout: &Layout, picture: &Bitmap) {
    let mut boxes: Vec<Rect> = layout.texts().into_iter().map(|text| text.rect).collect();
    boxes.extend(layout.ornaments());
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

fn check_png(picture: &Bitmap, dpi: Dpi) {
    let file = labels::png(picture, dpi);
    // A full label at 300 dpi has more than twice the dots of one at 203 dpi.
    let limit = if dpi == Dpi::D203 { 8 } else { 14 };
    assert!(file.len() < limit * 1024, "{} bytes", file.len());
    let (info, bytes) = read_png(&file);
    assert_eq!((info.width, info.height), (picture.width(), picture.height()));
    assert_eq!((info.color_type, info.bit_depth), (png::ColorType::Grayscale, png::BitDepth::One));
    let pixels = info.pixel_dims.expect("the file tells its resolution");
    assert_eq!((pixels.xppu, pixels.yppu, pixels.unit), (dpi.per_metre(), dpi.per_metre(), png::Unit::Meter));
    let inverted: Vec<u8> = bytes.iter().map(|byte| !byte).collect();
    assert!(picture.rows().flatten().eq(&inverted), "the file holds other dots than the picture");
}

#[test]
fn many_labels_on_every_stock_keep_every_rule_and_scan_to_the_exact_text() {
    let mut drawn = 0;
    let mut refused = 0;
    for dpi in DPIS {
        for (stock, small) in [(LabelStock::standard(dpi), true), (LabelStock::large(dpi), false)] {
            for (index, label) in many().iter().enumerate() {
                match lay_out(label, &stock) {
                    Ok(layout) => {
                        check_places(label, &stock, &layout);
                        // Painting and reading back every label would take minutes without optimisation.
                        if index % 3 == 0 {
                            let picture = layout.paint();
                            check_ink(&layout, &picture);
                            check_png(&picture, dpi);
                            assert_eq!(read_symbol(&picture), label.qr_text);
                        }
                        drawn += 1;
                    }
                    Err(LabelRefusal::DoesNotFit { fields }) if small => {
                        assert!(!fields.is_empty());
                        refused += 1;
                    }
                    Err(refusal) => panic!("{refusal} on {stock:?}: {label:#?}"),
                }
            }
        }
    }
    assert!(drawn > 3 * refused, "{drawn} drawn, {refused} refused");
    assert!(drawn > 200);
}

#[test]
fn usual_labels_fit_the_standard_stock_at_both_resolutions() {
    for dpi in DPIS {
        for label in [akami(), markdown()] {
            let stock = LabelStock::standard(dpi);
            let layout = lay_out(&label, &stock).unwrap_or_else(|refusal| panic!("{refusal}"));
            assert_eq!(layout.dots_per_module(), if dpi == Dpi::D203 { 4 } else { 6 });
            assert_eq!(read_symbol(&layout.paint()), label.qr_text);
        }
    }
}

#[test]
fn a_larger_stock_gives_larger_type() {
    for dpi in DPIS {
        let name = |stock| {
            let layout = lay_out(&akami(), &stock).unwrap();
            layout.texts().iter().find(|text| text.field == "cut_name").unwrap().x_height
        };
        assert!(name(LabelStock::large(dpi)) > name(LabelStock::standard(dpi)));
    }
}

#[test]
fn all_missing_fields_are_named_at_once() {
    let label = TrayLabel {
        cut_name: String::new(),
        origin_line: "  ".to_owned(),
        qr_text: String::new(),
        markdown_reason: Some("Last day".to_owned()),
        cautions: vec![String::new()],
        ..akami()
    };
    let refusal = labels::draw(&label, &LabelStock::standard(Dpi::D203)).unwrap_err();
    let fields = vec!["cut_name", "origin_line", "qr_text", "old_price", "cautions"];
    assert_eq!(refusal, LabelRefusal::MissingField { fields });
    assert_eq!(refusal.to_string(), "the label lacks: cut_name, origin_line, qr_text, old_price, cautions");
}

#[test]
fn a_character_without_a_glyph_is_a_refusal_and_not_a_blank() {
    let stock = LabelStock::standard(Dpi::D203);
    let refusal = |label: &TrayLabel| labels::draw(label, &stock).unwrap_err();
    let label = TrayLabel { cut_name: "赤身 saku".to_owned(), ..akami() };
    assert_eq!(refusal(&label), LabelRefusal::NoGlyph { character: '赤', field: "cut_name" });
    let label = TrayLabel { notices: vec!["Defrosted\n".to_owned()], ..akami() };
    assert_eq!(refusal(&label), LabelRefusal::NoGlyph { character: '\n', field: "notices" });
    let captions = Captions { use_by: "消費期限".to_owned(), ..Captions::default() };
    let label = TrayLabel { captions, ..akami() };
    assert_eq!(refusal(&label), LabelRefusal::NoGlyph { character: '消', field: "captions" });
}

#[test]
fn what_does_not_fit_is_named() {
    let stock = LabelStock::standard(Dpi::D203);
    let refusal = |label: &TrayLabel| labels::draw(label, &stock).unwrap_err();
    let label = TrayLabel { cautions: vec!["Keep this raw fish cold. ".repeat(40)], ..akami() };
    assert_eq!(refusal(&label), LabelRefusal::DoesNotFit { fields: vec!["cautions"] });
    let label = TrayLabel { species_line: "Thunfischrückenfiletstücke".repeat(3), ..akami() };
    assert_eq!(refusal(&label), LabelRefusal::DoesNotFit { fields: vec!["species_line"] });
    let label = TrayLabel { tray_code: "7K3M".repeat(8), use_by: "26 November ".repeat(6), ..akami() };
    assert_eq!(refusal(&label), LabelRefusal::DoesNotFit { fields: vec!["use_by", "tray_code"] });
}

#[test]
fn a_long_code_is_blamed_where_a_shorter_one_would_fit() {
    let stock = LabelStock::standard(Dpi::D203);
    let label = |characters| TrayLabel {
        cautions: vec!["Keep this raw fish cold. ".repeat(9)],
        qr_text: address(characters),
        ..akami()
    };
    assert!(lay_out(&label(60), &stock).is_ok());
    let LabelRefusal::DoesNotFit { fields } = lay_out(&label(130), &stock).unwrap_err() else {
        panic!("another refusal")
    };
    assert!(fields.contains(&"qr_text") && fields.contains(&"cautions"), "{fields:?}");
}

#[test]
fn the_symbol_has_its_own_refusals() {
    let stock = LabelStock::standard(Dpi::D203);
    let refusal = |qr_text: &str, stock: &LabelStock| {
        labels::draw(&TrayLabel { qr_text: qr_text.to_owned(), ..akami() }, stock).unwrap_err()
    };
    assert_eq!(refusal(&address(201), &stock), LabelRefusal::CodeTooLong { characters: 201, limit: 200 });
    assert_eq!(refusal("https://kalakauppa.example/ä", &stock), LabelRefusal::CodeNotAscii { character: 'ä' });
    let low = LabelStock::new(62_000, 25_000, 1_000, Dpi::D203).unwrap();
    assert_eq!(refusal(&address(130), &low), LabelRefusal::CodeDoesNotFit);
}

#[test]
fn every_refusal_has_a_code_of_its_own_and_a_sentence() {
    let refusals = [
        LabelRefusal::MissingField { fields: vec!["price"] },
        LabelRefusal::DoesNotFit { fields: vec!["price"] },
        LabelRefusal::NoGlyph { character: '鮪', field: "cut_name" },
        LabelRefusal::CodeTooLong { characters: 200, limit: 130 },
        LabelRefusal::CodeNotAscii { character: 'ä' },
        LabelRefusal::CodeDoesNotFit,
        LabelRefusal::LinearNotDigits { characters: 12 },
        LabelRefusal::LinearCheckDigit { given: 4, expected: 3 },
        LabelRefusal::StockOutOfRange { measure: "width", value_um: 1, min_um: 2, max_um: 3 },
    ];
    let codes: BTreeSet<&str> = refusals.iter().map(LabelRefusal::code).collect();
    assert_eq!(codes.len(), refusals.len());
    assert!(codes.iter().all(|code| { code.chars().all(|letter| letter.is_ascii_lowercase() || letter == '_') }));
    assert!(refusals.iter().all(|refusal| refusal.to_string().len() > 10));
}

#[test]
fn the_same_facts_give_the_same_dots() {
    let stock = LabelStock::large(Dpi::D300);
    assert_eq!(labels::draw(&crowded(), &stock), labels::draw(&crowded(), &stock));
}

/// Compares with the picture kept under `tests/snapshots`; `UPDATE_PICTURES=1` writes it anew.
fn check_picture(name: &str, label: &TrayLabel, stock: &LabelStock) {
    let layout = lay_out(label, stock).unwrap_or_else(|refusal| panic!("{name}: {refusal}"));
    check_places(label, stock, &layout);
    let picture = layout.paint();
    check_ink(&layout, &picture);
    check_png(&picture, stock.dpi());
    let file = labels::png(&picture, stock.dpi());
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("tests/snapshots/label-{name}.png"));
    if std::env::var_os("UPDATE_PICTURES").is_some_and(|value| value == "1") {
        std::fs::write(&path, &file).unwrap();
    }
    let kept = std::fs::read(&path).unwrap_or_else(|error| panic!("{name}: {error}; run with UPDATE_PICTURES=1"));
    let (kept_info, kept_dots) = read_png(&kept);
    let (info, dots) = read_png(&file);
    assert_eq!((kept_info.width, kept_info.height), (info.width, info.height), "{name}");
    assert!(kept_dots == dots, "{name} differs from the picture kept; run with UPDATE_PICTURES=1 and look at it");
    assert_eq!(read_symbol(&picture), label.qr_text);
}

#[test]
fn kept_pictures_are_unchanged() {
    check_picture("plain-standard-203", &akami(), &LabelStock::standard(Dpi::D203));
    check_picture("plain-standard-300", &akami(), &LabelStock::standard(Dpi::D300));
    check_picture("plain-large-203", &akami(), &LabelStock::large(Dpi::D203));
    check_picture("markdown-standard-203", &markdown(), &LabelStock::standard(Dpi::D203));
    check_picture("markdown-standard-300", &markdown(), &LabelStock::standard(Dpi::D300));
    check_picture("markdown-large-300", &markdown(), &LabelStock::large(Dpi::D300));
    let long_code = TrayLabel { qr_text: address(130), ..akami() };
    check_picture("long-code-standard-203", &long_code, &LabelStock::standard(Dpi::D203));
    let american = TrayLabel {
        shop_name: "Pier 9 Fish, Seattle".to_owned(),
        cut_name: "Bluefin chūtoro saku".to_owned(),
        species_line: "Pacific bluefin tuna · Thunnus orientalis".to_owned(),
        origin_line: "Farm-raised, product of Japan".to_owned(),
        net_weight: "0.59 lb (268 g)".to_owned(),
        unit_price: "$64.00/lb".to_owned(),
        price: "$37.76".to_owned(),
        use_by: "Nov 26, 2026 6:00 PM".to_owned(),
        storage: "Keep below 38 °F".to_owned(),
        qr_text: address(106),
        ..akami()
    };
    check_picture("pounds-standard-203", &american, &LabelStock::standard(Dpi::D203));
    check_picture("crowded-large-203", &crowded(), &LabelStock::large(Dpi::D203));
    check_picture("crowded-large-300", &crowded(), &LabelStock::large(Dpi::D300));
}
