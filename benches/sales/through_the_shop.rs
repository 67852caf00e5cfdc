//! Sells through the acts of the shop: alone without a line, or by many callers at once.

use crate::counter::actor;
use crate::{Measured, shop};
use sakudana::ops::desk::Desk;
use sakudana::ops::once::{Answer, Request};
use sakudana::ops::sell::group::{Order, sell_together};
use sakudana::ops::sell::{ChargedLine, LineDraft, Sold};
use sakudana::units::instant::Instant as Moment;
use std::path::Path;
use std::sync::Barrier;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// One block, under a key of its own.
fn order(code: &str, now: Moment) -> Order {
    let lines = vec![ChargedLine::from(&LineDraft { tray: code.to_owned(), grams: None })];
    let request = Request {
        client: "till".to_owned(),
        route: "POST /v1/sales".to_owned(),
        key: format!("the sale of {code}"),
        fingerprint: code.to_owned(),
    };
    Order { request, actor: actor(), now, lines, speak }
}

/// As short as an answer can be that tells what it is.
fn speak(sold: Sold) -> (u16, String) {
    (201, format!("{{\"sale_id\":{},\"total_cents\":{}}}", sold.sale.id, sold.sale.total_cents))
}

/// One sale of one block.
pub fn sell_one(desk: &Desk, code: &str, now: Moment) -> Answer {
    desk.sell_now(order(code, now)).expect("a block is sold")
}

/// One thread that has the desk to itself.
#[allow(dead_code, reason = "two benchmarks share this file, and one asks how it is without a line")]
pub fn alone(copy: &Path, codes: &[String], now: Moment) -> Measured {
    let mut desk = shop::open(copy);
    let mut waits = Vec::with_capacity(codes.len());
    let start = Instant::now();
    for code in codes {
        let begun = Instant::now();
        let order = [order(code, now)];
        let answers = desk.act_alone(|tx, shop| sell_together(tx, shop, &order)).expect("a group is done");
        assert!(answers[0].is_ok(), "{answers:?}");
        waits.push(begun.elapsed());
    }
    Measured { rate: codes.len() as f64 / start.elapsed().as_secs_f64(), waits }
}

/// Many callers, each waiting for its sale before it begins the next.
pub fn together(copy: &Path, codes: &[String], now: Moment, callers: usize) -> Measured {
    let desk = shop::open(copy);
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
