//! Looks for an order of the calls that explains every answer, remembering where it has been (after Wing & Gong 1993, "Testing and
//! verifying concurrent objects", with Lowe's cache of configurations; from memory). The library's search remembers nothing and cannot
//! end on long histories. What is found here is not believed: `history.rs` hands the order to the library.

use std::collections::HashSet;

use crate::history::Event;
use crate::spec::{Op, Shelf};
use stateright::semantics::SequentialSpec;

/// Where the search stands: how many calls of each caller are in the order, and the shelf behind them.
type Place = (Vec<usize>, Shelf);

pub fn op(event: &Event) -> Op {
    Op { call: event.call.clone(), sale: event.sale() }
}

/// The events in such an order; none if there is none.
pub fn find(shelf: Shelf, events: &[Event]) -> Option<Vec<&Event>> {
    let callers = events.iter().map(|event| event.caller + 1).max().unwrap_or(0);
    let mut by_caller: Vec<Vec<&Event>> = vec![Vec::new(); callers];
    for event in events {
        by_caller[event.caller].push(event);
    }
    by_caller.iter_mut().for_each(|calls| calls.sort_by_key(|event| event.begun));
    let mut been: HashSet<Place> = HashSet::new();
    let mut path: Vec<(Place, usize, Option<&Event>)> = vec![((vec![0; callers], shelf), 0, None)];
    loop {
        let (place, tried, _) = path.last_mut()?;
        if path_is_whole(&by_caller, &place.0) {
            return Some(path.into_iter().filter_map(|(.., event)| event).collect());
        }
        let caller = *tried;
        *tried += 1;
        if caller == callers {
            path.pop();
            continue;
        }
        if let Some((next, event)) = step(&by_caller, place, caller)
            && been.insert(next.clone())
        {
            path.push((next, 0, Some(event)));
        }
    }
}

fn path_is_whole(by_caller: &[Vec<&Event>], counts: &[usize]) -> bool {
    by_caller.iter().zip(counts).all(|(calls, count)| calls.len() == *count)
}

/// The next call of a caller put behind the order, if it may stand there and its answer fits.
fn step<'a>(by_caller: &[Vec<&'a Event>], place: &Place, caller: usize) -> Option<(Place, &'a Event)> {
    let next = |caller: usize| by_caller[caller].get(place.0[caller]).copied();
    let event = next(caller)?;
    // Another call that ended before this one began stands before it.
    let first_end = (0..by_caller.len()).filter_map(next).map(|event| event.ended).min()?;
    if event.begun > first_end {
        return None;
    }
    let (mut counts, mut shelf) = place.clone();
    counts[caller] += 1;
    shelf.is_valid_step(&op(event), &event.said).then_some(((counts, shelf), event))
}
