//! A tray's life as it is kept: what it had lived through when it came to where it stands, and what it may use up.

use super::wear::{Budgets, Wear};
use crate::units::instant::Instant;
use chrono::NaiveDate;

/// The anchor of a tray's life: the beginning of its present stay. What came after is read from the temperatures of the place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lived {
    pub as_of: Instant,
    /// Up to `as_of`, with what it took over from the trays it came of.
    pub wear: Wear,
    pub budgets: Budgets,
    /// Its raw budget is longer than the published one, on the shop's own ground.
    pub raw_budget_validated: bool,
    /// The first day of its date mark; a thaw moves it so that the days go on where freezing stopped them. None for what was never cut.
    pub date_day_one: Option<NaiveDate>,
    /// Everything in it came frozen, or was frozen before it came: other fish keeps the limits of fish that was never frozen.
    pub wholly_frozen_before: bool,
    /// Everything in it was frozen against parasites, on the shop's own record.
    pub parasites_frozen_at: Option<Instant>,
}

impl Lived {
    /// A life that begins now with nothing used.
    pub fn fresh(budgets: Budgets, now: Instant) -> Lived {
        Lived {
            as_of: now,
            wear: Wear::default(),
            budgets,
            raw_budget_validated: false,
            date_day_one: None,
            wholly_frozen_before: false,
            parasites_frozen_at: None,
        }
    }

    /// The same life anchored later, after a stretch.
    pub fn moved_to(self, now: Instant, stretch: Wear) -> Lived {
        if now <= self.as_of {
            return self;
        }
        Lived { as_of: now, wear: self.wear.plus(stretch), ..self }
    }
}

/// A record that only holds for a mix when every part has it: the oldest of them all.
pub fn oldest_if_all(mut parts: impl Iterator<Item = Option<Instant>>) -> Option<Instant> {
    parts.try_fold(None, |oldest: Option<Instant>, part| {
        part.map(|at| Some(oldest.map_or(at, |before| before.min(at))))
    })?
}
