//! What came of decisions: every way fish can go, what does not count, and sums that are those of the ledger.

use crate::ground::{Ground, Which, on_both};
use crate::scene::{About, Scene, at, range};
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use sakudana::ops::pay::{Came, Followed, Sum};
use sakudana::ops::take_out::Whither;
use sakudana::store::decisions::Expected;

on_both!(every_way_a_tray_can_go_is_told, what_is_not_over_is_not_compared, the_sums_are_those_of_the_ledger);

const DAY: &str = "2026-11-25";

fn expected(sold_g: i64, total_cents: i64) -> Expected {
    Expected { sold_g, revenue_cents: total_cents, total_cents, ..Expected::default() }
}

/// All that lay there and came is where it is told to be.
fn balanced(of: &Followed) {
    let came = &of.came;
    let gone = came.sold_g + came.kitchen_g + came.wasted_g + came.counted_g + came.passed_on_g;
    assert_eq!(of.then_g + came.came_in_g, gone + came.frozen_g + came.still_g, "{of:?}");
}

fn every_way_a_tray_can_go_is_told(which: Which) {
    let s = Scene::new(which);
    let mut outputs = vec![("saku", 300); 7];
    outputs.extend([("scrape", 1_000), ("scrape", 500)]);
    let t = s.cut(&outputs, 0);
    // Before the decision: not of it, though put back after it.
    let earlier = s.sell(&t[6], None, at(5));
    let about = |tray: usize, course, sold_permille| About { tray: &t[tray], net_g: 300, course, sold_permille };
    let blocks = [
        about(0, "mark_down", 700),
        about(1, "keep", 900),
        about(2, "kitchen", 0),
        about(3, "freeze", 0),
        about(4, "keep", 600),
        about(5, "keep", 650),
    ];
    let ends = at(600);
    let freezing = Expected { frozen_g: 300, frozen_cents: 600, ..expected(900, 8_000) };
    s.decide(at(10), "saku", "accepted", ends, freezing, &blocks);
    let tub = [About { tray: &t[7], net_g: 1_000, course: "keep", sold_permille: 500 }];
    s.decide(at(10), "scrape", "declined", ends, expected(500, 1_000), &tub);
    s.reverse(earlier, at(15));

    s.sell(&t[0], None, at(20));
    let back = s.sell(&t[1], None, at(21));
    s.bring_back(back, at(60), &[(&t[1], 100, 700, "warm")]);
    s.out(&t[2], Whither::Kitchen, None, None, at(22));
    s.freeze(&t[3], at(23));
    s.out(&t[4], Whither::Waste, None, Some("Fell"), at(24));
    let undone = s.sell(&t[5], None, at(25));
    s.reverse(undone, at(26));
    s.count(&t[5], 0, at(27));
    s.sell(&t[7], Some(200), at(28));
    s.pour(&t[7], &t[8], 250, at(29));
    s.sell(&t[7], Some(150), at(30));
    s.count(&t[7], 880, at(31));

    let report = s.advice(at(601), range(DAY, DAY));
    assert_eq!(report.decisions.len(), 2);
    report.decisions.iter().for_each(balanced);
    let saku = &report.decisions[0];
    assert!(saku.over);
    // 300 g at 79.50 a kilogram are 23.85; the kitchen pays a quarter of the list price; the freezer as it was expected, 600 for 300 g.
    let wanted = Came {
        sold_g: 600,
        revenue_cents: 2 * 2_385,
        returned_g: 100,
        refund_cents: 700,
        kitchen_g: 300,
        kitchen_cents: 300 * (7_950 / 4) / 1_000,
        frozen_g: 300,
        frozen_cents: 600,
        wasted_g: 300,
        waste_cents: 0,
        counted_g: 300,
        total_cents: 2 * 2_385 - 700 + 596 + 600,
        ..Came::default()
    };
    assert_eq!(saku.came, wanted);
    let scrape = &report.decisions[1];
    let wanted = Came {
        sold_g: 350,
        // 200 g and 150 g at 23.33.
        revenue_cents: 467 + 350,
        counted_g: 20,
        came_in_g: 250,
        still_g: 880,
        total_cents: 817,
        ..Came::default()
    };
    assert_eq!(scrape.came, wanted);
    // Forecasts: two blocks sold of four that were to be sold, and 350 of 1000 g of the tub; not what was to be cooked or frozen.
    let told: Vec<(usize, f64, f64)> =
        report.calibration.bins.iter().map(|bin| (bin.count, bin.forecast, bin.happened)).collect();
    assert_eq!(told, [(1, 0.5, 0.35), (2, 0.625, 0.0), (1, 0.7, 1.0), (1, 0.9, 1.0)]);
    let [accepted, changed, declined] = &report.ways[..] else { panic!("three ways") };
    assert_eq!((accepted.over, accepted.expected.total_cents, accepted.came), (1, 8_000, saku.came));
    assert_eq!((changed.over, changed.pending), (0, 0));
    assert_eq!((declined.over, declined.alone.total_cents, declined.came), (1, 3_000, scrape.came));
    assert_eq!(report.weeks.len(), 1);
    assert_eq!(report.weeks[0].week.to_string(), "2026-W48");
    assert_eq!((report.weeks[0].taken, report.weeks[0].declined), (*accepted, *declined));
    s.clean();
}

fn counts(sum: &Sum) -> (usize, usize) {
    (sum.over, sum.pending)
}

/// Until every tray has ended or gone a decision is counted and not compared; one that was taken back never was.
fn what_is_not_over_is_not_compared(which: Which) {
    let s = Scene::new(which);
    let t = s.cut(&[("saku", 300), ("saku", 310), ("belly", 200)], 0);
    let about = |tray: usize, net_g, sold_permille| About { tray: &t[tray], net_g, course: "keep", sold_permille };
    let ends = at(600);
    s.decide(at(10), "saku", "accepted", ends, expected(500, 4_000), &[about(0, 300, 800), about(1, 310, 750)]);
    let wrong = s.decide(at(11), "belly", "changed", ends, expected(200, 2_000), &[about(2, 200, 800)]);
    s.sell(&t[0], None, at(20));
    let before = s.advice(at(30), range(DAY, DAY));
    assert_eq!([counts(&before.ways[0]), counts(&before.ways[1])], [(0, 1), (0, 1)]);
    assert_eq!((before.ways[0].came, before.ways[0].expected.total_cents), (Came::default(), 0), "in no sum");
    assert_eq!(before.calibration.count, 0, "the tray that sold first would tell only of the quick ones");
    assert_eq!((before.decisions[0].came.sold_g, before.decisions[0].came.still_g), (300, 310), "but it is told");
    s.undo(wrong, at(31));
    // Again in the afternoon: one tray that two decisions looked at tells its story once.
    s.decide(at(400), "saku", "changed", ends, expected(300, 2_000), &[about(1, 310, 750)]);
    let after = s.advice(at(601), range(DAY, DAY));
    assert_eq!([counts(&after.ways[0]), counts(&after.ways[1])], [(1, 0), (1, 0)]);
    assert!(after.decisions.iter().all(|of| of.decided.cut == "saku"), "the one taken back is gone");
    assert_eq!(after.calibration.count, 3);
    let bin = &after.calibration.bins[0];
    assert_eq!((bin.count, bin.from, bin.happened), (2, 0.7, 0.0), "of the last tray");
    assert!((bin.worth - 2.0).abs() < 1e-9, "two halves of the same weight");
    let scores = after.calibration.brier.unwrap();
    // The tray at 0.8 sold, the one at 0.75 did not and counts once: (0.04 + 0.5625) / 2.
    assert!((scores.score - 0.30125).abs() < 1e-12, "{scores:?}");
    assert!(s.advice(at(601), range("2026-11-26", "2026-11-30")).decisions.is_empty(), "of other days");
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    value: i64,
}

/// One number out of the database, past the program.
pub fn number(ground: &Ground, query: &str) -> i64 {
    let query = format!("SELECT CAST({query} AS BIGINT) AS value");
    diesel::sql_query(query).get_result::<Number>(&mut ground.witness()).unwrap().value
}

/// Forty trays decided at once, then dealt away by dice: what is told in sum is what the ledger says of these trays since.
fn the_sums_are_those_of_the_ledger(which: Which) {
    let s = Scene::new(which);
    let mut outputs = vec![("saku", 200); 30];
    outputs.extend([("scrape", 900); 6]);
    let t = s.cut(&outputs, 300);
    let decide = |cut, trays: std::ops::Range<usize>, net_g| {
        let about: Vec<About<'_>> =
            trays.map(|i| About { tray: &t[i], net_g, course: "keep", sold_permille: 500 }).collect();
        s.decide(at(10), cut, "accepted", at(900), expected(1_000, 9_000), &about)
    };
    decide("saku", 0..30, 200);
    decide("scrape", 30..36, 900);
    let mut state = 7_u64;
    let mut dice = |below: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    for (i, tray) in t.iter().enumerate() {
        let when = at(20 + i64::try_from(i).unwrap());
        let part = (i >= 30).then(|| i64::try_from(dice(400)).unwrap() + 1);
        match dice(6) {
            0 | 1 => drop(s.sell(tray, part, when)),
            2 => {
                let sale = s.sell(tray, part, when);
                s.reverse(sale, when);
            }
            3 => s.out(tray, Whither::Kitchen, part, None, when),
            4 => s.out(tray, Whither::Waste, part, Some("dropped"), when),
            _ => s.count(tray, 150, when),
        }
    }
    let report = s.advice(at(901), range(DAY, DAY));
    report.decisions.iter().for_each(balanced);
    let came = report.ways[0].came;
    let since = "e JOIN decision_trays d ON d.tray_id = e.tray_id JOIN decisions c ON c.id = d.decision_id JOIN acts a ON a.id = e.act_id WHERE e.act_id > c.act_id";
    let ledger = |kinds: &str| {
        number(&s.ground, &format!("(SELECT COALESCE(-SUM(e.grams), 0) FROM entries {since} AND a.kind IN ({kinds}))"))
    };
    assert_eq!(came.sold_g, ledger("'sell', 'reverse_sale'"));
    assert_eq!(came.kitchen_g, ledger("'kitchen'"));
    assert_eq!(came.wasted_g, ledger("'waste'"));
    assert_eq!(came.counted_g, ledger("'count'"));
    assert_eq!(
        came.revenue_cents,
        number(&s.ground, "(SELECT COALESCE(SUM(total_cents), 0) FROM sales WHERE reversed_by_act_id IS NULL)")
    );
    let all_ways = [came.sold_g, came.kitchen_g, came.wasted_g, came.counted_g, came.still_g];
    assert!(all_ways.iter().all(|grams| *grams > 0), "the dice went every way: {came:?}");
    s.clean();
}
