//! A pick list is made: what is asked is checked, the trays are chosen by `domain::picking`, and they are reserved, all in one transaction,
//! so that two people at once never get the same tray. A reservation binds other lists alone: the till sells what a customer holds in hand.

pub mod show;
pub mod stock;
pub mod work;

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::{cut_by_code, place_by_code};
use crate::domain::picking::list::{Asked, Purpose};
use crate::domain::picking::weight::CELLS_LIMIT;
use crate::domain::picking::{Ask, Choice, Missed, Picked, Places, Rule, Why, Window, Wish, pick};
use crate::domain::place::{Place, StorageMethod};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::store::acts::{self, NewAct};
use crate::store::catalogue::place;
use crate::store::{Reading, Tx, case_plans, picks};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;
use show::{Shown, shown};
use std::collections::BTreeSet;
use stock::Stock;

/// Most trays that one list asks for of a cut.
pub const COUNT_LIMIT: i64 = 200;
/// Most hours of life that a list may ask for.
pub const LEAST_HOURS_LIMIT: i64 = 1_000;
/// How far ahead an order may be needed.
const AHEAD_MICROS: i64 = 31 * 24 * MICROS_PER_HOUR;

/// What a person asks for.
#[derive(Debug, Clone, Default)]
pub struct PickDraft {
    pub purpose: String,
    pub place: Option<String>,
    pub cut: Option<String>,
    pub rule: Option<String>,
    pub choice: Option<String>,
    pub count: Option<i64>,
    pub low_g: Option<i64>,
    pub high_g: Option<i64>,
    pub least_hours: Option<i64>,
    pub highest_price_per_kg_cents: Option<i64>,
    pub needed_at: Option<Instant>,
    pub note: Option<String>,
}

/// Makes a list and reserves its trays.
pub fn make(tx: &mut Tx<'_>, shop: &Shop, actor: &Actor, now: Instant, draft: &PickDraft) -> Result<Shown, Failure> {
    let mut asked = checked(tx, now, draft)?;
    let chosen = match asked.purpose {
        Purpose::Order => vec![choose_order(tx, shop, now, &asked)?],
        Purpose::Refill => {
            let (chosen, wanted) = choose_refill(tx, shop, now, &asked, None)?;
            asked.ask = Some(Ask::Count(wanted));
            chosen
        }
    };
    let act_id = append(tx, actor, now, "make_pick_list", asked.note.as_deref())?;
    let id = picks::insert(tx, act_id, &asked, now, &actor.name)?;
    let mut passed = Vec::new();
    for (stock, picked) in &chosen {
        for taken in &picked.take {
            stock.claim(tx, taken.tray.tray_id)?;
            picks::add_line(tx, id, taken.tray.tray_id, taken.grams)?;
        }
        passed.extend(reasons(picked));
    }
    picks::replace_passed(tx, id, &passed)?;
    shown(tx, shop, now, id)
}

fn reasons(picked: &Picked) -> impl Iterator<Item = (i64, Why)> + '_ {
    picked.passed_over.iter().map(|passed| (passed.tray.tray_id, passed.why))
}

fn append(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    kind: &'static str,
    reason: Option<&str>,
) -> Result<i64, Failure> {
    let act = NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason, reverses: None };
    Ok(acts::append(tx, &act)?)
}

fn invalid<T>(field: &str, reason: impl Into<String>) -> Result<T, Failure> {
    refuse(Code::InvalidValue, field, reason)
}

/// A word of a list of them; the first where none is given.
fn word<T: Copy, const N: usize>(
    field: &str,
    text: Option<&str>,
    all: [T; N],
    name: fn(T) -> &'static str,
) -> Result<T, Failure> {
    let names = || all.iter().map(|one| name(*one)).collect::<Vec<_>>().join(", ");
    let found = match text {
        None => all.first(),
        Some(text) => all.iter().find(|one| name(**one) == text),
    };
    found.copied().ok_or_else(|| Refusal::new(Code::InvalidValue, field, format!("must be one of {}", names())).into())
}

/// What is asked, as far as it makes sense.
fn checked(reading: &mut Reading<'_>, now: Instant, draft: &PickDraft) -> Result<Asked, Failure> {
    let purpose = word("purpose", Some(&draft.purpose), Purpose::ALL, Purpose::as_str)?;
    let rule = word("rule", draft.rule.as_deref(), Rule::ALL, Rule::as_str)?;
    let choice = word("choice", draft.choice.as_deref(), Choice::ALL, Choice::as_str)?;
    let least_hours = draft.least_hours.unwrap_or(0);
    if !(0..=LEAST_HOURS_LIMIT).contains(&least_hours) {
        return invalid("least_hours", format!("must be from 0 to {LEAST_HOURS_LIMIT}"));
    }
    if draft.needed_at.is_some_and(|at| at < now || at > now.plus_micros(AHEAD_MICROS)) {
        return invalid("needed_at", "must lie between now and 31 days ahead");
    }
    let price = |cents| {
        let refusal =
            |e: crate::units::OutOfRange| Refusal::new(Code::InvalidValue, "highest_price_per_kg_cents", e.to_string());
        PricePerKg::new(cents).map_err(refusal)
    };
    let highest_price = draft.highest_price_per_kg_cents.map(price).transpose()?;
    let note = text::optional_note("note", draft.note.as_deref())?;
    let place = draft.place.as_deref().map(|code| place_by_code(reading, "place_code", code)).transpose()?;
    let cut = draft.cut.as_deref().map(|code| cut_by_code(reading, "cut_code", code)).transpose()?;
    let ask = match purpose {
        Purpose::Order if cut.is_none() => return invalid("cut_code", "an order is for one cut"),
        Purpose::Order => Some(ask_of(draft)?),
        Purpose::Refill => {
            no_order(draft)?;
            match &place {
                None => return invalid("place_code", "a refill is for one case"),
                Some(case) if case.is_frozen() => {
                    return invalid("place_code", "is a frozen place; a case is not frozen");
                }
                Some(_) => None,
            }
        }
    };
    Ok(Asked {
        purpose,
        place: place.map(|place| place.code),
        cut: cut.map(|cut| cut.code),
        rule,
        choice,
        ask,
        least_hours,
        highest_price,
        needed_at: draft.needed_at,
        note,
    })
}

/// What an order asks for: so many trays, or a weight between two.
fn ask_of(draft: &PickDraft) -> Result<Ask, Failure> {
    match (draft.count, draft.low_g, draft.high_g) {
        (Some(_), Some(_), _) | (Some(_), _, Some(_)) => {
            invalid("count", "ask for a count or for a weight, not for both")
        }
        (Some(count), None, None) => match usize::try_from(count) {
            Ok(some) if (1..=COUNT_LIMIT).contains(&count) => Ok(Ask::Count(some)),
            _ => invalid("count", format!("must be from 1 to {COUNT_LIMIT}")),
        },
        (None, Some(low), Some(high)) => {
            for (field, grams) in [("low_g", low), ("high_g", high)] {
                if grams < 1 || Grams::new(grams).is_err() {
                    return invalid(field, "must be a weight in grams");
                }
            }
            if low > high {
                return invalid("low_g", "must not be above high_g");
            }
            Ok(Ask::Weight(Window { low, high }))
        }
        (None, None, None) => invalid("count", "say how many, or between which weights"),
        (None, None, Some(_)) => invalid("low_g", "say both ends of the weight"),
        (None, Some(_), None) => invalid("high_g", "say both ends of the weight"),
    }
}

/// A refill takes whole trays by the plan, first to end first, and needs none of what an order asks for.
fn no_order(draft: &PickDraft) -> Result<(), Failure> {
    let given = [
        ("count", draft.count.is_some()),
        ("low_g", draft.low_g.is_some()),
        ("high_g", draft.high_g.is_some()),
        ("choice", draft.choice.is_some()),
    ];
    match given.into_iter().find(|(_, given)| *given) {
        Some((field, _)) => invalid(field, "a refill fills the case to its plan; leave it out"),
        None => Ok(()),
    }
}

/// What a list wishes of one cut.
fn wish(reading: &mut Reading<'_>, now: Instant, asked: &Asked, ask: Ask) -> Result<Wish, Failure> {
    let places = match (asked.purpose, &asked.place) {
        (Purpose::Order, None) => Places::Anywhere,
        (Purpose::Order, Some(place)) => Places::Only(place.clone()),
        (Purpose::Refill, case) => Places::Outside(no_stores(reading, case.as_deref().unwrap_or(""))?),
    };
    Ok(Wish {
        rule: asked.rule,
        choice: asked.choice,
        ask,
        needed_at: asked.needed_at.map_or(now, |at| at.max(now)),
        least_life_micros: asked.least_hours * MICROS_PER_HOUR,
        places,
        highest_price: asked.highest_price,
    })
}

/// From where a refill of a case fetches nothing: the case itself, other cases with a plan, the bench.
pub fn no_stores(reading: &mut Reading<'_>, case: &str) -> Result<BTreeSet<String>, Failure> {
    let bench = |place: &&Place| place.method == StorageMethod::Ambient;
    let benches: Vec<String> = place::list(reading)?.iter().filter(bench).map(|place| place.code.clone()).collect();
    let cases = case_plans::places(reading)?;
    Ok(cases.into_iter().chain([case.to_owned()]).chain(benches).collect())
}

type Chosen = (Stock, Picked);

fn choose_order(reading: &mut Reading<'_>, shop: &Shop, now: Instant, asked: &Asked) -> Result<Chosen, Failure> {
    let ask = asked.ask.unwrap_or(Ask::Count(0));
    let stock = stock::of_cut(reading, shop, now, asked.cut.as_deref().unwrap_or(""), None)?;
    let wish = wish(reading, now, asked, ask)?;
    let picked = pick(stock.candidates.clone(), &wish).map_err(|missed| missing(&stock, &wish, missed))?;
    Ok((stock, picked))
}

/// What is missing in a case, cut by cut, and how many trays that are in all. A cut of which nothing can be brought is left as it is, as long
/// as there is another.
fn choose_refill(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    asked: &Asked,
    own: Option<i64>,
) -> Result<(Vec<Chosen>, usize), Failure> {
    let case = asked.place.as_deref().unwrap_or("");
    let Some(plan) = case_plans::find(reading, case)?.filter(|plan| !plan.lines.is_empty()) else {
        return refuse(Code::NoCasePlan, "place_code", "say first what it should hold: PUT its case plan");
    };
    let lines: Vec<_> =
        plan.lines.iter().filter(|line| asked.cut.as_ref().is_none_or(|cut| *cut == line.cut)).collect();
    if lines.is_empty() {
        return refuse(Code::NoCasePlan, "cut_code", "the plan of the case has no such cut");
    }
    let (mut chosen, mut wanted, mut full) = (Vec::new(), 0, true);
    for line in lines {
        let stock = stock::of_cut(reading, shop, now, &line.cut, own)?;
        let there = stock.standing_in(case) + stock.on_their_way(reading, case)?;
        let missing = usize::try_from(line.trays).unwrap_or(0).saturating_sub(there);
        if missing == 0 {
            continue;
        }
        (wanted, full) = (wanted + missing, false);
        let wish = wish(reading, now, asked, Ask::Count(missing))?;
        if let Ok(picked) = pick(stock.candidates.clone(), &wish) {
            chosen.push((stock, picked));
        }
    }
    match (full, chosen.is_empty()) {
        (true, _) => {
            refuse(Code::NothingToPick, "place_code", "the case holds, or is being brought, what its plan says")
        }
        (false, true) => refuse(
            Code::NothingToPick,
            "place_code",
            "of what is missing nothing stands in a cold store that may be taken",
        ),
        (false, false) => Ok((chosen, wanted)),
    }
}

/// Why there is no list.
fn missing(stock: &Stock, wish: &Wish, missed: Missed) -> Failure {
    let grams =
        |side: Option<i64>, word: &str| side.map_or_else(|| format!("none {word}"), |sum| format!("{sum} g {word}"));
    let (code, field, reason) = match missed {
        Missed::NothingThere => (Code::NothingToPick, "cut_code", nothing(stock, wish)),
        Missed::Unreachable { below, above } => {
            let reason =
                format!("the nearest that can be put together: {}, {}", grams(below, "below"), grams(above, "above"));
            (Code::WindowUnreachable, "low_g", reason)
        }
        Missed::TooLarge => {
            let reason = format!("trays that may be taken times high_g must not pass {CELLS_LIMIT}");
            (Code::PickTooLarge, "high_g", reason)
        }
    };
    Refusal::new(code, field, reason).into()
}

/// Why each tray of a cut is left lying, counted.
fn nothing(stock: &Stock, wish: &Wish) -> String {
    let mut reasons: Vec<(&str, usize)> = Vec::new();
    for why in stock.candidates.iter().filter_map(|tray| wish.bars(tray)) {
        match reasons.iter_mut().find(|(name, _)| *name == why.as_str()) {
            Some((_, count)) => *count += 1,
            None => reasons.push((why.as_str(), 1)),
        }
    }
    let said: Vec<String> = reasons.iter().map(|(name, count)| format!("{count} {}", name.replace('_', " "))).collect();
    if said.is_empty() {
        "no tray of this cut may be sold now".to_owned()
    } else {
        format!("of the trays that may be sold: {}", said.join(", "))
    }
}
