//! The label of a tray: issued (recorded, with the use-by it promises) and drawn. Layout is `labels`'; what a label says is gathered here.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{cut_by_code, place_of, promise, require_in_stock, tray_by_code};
use crate::domain::gs1::TrayLink;
use crate::domain::lot::Lot;
use crate::domain::place::StorageMethod;
use crate::domain::refusal::Code;
use crate::domain::shop::{Jurisdiction, LABEL_CAUTIONS, LABEL_STORAGE_LIMIT, Shop};
use crate::domain::text;
use crate::domain::tray::{Kind, LabelReason, Tray};
use crate::labels;
use crate::labels::facts::{Captions, TrayLabel};
use crate::labels::layout::{Layout, lay_out};
use crate::labels::stock::{Dpi, LabelStock};
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
    Ok(labels::png(&layout.paint(), dpi))
}

/// The label laid out on the smallest stock that takes all of it: 62 x 40 mm, else 80 x 50 mm.
fn fitting(label: &TrayLabel, dpi: Dpi) -> Result<Layout, Failure> {
    let small = lay_out(label, &LabelStock::standard(dpi));
    Ok(small.or_else(|_| lay_out(label, &LabelStock::large(dpi)))?)
}

/// Everything the label of a tray says.
pub(super) fn facts(reading: &mut Reading<'_>, shop: &Shop, tray: &Tray) -> Result<TrayLabel, Failure> {
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
    Ok(TrayLabel {
        shop_name: format!("{}, {}", shop.name, shop.address),
        cut_name: cut.name,
        species_line: format!("{} · {}", species.market_name, species.scientific_name),
        origin_line: origin(&lots),
        net_weight: tray.net.to_string(),
        unit_price: format!("{}/kg", shop.money(tray.price)),
        price: if by_weight { "by weight".to_owned() } else { shop.money(price) },
        old_price: tray.marked_down().then_some(old_text),
        markdown_reason: tray.marked_down().then(|| tray.markdown_reason.clone().unwrap_or_default()),
        use_by: tray.use_by.map(|end| shop.zone.write(end)).unwrap_or_default(),
        cut_on: write_day(shop.zone.day_of(tray.cut_at)),
        storage: storage(reading, tray)?,
        lot_code: lot_words(&lots),
        tray_code: tray.code.grouped(),
        notices: notices(shop, tray, cut.label_note),
        cautions: LABEL_CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
        qr_text,
        captions: Captions::default(),
    })
}

fn storage(reading: &mut Reading<'_>, tray: &Tray) -> Result<String, Failure> {
    Ok(match place_of(reading, tray)?.method {
        StorageMethod::Frozen => "Keep frozen at -18 °C or colder".to_owned(),
        _ => format!("Keep at 0 to {} °C", LABEL_STORAGE_LIMIT.get() / 1_000),
    })
}

/// Origin of the oldest lot; how many others are mixed in.
fn origin(lots: &[Lot]) -> String {
    let mut words: Vec<String> = Vec::new();
    for lot in lots {
        let one = lot.catch.in_words();
        if !words.contains(&one) {
            words.push(one);
        }
    }
    words.join("; ")
}

fn lot_words(lots: &[Lot]) -> String {
    let codes: Vec<&str> = lots.iter().map(|lot| lot.code.as_str()).collect();
    codes.join(" ")
}

fn notices(shop: &Shop, tray: &Tray, note: Option<String>) -> Vec<String> {
    let mut notices = Vec::new();
    if tray.was_frozen() {
        notices.push(match shop.jurisdiction {
            Jurisdiction::Us => "Previously frozen. Do not refreeze.".to_owned(),
            Jurisdiction::Eu => "Defrosted. Do not refreeze.".to_owned(),
        });
    }
    notices.extend(note);
    notices
}
