//! The label of a tray: issued (recorded, with what it promises) and drawn as it was issued. Layout is `labels`'; what a label says is
//! gathered in `saying`.

pub mod forms;
pub mod preview;
mod record;
mod saying;

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{cut_by_code, life, place_of, promise, require_in_stock, tray_by_code};
use super::press::Press;
use crate::domain::catalogue::Cut;
use crate::domain::label_fields::Template;
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{Kind, LabelReason, Tray};
use crate::labels::facts::TrayLabel;
use crate::labels::layout::Layout;
use crate::labels::stock::LabelStock;
use crate::store::acts::{self, NewAct};
use crate::store::issued_labels::{self, IssuedLabel};
use crate::store::{Reading, Tx, trays};
use crate::units::instant::Instant;

/// Issues the label of a tray: fixes the use-by it promises and records it. Nothing is issued that could not be printed as the rules
/// require. A second label for an unchanged tray is a reprint and needs a reason.
pub fn issue(
    tx: &mut Tx<'_>,
    shop: &Shop,
    press: &Press,
    actor: &Actor,
    now: Instant,
    code: &str,
    reason: Option<&str>,
) -> Result<Tray, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let mut tray = tray_by_code(tx, "tray_code", code)?;
    require_in_stock(&tray, "tray_code")?;
    let place = place_of(tx, &tray)?;
    let cut = cut_by_code(tx, "tray_code", &tray.cut)?;
    let template = template(&tray, &cut);
    let (use_by, life_ends) = match template {
        Template::Bulk | Template::Kitchen => inside_date(tx, shop, &tray, &place, now)?,
        Template::Block | Template::Tub | Template::Markdown => sales_date(tx, shop, &tray, &place, now)?,
    };
    if template.is_for_sale() {
        tray.use_by = use_by;
    }
    let why = match tray.label_wanted {
        Some(wanted) => wanted,
        None if !is_labelled(tx, &tray)? => LabelReason::New,
        None if reason.is_some() => LabelReason::Reprint,
        None => return refuse(Code::ReasonRequired, "reason", "the tray has its label; say why it is printed again"),
    };
    let mut label = IssuedLabel {
        act_id: 0,
        tray_id: tray.id,
        at: now,
        reason: why,
        template,
        use_by,
        life_ends,
        net: tray.net,
        price: tray.price,
        list_price: tray.list_price,
        markdown_reason: tray.markdown_reason.clone().filter(|_| tray.marked_down()),
        article: saying::article(shop, &cut)?,
        says: String::new(),
    };
    let (says, on) = saying::gather(tx, shop, press, &tray, &label)?;
    press.fit(&says)?;
    label.says = record::write(shop.jurisdiction, on, &says)?;
    tray.label_wanted = None;
    let act = NewAct {
        kind: "label",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: reason.as_deref(),
        reverses: None,
    };
    label.act_id = acts::append(tx, &act)?;
    issued_labels::insert(tx, &label)?;
    trays::save(tx, &mut tray)?;
    Ok(tray)
}

/// Whether a tray has had a label.
pub fn is_labelled(reading: &mut Reading<'_>, tray: &Tray) -> Result<bool, Failure> {
    Ok(issued_labels::count_of_tray(reading, tray.id)? > 0)
}

/// What a label of this tray is for.
fn template(tray: &Tray, cut: &Cut) -> Template {
    match tray.kind {
        Kind::Bulk if cut.for_raw_eating() => Template::Bulk,
        Kind::Bulk => Template::Kitchen,
        _ if tray.marked_down() => Template::Markdown,
        Kind::Tub => Template::Tub,
        Kind::Block => Template::Block,
    }
}

/// The use-by a sales label may promise, and the end it rests on: never after what was printed before for the same unfrozen stretch of the
/// tray's life; down to the whole minute.
fn sales_date(
    tx: &mut Tx<'_>,
    shop: &Shop,
    tray: &Tray,
    place: &Place,
    now: Instant,
) -> Result<(Option<Instant>, Option<Instant>), Failure> {
    if place.is_frozen() {
        return refuse(Code::Frozen, "tray_code", "a frozen tray gets its label after thawing");
    }
    let life_ends = promise(tx, shop, tray, place, now)?.ends_at;
    let use_by = [tray.use_by, life_ends].into_iter().flatten().min().map(Instant::floor_minute);
    if use_by.is_none_or(|end| end < now) {
        return refuse(Code::LifeEnded, "tray_code", "its life has ended; there is no use-by left to print");
    }
    Ok((use_by, life_ends))
}

/// The date of a label that stays in the house: what is left where the tray stands. It promises nobody anything, so it binds nothing that is
/// cut from it. None in a freezer.
fn inside_date(
    tx: &mut Tx<'_>,
    shop: &Shop,
    tray: &Tray,
    place: &Place,
    now: Instant,
) -> Result<(Option<Instant>, Option<Instant>), Failure> {
    if place.is_frozen() {
        return Ok((None, None));
    }
    let ends = life(tx, shop, tray, place, now)?.ends_at;
    Ok((ends.map(Instant::floor_minute), ends))
}

/// Which stock, at how many dots per inch; what is not said is as the shop usually prints.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    pub stock: Option<String>,
    pub dpi: Option<u32>,
}

/// A label as it was issued, laid out.
#[derive(Debug, Clone)]
pub struct Drawn {
    pub tray: Tray,
    pub issued: IssuedLabel,
    pub says: TrayLabel,
    pub layout: Layout,
    pub stock: LabelStock,
}

/// The newest label of a tray, laid out as it was issued.
pub fn drawn(reading: &mut Reading<'_>, press: &Press, code: &str, wanted: &Wanted) -> Result<Drawn, Failure> {
    let tray = tray_by_code(reading, "tray_code", code)?;
    let Some(issued) = issued_labels::newest(reading, tray.id)? else {
        return refuse(Code::LabelRefused, "tray_code", "no label was issued yet; issue one first");
    };
    let says = record::read(issued.template, &issued.says)?;
    let (layout, stock) = press.fit_on(&says, wanted)?;
    Ok(Drawn { tray, issued, says, layout, stock })
}
