//! What a label says: what was fixed when it was issued, and what never changes of the fish. Which words the law wants is
//! `domain::label_words`'s, which fields `domain::label_fields`'s.

use super::record::blank;
use crate::domain::catalogue::{Cut, ParasiteRule, Species};
use crate::domain::gs1::tray_link::TrayLink;
use crate::domain::label_fields::{Circumstances, Field, Sold, Template, Thawed};
use crate::domain::label_words;
use crate::domain::lot::{Lot, Production};
use crate::domain::refusal::Code;
use crate::domain::shop::{COOKING_CAUTION, Jurisdiction, RAW_CAUTION, Shop};
use crate::domain::tray::{Kind, Tray};
use crate::labels::facts::TrayLabel;
use crate::ops::customer::{FirstFrozen, first_frozen_of};
use crate::ops::failure::{Failure, refuse};
use crate::ops::judge::cut_by_code;
use crate::ops::press::Press;
use crate::store::catalogue::species_of;
use crate::store::error::StoreError;
use crate::store::issued_labels::IssuedLabel;
use crate::store::{Reading, lots};
use crate::units::money::PricePerKg;

/// All a label rests on.
struct Ground<'a> {
    shop: &'a Shop,
    tray: &'a Tray,
    issued: &'a IssuedLabel,
    cut: Cut,
    species: Species,
    /// The oldest first.
    lots: Vec<Lot>,
    thawed: Thawed,
    frozen: FirstFrozen,
}

/// Everything the label of a tray says.
pub fn gather(
    reading: &mut Reading<'_>,
    shop: &Shop,
    press: &Press,
    tray: &Tray,
    issued: &IssuedLabel,
) -> Result<(TrayLabel, Circumstances), Failure> {
    let cut = cut_by_code(reading, "tray_code", &tray.cut)?;
    let species =
        species_of::find(reading, &tray.species)?.ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let lots = lots::of_tray(reading, tray.id)?;
    let thawed = thawed(reading, tray, &species)?;
    let frozen = frozen(reading, shop, tray, issued)?;
    let ground = Ground { shop, tray, issued, cut, species, lots, thawed, frozen };
    let wild = ground.lots.iter().any(|lot| lot.catch.production == Production::Wild);
    let circumstances = Circumstances {
        production: if wild { Production::Wild } else { Production::Farmed },
        thawed,
        pack: press.pack(),
        sold: if tray.kind == Kind::Tub { Sold::ByWeight } else { Sold::Whole },
    };
    let label = blank(shop.jurisdiction, issued.template, circumstances, ground.use_by_caption())
        .with(Field::QrText, ground.address()?)
        .with(Field::Linear, ground.linear_number()?);
    let label = ground.dates(ground.fish(label));
    Ok((if issued.template.is_for_sale() { ground.money(label) } else { label }, circumstances))
}

/// Since when fish in a freezer is frozen, as far as anybody knows.
fn frozen(reading: &mut Reading<'_>, shop: &Shop, tray: &Tray, issued: &IssuedLabel) -> Result<FirstFrozen, Failure> {
    if issued.use_by.is_some() {
        return Ok(FirstFrozen::Never);
    }
    first_frozen_of(reading, shop, issued.at, tray)
}

/// The article number that labels of a cut carry from now on.
pub fn article(shop: &Shop, cut: &Cut) -> Result<String, Failure> {
    match shop.codes.article(cut.item_number).number() {
        Ok(number) => Ok(number),
        Err(fault) => refuse(Code::LabelRefused, "tray_code", format!("its code cannot be said: {fault}")),
    }
}

/// Whether it was frozen to keep it, or because the law wants it before raw eating.
fn thawed(reading: &mut Reading<'_>, tray: &Tray, species: &Species) -> Result<Thawed, Failure> {
    if !tray.was_frozen() {
        return Ok(Thawed::No);
    }
    let on_record = tray.lived.parasites_frozen_at.is_some() || lots::all_frozen_on_record(reading, tray.id)?;
    let demanded = species.parasite_rule == ParasiteRule::FreezeBeforeRaw && on_record;
    Ok(if demanded { Thawed::FrozenForSafety } else { Thawed::Defrosted })
}

impl Ground<'_> {
    /// Whether what it weighs and costs is fixed when it is labelled.
    fn is_sold_whole(&self) -> bool {
        self.issued.template.is_for_sale() && self.tray.kind == Kind::Block
    }

    /// The thirteen digits of the linear code; empty where the shop prints none, and for what is not sold whole. A layout of twelve places is a
    /// UPC-A, which is an EAN-13 that begins with 0 (GS1 General Specifications 5.2): the bars are the same.
    fn linear_number(&self) -> Result<String, Failure> {
        if !self.is_sold_whole() {
            return Ok(String::new());
        }
        let price = self.issued.price.for_weight(self.issued.net);
        match self.shop.codes.linear_number(self.cut.item_number, price, self.issued.net) {
            Ok(number) => Ok(number.map_or_else(String::new, |number| format!("{number:0>13}"))),
            Err(fault) => refuse(Code::LabelRefused, "linear", format!("its linear code cannot be said: {fault}")),
        }
    }

    /// The address in the QR. What of it changes after printing is left out: a tub's weight, and with it its price; and the date of what is
    /// not sold, which promises nothing.
    fn address(&self) -> Result<String, Failure> {
        let Some(oldest) = self.lots.first() else {
            return Err(StoreError::impossible("lots on tray", self.tray.code).into());
        };
        let for_sale = self.issued.template.is_for_sale();
        let use_by = self.issued.use_by.filter(|_| for_sale).map(|end| self.shop.zone.local(end));
        let price = self.issued.price.for_weight(self.issued.net);
        let tray_code = self.tray.code.to_string();
        let link = TrayLink {
            base: &self.shop.web_address,
            article: self.shop.codes.article(self.cut.item_number),
            lot_code: &oldest.code,
            tray_code: &tray_code,
            weight_and_price: self.is_sold_whole().then_some((self.issued.net, price)),
            money_decimals: self.shop.currency.decimals(),
            use_by: use_by.map(|end| end.date()),
            use_by_time: use_by.filter(|_| self.tray.kind == Kind::Tub).map(|end| end.time()),
        };
        match link.address() {
            Ok(address) => Ok(address),
            Err(fault) => refuse(Code::LabelRefused, "tray_code", format!("its code cannot be said: {fault}")),
        }
    }

    fn use_by_caption(&self) -> &'static str {
        match (self.issued.template, self.issued.use_by, self.frozen) {
            (Template::Block | Template::Tub | Template::Markdown, ..) => "USE BY",
            (_, None, FirstFrozen::BeforeItCame) => "CAME FROZEN",
            (_, None, _) => "FROZEN SINCE",
            (Template::Kitchen, Some(_), _) => "COOK BY",
            (Template::Bulk, Some(_), _) => "RAW UNTIL",
        }
    }

    /// What it is and where it came from.
    fn fish(&self, label: TrayLabel) -> TrayLabel {
        let law = self.shop.jurisdiction;
        let method = |lot: &Lot| label_words::production_method(law, lot.catch.production, &lot.catch.area).to_owned();
        let gear = |lot: &Lot| lot.catch.gear.as_deref().map(label_words::gear).unwrap_or_default().to_owned();
        let country = match law {
            Jurisdiction::Us => {
                format!("Product of {}", distinct(&self.lots, " and ", |lot| lot.catch.country.clone()))
            }
            Jurisdiction::Eu => String::new(),
        };
        let codes: Vec<&str> = self.lots.iter().map(|lot| lot.code.as_str()).collect();
        label
            .with(Field::ShopName, &self.shop.name)
            .with(Field::ShopAddress, &self.shop.address)
            .with(Field::CutName, &self.cut.name)
            .with(Field::CommercialName, &self.species.market_name)
            .with(Field::ScientificName, &self.species.scientific_name)
            .with(Field::ProductionMethod, distinct(&self.lots, " and ", method))
            .with(Field::CatchArea, distinct(&self.lots, "; ", |lot| label_words::catch_area(&lot.catch.area)))
            .with(Field::Gear, distinct(&self.lots, "; ", gear))
            .with(Field::OriginCountry, country)
            .with(Field::LotCode, codes.join(" "))
            .with(Field::TrayCode, self.tray.code.grouped())
            .with(Field::Allergen, label_words::allergen(law, &self.species.market_name))
            .with(Field::Advisory, if self.cut.for_raw_eating() { RAW_CAUTION } else { COOKING_CAUTION })
            .with(Field::Notices, self.notices())
            .with(Field::NetWeight, self.net_weight())
    }

    fn dates(&self, label: TrayLabel) -> TrayLabel {
        let shop = self.shop;
        let received = self.lots.first().map(|lot| lot.received_at);
        let until = match (self.issued.use_by, self.frozen) {
            (Some(end), _) => shop.write_time(end),
            (None, FirstFrozen::On(day)) => shop.write_day(day),
            (None, _) => received.map(|at| shop.write_day_of(at)).unwrap_or_default(),
        };
        // Fish as it came was never cut here.
        let cut = self.tray.lived.date_day_one.is_some();
        let cut_on = if cut { shop.write_day_of(self.tray.cut_at) } else { String::new() };
        let received_on = received.filter(|_| !cut).map(|at| shop.write_day_of(at)).unwrap_or_default();
        let storage = match self.issued.use_by {
            None if self.shop.jurisdiction == Jurisdiction::Us => "Keep frozen at 0 °F or colder",
            None => "Keep frozen at -18 °C or colder",
            Some(_) => self.shop.storage_words(),
        };
        let defrosted = match (self.thawed, self.shop.jurisdiction) {
            (Thawed::No, _) | (Thawed::FrozenForSafety, Jurisdiction::Eu) => "",
            (_, Jurisdiction::Us) => "Previously frozen. Do not refreeze.",
            (Thawed::Defrosted, Jurisdiction::Eu) => "Defrosted. Do not refreeze.",
        };
        label
            .with(Field::UseBy, until)
            .with(Field::CutOn, cut_on)
            .with(Field::ReceivedOn, received_on)
            .with(Field::Storage, storage)
            .with(Field::Defrosted, defrosted)
    }

    fn money(&self, label: TrayLabel) -> TrayLabel {
        let (shop, issued) = (self.shop, self.issued);
        let per_weight = |price| shop.weight_unit.write_price(price, &shop.currency);
        let whole = |price: PricePerKg| shop.money(price.for_weight(issued.net));
        let by_weight = self.tray.kind == Kind::Tub;
        let label = label
            .with(Field::UnitPrice, per_weight(issued.price))
            .with(Field::Price, if by_weight { String::new() } else { whole(issued.price) });
        let Some(reason) = issued.markdown_reason.as_ref() else {
            return label;
        };
        let old = if by_weight { per_weight(issued.list_price) } else { whole(issued.list_price) };
        label.with(Field::OldPrice, old).with(Field::MarkdownReason, reason)
    }

    /// What it weighs; of a tub for sale nothing, since the first sale out of it would make it false.
    fn net_weight(&self) -> String {
        if self.issued.template.is_for_sale() && self.tray.kind == Kind::Tub {
            return String::new();
        }
        self.shop.weight_unit.write(self.issued.net, self.shop.currency.mark)
    }

    /// What stands out: the cut's own note, and what must not be done with it.
    fn notices(&self) -> String {
        let kitchen = "For the kitchen: cook before eating; not for raw eating.";
        let said = [
            (self.issued.template == Template::Kitchen).then(|| kitchen.to_owned()),
            self.cut.label_note.clone(),
            (self.thawed == Thawed::FrozenForSafety && self.shop.jurisdiction == Jurisdiction::Eu)
                .then(|| "Do not refreeze.".to_owned()),
        ];
        said.into_iter().flatten().collect::<Vec<String>>().join(" · ")
    }
}

/// What the lots say, each thing once.
fn distinct(lots: &[Lot], joint: &str, words: impl Fn(&Lot) -> String) -> String {
    let mut said: Vec<String> = Vec::new();
    for one in lots.iter().map(words).filter(|one| !one.is_empty()) {
        if !said.contains(&one) {
            said.push(one);
        }
    }
    said.join(joint)
}
