//! Sells through the acts of the shop: alone without a line, or by many callers at once.

use crate::counter::actor;
use crate::{Copy, Measured, shop};
use sakudana::ops::desk::{Actor, Desk};
use sakudana::ops::sell::{LineDraft, Sold, sell};
use sakudana::units::instant::Instant as Moment;
use std::sync::Barrier;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

fn draft(code: &str) -> (Actor, [LineDraft; 1]) {
    (actor(), [LineDraft { tray: code.to_owned(), grams: None }])
}

/// One sale of one block.
pub fn sell_one(desk: &Desk, code: &str, now: Moment) -> Sold {
    let (actor, lines) = draft(code);
    desk.act(move |tx, shop| sell(tx, shop, &actor, now, &lines)).expect("a block is sold")
}

/// One thread that has the desk to itself.
pub fn alone(copy: &Copy, codes: &[String], now: Moment) -> Measured {
    let mut desk = shop::open(copy.file());
    let mut waits = Vec::with_capacity(codes.len());
    let start = Instant::now();
    for code in codes {
        let begun = Instant::now();
        let (actor, lines) = draft(code);
        desk.act_alone(|tx, shop| sell(tx, shop, &actor, now, &lines)).expect("a block is sold");
        waits.push(begun.elapsed());
    }
    Measured { rate: codes.len() as f64 / start.elapsed().as_secs_f64(), waits }
}

/// Many callers, each waiting for its sale before it begins the next.
pub fn together(copy: &Copy, codes: &[String], now: Moment, callers: usize) -> Measured {
    let desk = shop::open(copy.file());
    let next = AtomicUsize::new(0);
    let ready = Barrier::new(callers + 1);
    let one_caller = || -> Vec<Duration> {
        let mut waits = Vec::with_capacity(codes.len() / callers * 2);
        ready.wait();
        while let Some(code) = codes.get(next.fetch_add(1, Ordering::Relaxed)) {
            let begun = Instant::now();
            sell_one(&desk, code, now);
            waits.push(begun.elapsed());
        }
        waits
    };
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..callers).map(|_| scope.spawn(one_caller)).collect();
        let start = Instant::now();
        ready.wait();
        let waits: Vec<Duration> = threads.into_iter().flat_map(|t| t.join().expect("a caller ends well")).collect();
        assert_eq!(waits.len(), codes.len(), "every block was sold once");
        Measured { rate: codes.len() as f64 / start.elapsed().as_secs_f64(), waits }
    })
}
