//! Deciding: advice is accepted, changed or declined, for one cut or many, all or nothing. What is decided is done in the same act: prices
//! fall, labels are asked for, errands are given; what was expected of it is kept beside it.

use super::explanation::Explanation;
use super::settled::{Standing, settled};
use super::weigh::Weighed;
use super::{Advised, Course, Looked, MARKDOWN_REASON, look};
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::Kind;
use crate::ops::carry::Since;
use crate::ops::desk::Actor;
use crate::ops::failure::{Failure, refuse};
use crate::ops::judge::cut_by_code;
use crate::ops::mark_down::lower;
use crate::store::acts::{self, NewAct};
use crate::store::decisions::{self, DecidedTray, Decision, Expected};
use crate::store::{Tx, errands, trays};
use crate::units::instant::Instant;
use std::collections::BTreeSet;

/// Most cuts decided in one request.
pub const DECISION_LIMIT: usize = 100;
/// Most trays that one decision names.
pub const TRAY_LIMIT: usize = 200;

/// What is said to advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    Accepted,
    Changed,
    Declined,
}

impl Way {
    pub const ALL: [(Way, &'static str); 3] =
        [(Way::Accepted, "accepted"), (Way::Changed, "changed"), (Way::Declined, "declined")];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(way, _)| *way == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Way> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(way, _)| *way)
    }
}

/// A tray for the kitchen; all of it, or so much of a tub.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CarryDraft {
    pub tray: String,
    pub grams: Option<i64>,
}

/// One decision as it is asked for.
#[derive(Debug, Clone)]
pub struct Draft {
    pub cut: String,
    pub way: Way,
    /// Of the proposal that was looked at.
    pub basis: String,
    /// For a changed one, all that is done instead: the price, the kitchen, the freezer.
    pub price_per_kg_cents: Option<i64>,
    pub kitchen: Vec<CarryDraft>,
    pub freeze: Vec<String>,
    pub note: Option<String>,
}

/// A decision with its trays.
#[derive(Debug, Clone)]
pub struct Taken {
    pub decision: Decision,
    pub trays: Vec<DecidedTray>,
}

/// What is to be done, and what is expected of it.
pub(super) struct Plan {
    pub trays: Vec<Advised>,
    pub expected: Expected,
}

/// Decides: all of these or none.
pub fn decide(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    drafts: &[Draft],
) -> Result<Vec<Taken>, Failure> {
    if drafts.is_empty() || drafts.len() > DECISION_LIMIT {
        return refuse(Code::InvalidValue, "decisions", format!("must be 1 to {DECISION_LIMIT} decisions"));
    }
    let mut cuts = BTreeSet::new();
    for (index, draft) in drafts.iter().enumerate() {
        cut_by_code(tx, &format!("decisions/{index}/cut_code"), &draft.cut)?;
        if !cuts.insert(draft.cut.as_str()) {
            return refuse(Code::DuplicateLine, format!("decisions/{index}/cut_code"), "stands on an earlier line");
        }
    }
    let looked = look(tx, shop, now, Some(&cuts))?;
    let mut taken = Vec::with_capacity(drafts.len());
    for (index, draft) in drafts.iter().enumerate() {
        let under = |failure| match failure {
            Failure::Refused(refusal) => Failure::Refused(refusal.under(&format!("decisions/{index}"))),
            other => other,
        };
        taken.push(decide_one(tx, shop, actor, now, &looked, draft).map_err(under)?);
    }
    Ok(taken)
}

fn decide_one(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    looked: &Looked,
    draft: &Draft,
) -> Result<Taken, Failure> {
    let note = text::optional_note("note", draft.note.as_deref())?;
    for (field, count) in [("kitchen", draft.kitchen.len()), ("freeze_tray_codes", draft.freeze.len())] {
        if count > TRAY_LIMIT {
            return refuse(Code::InvalidValue, field, format!("must be at most {TRAY_LIMIT} trays"));
        }
    }
    let weighed = current(shop, looked, draft)?;
    let plan = match draft.way {
        Way::Accepted => nothing_else(draft).map(|()| weighed.as_advised())?,
        Way::Declined => nothing_else(draft).map(|()| weighed.left_alone())?,
        Way::Changed => of_what_was_free(super::otherwise::plan(weighed, draft)?),
    };
    freezes_whole_trays(&plan)?;
    let act = NewAct {
        kind: "decide",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: note.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    let decision = Decision {
        id: 0,
        act_id,
        at: now,
        day: shop.zone.day_of(now).to_string(),
        cut: draft.cut.clone(),
        way: draft.way.as_str().to_owned(),
        decided_by: actor.name.clone(),
        note,
        basis: weighed.proposal.basis.clone(),
        price_per_kg_cents: plan.trays.iter().find(|a| a.course == Course::MarkDown).map(|a| a.price.get()),
        expected: plan.expected,
        alone: weighed.proposal.nothing.whole,
        explanation: Explanation::of(&weighed.proposal).write(),
        undone: None,
    };
    let decided = decided(weighed, &plan);
    let id = decisions::insert(tx, &decision, &decided)?;
    for advised in &plan.trays {
        // What is still open of its tray is of an earlier day: it was decided anew.
        drop_earlier(tx, shop, now, act_id, advised.on.tray.id)?;
        carry_out(tx, actor, now, id, advised)?;
    }
    Ok(Taken { decision: Decision { id, ..decision }, trays: decided })
}

/// The advice that a decision is about, if it is still the advice that was looked at.
fn current<'a>(shop: &Shop, looked: &'a Looked, draft: &Draft) -> Result<&'a Weighed, Failure> {
    let found = looked.weighed.iter().find(|w| w.proposal.cut_code == draft.cut && w.worth);
    // What was dropped since is asked again, on the same basis.
    let again = |standing: &Standing| {
        found.is_some_and(|w| w.proposal.basis == draft.basis && settled(&w.proposal, standing, shop.zone).is_err())
    };
    let same = looked.standing.get(&draft.cut).filter(|s| s.decision.basis == draft.basis);
    if let Some(standing) = same.filter(|standing| !again(standing)) {
        let (by, at) = (&standing.decision.decided_by, shop.zone.time_of(standing.decision.at).format("%H:%M"));
        return refuse(Code::AlreadyDecided, "basis", format!("{by} decided it at {at}"));
    }
    let Some(weighed) = found else {
        return refuse(Code::NotACandidate, "cut_code", "nothing is advised for it now");
    };
    if weighed.proposal.basis != draft.basis {
        return refuse(
            Code::AdviceChanged,
            "basis",
            "trays, prices or the advice are not what was looked at; look again",
        );
    }
    Ok(weighed)
}

/// Only who changes advice says what is done instead.
fn nothing_else(draft: &Draft) -> Result<(), Refusal> {
    let field = match () {
        () if draft.price_per_kg_cents.is_some() => "price_per_kg_cents",
        () if !draft.kitchen.is_empty() => "kitchen",
        () if !draft.freeze.is_empty() => "freeze_tray_codes",
        () => return Ok(()),
    };
    Err(Refusal::new(Code::InvalidValue, field, "is only for what is changed"))
}

/// What is kept of each tray.
fn decided(weighed: &Weighed, plan: &Plan) -> Vec<DecidedTray> {
    let pairs = plan.trays.iter().zip(&weighed.proposal.trays);
    pairs
        .map(|(done, advised)| DecidedTray {
            tray_id: done.on.tray.id,
            tray_code: done.on.tray.code.to_string(),
            net_g: done.on.free_g,
            ends_at: done.on.end.micros(),
            old_price: done.on.tray.price.get(),
            new_price: done.price.get(),
            course: done.course.as_str().to_owned(),
            sold_permille: done.sold_permille,
            advised_course: advised.course.as_str().to_owned(),
            advised_price: (advised.course == Course::MarkDown).then(|| advised.price.get()),
            kitchen_g: done.kitchen_g,
            advised_kitchen_g: advised.kitchen_g,
            promised_g: done.on.tray.net.get() - done.on.free_g,
        })
        .collect()
}

/// Of a tub that goes to the kitchen in part, the plan tells what share of the rest is sold: kept is the share of what was free, as of advice.
fn of_what_was_free(mut plan: Plan) -> Plan {
    for advised in &mut plan.trays {
        let free_g = advised.on.free_g.max(1);
        advised.sold_permille = advised.sold_permille * (free_g - advised.kitchen_g).max(0) / free_g;
    }
    plan
}

/// A tray of which the kitchen is still to get a part is not frozen before it has.
fn freezes_whole_trays(plan: &Plan) -> Result<(), Refusal> {
    let waits = |a: &&Advised| a.course == Course::Freeze && a.on.free_g < a.on.tray.net.get();
    match plan.trays.iter().find(waits) {
        Some(advised) => {
            let reason = format!("a part of tray {} is still to go to the kitchen", advised.on.tray.code);
            Err(Refusal::new(Code::NotACandidate, "freeze_tray_codes", reason))
        }
        None => Ok(()),
    }
}

/// Drops what was still to be carried of a tray since an earlier day.
fn drop_earlier(tx: &mut Tx<'_>, shop: &Shop, now: Instant, act_id: i64, tray: i64) -> Result<(), Failure> {
    let earlier = |errand: &errands::Errand| errand.tray_id == tray && Since::of(shop, now, errand) == Since::Earlier;
    for errand in errands::open(tx)?.iter().filter(|errand| earlier(errand)) {
        errands::drop_one(tx, errand.id, now, act_id)?;
    }
    Ok(())
}

/// Does what is decided of one tray, as far as it is done here: the rest is carried by hand.
fn carry_out(tx: &mut Tx<'_>, actor: &Actor, now: Instant, decision: i64, advised: &Advised) -> Result<(), Failure> {
    let tray = &advised.on.tray;
    if advised.kitchen_g > 0 {
        // What is poured into a tub later was not decided about; a block goes as a whole.
        let part = Some(advised.kitchen_g).filter(|_| tray.kind != Kind::Block);
        errands::insert(tx, decision, tray.id, "kitchen", part, now)?;
    }
    if advised.course == Course::Freeze {
        errands::insert(tx, decision, tray.id, "freeze", None, now)?;
    }
    if advised.price < tray.price {
        // As it stands now: nothing else of this act has touched it.
        let tray = trays::by_id(tx, tray.id)?;
        lower(tx, actor, now, tray, advised.price, MARKDOWN_REASON)?;
    }
    Ok(())
}

impl Weighed {
    fn as_advised(&self) -> Plan {
        Plan { trays: self.proposal.trays.clone(), expected: self.proposal.best.whole }
    }

    /// Nothing now; what comes later is decided then.
    fn left_alone(&self) -> Plan {
        let trays = super::weigh::advised(&self.lot, &self.problem, &self.solution.wait);
        Plan { trays, expected: self.proposal.wait.whole }
    }
}

/// The decisions of a day with their trays, the latest first.
pub fn of_day(reading: &mut crate::store::Reading<'_>, day: &str) -> Result<Vec<Taken>, Failure> {
    let mut taken = Vec::new();
    for decision in decisions::of_day(reading, day)?.into_iter().rev() {
        let trays = decisions::trays_of(reading, decision.id)?;
        taken.push(Taken { decision, trays });
    }
    Ok(taken)
}
