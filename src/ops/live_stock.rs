//! Live stock: the shelf as it stands at one place of the change sequence, read in runs so that its size is nobody's memory.
//!
//! The state is that of the cursor exactly, so that whoever follows from there never sees a tray go back. On PostgreSQL a reader may see
//! more than is settled: those trays are told as they stood at the cursor.

use super::failure::{Failure, refuse};
use super::resolve::tray_by_scan;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::verdict::Outcome;
use crate::store::Reading;
use crate::store::changes::{self, Position};
use crate::store::error::StoreError;
use crate::store::shelf::{self, BETWEEN_OFFERS, Part, Run};
use crate::units::instant::Instant;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

/// Trays of one run: about 64 KB of offers.
const RUN: i64 = 200;

/// Which trays are asked for; all when nothing is said.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wanted {
    pub cut: Option<String>,
    pub place: Option<String>,
    /// The code of a tray, or anything else that a scanner sends of it.
    pub code: Option<String>,
    pub verdict: Option<Outcome>,
}

/// One state of the shelf, not yet read.
#[derive(Debug, Clone)]
pub struct LiveStock {
    /// Where the state stands in the sequence, and when what stands there was recorded.
    pub position: Position,
    pub recorded_at: Option<Instant>,
    /// The one tray that was asked for by its code.
    pub tray_id: Option<i64>,
    /// Trays that stand otherwise here than in the table, and how.
    unsettled: Vec<(i64, Option<String>)>,
    wanted: Wanted,
}

/// What there is of one cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutSum {
    pub cut_code: String,
    pub cut_name: String,
    pub trays: i64,
    /// Grams that can be sold now.
    pub sellable_g: i64,
}

/// What of an offer is asked when it is not read as a row of the table.
#[derive(Debug, Deserialize)]
struct Put {
    cut_code: String,
    cut_name: String,
    place_code: String,
    net_weight_g: i64,
    verdict: String,
}

impl Put {
    fn read(offer: &str) -> Result<Put, Failure> {
        serde_json::from_str(offer).map_err(|error| StoreError::impossible("offer", error).into())
    }
}

/// Finds the state that a reading shows.
pub fn open(reading: &mut Reading<'_>, shop: &Shop, now: Instant, wanted: Wanted) -> Result<LiveStock, Failure> {
    let tray = wanted.code.as_deref().map(|code| tray_by_scan(reading, shop, now, "code", code)).transpose()?;
    let end = changes::end(reading)?;
    Ok(LiveStock {
        position: end.map_or(Position::START, |(position, _)| position),
        recorded_at: end.map(|(_, at)| at),
        tray_id: tray.map(|tray| tray.id),
        unsettled: changes::unsettled(reading)?,
        wanted,
    })
}

/// What becomes of the trays, piece by piece; it may end the reading early.
pub type Sink<'a> = &'a mut dyn FnMut(&str) -> ControlFlow<()>;

impl LiveStock {
    /// Hands out all offers in the order of their trays, as JSON with commas between them, then what they come to cut by cut. None when
    /// the sink had enough.
    pub fn pour(&self, reading: &mut Reading<'_>, sink: Sink<'_>) -> Result<Option<Vec<CutSum>>, Failure> {
        let mut pouring = Pouring { sink, begun: false, sums: BTreeMap::new() };
        let (first, below) = self.tray_id.map_or((0, i64::MAX), |id| (id - 1, id + 1));
        let mut above = first;
        for (tray_id, offer) in self.unsettled.iter().filter(|(id, _)| first < *id && *id < below) {
            if self.runs(reading, above, *tray_id, &mut pouring)?.is_break() {
                return Ok(None);
            }
            if let Some(offer) = offer
                && self.put_back(offer, &mut pouring)?.is_break()
            {
                return Ok(None);
            }
            above = *tray_id;
        }
        if self.runs(reading, above, below, &mut pouring)?.is_break() {
            return Ok(None);
        }
        Ok(Some(pouring.sums.into_values().collect()))
    }

    /// Everything between two trays.
    fn runs(
        &self,
        reading: &mut Reading<'_>,
        mut above: i64,
        below: i64,
        pouring: &mut Pouring<'_>,
    ) -> Result<ControlFlow<()>, Failure> {
        let saying = self.wanted.verdict.map(|verdict| format!("%\"verdict\":\"{}\"%", verdict.as_str()));
        while above < below.saturating_sub(1) {
            let (cut, place) = (self.wanted.cut.as_deref(), self.wanted.place.as_deref());
            let run = shelf::run(reading, &Part { above, below, cut, place, saying: saying.as_deref() }, RUN)?;
            if pouring.run(&run)?.is_break() {
                return Ok(ControlFlow::Break(()));
            }
            match run.last_tray_id {
                Some(last) if run.trays == RUN => above = last,
                _ => break,
            }
        }
        Ok(ControlFlow::Continue(()))
    }

    fn put_back(&self, offer: &str, pouring: &mut Pouring<'_>) -> Result<ControlFlow<()>, Failure> {
        let put = Put::read(offer)?;
        let wanted = &self.wanted;
        let asked_for = wanted.cut.as_ref().is_none_or(|cut| *cut == put.cut_code)
            && wanted.place.as_ref().is_none_or(|place| *place == put.place_code)
            && wanted.verdict.is_none_or(|verdict| verdict.as_str() == put.verdict);
        if !asked_for {
            return Ok(ControlFlow::Continue(()));
        }
        let sellable = if put.verdict == Outcome::Stop.as_str() { 0 } else { put.net_weight_g };
        pouring.add(&put.cut_code, sellable, offer)?;
        Ok(pouring.hand_out(offer))
    }
}

struct Pouring<'a> {
    sink: Sink<'a>,
    begun: bool,
    sums: BTreeMap<String, CutSum>,
}

impl Pouring<'_> {
    fn run(&mut self, run: &Run) -> Result<ControlFlow<()>, Failure> {
        let (Some(offers), Some(sellable)) = (&run.offers, &run.sellable) else { return Ok(ControlFlow::Continue(())) };
        let torn = || Failure::from(StoreError::impossible("shelf", "a run does not come apart"));
        for (number, line) in sellable.split('\n').enumerate() {
            let (cut, grams) = line.rsplit_once(':').ok_or_else(torn)?;
            let grams = grams.parse().map_err(|_| torn())?;
            if let Some(sum) = self.sums.get_mut(cut) {
                sum.trays += 1;
                sum.sellable_g += grams;
            } else {
                self.add(cut, grams, offers.split(BETWEEN_OFFERS).nth(number).ok_or_else(torn)?)?;
            }
        }
        Ok(self.hand_out(offers))
    }

    /// Counts a tray. The name of its cut is that of the first offer that has it.
    fn add(&mut self, cut: &str, grams: i64, offer: &str) -> Result<(), Failure> {
        if let Some(sum) = self.sums.get_mut(cut) {
            sum.trays += 1;
            sum.sellable_g += grams;
            return Ok(());
        }
        let cut_name = Put::read(offer)?.cut_name;
        let sum = CutSum { cut_code: cut.to_owned(), cut_name, trays: 1, sellable_g: grams };
        self.sums.insert(cut.to_owned(), sum);
        Ok(())
    }

    fn hand_out(&mut self, offers: &str) -> ControlFlow<()> {
        if std::mem::replace(&mut self.begun, true) && (self.sink)(BETWEEN_OFFERS).is_break() {
            return ControlFlow::Break(());
        }
        (self.sink)(offers)
    }
}

/// The judgement that a word names.
pub fn verdict(text: &str) -> Result<Outcome, Failure> {
    match [Outcome::Sell, Outcome::SellAtMarkdown, Outcome::Stop].into_iter().find(|outcome| outcome.as_str() == text) {
        Some(outcome) => Ok(outcome),
        None => refuse(Code::InvalidValue, "verdict", "must be sell, sell_at_markdown or stop"),
    }
}
