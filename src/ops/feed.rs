//! What happened last, kept by a process for all who follow it: one reader of the database, however many listen. Nobody's place is kept
//! here and nothing is queued for anybody, so that a listener who is slow costs nothing: he reads on from the database.

use super::changes::newest;
use super::desk::Desk;
use super::failure::Failure;
use crate::store::changes::{self, Change, Position};
use std::collections::VecDeque;
use std::fmt;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

/// So many changes are kept: some seconds of a shop at its busiest.
const KEPT: usize = 2_048;
/// Read at once.
const PAGE: i64 = 200;

/// A change, and how it is spoken: said once, by whoever comes first, for all.
#[derive(Debug)]
pub struct Told {
    pub change: Change,
    pub spoken: OnceLock<Arc<str>>,
    /// The same for tills, which are told less.
    pub spoken_to_tills: OnceLock<Arc<str>>,
}

impl From<Change> for Told {
    fn from(change: Change) -> Told {
        Told { change, spoken: OnceLock::new(), spoken_to_tills: OnceLock::new() }
    }
}

/// What is behind a position.
#[derive(Debug)]
pub enum Behind {
    /// At least one, in order.
    News(Vec<Arc<Told>>),
    Nothing,
    /// More than is kept: the database has it.
    More,
}

#[derive(Default)]
struct Kept {
    /// Complete behind this place; none before the first reading.
    from: Option<Position>,
    changes: VecDeque<Arc<Told>>,
}

impl Kept {
    fn end(&self) -> Option<Position> {
        self.changes.back().map(|told| told.change.position).or(self.from)
    }
}

type Listener = Box<dyn Fn() + Send + Sync>;

#[derive(Default)]
pub struct Feed {
    kept: Mutex<Kept>,
    listeners: Mutex<Vec<Listener>>,
}

impl fmt::Debug for Feed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Feed").finish_non_exhaustive()
    }
}

impl Feed {
    fn kept(&self) -> MutexGuard<'_, Kept> {
        // Changes are put in whole, one after the other: a panic elsewhere leaves nothing half done.
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Has someone called whenever there is something new. He must not take long.
    pub fn on_news(&self, listener: impl Fn() + Send + Sync + 'static) {
        self.listeners.lock().unwrap_or_else(PoisonError::into_inner).push(Box::new(listener));
    }

    /// At most so many changes behind a position.
    pub fn behind(&self, position: Position, limit: usize) -> Behind {
        let kept = self.kept();
        if kept.from.is_none_or(|from| position < from) {
            return Behind::More;
        }
        let first = kept.changes.partition_point(|told| told.change.position <= position);
        let news: Vec<Arc<Told>> = kept.changes.range(first..).take(limit).map(Arc::clone).collect();
        if news.is_empty() { Behind::Nothing } else { Behind::News(news) }
    }

    /// Reads what is new and tells of it. The first time it only finds where it stands. Gives how much was new.
    pub fn read_on(&self, desk: &Desk) -> Result<usize, Failure> {
        let Some(mut end) = self.kept().end() else {
            let end = desk.look(|reading, _| newest(reading))?;
            self.kept().from = Some(end);
            return Ok(0);
        };
        let mut count = 0;
        loop {
            let found = desk.look(|reading, _| Ok(changes::behind(reading, end, PAGE)?))?;
            let (number, last) = (found.len(), found.last().map(|change| change.position));
            let Some(last) = last else { return Ok(count) };
            self.keep(found);
            (end, count) = (last, count + number);
            for listener in self.listeners.lock().unwrap_or_else(PoisonError::into_inner).iter() {
                listener();
            }
            if i64::try_from(number).is_ok_and(|number| number < PAGE) {
                return Ok(count);
            }
        }
    }

    fn keep(&self, found: Vec<Change>) {
        let mut kept = self.kept();
        kept.changes.extend(found.into_iter().map(|change| Arc::new(Told::from(change))));
        while kept.changes.len() > KEPT {
            kept.from = kept.changes.pop_front().map(|told| told.change.position);
        }
    }
}
