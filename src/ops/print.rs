//! What a person does about prints: wants one, gives one up, says what became of one that nobody knows of. What the machine does with them is
//! in `printing`.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::label;
use super::press::Press;
use super::printing::{label_of, outdated};
use super::resolve::tray_by_scan;
use crate::domain::printing::{Event, MOST_COPIES, Print, Printer, State};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::Tray;
use crate::store::acts::{self, NewAct};
use crate::store::error::StoreError;
use crate::store::prints::{self, NewPrint};
use crate::store::{Reading, Tx, issued_labels, trays};
use crate::units::instant::Instant;

/// A print, with the tray it is for.
#[derive(Debug, Clone)]
pub struct Shown {
    pub print: Print,
    pub tray: Tray,
}

fn shown(reading: &mut Reading<'_>, print: Print) -> Result<Shown, Failure> {
    let tray = trays::by_id(reading, print.tray_id)?;
    Ok(Shown { print, tray })
}

fn all_shown(reading: &mut Reading<'_>, prints: Vec<Print>) -> Result<Vec<Shown>, Failure> {
    prints.into_iter().map(|print| shown(reading, print)).collect()
}

/// Prints the label of a tray: issues it where one is wanted, or where a person says why it is printed again; a label that was issued and never
/// sent to a printer is sent as it is. Nothing is issued that this printer's labels are too small for.
#[expect(clippy::too_many_arguments, reason = "an act, who does it, and what is printed where")]
pub fn issue_and_queue(
    tx: &mut Tx<'_>,
    shop: &Shop,
    press: &Press,
    actor: &Actor,
    now: Instant,
    code: &str,
    reason: Option<&str>,
    printer: &Printer,
    copies: i64,
) -> Result<Shown, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let tray = tray_by_scan(tx, shop, now, "tray_code", code)?;
    let (tray, act_id) = match never_queued(tx, &tray, now)?.filter(|_| reason.is_none()) {
        Some(act_id) => {
            record(tx, actor, now, "print", None)?;
            (tray, act_id)
        }
        None => {
            let tray = label::issue(tx, shop, press, actor, now, &tray.code.to_string(), reason.as_deref())?;
            let issued = issued_labels::newest(tx, tray.id)?;
            let act_id = issued.ok_or_else(|| StoreError::impossible("label of tray", tray.id))?.act_id;
            (tray, act_id)
        }
    };
    let print = queue(tx, actor, now, (tray.id, act_id), reason.as_deref(), printer, copies)?;
    label_of(tx, press, &print, printer)?;
    Ok(Shown { print, tray })
}

/// The act that issued the label of a tray, if that label holds and was never sent to a printer.
fn never_queued(reading: &mut Reading<'_>, tray: &Tray, now: Instant) -> Result<Option<i64>, Failure> {
    let Some(issued) = issued_labels::newest(reading, tray.id)? else { return Ok(None) };
    let holds = outdated(reading, tray.id, issued.act_id, now)?.is_none();
    Ok((holds && !prints::was_queued(reading, issued.act_id)?).then_some(issued.act_id))
}

/// Puts an issued label, named by its tray and the act that issued it, into the queue of a printer.
fn queue(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    (tray_id, act_id): (i64, i64),
    reason: Option<&str>,
    printer: &Printer,
    copies: i64,
) -> Result<Print, Failure> {
    if !(1..=MOST_COPIES).contains(&copies) {
        return refuse(Code::InvalidValue, "copies", format!("must be 1 to {MOST_COPIES}"));
    }
    let new = NewPrint { act_id, tray_id, printer: &printer.name, copies, wanted_at: now, reason, actor: &actor.name };
    let id = prints::insert(tx, &new)?;
    by_id(tx, id)
}

fn by_id(reading: &mut Reading<'_>, id: i64) -> Result<Print, Failure> {
    match prints::find(reading, id)? {
        Some(print) => Ok(print),
        None => refuse(Code::NotFound, "id", "there is no such print"),
    }
}

fn record(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    kind: &'static str,
    reason: Option<&str>,
) -> Result<i64, Failure> {
    let act = NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason, reverses: None };
    Ok(acts::append(tx, &act)?)
}

/// Gives a print up. One that the printer has, or is being sent, is asked back from the printer, which says how it ended.
pub fn cancel(tx: &mut Tx<'_>, actor: &Actor, now: Instant, id: i64, reason: Option<&str>) -> Result<Shown, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let mut print = by_id(tx, id)?;
    let words = format!("given up by {}", actor.name);
    match print.state {
        State::Sending | State::Printing => match &print.cancel_by {
            Some(by) if print.given_up() => {
                return refuse(Code::PrintOver, "id", format!("{by} has asked the printer to cancel it already"));
            }
            _ => print.cancel_by = Some(actor.name.clone()),
        },
        state => {
            if !print.happen(Event::Cancel, now, &words) {
                return refuse(Code::PrintOver, "id", format!("the print is over: {}", state.as_str()));
            }
        }
    }
    record(tx, actor, now, "cancel_print", reason.as_deref())?;
    prints::save(tx, &print)?;
    shown(tx, print)
}

/// What a person found at the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// The label is there.
    Printed,
    /// It is not: print it again.
    Missing,
}

/// A person has looked what became of a print that nobody knew of, or that failed.
pub fn resolve(tx: &mut Tx<'_>, actor: &Actor, now: Instant, id: i64, found: Found) -> Result<Shown, Failure> {
    let mut print = by_id(tx, id)?;
    let (event, words) = match found {
        Found::Printed => (Event::SeenPrinted, format!("{} has seen it printed", actor.name)),
        Found::Missing => (Event::SeenMissing, format!("{} has not found it: printed again", actor.name)),
    };
    if !print.happen(event, now, &words) {
        let state = print.state.as_str();
        return refuse(Code::NotInDoubt, "id", format!("what became of the print is known: {state}"));
    }
    print.next_try_at = now;
    record(tx, actor, now, "resolve_print", Some(&words))?;
    prints::save(tx, &print)?;
    shown(tx, print)
}

/// One print.
pub fn one(reading: &mut Reading<'_>, id: i64) -> Result<Shown, Failure> {
    let print = by_id(reading, id)?;
    shown(reading, print)
}

/// What is not over yet, the oldest first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Shown>, Failure> {
    let open = prints::open(reading)?;
    all_shown(reading, open)
}

/// Prints of a state or of all, the newest first.
pub fn page(
    reading: &mut Reading<'_>,
    state: Option<State>,
    below: Option<i64>,
    limit: i64,
) -> Result<Vec<Shown>, Failure> {
    let found = prints::page(reading, state, below, limit)?;
    all_shown(reading, found)
}

/// How many prints each printer has before it, by name.
pub fn queue_lengths(reading: &mut Reading<'_>) -> Result<std::collections::HashMap<String, i64>, Failure> {
    let mut lengths = std::collections::HashMap::new();
    for print in prints::open(reading)?.into_iter().filter(|print| print.state != State::Unknown) {
        *lengths.entry(print.printer).or_insert(0) += 1;
    }
    Ok(lengths)
}
