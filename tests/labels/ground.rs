//! The labels these tests draw: one of each template and jurisdiction, a crowded one, a Japanese one.

use sakudana::domain::label_fields::{Circumstances, Field, Pack, Sold, Template, Thawed, rules};
use sakudana::domain::lot::Production;
use sakudana::domain::shop::Jurisdiction;
use sakudana::labels::facts::{Captions, TrayLabel};
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::stocks::Stocks;
use sakudana::labels::text::Fonts;

/// A wild block that was frozen to keep it.
pub const USUAL: Circumstances =
    Circumstances { production: Production::Wild, thawed: Thawed::Defrosted, pack: Pack::Usual, sold: Sold::Whole };

pub fn stock(name: &str, dpi: Dpi) -> LabelStock {
    Stocks::built_in().find(name, dpi).expect("a built-in stock")
}

/// An address of so many characters, as the QR Code carries it.
pub fn address(characters: usize) -> String {
    let start =
        "https://shop.example/01/09520123456788/10/2611-YFT-03/21/C4H7K9P?17=261126&3103=000268&8008=2611241830";
    start.chars().chain("&x=aB3_".chars().cycle()).take(characters).collect()
}

pub fn empty(jurisdiction: Jurisdiction, template: Template, circumstances: Circumstances) -> TrayLabel {
    TrayLabel::new(template, rules(jurisdiction, template, circumstances), Captions::default())
}

/// A label of the European Union with everything but its prices.
fn european(template: Template, circumstances: Circumstances) -> TrayLabel {
    empty(Jurisdiction::Eu, template, circumstances)
        .with(Field::ShopName, "Kallio Fish")
        .with(Field::ShopAddress, "Vaasankatu 7, Helsinki")
        .with(Field::CutName, "Akami saku")
        .with(Field::CommercialName, "Yellowfin tuna")
        .with(Field::ScientificName, "Thunnus albacares")
        .with(Field::ProductionMethod, "caught")
        .with(Field::CatchArea, "Pacific, Western Central (FAO 71)")
        .with(Field::Gear, "hooks and lines")
        .with(Field::Defrosted, "Defrosted")
        .with(Field::UseBy, "26 Nov 2026 18:00")
        .with(Field::CutOn, "24 Nov 2026")
        .with(Field::Storage, "Keep at 0 to 2 °C")
        .with(Field::LotCode, "YFT-261124-03")
        .with(Field::TrayCode, "C4H 7K9P")
        .with(Field::Allergen, "Contains fish")
        .with(Field::Advisory, "Raw fish: not for pregnant women, small children or people with weak immunity.")
        .with(Field::QrText, address(80))
}

pub fn akami() -> TrayLabel {
    european(Template::Block, USUAL)
        .with(Field::NetWeight, "268 g")
        .with(Field::UnitPrice, "79.50 €/kg")
        .with(Field::Price, "21.31 €")
}

pub fn markdown() -> TrayLabel {
    european(Template::Markdown, USUAL)
        .with(Field::NetWeight, "268 g")
        .with(Field::UnitPrice, "59.63 €/kg")
        .with(Field::Price, "15.98 €")
        .with(Field::OldPrice, "21.31 €")
        .with(Field::MarkdownReason, "Last day: −25 %")
}

pub fn tub() -> TrayLabel {
    european(Template::Tub, USUAL)
        .with(Field::CutName, "Nakaochi scrape")
        .with(Field::UnitPrice, "38.00 €/kg")
        .with(Field::LotCode, "YFT-261124-03 YFT-261123-01")
}

pub fn tub_markdown() -> TrayLabel {
    european(Template::Markdown, Circumstances { sold: Sold::ByWeight, ..USUAL })
        .with(Field::CutName, "Nakaochi scrape")
        .with(Field::UnitPrice, "28.50 €/kg")
        .with(Field::OldPrice, "38.00 €/kg")
        .with(Field::MarkdownReason, "Last day: −25 %")
}

pub fn american() -> TrayLabel {
    let circumstances = Circumstances { production: Production::Farmed, thawed: Thawed::No, ..USUAL };
    empty(Jurisdiction::Us, Template::Block, circumstances)
        .with(Field::ShopName, "Pier 9 Fish")
        .with(Field::ShopAddress, "Seattle, WA 98101")
        .with(Field::CutName, "Chūtoro saku")
        .with(Field::CommercialName, "Bluefin tuna")
        .with(Field::ProductionMethod, "farm-raised")
        .with(Field::OriginCountry, "Product of Japan")
        .with(Field::NetWeight, "0.590 lb (268 g)")
        .with(Field::UnitPrice, "$140.90/kg (≈ $63.91/lb)")
        .with(Field::Price, "$37.76")
        .with(Field::UseBy, "Nov 26, 2026 6:00 PM")
        .with(Field::CutOn, "Nov 24, 2026")
        .with(Field::Storage, "Keep below 38 °F")
        .with(Field::LotCode, "PBF-261124-01")
        .with(Field::TrayCode, "C4H 7K9P")
        .with(Field::Allergen, "Contains: Fish (Tuna)")
        .with(Field::Advisory, "Eating raw fish may increase your risk of foodborne illness.")
        .with(Field::QrText, address(100))
}

pub fn kitchen() -> TrayLabel {
    empty(Jurisdiction::Eu, Template::Kitchen, USUAL)
        .with(Field::CutName, "Collar")
        .with(Field::CommercialName, "Yellowfin tuna")
        .with(Field::ScientificName, "Thunnus albacares")
        .with(Field::Defrosted, "Defrosted")
        .with(Field::NetWeight, "1.420 kg")
        .with(Field::UseBy, "25 Nov 2026 18:00")
        .with(Field::CutOn, "24 Nov 2026")
        .with(Field::Storage, "Keep at 0 to 2 °C")
        .with(Field::LotCode, "YFT-261124-03")
        .with(Field::TrayCode, "C4H 7K9P")
        .with(Field::Notices, "For the kitchen: cook before eating. Not for raw eating.")
        .with(Field::QrText, address(62))
        .in_words(Captions { use_by: "COOK BY".to_owned(), ..Captions::default() })
}

pub fn bulk() -> TrayLabel {
    empty(Jurisdiction::Eu, Template::Bulk, USUAL)
        .with(Field::CutName, "Loin, left upper")
        .with(Field::CommercialName, "Yellowfin tuna")
        .with(Field::ScientificName, "Thunnus albacares")
        .with(Field::NetWeight, "9.860 kg")
        .with(Field::UseBy, "27 Nov 2026 06:00")
        .with(Field::ReceivedOn, "24 Nov 2026")
        .with(Field::Storage, "Keep at 0 to 2 °C")
        .with(Field::LotCode, "YFT-261124-03")
        .with(Field::TrayCode, "TK4 R7CM")
        .with(Field::QrText, address(62))
        .in_words(Captions { use_by: "RAW UNTIL".to_owned(), ..Captions::default() })
}

/// Long German words and a tray of two lots.
pub fn crowded() -> TrayLabel {
    let captions = Captions {
        use_by: "ZU VERBRAUCHEN BIS".to_owned(),
        cut_on: "Zerlegt".to_owned(),
        lot: "Los".to_owned(),
        ..Captions::default()
    };
    let label = akami()
        .with(Field::ShopName, "Fischhandlung Österström & Söhne")
        .with(Field::ShopAddress, "Große Elbstraße 212, 22767 Hamburg")
        .with(Field::CutName, "Chūtoro-Saku vom Rückenfilet, geputzt")
        .with(Field::CommercialName, "Nördlicher Blauflossen-Thun")
        .with(Field::ScientificName, "Thunnus thynnus")
        .with(Field::ProductionMethod, "in Aquakultur gewonnen")
        .with(Field::CatchArea, "Mittelmeer, Balearen (FAO 37.1.1)")
        .with(Field::Gear, "Umschließungsnetze und Hebenetze")
        .with(Field::NetWeight, "1,268 kg")
        .with(Field::UnitPrice, "179,50 €/kg")
        .with(Field::Price, "227,61 €")
        .with(Field::UseBy, "26. Nov. 2026, 18:00 Uhr")
        .with(Field::CutOn, "24. Nov. 2026")
        .with(Field::Storage, "Bei 0 bis 2 °C lagern")
        .with(Field::LotCode, "BFT-261124-03 BFT-261123-01")
        .with(Field::Defrosted, "Aufgetaut")
        .with(Field::Notices, "Roh nur bis zum Verbrauchsdatum")
        .with(Field::Allergen, "Enthält Fisch")
        .with(
            Field::Advisory,
            "Roher Fisch: nicht für Schwangere, kleine Kinder und Menschen mit schwachem Immunsystem.",
        )
        .with(Field::Cautions, "Nicht wieder einfrieren.")
        .with(Field::QrText, address(106));
    label.in_words(captions)
}

/// A label in Japanese with the names the law here wants in Latin letters beside them.
pub fn japanese() -> TrayLabel {
    let captions = Captions {
        use_by: "消費期限".to_owned(),
        cut_on: "加工日".to_owned(),
        received_on: "入荷日".to_owned(),
        lot: "ロット".to_owned(),
        by_weight: "量り売り".to_owned(),
        kitchen: "厨房用".to_owned(),
        bulk: "非売品".to_owned(),
    };
    let label = akami()
        .with(Field::ShopName, "魚のカッリオ")
        .with(Field::CutName, "本まぐろ 中とろ 柵")
        .with(Field::CommercialName, "キハダマグロ（黄肌鮪）")
        .with(Field::CatchArea, "太平洋中西部（FAO 71）")
        .with(Field::ProductionMethod, "天然")
        .with(Field::Gear, "釣り・はえ縄")
        .with(Field::Defrosted, "解凍")
        .with(Field::Storage, "0～2℃で保存")
        .with(Field::UseBy, "2026年11月26日 18時")
        .with(Field::CutOn, "2026年11月24日")
        .with(Field::Allergen, "原材料の一部に魚を含む")
        .with(
            Field::Advisory,
            "生の魚です。妊娠中の方、小さなお子様、免疫力の低い方は、生で召し上がらないでください。",
        );
    label.in_words(captions)
}

/// The built-in family with BIZ UD Gothic behind it (SIL Open Font License 1.1).
pub fn japanese_fonts() -> Fonts {
    let path = "/usr/share/fonts/truetype/bizud-gothic/BIZUDGothic-Regular.ttf";
    let file = std::fs::read(path).unwrap_or_else(|error| panic!("{path}: {error} (`bash tests/run` installs it)"));
    Fonts::with(vec![file]).expect("a typeface")
}
