//! A fish or a case arrives: inspected, weighed, put on one bulk tray from which everything else is cut.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::freeze_parasites::{LetterDraft, LetterRecord};
use super::judge::{budgets, cut_by_code, place_by_code};
use super::tray_ledger::Movement;
use crate::domain::holding::Holding;
use crate::domain::inspection::{Inspection, InspectionDraft};
use crate::domain::ledger::Account;
use crate::domain::life::budget::Form;
use crate::domain::life::lived::Lived;
use crate::domain::lot::{CatchDraft, CatchFacts, Lot, lot_code};
use crate::domain::place::Place;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::{Kind, Tray};
use crate::domain::tray_code::TrayCode;
use crate::store::acts::{self, NewAct};
use crate::store::catalogue::{species_of, supplier};
use crate::store::{Tx, counters, holds, lots, stays, trays};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::mass::Grams;
use crate::units::money::{Cents, PricePerKg};
use crate::units::zone::parse_day;
use chrono::NaiveDate;

/// How far back an arrival may be told.
const EARLIEST_DAYS: i64 = 400;

/// What is said of an arrival.
#[derive(Debug, Clone)]
pub struct Arrival {
    pub species: String,
    pub supplier: String,
    pub supplier_lot_code: Option<String>,
    pub supplier_use_by: Option<String>,
    /// When it came in; now, when absent.
    pub received_at: Option<Instant>,
    pub received_g: i64,
    pub cost_cents: i64,
    pub pieces: i64,
    /// The bulk cut it arrives as, and where it is put.
    pub cut: String,
    pub place: String,
    pub catch: CatchDraft,
    pub inspection: InspectionDraft,
    /// What the supplier's letter says of freezing against parasites.
    pub parasite_letter: Option<LetterDraft>,
    pub previously_frozen: bool,
    /// The day it was frozen first, where the papers say.
    pub frozen_on: Option<String>,
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Received {
    pub lot: Lot,
    pub tray: Tray,
    /// Why the lot is on hold from the start, if it is.
    pub hold: Option<String>,
}

/// The next tray code of the shop.
pub fn next_tray_code(tx: &mut Tx<'_>) -> Result<TrayCode, Failure> {
    loop {
        let number = counters::next(tx, "tray")?;
        if let Some(code) = u64::try_from(number).ok().and_then(TrayCode::from_number) {
            return Ok(code);
        }
    }
}

fn invalid(field: &'static str) -> impl Fn(crate::units::OutOfRange) -> Refusal {
    move |e| Refusal::new(Code::InvalidValue, field, e.to_string())
}

/// Checks an arrival into a lot that has no number and code yet.
fn check(shop: &Shop, now: Instant, arrival: &Arrival) -> Result<Lot, Failure> {
    let received_at = arrival.received_at.unwrap_or(now);
    if received_at > now {
        return refuse(Code::TimeInFuture, "received_at", "lies in the future");
    }
    if now.since(received_at) > EARLIEST_DAYS * 24 * MICROS_PER_HOUR {
        return refuse(Code::TimeTooEarly, "received_at", format!("lies more than {EARLIEST_DAYS} days back"));
    }
    let received = Grams::new(arrival.received_g).map_err(invalid("received_g"))?;
    if received.is_zero() {
        return refuse(Code::InvalidValue, "received_g", "must be above zero");
    }
    if !(1..=10_000).contains(&arrival.pieces) {
        return refuse(Code::InvalidValue, "pieces", "must be from 1 to 10000");
    }
    let catch = CatchFacts::check(&arrival.catch).map_err(|r| r.under("catch"))?;
    if catch.caught_to > shop.zone.day_of(received_at) {
        return refuse(Code::TimeInFuture, "catch/caught_to", "lies after the day of receiving");
    }
    let use_by = arrival.supplier_use_by.as_deref().map(parse_day).transpose();
    let supplier_use_by = use_by.map_err(|e| Refusal::new(Code::InvalidValue, "supplier_use_by", e.to_string()))?;
    if supplier_use_by.is_some_and(|day| day < shop.zone.day_of(received_at)) {
        return refuse(Code::InvalidValue, "supplier_use_by", "lies before the day of receiving; do not take it in");
    }
    let frozen_on = frozen_on(arrival, &catch, shop.zone.day_of(received_at))?;
    let foreign = arrival.supplier_lot_code.as_deref().map(|code| text::foreign_code("supplier_lot_code", code));
    Ok(Lot {
        id: 0,
        code: String::new(),
        species: arrival.species.clone(),
        supplier: arrival.supplier.clone(),
        supplier_lot_code: foreign.transpose()?,
        supplier_use_by,
        received_at,
        received,
        cost: Cents::new(arrival.cost_cents).map_err(invalid("cost_cents"))?,
        pieces: arrival.pieces,
        catch,
        inspection: Inspection::check(&arrival.inspection).map_err(|r| r.under("inspection"))?,
        parasite_freezing: None,
        previously_frozen: arrival.previously_frozen,
        frozen_on,
    })
}

/// The day of the first freezing: only of fish that came frozen, between the catch and the arrival.
fn frozen_on(arrival: &Arrival, catch: &CatchFacts, received: NaiveDate) -> Result<Option<NaiveDate>, Failure> {
    let wrong = |reason: &str| Refusal::new(Code::InvalidValue, "frozen_on", reason);
    let Some(text) = arrival.frozen_on.as_deref() else { return Ok(None) };
    let day = parse_day(text).map_err(|e| wrong(&e.to_string()))?;
    let reason = match () {
        () if !arrival.previously_frozen => "is for fish that was previously_frozen",
        () if day < catch.caught_from => "lies before the catch",
        () if day > received => "lies after the day of receiving",
        () => return Ok(Some(day)),
    };
    Err(wrong(reason).into())
}

/// Takes an arrival in. Fish that comes too warm is taken in on hold.
pub fn receive(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    arrival: &Arrival,
) -> Result<Received, Failure> {
    let mut lot = check(shop, now, arrival)?;
    let Some(species) = species_of::find(tx, &lot.species)? else {
        return refuse(Code::UnknownReference, "species_code", "there is no such species");
    };
    let letter = arrival.parasite_letter.as_ref().map(|letter| letter.judge(shop, &species)).transpose();
    let letter = letter.map_err(|refusal| refusal.under("parasite_letter"))?;
    lot.parasite_freezing = letter.as_ref().map(LetterRecord::in_words);
    if supplier::find(tx, &lot.supplier)?.is_none() {
        return refuse(Code::UnknownReference, "supplier_code", "there is no such supplier");
    }
    let cut = cut_by_code(tx, "cut_code", &arrival.cut)?;
    let place = place_by_code(tx, "place_code", &arrival.place)?;
    if cut.kind != Kind::Bulk {
        return refuse(
            Code::WrongKind,
            "cut_code",
            "what arrives is a bulk cut; blocks and tubs come from a breakdown",
        );
    }
    let budgets = budgets(tx, shop, &lot.species, &cut)?;
    let day = shop.zone.day_of(lot.received_at);
    let number = counters::next(tx, &format!("lot {} {day}", lot.species))?;
    lot.code = lot_code(&lot.species, day, number);
    let act = NewAct {
        kind: "receive",
        at: lot.received_at,
        recorded_at: now,
        actor: &actor.name,
        reason: None,
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    lot.id = lots::insert(tx, act_id, &lot)?;
    if let Some(letter) = &letter {
        letter.keep(tx, actor, act_id, lot.id, now)?;
    }
    let supplier_until = lot.supplier_use_by.map(|day| shop.zone.end_of(day).plus_micros(-1));
    let lived = Lived {
        raw_budget_validated: cut.raw_budget_validated.is_some(),
        // What comes in pieces was prepared by someone else; here the days count from its arrival.
        date_day_one: (cut.form != Form::Whole).then_some(day),
        wholly_frozen_before: lot.previously_frozen || place.is_frozen(),
        ..Lived::fresh(budgets, lot.received_at)
    };
    let tray = first_tray(tx, act_id, &lot, &cut.code, &place, lived, supplier_until)?;
    let hold = lot.inspection.hold_reason();
    if let Some(reason) = &hold {
        holds::place(tx, act_id, "lot", lot.id, lot.received_at, "receiving inspection", reason)?;
    }
    Ok(Received { lot, tray, hold })
}

/// The bulk tray that holds the whole lot.
fn first_tray(
    tx: &mut Tx<'_>,
    act_id: i64,
    lot: &Lot,
    cut: &str,
    place: &Place,
    lived: Lived,
    supplier_until: Option<Instant>,
) -> Result<Tray, Failure> {
    let frozen = place.is_frozen();
    let mut tray = Tray {
        id: 0,
        code: next_tray_code(tx)?,
        kind: Kind::Bulk,
        cut: cut.to_owned(),
        species: lot.species.clone(),
        batch_id: None,
        place: place.code.clone(),
        fate: None,
        gone_at: None,
        net: lot.received,
        initial: lot.received,
        price: PricePerKg::default(),
        list_price: PricePerKg::default(),
        markdown_reason: None,
        lived,
        cut_at: lot.received_at,
        use_by: None,
        supplier_until,
        paused_left_micros: None,
        frozen_at: frozen.then_some(lot.received_at),
        thawed_at: (lot.previously_frozen && !frozen).then_some(lot.received_at),
        label_wanted: None,
        version: 1,
    };
    tray.id = trays::insert(tx, &tray)?;
    stays::begin(tx, tray.id, place, lived.as_of)?;
    let whole = Holding { lot_id: lot.id, grams: lot.received.get(), cost_cents: lot.cost.get() };
    trays::change_holding(tx, tray.id, whole)?;
    let mut movement = Movement::default();
    movement.outside(Account::Supplier, &[whole], -1);
    movement.outside(Account::Tray(tray.id), &[whole], 1);
    movement.post(tx, act_id)?;
    Ok(tray)
}
