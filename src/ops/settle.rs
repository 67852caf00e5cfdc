//! A manager settles what a replayed sale contradicted. Each way is an act of its own; the sale itself is never changed.

mod other_tray;

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::tray_ledger::Movement;
use crate::domain::holding::Holding;
use crate::domain::ledger::Account;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::replay::Way;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::store::acts::{self, NewAct};
use crate::store::exceptions::{self, Exception, Part, Resolution};
use crate::store::{Reading, Tx, lots, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::share::largest_remainder;
use other_tray::Exchange;

/// What a manager decides.
#[derive(Debug, Clone)]
pub struct Decision {
    pub way: Way,
    /// For `was_other_tray`: anything a scanner may send.
    pub tray: Option<String>,
    /// How much, where the till did not say; otherwise all that is missing.
    pub grams: Option<i64>,
    pub note: Option<String>,
}

/// An exception with the codes of its trays, and the lots that someone who bought it may have to be told of.
#[derive(Debug, Clone)]
pub struct Shown {
    pub exception: Exception,
    pub tray_code: Option<String>,
    pub other_tray_code: Option<String>,
    pub lot_codes: Vec<String>,
}

fn shown(reading: &mut Reading<'_>, exception: Exception) -> Result<Shown, Failure> {
    let other = exception.resolution.as_ref().and_then(|resolution| resolution.other_tray_id);
    let mut code = |id: Option<i64>| -> Result<Option<String>, Failure> {
        Ok(id.map(|id| trays::by_id(reading, id)).transpose()?.map(|tray| tray.code.to_string()))
    };
    let (tray_code, other_tray_code) = (code(exception.tray_id)?, code(other)?);
    let mut lot_codes: Vec<String> = Vec::new();
    for id in exception.tray_id.into_iter().chain(other) {
        for lot in lots::of_tray(reading, id)? {
            if !lot_codes.contains(&lot.code) {
                lot_codes.push(lot.code);
            }
        }
    }
    Ok(Shown { exception, tray_code, other_tray_code, lot_codes })
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Shown, Failure> {
    match exceptions::find(reading, id)? {
        Some(exception) => shown(reading, exception),
        None => refuse(Code::NotFound, "id", "there is no such exception"),
    }
}

/// Where in the list of all of them one stands: the open ones first, each part the newest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    part: Part,
    below: i64,
}

impl Place {
    pub const BEGINNING: Place = Place { part: Part::Open, below: i64::MAX };

    /// The place as two numbers, for a cursor.
    pub const fn write(self) -> (i64, i64) {
        (if matches!(self.part, Part::Open) { 0 } else { 1 }, self.below)
    }

    pub const fn read((part, below): (i64, i64)) -> Place {
        Place { part: if part == 0 { Part::Open } else { Part::Resolved }, below }
    }
}

/// Which of them a list is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    Open,
    All,
}

/// Some of them from a place on, and the place after them, if there may be more.
pub fn page(
    reading: &mut Reading<'_>,
    which: Which,
    from: Place,
    limit: i64,
) -> Result<(Vec<Shown>, Option<Place>), Failure> {
    let count = |found: &Vec<Exception>| i64::try_from(found.len()).unwrap_or(limit);
    let mut found = exceptions::page(reading, from.part, from.below, limit)?;
    let mut part = from.part;
    if part == Part::Open && which == Which::All && count(&found) < limit {
        part = Part::Resolved;
        let left = limit - count(&found);
        found.extend(exceptions::page(reading, part, i64::MAX, left)?);
    }
    let full = count(&found) >= limit;
    let next = found.last().filter(|_| full).map(|last| Place { part, below: last.id });
    let found = found.into_iter().map(|exception| shown(reading, exception)).collect::<Result<_, _>>()?;
    Ok((found, next))
}

pub fn count_open(reading: &mut Reading<'_>) -> Result<i64, Failure> {
    Ok(exceptions::count_open(reading)?)
}

/// Settles an open exception.
pub fn settle(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    decision: &Decision,
) -> Result<Shown, Failure> {
    let Some(exception) = exceptions::find(tx, id)? else {
        return refuse(Code::NotFound, "id", "there is no such exception");
    };
    if let Some(before) = &exception.resolution {
        return refuse(
            Code::AlreadyResolved,
            "id",
            format!("{} settled it already: {}", before.by, before.way.as_str()),
        );
    }
    let note = text::optional_note("note", decision.note.as_deref())?;
    if decision.way == Way::Recalled && note.is_none() {
        return refuse(Code::ReasonRequired, "note", "say who was told, or how they were looked for");
    }
    let planned = plan(tx, shop, now, &exception, decision)?;
    // The act is told to everybody who follows; a note may name a customer, and stays on the exception.
    let act = NewAct {
        kind: "settle_exception",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: Some(decision.way.as_str()),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    let (settled_g, other_tray_id) = match planned {
        Plan::Note => (0, None),
        Plan::Tray(exchange) => {
            let moved = (exchange.grams.get(), Some(exchange.tray.id));
            other_tray::exchange(tx, act_id, now, &exception, *exchange)?;
            moved
        }
        Plan::Lots(parts) => {
            let mut movement = Movement::default();
            movement.outside(Account::CountDifference, &parts, -1);
            movement.outside(Account::Customer, &parts, 1);
            movement.post(tx, act_id)?;
            (parts.iter().map(|part| part.grams).sum(), None)
        }
    };
    let (by, way) = (actor.name.clone(), decision.way);
    let resolution = Resolution { act_id, at: now, by, way, note, settled_g, other_tray_id };
    exceptions::resolve(tx, id, &resolution)?;
    find(tx, id)
}

/// What a decision comes to, before anything is written.
enum Plan {
    Note,
    Tray(Box<Exchange>),
    Lots(Vec<Holding>),
}

fn unfit<T>(reason: &str) -> Result<T, Failure> {
    refuse(Code::WayDoesNotFit, "way", reason)
}

fn plan(
    tx: &mut Tx<'_>,
    shop: &Shop,
    now: Instant,
    exception: &Exception,
    decision: &Decision,
) -> Result<Plan, Failure> {
    match (decision.way, &decision.tray) {
        (Way::WasOtherTray, None) => return refuse(Code::InvalidValue, "tray_code", "say which tray it was"),
        (Way::WasOtherTray, Some(_)) | (_, None) => {}
        (_, Some(_)) => return refuse(Code::InvalidValue, "tray_code", "is for was_other_tray alone"),
    }
    let moves = matches!(decision.way, Way::WasOtherTray | Way::CountDifference);
    if !moves {
        return match decision.grams {
            Some(_) => refuse(Code::InvalidValue, "grams", "is for was_other_tray and count_difference alone"),
            None => Ok(Plan::Note),
        };
    }
    if exception.missing_g == Some(0) && (exception.moved_g == 0 || decision.tray.is_none()) {
        return unfit("nothing of this sale is missing in the books");
    }
    match &decision.tray {
        Some(text) => {
            let exchange = other_tray::plan(tx, shop, now, exception, decision, text)?;
            Ok(Plan::Tray(Box::new(exchange)))
        }
        None => difference(tx, exception, amount(exception, decision)?),
    }
}

/// How much is to be moved: what the manager says, of what is missing.
fn amount(exception: &Exception, decision: &Decision) -> Result<Grams, Failure> {
    let invalid = |reason: String| Refusal::new(Code::InvalidValue, "grams", reason);
    let grams = match (decision.grams, exception.missing_g) {
        (Some(said), Some(missing)) if said > missing => {
            return Err(invalid(format!("only {missing} g of this sale are missing")).into());
        }
        (Some(said), _) => said,
        (None, Some(missing)) => missing,
        (None, None) => return Err(invalid("the till did not say how much: say it".into()).into()),
    };
    let grams = Grams::new(grams).map_err(|error| invalid(error.to_string()))?;
    if grams.is_zero() { Err(invalid("must be above zero".into()).into()) } else { Ok(grams) }
}

/// What is missing, shared out over the lots that lie on its tray, or lay there: someone has it, and no tray gave it. When the tray that
/// did is counted away, the account is even again.
fn difference(reading: &mut Reading<'_>, exception: &Exception, grams: Grams) -> Result<Plan, Failure> {
    let Some(tray) = exception.tray_id else {
        return unfit("nobody knows of which lot it was; say which tray it was");
    };
    let pool = trays::holdings_of(reading, tray)?;
    let lots = pool.holdings();
    let there: Vec<i64> = lots.iter().map(|lot| if pool.grams() > 0 { lot.grams } else { 1 }).collect();
    let Some(parts) = largest_remainder(grams.get(), &there) else {
        return unfit("nobody knows of which lot it was; say which tray it was");
    };
    let part = |(lot, grams): (&Holding, i64)| Holding { lot_id: lot.lot_id, grams, cost_cents: 0 };
    Ok(Plan::Lots(lots.iter().zip(parts).map(part).collect()))
}
