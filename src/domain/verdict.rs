//! May this tray be sold now? One judgement for the scan, the sale, the pick list and the board, so that they never disagree.

use super::catalogue::{Cut, ParasiteRule};
use super::life::clocks::{Clock, Life};
use super::refusal::{Code, Refusal};
use super::tray::{Fate, Kind, LabelReason, Tray};
use crate::units::instant::{Instant, MICROS_PER_SECOND};

/// Everything a judgement rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Facts {
    pub tray: Tray,
    pub cut: Cut,
    pub parasite_rule: ParasiteRule,
    /// Whether every lot in the tray has its record of parasite freezing.
    pub parasite_record: bool,
    pub place_frozen: bool,
    /// As of the instant of the judgement.
    pub life: Life,
    /// Reasons of the open holds on the tray, its batch and its lots.
    pub holds: Vec<String>,
}

/// A reason to stop, with its stable code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    pub code: Code,
    pub reason: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Sell,
    SellAtMarkdown,
    Stop,
}

impl Outcome {
    pub const fn as_str(self) -> &'static str {
        match self {
            Outcome::Sell => "sell",
            Outcome::SellAtMarkdown => "sell_at_markdown",
            Outcome::Stop => "stop",
        }
    }
}

/// The judgement: what to do, and every reason against a sale, the gravest first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verdict {
    pub outcome: Outcome,
    pub stops: Vec<Stop>,
    pub sell_until: Option<Instant>,
}

impl Facts {
    /// The last moment at which the tray may be sold where it stands: the earlier of the printed use-by and the end of its computed life.
    pub fn sell_until(&self) -> Option<Instant> {
        [self.tray.use_by, self.life.ends_at].into_iter().flatten().min()
    }

    /// Whether the printed use-by promises more than is left.
    pub fn label_outdated(&self) -> bool {
        outdated(self.tray.use_by, &self.life)
    }
}

/// Whether a printed use-by promises more than a life has left. A second is let pass: every reckoning rounds down anew.
pub fn outdated(use_by: Option<Instant>, life: &Life) -> bool {
    use_by.zip(life.ends_at).is_some_and(|(printed, end)| end.plus_micros(MICROS_PER_SECOND) < printed)
}

/// Judges a tray. Reasons come in the order of their codes, which is the documented precedence.
pub fn judge(facts: &Facts, now: Instant) -> Verdict {
    let tray = &facts.tray;
    let sell_until = if facts.place_frozen { None } else { facts.sell_until() };
    let mut stops = Vec::new();
    let mut stop = |code, reason: String| stops.push(Stop { code, reason });
    match tray.fate {
        Some(Fate::Sold) => stop(Code::AlreadySold, tray.gone_at.map_or("sold".into(), |at| format!("sold at {at}"))),
        Some(fate) => stop(Code::TrayGone, format!("no longer in stock: {}", fate.as_str())),
        None => {}
    }
    if tray.in_stock() {
        if tray.kind == Kind::Bulk {
            stop(Code::WrongKind, "a bulk tray is not sold; break it down or send it to the kitchen".into());
        }
        for reason in &facts.holds {
            stop(Code::OnHold, reason.clone());
        }
        if facts.place_frozen {
            stop(Code::Frozen, "thaw it first; a thawed tray gets a new label".into());
        }
        if facts.cut.for_raw_eating() && facts.parasite_rule == ParasiteRule::FreezeBeforeRaw && !facts.parasite_record
        {
            stop(Code::ParasiteFreezingMissing, "no record of freezing against parasites; not for raw eating".into());
        }
        // A clock that was set back must not bring an ended life back: nothing is judged earlier than it was last reckoned.
        let now = now.max(tray.lived.as_of);
        if let Some(end) = tray.use_by.filter(|end| now > *end) {
            stop(Code::PastUseBy, format!("printed use-by {end} has passed"));
        }
        for answer in facts.life.clocks.iter().filter(|answer| answer.ends_at.is_some_and(|end| now > end)) {
            let end = answer.ends_at.unwrap_or(now);
            match answer.clock {
                Clock::Supplier => stop(Code::PastUseBy, format!("the supplier's date ended at {end}")),
                Clock::Exposure => stop(
                    Code::ExposureReached,
                    format!(
                        "time above the cold limit was used up at {end}; it never resets, and cooking does not help"
                    ),
                ),
                clock => stop(Code::LifeEnded, format!("computed life ended at {end} by the clock {}", clock.as_str())),
            }
        }
        let ended = facts.life.ends_at.is_some_and(|end| now > end);
        if tray.label_wanted == Some(LabelReason::Thawed) {
            // What is stuck on it has the date of before the freezing and does not tell of it.
            stop(Code::LabelOutdated, "it was thawed, and its label does not say so; print a new one".into());
        } else if tray.label_wanted == Some(LabelReason::OlderFish) {
            stop(Code::LabelOutdated, "older fish was poured in; its label has the date from before".into());
        } else if tray.label_wanted == Some(LabelReason::OtherFish) {
            stop(Code::LabelOutdated, "fish of another lot was poured in, and its label does not say so".into());
        } else if !ended && facts.label_outdated() {
            let (end, clock) = (facts.life.ends_at, facts.life.limiting.map_or("", Clock::as_str));
            let end = end.map(|end| end.to_string()).unwrap_or_default();
            let reason = format!(
                "its label promises more than is left, which is until {end} by the clock {clock}; print a new one"
            );
            stop(Code::LabelOutdated, reason);
        }
        if tray.label_wanted == Some(LabelReason::Weight) && tray.kind == Kind::Block {
            // The customer was told another weight and another price.
            stop(
                Code::WeightDiffers,
                format!("it weighs {} now, and its label says another weight; print a new one", tray.net),
            );
        }
    }
    stops.sort_by_key(|stop| stop.code);
    let outcome = match (stops.is_empty(), tray.marked_down()) {
        (false, _) => Outcome::Stop,
        (true, true) => Outcome::SellAtMarkdown,
        (true, false) => Outcome::Sell,
    };
    Verdict { outcome, stops, sell_until }
}

impl Verdict {
    /// The judgement with reasons that the tray's code gave besides; one that was found already is not said twice.
    #[must_use]
    pub fn with(mut self, more: Vec<Stop>) -> Verdict {
        let said: Vec<Code> = self.stops.iter().map(|stop| stop.code).collect();
        let twice = |code| matches!(code, Code::PastUseBy | Code::WeightDiffers) && said.contains(&code);
        self.stops.extend(more.into_iter().filter(|stop| !twice(stop.code)));
        self.stops.sort_by_key(|stop| stop.code);
        if !self.stops.is_empty() {
            self.outcome = Outcome::Stop;
        }
        self
    }

    /// The verdict as a refusal of a sale: the gravest reason names the code.
    pub fn refuse(&self, field: &str) -> Result<(), Refusal> {
        match self.stops.first() {
            None => Ok(()),
            Some(first) => {
                let findings = self
                    .stops
                    .iter()
                    .map(|s| super::refusal::Finding { field: field.to_owned(), reason: s.reason.clone() })
                    .collect();
                Err(Refusal { code: first.code, findings })
            }
        }
    }
}
