//! A pick list as it stands now: each tray with its place and judgement, what is missing, what was passed over. Looking changes nothing; a
//! tray that went is told as gone from that moment.

use crate::domain::picking::list::{Line, LineState, PickList, Purpose, State};
use crate::domain::picking::{Ask, Why};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::tray::Tray;
use crate::domain::verdict::judge;
use crate::ops::failure::{Failure, refuse};
use crate::ops::judge::{facts, place_of};
use crate::store::catalogue::{cut, place};
use crate::store::{Reading, picks, trays};
use crate::units::instant::Instant;

/// A line as it stands.
#[derive(Debug, Clone)]
pub struct ShownLine {
    pub line: Line,
    pub tray: Tray,
    pub cut_name: String,
    pub place_name: String,
    pub sell_until: Option<Instant>,
    /// As of now: what was wanted, or laid aside for an order, and cannot be sold any more is gone.
    pub state: LineState,
    /// Why it is gone.
    pub because: Option<String>,
}

/// An older tray that was not taken.
#[derive(Debug, Clone)]
pub struct ShownPassed {
    pub tray: Tray,
    pub place_name: String,
    pub sell_until: Option<Instant>,
    pub why: Why,
}

#[derive(Debug, Clone)]
pub struct Shown {
    pub list: PickList,
    pub lines: Vec<ShownLine>,
    pub passed: Vec<ShownPassed>,
    /// Names of the cut and the place asked for.
    pub cut_name: Option<String>,
    pub place_name: Option<String>,
    /// Whether it keeps its trays from other lists now.
    pub reserved_until: Option<Instant>,
}

/// A list by its number.
pub fn shown(reading: &mut Reading<'_>, shop: &Shop, now: Instant, id: i64) -> Result<Shown, Failure> {
    let list = found(reading, id)?;
    of(reading, shop, now, list)
}

/// All open lists, oldest first.
pub fn open(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Shown>, Failure> {
    let lists = picks::open(reading)?;
    lists.into_iter().map(|list| of(reading, shop, now, list)).collect()
}

/// A list that an address names.
pub fn found(reading: &mut Reading<'_>, id: i64) -> Result<PickList, Failure> {
    match picks::find(reading, id)? {
        Some(list) => Ok(list),
        None => refuse(Code::NotFound, "id", "there is no such pick list"),
    }
}

pub fn of(reading: &mut Reading<'_>, shop: &Shop, now: Instant, list: PickList) -> Result<Shown, Failure> {
    let mut lines = Vec::with_capacity(list.lines.len());
    for line in &list.lines {
        lines.push(line_of(reading, shop, now, &list, line)?);
    }
    let mut passed = Vec::with_capacity(list.passed.len());
    for (tray, why) in &list.passed {
        let tray = trays::by_id(reading, *tray)?;
        let place_name = place_of(reading, &tray)?.name;
        let sell_until = facts(reading, shop, tray.clone(), now)?.sell_until();
        passed.push(ShownPassed { tray, place_name, sell_until, why: *why });
    }
    passed.sort_by_key(|passed| (passed.sell_until, passed.tray.cut_at, passed.tray.id));
    let reserved_until = list.reserved_until().filter(|until| *until >= now);
    let cut_name = match &list.asked.cut {
        Some(code) => cut::find(reading, code)?.map(|cut| cut.name),
        None => None,
    };
    let place_name = match &list.asked.place {
        Some(code) => place::find(reading, code)?.map(|place| place.name),
        None => None,
    };
    Ok(Shown { list, lines, passed, cut_name, place_name, reserved_until })
}

fn line_of(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    list: &PickList,
    line: &Line,
) -> Result<ShownLine, Failure> {
    let tray = trays::by_id(reading, line.tray_id)?;
    let place_name = place_of(reading, &tray)?.name;
    let facts = facts(reading, shop, tray, now)?;
    let verdict = judge(&facts, now);
    // What a refill brought is sold out of the case, and was brought all the same.
    let counts = list.state == State::Open
        && match line.state {
            LineState::Wanted => true,
            LineState::Picked => list.asked.purpose == Purpose::Order,
            LineState::Gone | LineState::Replaced => false,
        };
    let fate = facts.tray.fate.map(|fate| format!("no longer in stock: {}", fate.as_str().replace('_', " ")));
    let stop = fate.or_else(|| verdict.stops.first().map(|stop| stop.reason.clone()));
    let short = facts.tray.net.get() < line.grams;
    let because = match (counts, line.state) {
        (true, _) => stop.or_else(|| short.then(|| format!("it holds {} by now", facts.tray.net))),
        (false, LineState::Gone) => {
            Some(stop.unwrap_or_else(|| "another list took it, or it went meanwhile".to_owned()))
        }
        (false, _) => None,
    };
    let state = if counts && because.is_some() { LineState::Gone } else { line.state };
    Ok(ShownLine {
        line: line.clone(),
        cut_name: facts.cut.name,
        place_name,
        sell_until: verdict.sell_until,
        state,
        because,
        tray: facts.tray,
    })
}

impl Shown {
    pub fn lines_in(&self, state: LineState) -> impl DoubleEndedIterator<Item = &ShownLine> + '_ {
        self.lines.iter().filter(move |line| line.state == state)
    }

    fn grams(&self, state: LineState) -> i64 {
        self.lines_in(state).map(|line| line.line.grams).sum()
    }

    pub fn picked_g(&self) -> i64 {
        self.grams(LineState::Picked)
    }

    /// What is picked and what is still wanted, together.
    pub fn expected_g(&self) -> i64 {
        self.picked_g() + self.grams(LineState::Wanted)
    }

    /// The tray to fetch next: those that stand together are fetched together, the first to go first.
    pub fn next(&self) -> Option<&ShownLine> {
        self.lines_in(LineState::Wanted).next()
    }

    /// How many trays are missing of what was asked for.
    pub fn missing_trays(&self) -> usize {
        let there = self.lines_in(LineState::Picked).count() + self.lines_in(LineState::Wanted).count();
        match self.list.asked.ask {
            Some(Ask::Count(count)) => count.saturating_sub(there),
            _ => self.lines_in(LineState::Gone).count(),
        }
    }

    /// How many grams are missing to reach the weight asked for.
    pub fn missing_g(&self) -> i64 {
        self.list.asked.window().map_or(0, |window| (window.low - self.expected_g()).max(0))
    }

    /// Whether anything is missing of what was asked for.
    pub fn is_short(&self) -> bool {
        self.missing_trays() > 0 || self.missing_g() > 0
    }

    /// Whether everything that was asked for is picked. A short list stays open: a person fills it up, or ends it as it is.
    pub fn is_worked_off(&self) -> bool {
        let left = self.lines_in(LineState::Wanted).chain(self.lines_in(LineState::Gone)).next();
        left.is_none() && !self.is_short() && self.lines_in(LineState::Picked).next().is_some()
    }
}
