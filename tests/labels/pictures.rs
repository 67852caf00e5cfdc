//! Pictures of each template on a few stocks, kept and compared dot for dot. `UPDATE_PICTURES=1` writes them anew: look at them then.

use std::path::PathBuf;

use sakudana::domain::label_fields::Field;
use sakudana::labels;
use sakudana::labels::facts::TrayLabel;
use sakudana::labels::layout::lay_out;
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::text::Fonts;

use crate::ground::{
    address, akami, american, bulk, crowded, japanese, japanese_fonts, kitchen, markdown, stock, tub, tub_markdown,
};
use crate::places::{check_ink, check_places, check_png, read_png, read_symbol};

/// Compares with the picture kept under `tests/snapshots`.
fn check_picture(name: &str, fonts: &Fonts, label: &TrayLabel, stock: &LabelStock) {
    let name = format!("{name}-{}-{}", stock.name(), stock.dpi().per_inch());
    let layout = lay_out(fonts, label, stock).unwrap_or_else(|refusal| panic!("{name}: {refusal}"));
    let picture = layout.paint(fonts);
    let file = labels::png(&picture, stock.dpi());
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("tests/snapshots/label-{name}.png"));
    if std::env::var_os("UPDATE_PICTURES").is_some_and(|value| value == "1") {
        std::fs::write(&path, &file).unwrap();
    }
    check_places(label, stock, &layout);
    check_ink(&layout, &picture);
    check_png(&picture, stock.dpi());
    let kept = std::fs::read(&path).unwrap_or_else(|error| panic!("{name}: {error}; run with UPDATE_PICTURES=1"));
    let (kept_info, kept_dots) = read_png(&kept);
    let (info, dots) = read_png(&file);
    assert_eq!((kept_info.width, kept_info.height), (info.width, info.height), "{name}");
    assert!(kept_dots == dots, "{name} differs from the picture kept; run with UPDATE_PICTURES=1 and look at it");
    assert_eq!(read_symbol(&picture), label.text(Field::QrText));
}

fn with_linear(label: TrayLabel) -> TrayLabel {
    label.with(Field::Linear, "2112233789657")
}

#[test]
fn labels_for_sale() {
    let check = |name, label: &TrayLabel, stock: &LabelStock| check_picture(name, Fonts::standard(), label, stock);
    for dpi in Dpi::ALL {
        check("block", &akami(), &stock("62x40", dpi));
    }
    check("block", &akami(), &stock("58x40", Dpi::D203));
    check("block", &akami(), &stock("80x50", Dpi::D203));
    check("block", &akami(), &stock("100x62", Dpi::D300));
    check("block-linear", &with_linear(akami()), &stock("80x50", Dpi::D203));
    check("block-linear", &with_linear(akami()), &stock("100x62", Dpi::D203));
    check("block-long-code", &akami().with(Field::QrText, address(130)), &stock("62x40", Dpi::D300));
    check("markdown", &markdown(), &stock("62x40", Dpi::D203));
    check("markdown", &markdown(), &stock("62x40", Dpi::D300));
    check("markdown-linear", &with_linear(markdown()), &stock("80x50", Dpi::D300));
    check("tub", &tub(), &stock("62x40", Dpi::D203));
    check("tub", &tub(), &stock("100x62", Dpi::D203));
    check("tub-markdown", &tub_markdown(), &stock("62x40", Dpi::D300));
    check("pounds", &american(), &stock("62x40", Dpi::D300));
    check("pounds", &american(), &stock("80x50", Dpi::D203));
    check("crowded", &crowded(), &stock("80x50", Dpi::D203));
    check("crowded", &crowded(), &stock("100x62", Dpi::D300));
}

#[test]
fn labels_of_the_house() {
    let check = |name, label: &TrayLabel, stock: &LabelStock| check_picture(name, Fonts::standard(), label, stock);
    check("kitchen", &kitchen(), &stock("40x30", Dpi::D203));
    check("kitchen", &kitchen(), &stock("50x30", Dpi::D300));
    check("kitchen", &kitchen(), &stock("62x40", Dpi::D203));
    check("bulk", &bulk(), &stock("40x30", Dpi::D300));
    check("bulk", &bulk(), &stock("58x40", Dpi::D203));
    check("bulk", &bulk(), &stock("100x62", Dpi::D203));
}

#[test]
fn labels_in_japanese() {
    let fonts = japanese_fonts();
    check_picture("japanese", &fonts, &japanese(), &stock("62x40", Dpi::D203));
    check_picture("japanese", &fonts, &japanese(), &stock("62x40", Dpi::D300));
    check_picture("japanese", &fonts, &japanese(), &stock("80x50", Dpi::D203));
}
