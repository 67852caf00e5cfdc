//! Histories that no order explains, which the checker must say so of; beside each one that differs in little and is explained.

use std::collections::HashMap;
use std::sync::Mutex;

use crate::Shop;
use crate::ground::Which;
use crate::history::{Event, explained, record, unexplained};
use crate::program::{Plan, plan, tray};
use crate::shop::OpenDesk;
use crate::spec::{Call, Said};

fn event(caller: usize, (begun, ended): (u64, u64), call: Call, said: Said) -> Event {
    Event { caller, begun, ended, call, said }
}

fn sold(caller: usize, span: (u64, u64), sale: i64) -> Event {
    // 200 g at 79.50 a kilogram.
    event(caller, span, Call::Sell(vec![(0, None)]), Said::Sold { sale, cents: 1_590 })
}

fn refused(caller: usize, span: (u64, u64), sale: i64) -> Event {
    event(caller, span, Call::Sell(vec![(0, None)]), Said::Refused("already_sold".into(), Some(sale)))
}

fn seen(caller: usize, span: (u64, u64), sale: Option<i64>) -> Event {
    let (grams, verdict) = if sale.is_some() { (0, "already_sold") } else { (200, "sell") };
    event(caller, span, Call::Scan(0), Said::Seen { grams, price: 7_950, verdict: verdict.into(), sale })
}

fn of_a_block(events: &[Event]) -> bool {
    explained(&[tray(false)], events)
}

#[test]
fn a_stale_scan_is_seen() {
    assert!(
        of_a_block(&[sold(0, (0, 5), 1), seen(1, (3, 6), None)]),
        "both under way at once: the scan may have been first"
    );
    assert!(
        !of_a_block(&[sold(0, (0, 2), 1), seen(1, (3, 6), None)]),
        "the sale had been answered before the scan began"
    );
    let back_and_forth = [sold(0, (0, 9), 1), seen(1, (1, 2), Some(1)), seen(2, (3, 4), None)];
    assert!(!of_a_block(&back_and_forth), "one saw it sold, and a later one did not");
}

#[test]
fn a_double_sale_is_seen() {
    assert!(of_a_block(&[sold(0, (0, 5), 1), refused(1, (1, 4), 1)]));
    assert!(!of_a_block(&[sold(0, (0, 5), 1), sold(1, (1, 4), 2)]), "one block, two sales");
    assert!(!of_a_block(&[sold(0, (0, 5), 1), refused(1, (1, 4), 2)]), "told of a sale that never was");
    assert!(!of_a_block(&[refused(0, (0, 5), 1), refused(1, (1, 4), 1)]), "refused to all, sold to nobody");
    let reverse = event(0, (6, 7), Call::Reverse(1, vec![0]), Said::Reversed);
    assert!(of_a_block(&[sold(0, (0, 5), 1), reverse, sold(1, (8, 9), 2)]), "taken back between the two");
}

#[test]
fn an_overdrawn_tub_is_seen() {
    let draw = |caller, span, grams, said| event(caller, span, Call::Sell(vec![(0, Some(grams))]), said);
    // 200 g at 23.33 a kilogram are 4.666.
    let drawn = |sale| Said::Sold { sale, cents: 467 };
    let left = |grams| Said::Refused("insufficient_stock".into(), Some(grams));
    let tub = |second| explained(&[tray(true)], &[draw(0, (0, 3), 200, drawn(1)), draw(1, (1, 4), 200, second)]);
    assert!(tub(left(100)));
    assert!(!tub(left(300)), "it cannot be refused what is there");
    assert!(!tub(drawn(2)), "400 g out of 300 g");
}

#[test]
fn half_a_sale_is_seen() {
    let trays = [tray(false), tray(false)];
    let both = event(0, (0, 5), Call::Sell(vec![(0, None), (1, None)]), Said::Sold { sale: 1, cents: 3_180 });
    let scan = |span, tray, sale: Option<i64>| Event { call: Call::Scan(tray), ..seen(1, span, sale) };
    assert!(explained(&trays, &[both.clone(), scan((1, 2), 0, None), scan((3, 4), 1, Some(1))]));
    assert!(
        !explained(&trays, &[both, scan((1, 2), 0, Some(1)), scan((3, 4), 1, None)]),
        "one tray of a sale without the other"
    );
}

/// A shop that answers a scan with what it saw at the scan of that tray before.
struct Stale {
    shop: OpenDesk,
    before: Mutex<HashMap<String, Said>>,
}

impl Shop for Stale {
    fn trays(&self, plan: &Plan) -> Vec<String> {
        self.shop.trays(plan)
    }

    fn answer(&self, trays: &[String], caller: usize, call: &Call) -> Said {
        let said = self.shop.answer(trays, caller, call);
        let Call::Scan(tray) = call else { return said };
        self.before.lock().unwrap().insert(trays[*tray].clone(), said.clone()).unwrap_or(said)
    }

    fn holds_together(&self) {
        self.shop.holds_together();
    }
}

/// A shop that now and then says it sold what it did not sell.
struct Boastful(OpenDesk);

impl Shop for Boastful {
    fn trays(&self, plan: &Plan) -> Vec<String> {
        self.0.trays(plan)
    }

    fn answer(&self, trays: &[String], caller: usize, call: &Call) -> Said {
        match self.0.answer(trays, caller, call) {
            Said::Refused(code, Some(number)) if code == "already_sold" => {
                Said::Sold { sale: number + 1_000_000, cents: 1_590 }
            }
            said => said,
        }
    }

    fn holds_together(&self) {
        self.0.holds_together();
    }
}

/// How many of 40 recorded histories the checker does not explain.
fn caught(shop: &impl Shop) -> usize {
    let broken = |seed: &u64| {
        let plan = plan(*seed);
        !unexplained(&plan, &record(shop, &plan)).is_empty()
    };
    (0..40).filter(broken).count()
}

#[test]
fn recorded_histories_of_a_broken_shop_are_caught() {
    let stale = Stale { shop: OpenDesk::open(Which::Sqlite), before: Mutex::default() };
    let (stale, boastful) = (caught(&stale), caught(&Boastful(OpenDesk::open(Which::Sqlite))));
    println!("of 40 histories each: {stale} of a stale shop and {boastful} of a boastful one are caught");
    assert!(stale > 10 && boastful > 10, "{stale} and {boastful} of 40");
}
