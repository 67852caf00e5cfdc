//! Does what the demo's files say, event by event, through the same functions as the API and each at its own time. A rule that refuses
//! a row is a contradiction in the files; nothing is bent here to make a row fit.

use super::contradiction::Contradiction;
use super::files::Line;
use super::opening::SignIn;
use super::rows::{ActRow, ActWord, BreakdownRow, LossRow, LotRow, OutputRow, ReviewAnswer, ReviewRow, SaleRow, YesNo};
use super::timeline::{Calendar, Event, What};
use crate::domain::inspection::InspectionDraft;
use crate::domain::lot::CatchDraft;
use crate::domain::permissions::Permission;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use crate::ops::count::{CountLine, count};
use crate::ops::desk::Actor;
use crate::ops::failure::{Failure, refuse};
use crate::ops::freeze_parasites::LetterDraft;
use crate::ops::hold::{self, HoldDraft};
use crate::ops::judge::tray_by_code;
use crate::ops::label;
use crate::ops::mark_down::mark_down;
use crate::ops::place_tray::{Way, take_to};
use crate::ops::press::Press;
use crate::ops::receive::{Arrival, receive};
use crate::ops::review::decide::{Draft, Way as Answer, decide};
use crate::ops::review::{Course, MARKDOWN_REASON, Proposal, morning};
use crate::ops::sell::{LineDraft, sell};
use crate::ops::take_out::{Whither, take_out};
use crate::ops::top_up::{TopUp, top_up};
use crate::store::Tx;
use crate::units::instant::Instant;
use std::collections::HashMap;

/// What the labels of the files have become, day after day.
#[derive(Debug, Clone, Default)]
pub struct Shelf {
    people: HashMap<String, Actor>,
    /// Label of the files to code of the shop.
    trays: HashMap<String, String>,
    /// Label to the open hold on it.
    holds: HashMap<String, i64>,
    pub last_sold: Option<String>,
}

impl Shelf {
    pub fn of(people: &[SignIn]) -> Shelf {
        let people = people.iter().map(|p| (p.actor.name.clone(), p.actor.clone())).collect();
        Shelf { people, ..Shelf::default() }
    }

    fn actor(&self, name: &str, permission: Permission) -> Result<Actor, Failure> {
        match self.people.get(name) {
            None => refuse(Code::UnknownReference, "person", format!("there is no {name}")),
            Some(actor) if !permission.allows(actor.role) => {
                refuse(Code::UnknownReference, "person", format!("{name} may not {}", permission.as_str()))
            }
            Some(actor) => Ok(actor.clone()),
        }
    }

    fn code(&self, label: &str) -> Result<String, Failure> {
        match self.trays.get(label) {
            Some(code) => Ok(code.clone()),
            None => refuse(Code::UnknownReference, "label", format!("nothing is called {label} yet")),
        }
    }

    fn name(&mut self, label: &str, code: String) -> Result<(), Failure> {
        match self.trays.insert(label.to_owned(), code) {
            None => Ok(()),
            Some(_) => refuse(Code::AlreadyExists, "label", format!("{label} is the name of another tray already")),
        }
    }
}

/// A shop in the middle of an event.
struct Hand<'a, 'b> {
    tx: &'a mut Tx<'b>,
    shop: &'a Shop,
    press: &'a Press,
    calendar: Calendar,
    shelf: &'a mut Shelf,
    now: Instant,
}

/// Does the events of a day in one transaction. What the rules refuse is listed; the rest goes on, so that one run finds everything.
pub fn replay(
    tx: &mut Tx<'_>,
    (shop, press): (&Shop, &Press),
    calendar: Calendar,
    shelf: &mut Shelf,
    events: &[Event],
) -> Result<Vec<Contradiction>, Failure> {
    let mut refused = Vec::new();
    for event in events {
        let mut hand = Hand { tx, shop, press, calendar, shelf, now: event.at };
        let done = match &event.what {
            What::Lot(line) => hand.lot(&line.row).map_err(|f| (line.contradiction(&f), f)),
            What::Breakdown { cutting, outputs, losses } => {
                hand.breakdown(&cutting.row, outputs, losses).map_err(|f| (cutting.contradiction(&f), f))
            }
            What::Act(line) => hand.act(&line.row).map_err(|f| (line.contradiction(&f), f)),
            What::Sale(lines) => match lines.first() {
                Some(first) => hand.sale(&first.row, lines).map_err(|f| (first.contradiction(&f), f)),
                None => Ok(()),
            },
            What::Review(line) => hand.review(&line.row).map_err(|f| (line.contradiction(&f), f)),
        };
        match done {
            Ok(()) => {}
            Err((contradiction, Failure::Refused(_))) => refused.push(contradiction),
            Err((_, stopped)) => return Err(stopped),
        }
    }
    Ok(refused)
}

impl Hand<'_, '_> {
    fn lot(&mut self, row: &LotRow) -> Result<(), Failure> {
        let actor = self.shelf.actor(&row.person, Permission::Receive)?;
        let calendar = self.calendar;
        let date = |day: i64| calendar.date(day).map(|date| date.to_string()).unwrap_or_default();
        let arrival = Arrival {
            species: row.species.clone(),
            supplier: row.supplier.clone(),
            supplier_lot_code: row.supplier_lot_code.clone(),
            supplier_use_by: row.supplier_use_by_day.map(date),
            received_at: None,
            received_g: row.received_g,
            cost_cents: row.cost_cents,
            pieces: row.pieces,
            cut: row.cut.clone(),
            place: row.place.clone(),
            catch: CatchDraft {
                production: row.production.clone(),
                area: row.area.clone(),
                gear: row.gear.clone(),
                country: row.country.clone(),
                caught_from: date(row.caught_from_day),
                caught_to: date(row.caught_to_day),
            },
            inspection: InspectionDraft {
                core_temperature_mc: row.core_temperature_mc,
                grade: row.grade,
                colour: row.colour,
                fat: row.fat,
                burn: row.burn.clone(),
                sample: row.sample.clone(),
                note: row.note.clone(),
            },
            parasite_letter: row.parasite_letter.clone().map(|reference| LetterDraft {
                reference,
                temperature_mc: row.parasite_letter_mc.unwrap_or_default(),
                hours: row.parasite_letter_hours.unwrap_or_default(),
                solid_at_mc: None,
            }),
            previously_frozen: row.previously_frozen == YesNo::Yes,
            frozen_on: row.frozen_on_day.map(date),
        };
        let received = receive(self.tx, self.shop, &actor, self.now, &arrival)?;
        self.shelf.name(&row.label, received.tray.code.to_string())
    }

    fn breakdown(
        &mut self,
        row: &BreakdownRow,
        outputs: &[Line<OutputRow>],
        losses: &[Line<LossRow>],
    ) -> Result<(), Failure> {
        let actor = self.shelf.actor(&row.person, Permission::BreakDown)?;
        let cutting = Cutting {
            inputs: row.inputs.split(' ').map(|input| self.input(input)).collect::<Result<_, _>>()?,
            outputs: outputs.iter().map(|line| output(&line.row)).collect(),
            losses: losses.iter().map(|l| LossDraft { name: l.row.name.clone(), grams: l.row.grams }).collect(),
            place: row.place.clone(),
            bench_minutes: None,
            reason: row.reason.clone(),
        };
        let made = break_down(self.tx, self.shop, &actor, self.now, &cutting)?;
        for (line, tray) in outputs.iter().zip(&made.trays) {
            self.shelf.name(&line.row.label, tray.code.to_string())?;
        }
        Ok(())
    }

    /// `F03`, or `F03=11720` for so many grams of it.
    fn input(&self, text: &str) -> Result<InputDraft, Failure> {
        let (label, grams) = match text.split_once('=') {
            None => (text, None),
            Some((label, grams)) => match grams.parse() {
                Ok(grams) => (label, Some(grams)),
                Err(_) => return refuse(Code::InvalidValue, "inputs", format!("{grams:?} is not a number of grams")),
            },
        };
        Ok(InputDraft { tray: self.shelf.code(label)?, grams })
    }

    fn act(&mut self, row: &ActRow) -> Result<(), Failure> {
        let actor = self.shelf.actor(&row.person, permission(row.act))?;
        let code = self.shelf.code(&row.tray)?;
        match row.act {
            ActWord::Label => {
                label::issue(self.tx, self.shop, self.press, &actor, self.now, &code, row.reason.as_deref()).map(drop)
            }
            ActWord::Move => self.take_to(&actor, &code, row, Way::Move),
            ActWord::Freeze => self.take_to(&actor, &code, row, Way::Freeze),
            ActWord::Thaw => self.take_to(&actor, &code, row, Way::Thaw),
            ActWord::TopUp => {
                let source = self.shelf.code(row.reason.as_deref().unwrap_or_default())?;
                let draft = TopUp { source, grams: row.grams };
                top_up(self.tx, self.shop, &actor, self.now, &code, &draft).map(drop)
            }
            ActWord::Kitchen => self.take_out(&actor, &code, row, Whither::Kitchen),
            ActWord::Waste => self.take_out(&actor, &code, row, Whither::Waste),
            ActWord::Hold => self.hold(&actor, code, row),
            ActWord::Release => self.release(&actor, row),
            ActWord::Count => {
                let lines = [CountLine { tray: code, counted_g: row.grams.unwrap_or(-1) }];
                count(self.tx, self.shop, &actor, self.now, &lines, row.reason.as_deref()).map(drop)
            }
            ActWord::Markdown => self.mark_down(&actor, &code),
        }
    }

    /// Answers the advice of a morning, and labels what became cheaper.
    fn review(&mut self, row: &ReviewRow) -> Result<(), Failure> {
        let actor = self.shelf.actor(&row.person, Permission::Review)?;
        let proposals = morning(self.tx, self.shop, self.now)?.proposals;
        let drafts: Vec<Draft> = proposals.iter().map(|proposal| answer(proposal, row.answer)).collect();
        if drafts.is_empty() {
            return Ok(());
        }
        decide(self.tx, self.shop, &actor, self.now, &drafts)?;
        let accepted = proposals.iter().zip(&drafts).filter(|(_, draft)| draft.way == Answer::Accepted);
        for advised in accepted.flat_map(|(proposal, _)| &proposal.trays).filter(|a| a.course == Course::MarkDown) {
            let code = advised.on.tray.code.to_string();
            label::issue(self.tx, self.shop, self.press, &actor, self.now, &code, None)?;
        }
        Ok(())
    }

    /// As the shop went about it before there was advice: a fifth off the list price, then two fifths; what advice made as cheap stays.
    fn mark_down(&mut self, actor: &Actor, code: &str) -> Result<(), Failure> {
        let tray = tray_by_code(self.tx, "tray", code)?;
        let off = if tray.marked_down() { 400 } else { 200 };
        let price = tray.list_price.lowered_by_permille(off);
        if price >= tray.price {
            return Ok(());
        }
        mark_down(self.tx, self.shop, actor, self.now, code, price.get(), MARKDOWN_REASON).map(drop)
    }

    fn take_to(&mut self, actor: &Actor, code: &str, row: &ActRow, way: Way) -> Result<(), Failure> {
        let place = row.place.as_deref().unwrap_or_default();
        take_to(self.tx, self.shop, actor, self.now, code, place, way, row.reason.as_deref()).map(drop)
    }

    fn take_out(&mut self, actor: &Actor, code: &str, row: &ActRow, whither: Whither) -> Result<(), Failure> {
        take_out(self.tx, self.shop, actor, self.now, code, whither, row.grams, row.reason.as_deref()).map(drop)
    }

    fn hold(&mut self, actor: &Actor, code: String, row: &ActRow) -> Result<(), Failure> {
        let reason = row.reason.clone().unwrap_or_default();
        let draft = HoldDraft { scope: "tray".to_owned(), code, reason };
        let placed = hold::place(self.tx, self.shop, actor, self.now, &draft)?;
        self.shelf.holds.insert(row.tray.clone(), placed.id);
        Ok(())
    }

    fn release(&mut self, actor: &Actor, row: &ActRow) -> Result<(), Failure> {
        let Some(id) = self.shelf.holds.remove(&row.tray) else {
            return refuse(Code::NotReleased, "tray", format!("{} is not on hold", row.tray));
        };
        hold::release(self.tx, actor, self.now, id, row.reason.as_deref().unwrap_or_default()).map(drop)
    }

    fn sale(&mut self, head: &SaleRow, lines: &[Line<SaleRow>]) -> Result<(), Failure> {
        let actor = self.shelf.actor(&head.person, Permission::Sell)?;
        let mut drafts = Vec::with_capacity(lines.len());
        for line in lines {
            drafts.push(LineDraft { tray: self.shelf.code(&line.row.tray)?, grams: line.row.grams });
        }
        let sold = sell(self.tx, self.shop, &actor, self.now, &drafts)?;
        self.shelf.last_sold = sold.lines.first().map(|line| line.tray_code.clone());
        Ok(())
    }
}

/// What the files say of sales and of the kitchen knows nothing of advice: only prices follow it.
fn answer(proposal: &Proposal, said: ReviewAnswer) -> Draft {
    let carries =
        proposal.trays.iter().any(|a| matches!(a.course, Course::Kitchen | Course::Freeze) || a.kitchen_g > 0);
    let (way, note) = match (said, carries) {
        (ReviewAnswer::Price, false) => (Answer::Accepted, None),
        (ReviewAnswer::Price, true) => (Answer::Declined, Some("the kitchen has enough today")),
        (ReviewAnswer::Decline, _) => (Answer::Declined, Some("a coach party is expected")),
    };
    Draft {
        cut: proposal.cut_code.clone(),
        way,
        basis: proposal.basis.clone(),
        price_per_kg_cents: None,
        kitchen: Vec::new(),
        freeze: Vec::new(),
        note: note.map(str::to_owned),
    }
}

fn output(row: &OutputRow) -> OutputDraft {
    OutputDraft { cut: row.cut.clone(), place: row.place.clone(), net_g: row.grams }
}

const fn permission(act: ActWord) -> Permission {
    match act {
        ActWord::Label => Permission::PrintLabels,
        ActWord::Move | ActWord::Freeze | ActWord::Thaw => Permission::MoveTrays,
        // A tub is topped up at the cutting bench.
        ActWord::TopUp => Permission::BreakDown,
        ActWord::Kitchen | ActWord::Waste => Permission::TakeOut,
        ActWord::Hold => Permission::PlaceHold,
        ActWord::Release => Permission::ReleaseHold,
        ActWord::Count => Permission::Count,
        ActWord::Markdown => Permission::Review,
    }
}
