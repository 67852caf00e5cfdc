//! The label of a tray: issued (recorded, with the use-by it promises) and drawn. Layout is `labels`'; what a label says is gathered here.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{cut_by_code, place_of, promise, require_in_stock, tray_by_code};
use crate::domain::gs1::TrayLink;
use crate::domain::label_fields::{Circumstances, Field, Pack, Sold, Template, Thawed, rules};
use crate::domain::label_words;
use crate::domain::lot::{Lot, Production};
use crate::domain::place::StorageMethod;
use crate::domain::refusal::Code;
use crate::domain::shop::{Jurisdiction, LABEL_CAUTIONS, LABEL_STORAGE_LIMIT, Shop};
use crate::domain::text;
use crate::domain::tray::{Kind, LabelReason, Tray};
use crate::labels;
use crate::labels::facts::{Captions, TrayLabel};
use crate::labels::layout::{Layout, lay_out};
use crate::labels::stock::Dpi;
use crate::labels::stocks::Stocks;
use crate::labels::text::Fonts;
use crate::store::acts::{self, NewAct};
use crate::store::catalogue::species_of;
use crate::store::error::StoreError;
use crate::store::{Reading, Tx, issued_labels, lots, trays};
use crate::units::instant::Instant;
use crate::units::zone::write_day;

/// Issues the label of a tray: fixes the use-by it promises and records it. Nothing is issued that could not be printed as the rules
/// require. A second label for an unchanged tray is a reprint and needs a reason.
pub fn issue(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    reason: Option<&str>,
) -> Result<Tray, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let mut tray = tray_by_code(tx, "tray_code", code)?;
    require_in_stock(&tray, "tray_code")?;
    let place = place_of(tx, &tray)?;
    if place.is_frozen() {
        return refuse(Code::Frozen, "tray_code", "a frozen tray gets its label after thawing");
    }
    if tray.kind == Kind::Bulk {
        return refuse(Code::WrongKind, "tray_code", "a bulk tray is not sold and carries no sales label");
    }
    let life_ends = promise(tx, shop, &tray, &place, now)?.ends_at;
    // Never after what was printed before for the same unfrozen stretch of its life; down to the whole minute.
    tray.use_by = [tray.use_by, life_ends].into_iter().flatten().min().map(Instant::floor_minute);
    if tray.use_by.is_none_or(|end| end < now) {
        return refuse(Code::LifeEnded, "tray_code", "its life has ended; there is no use-by left to print");
    }
    let why = match tray.label_wanted {
        Some(wanted) => wanted,
        None if issued_labels::count_of_tray(tx, tray.id)? == 0 => LabelReason::New,
        None if reason.is_some() => LabelReason::Reprint,
        None => return refuse(Code::ReasonRequired, "reason", "the tray has its label; say why it is printed again"),
    };
    fitting(&facts(tx, shop, &tray)?, Dpi::D203)?;
    tray.label_wanted = None;
    let act = NewAct {
        kind: "label",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: reason.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    issued_labels::insert(tx, act_id, &tray, now, why, life_ends)?;
    trays::save(tx, &mut tray)?;
    Ok(tray)
}

/// The label of a tray as last issued, drawn at 203 or 300 dpi, as a 1-bit PNG.
pub fn picture(reading: &mut Reading<'_>, shop: &Shop, code: &str, dpi: u32) -> Result<Vec<u8>, Failure> {
    let dpi = match dpi {
        203 => Dpi::D203,
        300 => Dpi::D300,
        _ => return refuse(Code::InvalidValue, "dpi", "must be 203 or 300"),
    };
    let tray = tray_by_code(reading, "tray_code", code)?;
    if tray.use_by.is_none() || issued_labels::count_of_tray(reading, tray.id)? == 0 {
        return refuse(Code::LabelRefused, "tray_code", "no label was issued yet; issue one first");
    }
    let layout = fitting(&facts(reading, shop, &tray)?, dpi)?;
    Ok(labels::png(&layout.paint(Fonts::standard()), dpi))
}

/// The label laid out on the smallest stock that takes all of it: 62 x 40 mm, else 80 x 50 mm.
fn fitting(label: &TrayLabel, dpi: Dpi) -> Result<Layout, Failure> {
    let stock = |name| Stocks::built_in().find(name, dpi).ok_or_else(|| StoreError::impossible("label stock", name));
    let small = lay_out(Fonts::standard(), label, &stock("62x40")?);
    match small {
        Ok(layout) => Ok(layout),
        Err(_) => Ok(lay_out(Fonts::standard(), label, &stock("80x50")?)?),
    }
}

/// Everything the label of a tray says.
fn facts(reading: &mut Reading<'_>, shop: &Shop, tray: &Tray) -> Result<TrayLabel, Failure> {
    let cut = cut_by_code(reading, "tray_code", &tray.cut)?;
    let species =
        species_of::find(reading, &tray.species)?.ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let lot_ids: Vec<i64> = trays::holdings_of(reading, tray.id)?.holdings().iter().map(|h| h.lot_id).collect();
    let lots = lots::by_ids(reading, &lot_ids)?;
    let oldest = lots.first().ok_or_else(|| StoreError::impossible("lots on tray", tray.code))?;
    let price = tray.price.for_weight(tray.net);
    let by_weight = tray.kind == Kind::Tub;
    let tray_code = tray.code.to_string();
    let link = TrayLink {
        base: &shop.web_address,
        item_number: cut.item_number,
        lot_code: &oldest.code,
        tray_code: &tray_code,
        weight_and_price: (!by_weight).then_some((tray.net, price)),
        use_by: tray.use_by.map(|end| shop.zone.day_of(end)),
    };
    let Some(qr_text) = link.address() else {
        return refuse(Code::LabelRefused, "tray_code", "the tray's code cannot be said in GS1 form");
    };
    let old_price = tray.list_price.for_weight(tray.net);
    let old_text = if by_weight { format!("{}/kg", shop.money(tray.list_price)) } else { shop.money(old_price) };
    let template = match tray.kind {
        _ if tray.marked_down() => Template::Markdown,
        Kind::Tub => Template::Tub,
        _ => Template::Block,
    };
    let wild = lots.iter().any(|lot| lot.catch.production == Production::Wild);
    let circumstances = Circumstances {
        production: if wild { Production::Wild } else { Production::Farmed },
        thawed: if tray.was_frozen() { Thawed::Defrosted } else { Thawed::No },
        pack: Pack::Usual,
        sold: if by_weight { Sold::ByWeight } else { Sold::Whole },
    };
    let rules = rules(shop.jurisdiction, template, circumstances);
    let notices: Vec<String> = cut.label_note.into_iter().collect();
    let [advisory, _] = LABEL_CAUTIONS;
    let label = TrayLabel::new(template, rules, Captions::default())
        .with(Field::ShopName, &shop.name)
        .with(Field::ShopAddress, &shop.address)
        .with(Field::CutName, cut.name)
        .with(Field::CommercialName, &species.market_name)
        .with(Field::ScientificName, species.scientific_name)
        .with(
            Field::ProductionMethod,
            distinct(&lots, |lot| {
                label_words::production_method(shop.jurisdiction, lot.catch.production, &lot.catch.area).to_owned()
            }),
        )
        .with(Field::CatchArea, distinct(&lots, |lot| label_words::catch_area(&lot.catch.area)))
        .with(
            Field::Gear,
            distinct(&lots, |lot| lot.catch.gear.as_deref().map(label_words::gear).unwrap_or_default().to_owned()),
        )
        .with(
            Field::OriginCountry,
            match shop.jurisdiction {
                Jurisdiction::Us => format!("Product of {}", distinct(&lots, |lot| lot.catch.country.clone())),
                Jurisdiction::Eu => String::new(),
            },
        )
        .with(Field::Defrosted, defrosted(shop, tray))
        .with(Field::NetWeight, label_words::net_weight(shop.jurisdiction, tray.net))
        .with(Field::UnitPrice, format!("{}/kg", shop.money(tray.price)))
        .with(Field::Price, if by_weight { String::new() } else { shop.money(price) })
        .with(Field::UseBy, tray.use_by.map(|end| shop.zone.write(end)).unwrap_or_default())
        .with(Field::CutOn, write_day(shop.zone.day_of(tray.cut_at)))
        .with(Field::Storage, storage(reading, tray)?)
        .with(Field::LotCode, lot_words(&lots))
        .with(Field::TrayCode, tray.code.grouped())
        .with(Field::Allergen, label_words::allergen(shop.jurisdiction, &species.market_name))
        .with(Field::Advisory, advisory)
        .with(Field::Notices, notices.join(" · "))
        .with(Field::QrText, qr_text);
    if tray.marked_down() {
        return Ok(label
            .with(Field::OldPrice, old_text)
            .with(Field::MarkdownReason, tray.markdown_reason.clone().unwrap_or_default()));
    }
    Ok(label)
}

fn storage(reading: &mut Reading<'_>, tray: &Tray) -> Result<String, Failure> {
    Ok(match place_of(reading, tray)?.method {
        StorageMethod::Frozen => "Keep frozen at -18 °C or colder".to_owned(),
        _ => format!("Keep at 0 to {} °C", LABEL_STORAGE_LIMIT.get() / 1_000),
    })
}

/// What the lots say, each thing once.
fn distinct(lots: &[Lot], words: impl Fn(&Lot) -> String) -> String {
    let mut said: Vec<String> = Vec::new();
    for one in lots.iter().map(words).filter(|one| !one.is_empty()) {
        if !said.contains(&one) {
            said.push(one);
        }
    }
    said.join("; ")
}

fn lot_words(lots: &[Lot]) -> String {
    let codes: Vec<&str> = lots.iter().map(|lot| lot.code.as_str()).collect();
    codes.join(" ")
}

fn defrosted(shop: &Shop, tray: &Tray) -> &'static str {
    match shop.jurisdiction {
        _ if !tray.was_frozen() => "",
        Jurisdiction::Us => "Previously frozen. Do not refreeze.",
        Jurisdiction::Eu => "Defrosted. Do not refreeze.",
    }
}
