//! What the till's clock decides, and what a manager is told of it: a sale before the cutting, holds and prices of then and of since.

use crate::ground::{Which, actor};
use crate::till::{BLOCK_CENTS, Counter, at, found, sale};
use sakudana::domain::replay::{Contradiction, Danger};
use sakudana::ops::hold;
use sakudana::ops::mark_down::mark_down;

pub fn a_sale_before_the_cutting(which: Which) {
    let counter = Counter::open(which, 4, 0);
    let b = &counter.blocks;
    for code in b.iter() {
        counter.label(code);
    }
    let days = counter.tray(&b[0]).use_by.unwrap().since(at(0)) / 60_000_000;
    // It is here since the second minute. Two clocks may differ by two minutes.
    let sales = [
        sale("just", 0, &[(&b[0], None, BLOCK_CENTS)]),
        sale("early", -1, &[(&b[1], None, BLOCK_CENTS)]),
        sale("days", -3_000, &[(&b[2], None, BLOCK_CENTS)]),
    ];
    let send = |minutes: i64, sale| found(&counter.send("till-1", minutes, vec![sale]).remove(0));
    let [just, early, long] = sales;
    assert_eq!(send(60, just), []);
    assert_eq!(send(60, early), [(1, "before_it_was_cut")]);
    // Expired when it was told, and the clock that says otherwise is wrong: someone may have eaten it.
    let codes = send(days + 10, long);
    assert!(codes.contains(&(1, "past_use_by")) && codes.contains(&(1, "before_it_was_cut")), "{codes:?}");
    // Expired when it was told, and nothing but the clock says that it was sold in time.
    let codes = send(days + 10, sale("since", days - 1_000, &[(&b[3], None, BLOCK_CENTS)]));
    assert_eq!(codes, [(1, "expired_since")]);
    counter.sound();
}

pub fn what_came_after_it_says_so(which: Which) {
    let counter = Counter::open(which, 5, 0);
    let b = &counter.blocks;
    let send =
        |key: &str, minutes: i64, line| found(&counter.send("till-1", 300, vec![sale(key, minutes, &[line])])[0]);
    // Held since, and let go since: nothing is left of it.
    counter.hold(&b[0], 100);
    let let_go = counter.hold(&b[1], 100);
    counter.act(move |tx, _| hold::release(tx, &actor(), at(110), let_go, "was the bin").map(drop));
    assert_eq!(send("held", 99, (&b[0], None, BLOCK_CENTS)), [(1, "held_since")]);
    assert_eq!(send("let-go", 99, (&b[1], None, BLOCK_CENTS)), []);
    assert_eq!(Contradiction::HeldSince.danger(), Danger::Eaten);
    // The price is that of then: 79.50, 70.00 and 60.00 a kilogram.
    for (minutes, price) in [(100, 7_000), (200, 6_000)] {
        for code in &b[2..] {
            let code = code.clone();
            counter.act(move |tx, shop| mark_down(tx, shop, &actor(), at(minutes), &code, price, "evening").map(drop));
        }
    }
    assert_eq!(send("before", 99, (&b[2], None, BLOCK_CENTS)), []);
    assert_eq!(send("between", 100, (&b[3], None, 2_100)), []);
    assert_eq!(send("after", 250, (&b[4], None, BLOCK_CENTS)), [(1, "price_differs")]);
    let price = |code: &str| counter.sale_line(code).price_per_kg_cents;
    assert_eq!([&b[2], &b[3], &b[4]].map(|code| price(code)), [7_950, 7_000, 6_000]);
    counter.sound();
}
