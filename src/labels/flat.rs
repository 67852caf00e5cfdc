//! The facts a tray label shows, as finished text. Nothing here computes a date, a price or a weight, and nothing
//! here knows how the picture is arranged.

use super::facts::{Captions, TrayLabel};
use crate::domain::label_fields::Field;

/// Everything one tray label says. Every text is already in the shop's language and formatted; the label decides
/// nothing about dates or money.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flat {
    /// The shop, with its address where the law wants it.
    pub shop_name: String,
    /// What the piece is: "Akami saku".
    pub cut_name: String,
    /// Commercial and scientific name: "Yellowfin tuna · Thunnus albacares".
    pub species_line: String,
    /// Production method, area, gear: "Wild, Pacific, Western Central (FAO 71), longline".
    pub origin_line: String,
    /// Net weight with its unit: "268 g".
    pub net_weight: String,
    /// Price per weight, with its unit: "79.50 €/kg".
    pub unit_price: String,
    /// What the tray costs now: "21.31 €".
    pub price: String,
    /// What it cost before a markdown, struck through. Given together with `markdown_reason` or not at all.
    pub old_price: Option<String>,
    /// Why the price was lowered.
    pub markdown_reason: Option<String>,
    /// The instant after which it may not be sold: "26 Nov 2026 18:00".
    pub use_by: String,
    /// When it was cut.
    pub cut_on: String,
    /// Storage condition: "Keep at 0 to 2 °C".
    pub storage: String,
    /// Traceability lot code.
    pub lot_code: String,
    /// The tray's code, already grouped for typing by hand.
    pub tray_code: String,
    /// Short statements that stand out: "Previously frozen". May be empty.
    pub notices: Vec<String>,
    /// Small print. Printed whole, or the label is refused. May be empty.
    pub cautions: Vec<String>,
    /// The address in the symbol: ASCII, at most [`super::symbol::MAX_CHARACTERS`] characters.
    pub qr_text: String,
    /// The few words the label puts in front of values.
    pub captions: Captions,
}

/// The name of each field, as refusals and placed boxes spell it.
pub(super) mod field {
    pub const SHOP_NAME: &str = "shop_name";
    pub const CUT_NAME: &str = "cut_name";
    pub const SPECIES_LINE: &str = "species_line";
    pub const ORIGIN_LINE: &str = "origin_line";
    pub const NET_WEIGHT: &str = "net_weight";
    pub const UNIT_PRICE: &str = "unit_price";
    pub const PRICE: &str = "price";
    pub const OLD_PRICE: &str = "old_price";
    pub const MARKDOWN_REASON: &str = "markdown_reason";
    pub const USE_BY: &str = "use_by";
    pub const CUT_ON: &str = "cut_on";
    pub const STORAGE: &str = "storage";
    pub const LOT_CODE: &str = "lot_code";
    pub const TRAY_CODE: &str = "tray_code";
    pub const NOTICES: &str = "notices";
    pub const CAUTIONS: &str = "cautions";
    pub const QR_TEXT: &str = "qr_text";
    pub const CAPTIONS: &str = "captions";
}

impl Flat {
    /// The fields without which there is no label, in the order refusals list them.
    fn mandatory(&self) -> [(&'static str, &str); 13] {
        [
            (field::SHOP_NAME, &self.shop_name),
            (field::CUT_NAME, &self.cut_name),
            (field::SPECIES_LINE, &self.species_line),
            (field::ORIGIN_LINE, &self.origin_line),
            (field::NET_WEIGHT, &self.net_weight),
            (field::UNIT_PRICE, &self.unit_price),
            (field::PRICE, &self.price),
            (field::USE_BY, &self.use_by),
            (field::CUT_ON, &self.cut_on),
            (field::STORAGE, &self.storage),
            (field::LOT_CODE, &self.lot_code),
            (field::TRAY_CODE, &self.tray_code),
            (field::QR_TEXT, &self.qr_text),
        ]
    }

    /// Every text that is set in type, with its field; the symbol's text is not among them.
    pub(super) fn printed(&self) -> Vec<(&'static str, &str)> {
        let mut texts: Vec<(&'static str, &str)> =
            self.mandatory().into_iter().filter(|(name, _)| *name != field::QR_TEXT).collect();
        texts.extend(self.old_price.iter().map(|text| (field::OLD_PRICE, text.as_str())));
        texts.extend(self.markdown_reason.iter().map(|text| (field::MARKDOWN_REASON, text.as_str())));
        texts.extend(self.notices.iter().map(|text| (field::NOTICES, text.as_str())));
        texts.extend(self.cautions.iter().map(|text| (field::CAUTIONS, text.as_str())));
        let captions = [&self.captions.use_by, &self.captions.cut_on, &self.captions.lot];
        texts.extend(captions.into_iter().map(|text| (field::CAPTIONS, text.as_str())));
        texts
    }

    /// The same label with one field cut down to almost nothing: asked when a label does not fit, to find out which
    /// field, shortened, would let it.
    pub(super) fn shortened(&self, name: &'static str) -> Self {
        let mut label = self.clone();
        let target = match name {
            field::SHOP_NAME => &mut label.shop_name,
            field::CUT_NAME => &mut label.cut_name,
            field::SPECIES_LINE => &mut label.species_line,
            field::ORIGIN_LINE => &mut label.origin_line,
            field::NET_WEIGHT => &mut label.net_weight,
            field::UNIT_PRICE => &mut label.unit_price,
            field::PRICE => &mut label.price,
            field::USE_BY => &mut label.use_by,
            field::CUT_ON => &mut label.cut_on,
            field::STORAGE => &mut label.storage,
            field::LOT_CODE => &mut label.lot_code,
            field::TRAY_CODE => &mut label.tray_code,
            field::OLD_PRICE => label.old_price.get_or_insert_default(),
            field::MARKDOWN_REASON => label.markdown_reason.get_or_insert_default(),
            field::NOTICES => {
                label.notices.truncate(1);
                label.notices.iter_mut().for_each(|text| *text = "-".to_owned());
                return label;
            }
            field::CAUTIONS => {
                label.cautions.truncate(1);
                label.cautions.iter_mut().for_each(|text| *text = "-".to_owned());
                return label;
            }
            _ => return label,
        };
        *target = "-".to_owned();
        label
    }
}

impl Flat {
    pub(super) fn of(label: &TrayLabel) -> Self {
        let text = |field| label.text(field).to_owned();
        let joined = |fields: &[Field], joint: &str| {
            let texts: Vec<&str> =
                fields.iter().map(|field| label.text(*field)).filter(|text| !text.is_empty()).collect();
            texts.join(joint)
        };
        let given = |field| Some(text(field)).filter(|text| !text.is_empty());
        Self {
            shop_name: joined(&[Field::ShopName, Field::ShopAddress], ", "),
            cut_name: text(Field::CutName),
            species_line: joined(&[Field::CommercialName, Field::ScientificName], " · "),
            origin_line: joined(&[Field::ProductionMethod, Field::OriginCountry, Field::CatchArea, Field::Gear], ", "),
            net_weight: text(Field::NetWeight),
            unit_price: text(Field::UnitPrice),
            price: given(Field::Price).unwrap_or_else(|| label.captions.by_weight.clone()),
            old_price: given(Field::OldPrice),
            markdown_reason: given(Field::MarkdownReason),
            use_by: text(Field::UseBy),
            cut_on: text(Field::CutOn),
            storage: text(Field::Storage),
            lot_code: text(Field::LotCode),
            tray_code: text(Field::TrayCode),
            notices: [Field::Defrosted, Field::Notices].into_iter().filter_map(given).collect(),
            cautions: [Field::Allergen, Field::Advisory, Field::Cautions].into_iter().filter_map(given).collect(),
            qr_text: text(Field::QrText),
            captions: label.captions.clone(),
        }
    }
}
