//! Records who called and heard what, with the order in which calls began and ended, and hands it to the checker.

use std::sync::Barrier;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use stateright::semantics::{ConsistencyTester, LinearizabilityTester};

use crate::Shop;
use crate::order::{find, op};
use crate::program::{Plan, Step};
use crate::spec::{Call, Said, Shelf, Tray};

/// A call and its answer. `begun` is taken before the call and `ended` behind its answer, all from one counter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    pub caller: usize,
    pub begun: u64,
    pub ended: u64,
    pub call: Call,
    pub said: Said,
}

/// Lets the callers of a plan loose on fresh trays.
pub fn record(shop: &impl Shop, plan: &Plan) -> Vec<Event> {
    let trays = &shop.trays(plan);
    let (clock, begin) = (&AtomicU64::new(0), &Barrier::new(plan.programs.len()));
    thread::scope(|scope| {
        let programs = plan.programs.iter().enumerate();
        let callers: Vec<_> = programs
            .map(|(caller, program)| scope.spawn(move || one_caller(shop, trays, caller, program, clock, begin)))
            .collect();
        callers.into_iter().flat_map(|caller| caller.join().unwrap()).collect()
    })
}

fn one_caller(
    shop: &impl Shop,
    trays: &[String],
    caller: usize,
    program: &[Step],
    clock: &AtomicU64,
    begin: &Barrier,
) -> Vec<Event> {
    let (mut events, mut sales) = (Vec::new(), Vec::new());
    begin.wait();
    for step in program {
        let Some(call) = call(step, &mut sales) else { continue };
        let begun = clock.fetch_add(1, Ordering::SeqCst);
        let said = shop.answer(trays, caller, &call);
        let ended = clock.fetch_add(1, Ordering::SeqCst);
        if let Said::Sold { sale, .. } = said {
            sales.push((sale, call.trays()));
        }
        if said != Said::Nothing {
            events.push(Event { caller, begun, ended, call, said });
        }
    }
    events
}

/// The call of a step; none where there is nothing to take back. A sale stays in the list: taking it back twice is a call too.
fn call(step: &Step, sales: &mut [(i64, Vec<usize>)]) -> Option<Call> {
    Some(match step {
        Step::Sell(lines) => Call::Sell(lines.clone()),
        Step::Kitchen(tray, grams) => Call::Kitchen(*tray, *grams),
        Step::MarkDown(tray, price) => Call::MarkDown(*tray, *price),
        Step::Scan(tray) => Call::Scan(*tray),
        Step::Reverse => {
            let (sale, trays) = sales.last()?;
            Call::Reverse(*sale, trays.clone())
        }
    })
}

impl Event {
    pub const fn sale(&self) -> Option<i64> {
        if let Said::Sold { sale, .. } = self.said { Some(sale) } else { None }
    }
}

/// Longest history that the library searches by itself.
const SHORT: usize = 8;

/// Whether some order of the calls, each between its beginning and its end, explains every answer. An order that our own search proposes
/// must satisfy the library; short histories the library also searches by itself, and both must say the same.
///
/// # Panics
/// When they do not.
pub fn explained(trays: &[Tray], events: &[Event]) -> bool {
    let order = find(Shelf::of(trays), events);
    if let Some(order) = &order {
        let moments = moments(order).unwrap_or_else(|| panic!("an order against the clock:\n{}", written(events)));
        assert!(library_says(trays, moments), "the library does not accept the order found for\n{}", written(events));
    }
    if events.len() <= SHORT {
        let spans = events.iter().flat_map(|event| [(event.begun, true, event), (event.ended, false, event)]).collect();
        assert_eq!(library_says(trays, spans), order.is_some(), "two searches differ on\n{}", written(events));
    }
    order.is_some()
}

type Moments<'a> = Vec<(u64, bool, &'a Event)>;

/// One moment for each call in which it may be thought to have happened, none before the one before it: as early as it can be. None if
/// that is behind the end of a call.
fn moments<'a>(order: &[&'a Event]) -> Option<Moments<'a>> {
    let mut now = 0;
    let mut moments = Vec::new();
    for event in order {
        now = now.max(event.begun);
        if now > event.ended {
            return None;
        }
        moments.extend([(now, true, *event), (now, false, *event)]);
    }
    Some(moments)
}

/// The library's judgement: `moments` say when calls began (true) and ended.
fn library_says(trays: &[Tray], mut moments: Moments<'_>) -> bool {
    let mut tester = LinearizabilityTester::new(Shelf::of(trays));
    moments.sort_by_key(|moment| moment.0);
    for (_, begins, event) in moments {
        let told = match begins {
            true => tester.on_invoke(event.caller, op(event)),
            false => tester.on_return(event.caller, event.said.clone()),
        };
        told.expect("one call of a caller at a time");
    }
    tester.is_consistent()
}

/// The parts of a history that no order explains, written out: tray by tray, or the whole shelf where sales span several.
pub fn unexplained(plan: &Plan, events: &[Event]) -> Vec<String> {
    if plan.several_at_once {
        return if explained(&plan.trays, events) { vec![] } else { vec![written(events)] };
    }
    let part = |tray: usize| -> Vec<Event> {
        events.iter().filter(|event| event.call.trays().contains(&tray)).cloned().collect()
    };
    let parts = (0..plan.trays.len()).map(part);
    parts.filter(|part| !explained(&plan.trays, part)).map(|part| written(&part)).collect()
}

/// Calls that were under way beside another's.
pub fn overlapping(events: &[Event]) -> usize {
    let beside = |a: &Event, b: &Event| a.caller != b.caller && a.begun < b.ended && b.begun < a.ended;
    events.iter().filter(|event| events.iter().any(|other| beside(event, other))).count()
}

fn written(events: &[Event]) -> String {
    let mut events: Vec<&Event> = events.iter().collect();
    events.sort_by_key(|event| event.begun);
    let line =
        |e: &Event| format!("  {:>4} to {:>4}, caller {}: {:?} -> {:?}\n", e.begun, e.ended, e.caller, e.call, e.said);
    events.into_iter().map(line).collect()
}
