//! A pick list as it is kept: what was asked, by whom, and how far each of its trays is.

use super::{Ask, Choice, RESERVED_MICROS, Rule, Why, Window};
use crate::domain::picking::exchange::Held;
use crate::units::instant::Instant;
use crate::units::money::PricePerKg;

/// What a list is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    Refill,
    Order,
}

impl Purpose {
    pub const ALL: [Purpose; 2] = [Purpose::Refill, Purpose::Order];

    pub const fn as_str(self) -> &'static str {
        match self {
            Purpose::Refill => "refill",
            Purpose::Order => "order",
        }
    }

    pub fn parse(text: &str) -> Option<Purpose> {
        Purpose::ALL.into_iter().find(|purpose| purpose.as_str() == text)
    }
}

/// How far a list is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    Open,
    Done,
    GivenUp,
}

impl State {
    pub const ALL: [State; 3] = [State::Open, State::Done, State::GivenUp];

    pub const fn as_str(self) -> &'static str {
        match self {
            State::Open => "open",
            State::Done => "done",
            State::GivenUp => "given_up",
        }
    }

    pub fn parse(text: &str) -> Option<State> {
        State::ALL.into_iter().find(|state| state.as_str() == text)
    }
}

/// How far a tray of a list is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineState {
    Wanted,
    Picked,
    Gone,
    Replaced,
}

impl LineState {
    pub const ALL: [LineState; 4] = [LineState::Wanted, LineState::Picked, LineState::Gone, LineState::Replaced];

    pub const fn as_str(self) -> &'static str {
        match self {
            LineState::Wanted => "wanted",
            LineState::Picked => "picked",
            LineState::Gone => "gone",
            LineState::Replaced => "replaced",
        }
    }

    pub fn parse(text: &str) -> Option<LineState> {
        LineState::ALL.into_iter().find(|state| state.as_str() == text)
    }

    /// As an exchange sees it; none of what counts no longer.
    pub const fn held(self) -> Option<Held> {
        match self {
            LineState::Wanted => Some(Held::Wanted),
            LineState::Picked => Some(Held::Picked),
            LineState::Gone => Some(Held::Gone),
            LineState::Replaced => None,
        }
    }
}

/// What was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    pub purpose: Purpose,
    /// Of a refill the case; of an order the only place to take from.
    pub place: Option<String>,
    /// None where a refill fills the whole plan.
    pub cut: Option<String>,
    pub rule: Rule,
    pub choice: Choice,
    /// Of an order; what a refill asks for stands in the plan.
    pub ask: Option<Ask>,
    pub least_hours: i64,
    pub highest_price: Option<PricePerKg>,
    pub needed_at: Option<Instant>,
    pub note: Option<String>,
}

impl Asked {
    /// The weight that was asked for, if one was.
    pub const fn window(&self) -> Option<Window> {
        match self.ask {
            Some(Ask::Weight(window)) => Some(window),
            _ => None,
        }
    }

    /// The number of trays that was asked for, if one was.
    pub const fn count(&self) -> Option<usize> {
        match self.ask {
            Some(Ask::Count(count)) => Some(count),
            _ => None,
        }
    }
}

/// One tray of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub id: i64,
    pub tray_id: i64,
    pub grams: i64,
    pub state: LineState,
    pub picked_at: Option<Instant>,
    pub picked_by: Option<String>,
    pub replaced_by: Option<i64>,
}

/// A list with its trays, in the order in which they were put on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PickList {
    pub id: i64,
    pub asked: Asked,
    pub made_at: Instant,
    pub made_by: String,
    pub touched_at: Instant,
    pub state: State,
    pub ended_at: Option<Instant>,
    pub ended_by: Option<String>,
    pub lines: Vec<Line>,
    /// Older trays that were not taken.
    pub passed: Vec<(i64, Why)>,
}

impl PickList {
    /// Until when it keeps its trays from other lists; none when it does not.
    pub fn reserved_until(&self) -> Option<Instant> {
        let needed_at = self.asked.needed_at;
        Reserving { purpose: self.asked.purpose, state: self.state, touched_at: self.touched_at, needed_at }.until()
    }
}

/// What tells whether a list keeps its trays from others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reserving {
    pub purpose: Purpose,
    pub state: State,
    pub touched_at: Instant,
    pub needed_at: Option<Instant>,
}

impl Reserving {
    /// A refill, as long as somebody works on it. What is for an order is kept until it should have been fetched.
    pub fn until(self) -> Option<Instant> {
        match (self.state, self.purpose) {
            (State::Open, Purpose::Refill) => Some(self.touched_at.plus_micros(RESERVED_MICROS)),
            (State::Open | State::Done, Purpose::Order) => {
                let fetched = self.needed_at.map_or(self.touched_at, |at| at.max(self.touched_at));
                Some(fetched.plus_micros(RESERVED_MICROS))
            }
            (State::Done, Purpose::Refill) | (State::GivenUp, _) => None,
        }
    }
}
