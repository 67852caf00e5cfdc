//! A pick list is worked off: a tray is scanned, missing ones are replaced by others, the list is given up.

use super::show::{Shown, ShownLine, found, of, shown};
use super::{append, choose_refill, missing, reasons, stock, wish};
use crate::domain::picking::exchange::{Exchange, Seat, Unfit, exchange};
use crate::domain::picking::list::{Line, LineState, PickList, Purpose, State};
use crate::domain::picking::{Ask, PassedOver, Why, pick};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::Tray;
use crate::ops::desk::Actor;
use crate::ops::failure::{Failure, refuse};
use crate::ops::place_tray::{Way, take_to};
use crate::ops::resolve::{Asked as AskedTray, judged};
use crate::store::{Tx, picks};
use crate::units::instant::Instant;

/// Whether a person saw what a stand-in passes over and takes it nevertheless.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consent {
    NotAsked,
    Given,
}

/// What became of a scan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    Picked,
    PickedAlready,
    /// It stands in for another.
    Substituted,
    /// It could stand in, over older ones: nothing was done yet.
    Confirm,
}

impl Outcome {
    pub const fn as_str(&self) -> &'static str {
        match self {
            Outcome::Picked => "picked",
            Outcome::PickedAlready => "picked_already",
            Outcome::Substituted => "substituted",
            Outcome::Confirm => "confirm",
        }
    }
}

/// The answer to a scan.
#[derive(Debug, Clone)]
pub struct Scanned {
    pub outcome: Outcome,
    pub tray: Tray,
    /// The tray it stands in for.
    pub replaces: Option<Tray>,
    pub passes_over: Vec<PassedOver>,
    pub after: Shown,
}

fn open_list(tx: &mut Tx<'_>, id: i64) -> Result<PickList, Failure> {
    let list = found(tx, id)?;
    match list.state {
        State::Open => Ok(list),
        State::Done => refuse(Code::PickListOver, "id", "is done: what could be had was picked"),
        State::GivenUp => refuse(Code::PickListOver, "id", "was given up"),
    }
}

/// A tray is scanned for a list: one that is wanted is picked, another may stand in.
pub fn scan(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    text: &str,
    consent: Consent,
) -> Result<Scanned, Failure> {
    let list = open_list(tx, id)?;
    let asked = AskedTray { field: "scanned", text, absent: Code::UnknownReference };
    let (facts, verdict) = judged(tx, shop, now, asked)?;
    let tray = facts.tray;
    let before = of(tx, shop, now, list)?;
    let line = |state| before.lines_in(state).find(|line| line.tray.id == tray.id);
    if line(LineState::Picked).is_some() {
        return Ok(Scanned {
            outcome: Outcome::PickedAlready,
            tray,
            replaces: None,
            passes_over: Vec::new(),
            after: before,
        });
    }
    verdict.refuse("scanned")?;
    if let Some(wanted) = line(LineState::Wanted) {
        picked(tx, shop, actor, now, &before.list, wanted.line.clone(), &tray)?;
        let after = closed_if_done(tx, shop, actor, now, id)?;
        return Ok(Scanned { outcome: Outcome::Picked, tray, replaces: None, passes_over: Vec::new(), after });
    }
    stand_in(tx, shop, actor, now, before, tray, consent)
}

/// Judges a tray that the list does not want, and takes it if it may be taken and nobody has to be asked.
fn stand_in(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    before: Shown,
    tray: Tray,
    consent: Consent,
) -> Result<Scanned, Failure> {
    let of_cut = |line: &&ShownLine| line.tray.cut == tray.cut && line.state != LineState::Replaced;
    let cut_wanted = before.list.asked.cut.as_ref().is_none_or(|cut| *cut == tray.cut);
    let lines: Vec<&ShownLine> = before.lines.iter().filter(of_cut).collect();
    if lines.is_empty() || !cut_wanted {
        return refuse(Code::NotASubstitute, "scanned", format!("it is {}, which the list does not want", tray.cut));
    }
    let stock = stock::of_cut(tx, shop, now, &tray.cut, Some(before.list.id))?;
    let ask = match before.list.asked.purpose {
        Purpose::Order => before.list.asked.ask.unwrap_or(Ask::Count(lines.len())),
        Purpose::Refill => Ask::Count(lines.len()),
    };
    let wish = wish(tx, now, &before.list.asked, ask)?;
    let Some(candidate) = stock.candidates.iter().find(|candidate| candidate.tray_id == tray.id) else {
        return refuse(Code::NotASubstitute, "scanned", "it may not be sold now");
    };
    let mut ordered = stock.candidates.clone();
    ordered.sort_by(|one, other| wish.rule.compare(one, other));
    let position = |id: i64| ordered.iter().position(|candidate| candidate.tray_id == id);
    let mut seats: Vec<Seat> = Vec::new();
    for line in &lines {
        let held = line.state.held();
        seats.extend(held.map(|held| Seat { tray_id: line.tray.id, grams: line.line.grams, held }));
    }
    seats.sort_by_key(|seat| position(seat.tray_id));
    let exchange = exchange(&wish, &seats, candidate, &stock.candidates).map_err(|unfit| not_fit(unfit, ask))?;
    let replaced = lines.iter().find(|line| Some(line.tray.id) == exchange.replaces);
    let replaces = replaced.map(|line| line.tray.clone());
    let Exchange { grams, passes_over, .. } = exchange;
    if !passes_over.is_empty() && consent == Consent::NotAsked {
        return Ok(Scanned { outcome: Outcome::Confirm, tray, replaces, passes_over, after: before });
    }
    if let Some(replaced) = replaced {
        let line = Line { state: LineState::Replaced, replaced_by: Some(tray.id), ..replaced.line.clone() };
        picks::save_line(tx, &line)?;
    }
    stock.claim(tx, tray.id)?;
    let line = picks::add_line(tx, before.list.id, tray.id, grams)?;
    let line = Line {
        id: line,
        tray_id: tray.id,
        grams,
        state: LineState::Wanted,
        picked_at: None,
        picked_by: None,
        replaced_by: None,
    };
    picked(tx, shop, actor, now, &before.list, line, &tray)?;
    let after = closed_if_done(tx, shop, actor, now, before.list.id)?;
    Ok(Scanned { outcome: Outcome::Substituted, tray, replaces, passes_over, after })
}

fn not_fit(unfit: Unfit, ask: Ask) -> Failure {
    let (code, reason) = match (unfit, ask) {
        (Unfit::Barred(why @ Why::Reserved(_)), _) => (Code::ReservedForAnother, why.in_words()),
        (Unfit::Barred(why), _) => (Code::NotASubstitute, why.in_words()),
        (Unfit::NothingWanted, _) => (Code::NotASubstitute, "everything on the list is picked already".to_owned()),
        (Unfit::Weight(total), Ask::Weight(window)) => {
            let reason = format!("the list would come to {total} g, outside {} to {} g", window.low, window.high);
            (Code::NotASubstitute, reason)
        }
        (Unfit::Weight(total), Ask::Count(_)) => (Code::NotASubstitute, format!("the list would come to {total} g")),
    };
    Refusal::new(code, "scanned", reason).into()
}

/// A tray is in hand: for a refill it stands in the case from now on, for an order it is laid aside where it is.
fn picked(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    list: &PickList,
    line: Line,
    tray: &Tray,
) -> Result<(), Failure> {
    match (list.asked.purpose, list.asked.place.as_deref()) {
        (Purpose::Refill, Some(case)) if tray.place != case => {
            let code = tray.code.to_string();
            take_to(tx, shop, actor, now, &code, case, Way::Move, None).map_err(on_scanned)?;
        }
        _ => {
            append(tx, actor, now, "pick", None)?;
        }
    }
    let line = Line { state: LineState::Picked, picked_at: Some(now), picked_by: Some(actor.name.clone()), ..line };
    picks::save_line(tx, &line)?;
    Ok(picks::touch(tx, list.id, now, list.asked.count())?)
}

/// A refused move speaks of the tray that was scanned.
fn on_scanned(failure: Failure) -> Failure {
    match failure {
        Failure::Refused(mut refusal) => {
            for finding in &mut refusal.findings {
                "scanned".clone_into(&mut finding.field);
            }
            Failure::Refused(refusal)
        }
        store => store,
    }
}

fn closed_if_done(tx: &mut Tx<'_>, shop: &Shop, actor: &Actor, now: Instant, id: i64) -> Result<Shown, Failure> {
    let after = shown(tx, shop, now, id)?;
    if !after.is_worked_off() {
        return Ok(after);
    }
    picks::end(tx, id, State::Done, now, &actor.name)?;
    shown(tx, shop, now, id)
}

/// Chooses anew for everything that is not picked yet: what went is replaced, what came meanwhile is seen.
pub fn fill_up(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    reason: Option<&str>,
) -> Result<Shown, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let list = open_list(tx, id)?;
    let before = of(tx, shop, now, list)?;
    let list = &before.list;
    let picked = before.lines_in(LineState::Picked).count();
    let (chosen, count) = match (list.asked.purpose, list.asked.ask) {
        (Purpose::Refill, _) => {
            let (chosen, wanted) = choose_refill(tx, shop, now, &list.asked, Some(id))?;
            (chosen, Some(picked + wanted))
        }
        (Purpose::Order, ask) => {
            let left = match ask {
                Some(Ask::Weight(window)) => Ask::Weight(window.beside(before.picked_g())),
                Some(Ask::Count(count)) => Ask::Count(count.saturating_sub(picked)),
                None => Ask::Count(0),
            };
            if matches!(left, Ask::Count(0)) || matches!(left, Ask::Weight(window) if window.low < 1) {
                return refuse(Code::NothingToPick, "id", "what is picked is what was asked for");
            }
            let mut stock = stock::of_cut(tx, shop, now, list.asked.cut.as_deref().unwrap_or(""), Some(id))?;
            // What is picked is not chosen again.
            let aside = |tray: i64| before.lines_in(LineState::Picked).any(|line| line.tray.id == tray);
            stock.candidates.retain(|tray| !aside(tray.tray_id));
            let wish = wish(tx, now, &list.asked, left)?;
            let choice = pick(stock.candidates.clone(), &wish).map_err(|missed| missing(&stock, &wish, missed))?;
            (vec![(stock, choice)], list.asked.count())
        }
    };
    append(tx, actor, now, "fill_up_pick_list", reason.as_deref())?;
    let mut kept: Vec<i64> = Vec::new();
    let mut passed = Vec::new();
    for (stock, picked) in &chosen {
        for taken in &picked.take {
            let same = before
                .lines_in(LineState::Wanted)
                .find(|line| line.tray.id == taken.tray.tray_id && line.line.grams == taken.grams);
            match same {
                Some(line) => kept.push(line.line.id),
                None => {
                    stock.claim(tx, taken.tray.tray_id)?;
                    kept.push(picks::add_line(tx, id, taken.tray.tray_id, taken.grams)?);
                }
            }
        }
        passed.extend(reasons(picked));
    }
    for state in [LineState::Wanted, LineState::Gone] {
        for line in before.lines_in(state).filter(|line| !kept.contains(&line.line.id)) {
            picks::save_line(tx, &Line { state: LineState::Replaced, ..line.line.clone() })?;
        }
    }
    picks::replace_passed(tx, id, &passed)?;
    picks::touch(tx, id, now, count)?;
    shown(tx, shop, now, id)
}

/// Ends a list before it is worked off, or an order that nobody fetches. What it reserved is free; what was picked stays where it is.
pub fn give_up(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    reason: Option<&str>,
) -> Result<Shown, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let list = match found(tx, id)? {
        list if list.state == State::Done && list.reserved_until().is_some_and(|until| until > now) => list,
        _ => open_list(tx, id)?,
    };
    append(tx, actor, now, "give_up_pick_list", reason.as_deref())?;
    picks::end(tx, list.id, State::GivenUp, now, &actor.name)?;
    shown(tx, shop, now, id)
}

/// Ends a short list as done: what is picked is all there will be. It is laid aside as that of any other order; the rest is free.
pub fn end_as_it_is(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    id: i64,
    reason: Option<&str>,
) -> Result<Shown, Failure> {
    let reason = text::optional_note("reason", reason)?;
    let list = open_list(tx, id)?;
    let before = of(tx, shop, now, list)?;
    if before.lines_in(LineState::Picked).next().is_none() {
        return refuse(Code::NothingToPick, "keep_picked", "nothing on it is picked; give it up");
    }
    append(tx, actor, now, "end_pick_list", reason.as_deref())?;
    for (state, over) in [(LineState::Wanted, LineState::Replaced), (LineState::Gone, LineState::Gone)] {
        for line in before.lines_in(state) {
            picks::save_line(tx, &Line { state: over, ..line.line.clone() })?;
        }
    }
    picks::touch(tx, id, now, before.list.asked.count())?;
    picks::end(tx, id, State::Done, now, &actor.name)?;
    shown(tx, shop, now, id)
}
