//! Labels as PDF and SVG, drawn by programs that know nothing of ours.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test that meets what it did not expect should stop right there"
)]
use sakudana::labels;
use sakudana::labels::facts::{Captions, TrayLabel};
use sakudana::labels::layout::lay_out;
use sakudana::labels::pdf::{self, About, Sheet};
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::svg;
use sakudana::labels::text::Fonts;

fn akami() -> TrayLabel {
    TrayLabel {
        shop_name: "Kallio Fish, Vaasankatu 7, Helsinki".to_owned(),
        cut_name: "Akami saku".to_owned(),
        species_line: "Yellowfin tuna · Thunnus albacares".to_owned(),
        origin_line: "Wild, Pacific, Western Central (FAO 71), longline".to_owned(),
        net_weight: "268 g".to_owned(),
        unit_price: "59.63 €/kg".to_owned(),
        price: "15.98 €".to_owned(),
        old_price: Some("21.31 €".to_owned()),
        markdown_reason: Some("Last day: −25 %".to_owned()),
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
        qr_text: "https://shop.example/01/09520123456788/10/2611-YFT-03/21/7K3M9QX2?17=261126&3103=000268".to_owned(),
        captions: Captions::default(),
    }
}

#[test]
fn look() {
    for dpi in [Dpi::D203, Dpi::D300] {
        let layout = lay_out(Fonts::standard(), &akami(), &LabelStock::standard(dpi)).unwrap();
        let drawing = layout.drawing();
        let about = About { title: "Tray 7K3M 9QX2", language: "en" };
        let n = dpi.per_inch();
        std::fs::write(format!("/tmp/out-look/l{n}.pdf"), pdf::one(&drawing, Fonts::standard(), &about)).unwrap();
        std::fs::write(format!("/tmp/out-look/l{n}.svg"), svg::write(&drawing, Fonts::standard(), "Tray 7K3M 9QX2"))
            .unwrap();
        std::fs::write(format!("/tmp/out-look/l{n}.png"), labels::png(&drawing.paint(Fonts::standard()), dpi)).unwrap();
        let sheet = Sheet {
            paper_width_um: 210_000,
            paper_height_um: 297_000,
            columns: 3,
            rows: 7,
            left_um: 8_000,
            top_um: 12_000,
            pitch_x_um: 65_000,
            pitch_y_um: 39_000,
        };
        let many: Vec<_> = (0..25).map(|_| drawing.clone()).collect();
        std::fs::write(format!("/tmp/out-look/s{n}.pdf"), pdf::sheets(&many, &sheet, 4, Fonts::standard(), &about))
            .unwrap();
    }
}
