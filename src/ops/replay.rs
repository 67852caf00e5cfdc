//! Takes sales of a till that was cut off: each once, whatever of it contradicts the stock. What does is written down for the manager.

pub mod weigh;

use super::desk::{Actor, Desk};
use super::failure::Failure;
use super::once::Answer;
use super::resolve::{Asked, judged, tray_by_scan};
use super::sell::Sold;
use super::tray_ledger::{Movement, leave};
use crate::domain::ledger::Account;
use crate::domain::refusal::Code;
use crate::domain::replay::{self, Claim, Contradiction, Finding, Settlement, TillClock, happened};
use crate::domain::shop::Shop;
use crate::domain::tray::{Fate, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::exceptions::{self, NewException};
use crate::store::idempotency::{self, Given, RequestKey};
use crate::store::replays::{self, Named, ReplayedLine, Told};
use crate::store::sales::{self, Sale, SaleLine};
use crate::store::{Tx, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::{Cents, PricePerKg};
use std::sync::Arc;

/// Sales of one transaction: what waits behind it waits for so many.
pub const BATCH: usize = 100;

/// The operation whose keys these are: a sale that got through just before the line was cut is known again.
pub const ROUTE: &str = "POST /v1/sales";

#[derive(Debug, Clone)]
pub struct ReplayedLineDraft {
    /// Anything a scanner may send.
    pub tray: String,
    pub grams: Option<Grams>,
    pub charged: Cents,
}

/// A sale as a till has kept it.
#[derive(Debug, Clone)]
pub struct ReplayedDraft {
    /// Its line in the request.
    pub number: u64,
    pub key: String,
    /// Of its lines: what was scanned, grams, price.
    pub fingerprint: String,
    /// Of what `POST /v1/sales` would have been told of it.
    pub fingerprint_as_sale: String,
    /// The same where its prices were left out there.
    pub fingerprint_unpriced: String,
    pub device_time: Instant,
    pub sequence: Option<i64>,
    pub lines: Vec<ReplayedLineDraft>,
    pub total: Cents,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    Accepted,
    WithExceptions,
    /// It was there already.
    Replayed,
}

/// What became of one sale.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    pub number: u64,
    pub key: String,
    pub taken: Taken,
    pub sale_id: i64,
    pub clock: TillClock,
    /// What it contradicts, by line; line 0 is the sale as a whole.
    pub found: Vec<(i64, Contradiction)>,
}

/// How answers of `POST /v1/sales` are said and read: JSON is none of this room's business.
#[derive(Debug, Clone, Copy)]
pub struct Speech {
    pub say: fn(Sold) -> (u16, String),
    pub sale_of: fn(&str) -> Option<i64>,
}

/// Who sends, and when it was received.
#[derive(Debug, Clone)]
pub struct Sender {
    pub client: String,
    pub actor: Actor,
    pub speech: Speech,
}

/// Takes some sales in one transaction, in their order. `before` is when the sale before them happened; gives when the last of these did.
pub fn take(
    desk: &Desk,
    sender: &Arc<Sender>,
    now: Instant,
    before: Option<Instant>,
    drafts: Vec<ReplayedDraft>,
) -> Result<(Vec<Outcome>, Option<Instant>), Failure> {
    let sender = Arc::clone(sender);
    let (outcomes, last) = desk.act(move |tx, shop| {
        let mut last = before;
        let mut outcomes = Vec::with_capacity(drafts.len());
        for draft in &drafts {
            let (at, clock) = happened(draft.device_time, now, last);
            last = Some(at);
            let told = Told { device_time: draft.device_time, clock, received_at: now, sequence: draft.sequence };
            outcomes.push(Taking { shop, sender: &sender, draft, at, told }.take(tx)?);
        }
        Ok((outcomes, last))
    })?;
    let new = outcomes.iter().filter(|outcome| outcome.taken != Taken::Replayed).count();
    desk.figures().sales.inc_by(u64::try_from(new).unwrap_or(0));
    Ok((outcomes, last))
}

/// One sale on its way into the record.
struct Taking<'a> {
    shop: &'a Shop,
    sender: &'a Sender,
    draft: &'a ReplayedDraft,
    /// When it is taken to have happened.
    at: Instant,
    told: Told,
}

/// One line, weighed and moved.
struct Line<'a> {
    number: i64,
    draft: &'a ReplayedLineDraft,
    tray: Option<Tray>,
    /// What a kilogram cost when it was sold, where something moved.
    price: Option<PricePerKg>,
    settlement: Settlement,
}

impl Taking<'_> {
    fn named(&self) -> Named<'_> {
        Named { client: &self.sender.client, key: &self.draft.key, fingerprint: &self.draft.fingerprint }
    }

    fn outcome(&self, taken: Taken, sale_id: i64, found: Vec<(i64, Contradiction)>) -> Outcome {
        let (number, key) = (self.draft.number, self.draft.key.clone());
        Outcome { number, key, taken, sale_id, clock: self.told.clock, found }
    }

    fn take(&self, tx: &mut Tx<'_>) -> Result<Outcome, Failure> {
        if let Some((sale_id, clock)) = replays::find(tx, self.named())? {
            let found = found_before(tx, sale_id)?;
            return Ok(Outcome { clock, ..self.outcome(Taken::Replayed, sale_id, found) });
        }
        let key = RequestKey { client: self.sender.client.clone(), route: ROUTE.into(), key: self.draft.key.clone() };
        let Some(given) = idempotency::find(tx, &key)? else {
            let (sold, found) = self.record(tx, Vec::new())?;
            let sale_id = sold.sale.id;
            let Answer { status, body, .. } = self.answer(sold);
            let fingerprint = self.draft.fingerprint_as_sale.clone();
            let given = Given { fingerprint, status: i64::from(status), body };
            idempotency::insert(tx, &key, &given, self.told.received_at)?;
            return Ok(self.outcome(taken(&found), sale_id, found));
        };
        match self.got_through_as(tx, &given)? {
            Some(sale) if sale.reversed_by_act_id.is_none() => self.got_through(tx, sale.id),
            Some(sale) => {
                // Whoever reversed it did not know that the till had handed the goods over.
                let reason = format!("it got through as sale {}, which was reversed", sale.id);
                self.apart(tx, Finding { what: Contradiction::WasReversed, reason })
            }
            None => {
                // Nobody can say whether it is one sale told in two ways, or two sales. What was sold leaves the stock: a shortage is found
                // by the next count, a tray that is on the shelf in the books alone is offered to the next till.
                let reason = "the key was used for another sale before".to_owned();
                self.apart(tx, Finding { what: Contradiction::KeyReused, reason })
            }
        }
    }

    fn answer(&self, sold: Sold) -> Answer {
        let (status, body) = (self.sender.speech.say)(sold);
        Answer { status, body, replayed: false }
    }

    /// A sale of its own, though its key has one already.
    fn apart(&self, tx: &mut Tx<'_>, why: Finding) -> Result<Outcome, Failure> {
        let (sold, found) = self.record(tx, vec![why])?;
        Ok(self.outcome(taken(&found), sold.sale.id, found))
    }

    /// The sale that answered its key, if it is this one.
    fn got_through_as(&self, tx: &mut Tx<'_>, given: &Given) -> Result<Option<Sale>, Failure> {
        let Some(sale_id) = (self.sender.speech.sale_of)(&given.body) else { return Ok(None) };
        // One that was replayed has its own lines, and was looked for by them.
        if replays::recorded(tx, sale_id)? {
            return Ok(None);
        }
        let told = [&self.draft.fingerprint_as_sale, &self.draft.fingerprint_unpriced];
        if told.contains(&&given.fingerprint) || self.same_goods(tx, sale_id)? {
            return Ok(sales::find(tx, sale_id)?);
        }
        Ok(None)
    }

    /// Whether these are the goods of a sale that got through by itself, line by line, in other words.
    fn same_goods(&self, tx: &mut Tx<'_>, sale_id: i64) -> Result<bool, Failure> {
        let sold = sales::lines_of(tx, sale_id)?;
        if sold.len() != self.draft.lines.len() {
            return Ok(false);
        }
        for (draft, line) in self.draft.lines.iter().zip(sold) {
            let named = match tray_by_scan(tx, self.shop, self.told.received_at, "tray_code", &draft.tray) {
                Ok(tray) => tray.id == line.tray_id,
                // A code of price or weight alone means other trays by now, or none: the key and the money speak for it.
                Err(Failure::Refused(refusal)) => {
                    matches!(refusal.code, Code::SeveralTrays | Code::NoTrayFits)
                        && draft.charged.get() == line.price_cents
                }
                Err(failure) => return Err(failure),
            };
            if !named || draft.grams.is_some_and(|grams| grams.get() != line.grams) {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// It was sold in time, and only the answer was lost. What the till charged may still be another price.
    fn got_through(&self, tx: &mut Tx<'_>, sale_id: i64) -> Result<Outcome, Failure> {
        replays::insert(tx, self.named(), sale_id, self.told)?;
        let said: Vec<i64> = exceptions::of_sale(tx, sale_id)?.iter().map(|known| known.line_number).collect();
        let sold = sales::lines_of(tx, sale_id)?;
        for (number, (draft, line)) in (1_i64..).zip(self.draft.lines.iter().zip(sold)) {
            if draft.charged.get() != line.price_cents && !said.contains(&number) {
                let reason =
                    format!("{} minor units were charged, the books say {}", draft.charged.get(), line.price_cents);
                let findings = vec![Finding { what: Contradiction::PriceDiffers, reason }];
                let moved = Grams::new(line.grams).unwrap_or(Grams::ZERO);
                let settlement = Settlement { moved, missing: Some(Grams::ZERO), findings };
                let tray = Some(trays::by_id(tx, line.tray_id)?);
                self.except(tx, sale_id, &Line { number, draft, tray, price: None, settlement })?;
            }
        }
        let found = found_before(tx, sale_id)?;
        Ok(self.outcome(Taken::Replayed, sale_id, found))
    }

    /// Writes a sale into the record, with all that it contradicts.
    fn record(&self, tx: &mut Tx<'_>, of_all: Vec<Finding>) -> Result<(Sold, Vec<(i64, Contradiction)>), Failure> {
        let (actor, total) = (&self.sender.actor.name, self.draft.total.get());
        let act = NewAct {
            kind: "replay_sale",
            at: self.at,
            recorded_at: self.told.received_at,
            actor,
            reason: None,
            reverses: None,
        };
        let act_id = acts::append(tx, &act)?;
        let sale_id = sales::insert(tx, act_id, self.at, actor, total)?;
        replays::insert(tx, self.named(), sale_id, self.told)?;
        let mut movement = Movement::default();
        let mut sold: Vec<SaleLine> = Vec::new();
        let mut found: Vec<(i64, Contradiction)> = of_all.iter().map(|finding| (0, finding.what)).collect();
        self.except_all(tx, sale_id, of_all)?;
        for (number, draft) in (1_i64..).zip(&self.draft.lines) {
            let line = self.move_line(tx, &mut movement, number, draft)?;
            add_to(&mut sold, &line);
            let sent = ReplayedLine {
                number,
                scanned: &draft.tray,
                grams: draft.grams.map(Grams::get),
                price_cents: draft.charged.get(),
                tray_id: line.tray.as_ref().map(|tray| tray.id),
                moved_g: line.settlement.moved.get(),
            };
            replays::insert_line(tx, sale_id, &sent)?;
            if !line.settlement.findings.is_empty() {
                self.except(tx, sale_id, &line)?;
                found.extend(line.settlement.findings.iter().map(|finding| (number, finding.what)));
            }
        }
        movement.post(tx, act_id)?;
        for (number, line) in (1_i64..).zip(&sold) {
            sales::insert_line(tx, sale_id, number, line)?;
        }
        let at = self.at.micros();
        let sale =
            Sale { id: sale_id, act_id, at, sold_by: actor.clone(), total_cents: total, reversed_by_act_id: None };
        Ok((Sold { sale, lines: sold }, found))
    }

    /// Weighs a line against the tray its code names, as that stands after the lines before it, and moves what is there.
    fn move_line<'d>(
        &self,
        tx: &mut Tx<'_>,
        movement: &mut Movement,
        number: i64,
        draft: &'d ReplayedLineDraft,
    ) -> Result<Line<'d>, Failure> {
        let claim = Claim { grams: draft.grams, charged: draft.charged };
        let now = self.told.received_at;
        let asked = Asked { field: "tray_code", text: &draft.tray, absent: Code::UnknownReference };
        let (facts, verdict) = match judged(tx, self.shop, now, asked) {
            Ok(judged) => judged,
            Err(Failure::Refused(refusal)) => {
                let settlement = replay::settle_unknown(claim, &refusal);
                return Ok(Line { number, draft, tray: None, price: None, settlement });
            }
            Err(failure) => return Err(failure),
        };
        let (mut tray, findings) = weigh::against(tx, facts, verdict.stops, self.at)?;
        let price = weigh::price(tx, &tray, self.at)?;
        let settlement = replay::settle(claim, &tray, price, findings);
        if !settlement.moved.is_zero() {
            let taken = movement.take(tx, &mut tray, settlement.moved, "grams")?;
            movement.outside(Account::Customer, &taken, 1);
            if tray.net.is_zero() {
                let left = self.at.max(tray.lived.as_of);
                leave(tx, &mut tray, Fate::Sold, left)?;
            }
            trays::save(tx, &mut tray)?;
        }
        Ok(Line { number, draft, tray: Some(tray), price: Some(price), settlement })
    }

    fn except(&self, tx: &mut Tx<'_>, sale_id: i64, line: &Line<'_>) -> Result<(), Failure> {
        let new = NewException {
            sale_id,
            line_number: line.number,
            tray_id: line.tray.as_ref().map(|tray| tray.id),
            scanned: &line.draft.tray,
            claimed_g: line.draft.grams.map(Grams::get),
            price_cents: line.draft.charged.get(),
            happened_at: self.at,
            device_time: self.told.device_time,
            received_at: self.told.received_at,
            till: &self.sender.actor.name,
            settlement: &line.settlement,
        };
        Ok(exceptions::insert(tx, &new)?)
    }

    /// What concerns the sale as a whole: nothing of it moves, or is missing, beside its lines.
    fn except_all(&self, tx: &mut Tx<'_>, sale_id: i64, findings: Vec<Finding>) -> Result<(), Failure> {
        if findings.is_empty() {
            return Ok(());
        }
        let draft = ReplayedLineDraft { tray: self.draft.key.clone(), grams: None, charged: self.draft.total };
        let settlement = Settlement { moved: Grams::ZERO, missing: Some(Grams::ZERO), findings };
        self.except(tx, sale_id, &Line { number: 0, draft: &draft, tray: None, price: None, settlement })
    }
}

/// What a sale that is known already was found to contradict.
fn found_before(tx: &mut Tx<'_>, sale_id: i64) -> Result<Vec<(i64, Contradiction)>, Failure> {
    let kept = exceptions::of_sale(tx, sale_id)?;
    Ok(kept.iter().flat_map(|e| e.findings.iter().map(|f| (e.line_number, f.what))).collect())
}

const fn taken(found: &[(i64, Contradiction)]) -> Taken {
    if found.is_empty() { Taken::Accepted } else { Taken::WithExceptions }
}

/// Adds what moved to the lines of the sale: one for a tray, so that it can be given back, or returned, as one.
fn add_to(sold: &mut Vec<SaleLine>, line: &Line<'_>) {
    let (Some(tray), moved) = (&line.tray, line.settlement.moved.get()) else { return };
    if moved == 0 {
        return;
    }
    let charged = line.draft.charged.get();
    match sold.iter_mut().find(|earlier| earlier.tray_id == tray.id) {
        Some(earlier) => {
            earlier.grams += moved;
            earlier.price_cents += charged;
        }
        None => sold.push(SaleLine {
            tray_id: tray.id,
            tray_code: tray.code.to_string(),
            grams: moved,
            price_per_kg_cents: line.price.unwrap_or(tray.price).get(),
            price_cents: charged,
        }),
    }
}
