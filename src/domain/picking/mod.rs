//! Which trays to take for a refill or an order, in a total order, so that the same stock always gives the same list; and, for every older
//! tray that is not taken, why. How a weight is put together is `weight`'s, how one tray may stand in for another `exchange`'s.

pub mod bits;
pub mod exchange;
pub mod list;
pub mod plan;
pub mod weight;

use super::tray::Kind;
use super::tray_code::TrayCode;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::money::PricePerKg;
use std::cmp::Ordering;
use std::collections::BTreeSet;

/// A list that nobody touched for so long no longer keeps its trays from others: whoever made it has gone home.
pub const RESERVED_MICROS: i64 = 4 * MICROS_PER_HOUR;

/// First in first out by the cutting, or first expired first out by the last moment of sale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    Fifo,
    Fefo,
}

impl Rule {
    pub const ALL: [Rule; 2] = [Rule::Fefo, Rule::Fifo];

    pub const fn as_str(self) -> &'static str {
        match self {
            Rule::Fifo => "fifo",
            Rule::Fefo => "fefo",
        }
    }

    pub fn parse(text: &str) -> Option<Rule> {
        Rule::ALL.into_iter().find(|rule| rule.as_str() == text)
    }

    /// Which of two goes first. No two trays are equal: the number settles it.
    pub fn compare(self, one: &Candidate, other: &Candidate) -> Ordering {
        let key = |c: &Candidate| match self {
            Rule::Fifo => (c.cut_at, c.sell_until, c.tray_id),
            Rule::Fefo => (c.sell_until, c.cut_at, c.tray_id),
        };
        key(one).cmp(&key(other))
    }
}

/// Which of several selections within a window of weight is taken. Blocks alone: out of tubs any weight can be drawn in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// Each tray, oldest first, unless taking it makes the window unreachable.
    OldestFirst,
    /// The weight nearest to the middle of the window. May leave the oldest lying.
    Closest,
    /// The fewest trays.
    Fewest,
    /// The selection whose newest tray is the oldest: fresh stock is touched least. Among these the nearest to the middle.
    LeastFresh,
}

impl Choice {
    pub const ALL: [Choice; 4] = [Choice::OldestFirst, Choice::Closest, Choice::Fewest, Choice::LeastFresh];

    pub const fn as_str(self) -> &'static str {
        match self {
            Choice::OldestFirst => "oldest_first",
            Choice::Closest => "closest",
            Choice::Fewest => "fewest",
            Choice::LeastFresh => "least_fresh",
        }
    }

    pub fn parse(text: &str) -> Option<Choice> {
        Choice::ALL.into_iter().find(|choice| choice.as_str() == text)
    }
}

/// Total weights that will do, in grams, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    pub low: i64,
    pub high: i64,
}

impl Window {
    pub const fn holds(self, grams: i64) -> bool {
        self.low <= grams && grams <= self.high
    }

    /// What is still wanted of it beside a weight that is there.
    #[must_use]
    pub const fn beside(self, grams: i64) -> Window {
        Window { low: self.low - grams, high: self.high - grams }
    }
}

/// How much is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    Count(usize),
    Weight(Window),
}

/// Where a tray may come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Places {
    Anywhere,
    Only(String),
    /// Anywhere but in these: the case that is filled, other cases with a plan, the bench.
    Outside(BTreeSet<String>),
}

impl Places {
    fn allow(&self, place: &str) -> bool {
        match self {
            Places::Anywhere => true,
            Places::Only(one) => one == place,
            Places::Outside(some) => !some.contains(place),
        }
    }
}

/// What is wanted of one cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    pub rule: Rule,
    pub choice: Choice,
    pub ask: Ask,
    /// When it is handed over: what is left of a life is reckoned from then.
    pub needed_at: Instant,
    pub least_life_micros: i64,
    pub places: Places,
    pub highest_price: Option<PricePerKg>,
}

/// A tray that may be sold now, as a pick list sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    pub tray_id: i64,
    pub code: TrayCode,
    pub kind: Kind,
    pub place: String,
    pub net_g: i64,
    pub cut_at: Instant,
    pub sell_until: Instant,
    pub price: PricePerKg,
    /// Another open list that it stands on.
    pub reserved_for: Option<i64>,
    /// Whether all of it is promised to the kitchen or the freezer by a review. What is promised of a tub is no part of its weight here.
    pub promised: bool,
}

/// Why a tray is not taken although it is older than one that is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    OtherPlace,
    TooDear,
    TooLittleLife,
    Reserved(i64),
    /// A review decided that it goes to the kitchen or the freezer.
    Promised,
    /// With it and the older ones taken no selection comes within the window.
    NoCompletion,
    /// It could be part of a selection; the way of choosing asked for preferred another.
    OtherChoice,
    /// It is free, would do as well, and a newer one was taken by hand.
    OlderIsFree,
}

impl Why {
    pub const CODES: [&'static str; 8] = [
        "other_place",
        "too_dear",
        "too_little_life",
        "reserved",
        "promised",
        "no_completion",
        "other_choice",
        "older_is_free",
    ];

    pub const fn as_str(self) -> &'static str {
        match self {
            Why::OtherPlace => "other_place",
            Why::TooDear => "too_dear",
            Why::TooLittleLife => "too_little_life",
            Why::Reserved(_) => "reserved",
            Why::Promised => "promised",
            Why::NoCompletion => "no_completion",
            Why::OtherChoice => "other_choice",
            Why::OlderIsFree => "older_is_free",
        }
    }

    pub fn parse(text: &str, list: Option<i64>) -> Option<Why> {
        let plain = [
            Why::OtherPlace,
            Why::TooDear,
            Why::TooLittleLife,
            Why::Promised,
            Why::NoCompletion,
            Why::OtherChoice,
            Why::OlderIsFree,
        ];
        match list {
            Some(list) if text == Why::Reserved(list).as_str() => Some(Why::Reserved(list)),
            _ => plain.into_iter().find(|why| why.as_str() == text),
        }
    }

    /// The list in the reason.
    pub const fn list(self) -> Option<i64> {
        match self {
            Why::Reserved(list) => Some(list),
            _ => None,
        }
    }

    /// The reason in a sentence.
    pub fn in_words(self) -> String {
        match self {
            Why::OtherPlace => "it stands where this list takes nothing from".to_owned(),
            Why::TooDear => "it costs more per kilogram than may be charged".to_owned(),
            Why::TooLittleLife => "too little of its life is left when it is needed".to_owned(),
            Why::Reserved(list) => format!("it is reserved for list {list}"),
            Why::Promised => "the review promised it to the kitchen or the freezer".to_owned(),
            Why::NoCompletion => "with it and the older ones no selection comes within the weight".to_owned(),
            Why::OtherChoice => "it would do; the way of choosing prefers others".to_owned(),
            Why::OlderIsFree => "it is older, free, and would do".to_owned(),
        }
    }
}

/// A tray to take, and how much of it: less than all only of a tub.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    pub tray: Candidate,
    pub grams: i64,
}

/// A tray left lying, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PassedOver {
    pub tray: Candidate,
    pub why: Why,
}

/// The trays to take, in order, and every older one that is not taken.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Picked {
    pub take: Vec<Taken>,
    pub passed_over: Vec<PassedOver>,
}

/// Why there is no selection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missed {
    /// No tray may be taken at all.
    NothingThere,
    /// None comes within the window; the nearest weights on either side that can be had.
    Unreachable { below: Option<i64>, above: Option<i64> },
    /// Too many trays for so great a weight: see `weight::CELLS_LIMIT`.
    TooLarge,
}

impl Wish {
    /// Why a tray may not be taken for it, whatever else lies there. The first that applies of a stated order.
    pub fn bars(&self, tray: &Candidate) -> Option<Why> {
        if !self.places.allow(&tray.place) {
            return Some(Why::OtherPlace);
        }
        if self.highest_price.is_some_and(|most| tray.price > most) {
            return Some(Why::TooDear);
        }
        if tray.sell_until.since(self.needed_at) < self.least_life_micros.max(0) {
            return Some(Why::TooLittleLife);
        }
        tray.reserved_for.map(Why::Reserved).or_else(|| tray.promised.then_some(Why::Promised))
    }
}

/// Chooses among the trays of one cut. What may not be taken is filtered first. A count takes the first ones, and fewer where there are
/// fewer; a weight is met or refused. Out of tubs a weight is drawn in order, to the middle of the window: any gram can be had.
pub fn pick(mut stock: Vec<Candidate>, wish: &Wish) -> Result<Picked, Missed> {
    stock.sort_by(|one, other| wish.rule.compare(one, other));
    let free: Vec<&Candidate> = stock.iter().filter(|tray| wish.bars(tray).is_none()).collect();
    if free.is_empty() {
        return Err(Missed::NothingThere);
    }
    let take: Vec<Taken> = match wish.ask {
        Ask::Count(count) => free.iter().take(count).map(|tray| whole(tray)).collect(),
        Ask::Weight(window) if free.iter().any(|tray| tray.kind == Kind::Tub) => drawn(&free, window)?,
        Ask::Weight(window) => {
            let weights: Vec<i64> = free.iter().map(|tray| tray.net_g).collect();
            weight::check_size(weights.len(), window)?;
            let chosen = weight::choose(&weights, window, wish.choice)?;
            chosen.into_iter().filter_map(|at| free.get(at)).map(|tray| whole(tray)).collect()
        }
    };
    let passed_over = passed_over(&stock, wish, &take);
    Ok(Picked { take, passed_over })
}

fn whole(tray: &Candidate) -> Taken {
    Taken { tray: tray.clone(), grams: tray.net_g }
}

/// Draws the middle of the window out of tubs, oldest first; all there is where that is less, as long as it is within the window.
fn drawn(tubs: &[&Candidate], window: Window) -> Result<Vec<Taken>, Missed> {
    let all: i64 = tubs.iter().map(|tub| tub.net_g).sum();
    if all < window.low {
        return Err(Missed::Unreachable { below: Some(all).filter(|all| *all > 0), above: None });
    }
    let mut left = window.low + (window.high - window.low) / 2;
    let mut taken = Vec::new();
    for tub in tubs {
        let grams = tub.net_g.min(left);
        if grams > 0 {
            taken.push(Taken { tray: (*tub).clone(), grams });
        }
        left -= grams;
    }
    Ok(taken)
}

/// Every tray before the last one taken that is not taken itself.
fn passed_over(stock: &[Candidate], wish: &Wish, take: &[Taken]) -> Vec<PassedOver> {
    let ids: BTreeSet<i64> = take.iter().map(|taken| taken.tray.tray_id).collect();
    let Some(last) = stock.iter().rposition(|tray| ids.contains(&tray.tray_id)) else { return Vec::new() };
    let skipped = if wish.choice == Choice::OldestFirst { Why::NoCompletion } else { Why::OtherChoice };
    let older = stock.iter().take(last).filter(|tray| !ids.contains(&tray.tray_id));
    older.map(|tray| PassedOver { tray: tray.clone(), why: wish.bars(tray).unwrap_or(skipped) }).collect()
}
