//! The plan as a shop is told it, on both databases: what it rests on, what it says when something is not known, what counts as stock.

use crate::ground::{Ground, Which, actor, chill, on_both, shop, start};
use sakudana::domain::advice::Demand;
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::plan::{Cutting, Money, Piece, plan};
use sakudana::domain::shop::Shop;
use sakudana::domain::terms::CutTerms;
use sakudana::ops::edit_catalogue::Expected;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::plan::{CostBasis, CutPlan, Leftover, Missing, OfDay, Planned, plans};
use sakudana::ops::press::Press;
use sakudana::ops::{label, terms};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::zone::parse_day;

on_both!(
    what_is_not_known_is_said,
    a_plan_rests_on_the_last_trays,
    what_is_there_counts_and_what_is_held_does_not,
    closed_days_have_no_cutting,
    a_tub_is_planned_in_portions,
    the_smallest_portions_and_the_largest_rate_are_planned,
);

fn hours_after(hours: i64) -> Instant {
    start().plus_micros(hours * MICROS_PER_HOUR)
}

fn open(which: Which, shop: Shop) -> Ground {
    let ground = Ground::of(shop, which, 2);
    ground.place("case", chill(0, 2_000));
    ground
}

fn of(ground: &Ground, now: Instant, cut: &str) -> CutPlan {
    let all = ground.desk.look(|reading, shop| plans(reading, shop, now)).unwrap();
    all.into_iter().find(|plan| plan.cut.code == cut).unwrap()
}

fn planned(ground: &Ground, now: Instant, cut: &str) -> Planned {
    of(ground, now, cut).planned.unwrap()
}

fn say(ground: &Ground, cut: &'static str, said: CutTerms) {
    ground.desk.act(move |tx, _| terms::put(tx, &actor(), start(), cut, &said, Expected::Version(0))).unwrap();
}

fn label(ground: &Ground, codes: &[String]) {
    for code in codes {
        let code = code.clone();
        ground
            .desk
            .act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), start(), &code, None))
            .unwrap();
    }
}

fn what_is_not_known_is_said(which: Which) {
    let ground = open(which, shop());
    let nothing = of(&ground, start(), "saku");
    assert_eq!(
        nothing.planned,
        Err(vec![Missing::Weight, Missing::Life, Missing::Cost]),
        "never cut, nobody said anything"
    );
    assert_eq!((nothing.shelf_g, nothing.shelf_pieces), (0, 0));
    say(&ground, "saku", CutTerms { cost_cents_per_kg: Some(4_000), ..CutTerms::default() });
    assert_eq!(of(&ground, start(), "saku").planned, Err(vec![Missing::Weight, Missing::Life]));
    // Cut, and not labelled yet: how long such a piece keeps is not known.
    let codes = ground.trays("saku", 2, 300);
    assert_eq!(of(&ground, start(), "saku").planned, Err(vec![Missing::Life]));
    label(&ground, &codes);
    assert!(of(&ground, start(), "saku").planned.is_ok());
    assert!(of(&ground, start(), "belly").planned.is_err(), "one cut says nothing of another");
    let all = ground.desk.look(|reading, shop| plans(reading, shop, start())).unwrap();
    assert!(all.iter().all(|plan| plan.cut.code != "loin"), "what is not sold over the counter is not planned");
    assert_eq!(all[0].cut.code, "saku", "what has a plan stands before what has none");
}

fn a_plan_rests_on_the_last_trays(which: Which) {
    let ground = open(which, shop());
    let codes = ground.trays("saku", 3, 300);
    label(&ground, &codes);
    let found = of(&ground, start(), "saku");
    let planned = found.planned.clone().unwrap();
    let piece = &planned.piece;
    // The fish cost 7/3 cents a gram, and all of it became saku.
    assert_eq!((piece.cost_per_kg_cents, piece.cost_basis, piece.grams), (2_333, CostBasis::Ledger, 300));
    assert_eq!(piece.trays_seen, 3);
    let use_by = ground
        .desk
        .look(|reading, _| sakudana::ops::judge::tray_by_code(reading, "tray", &codes[0]))
        .unwrap()
        .use_by
        .unwrap();
    assert_eq!(piece.life_hours, use_by.since(start()) / MICROS_PER_HOUR);
    // A quarter of 79.50 is less than the cost: what is left goes to the kitchen.
    assert_eq!(piece.leftover, Leftover::Kitchen);
    assert_eq!(piece.money, Money { price: 2_385.0, cost: 699.9, left: 596.1 });
    assert!(planned.profit > 0.0);
    assert_eq!(planned.days.len(), 3);

    // The same question asked of the rule itself: Wednesday eight in the morning, open nine to seven, every hour like every other.
    let belief = found.forecast.belief;
    let open = |day: f64| day * 10.0;
    let end = |day: i64| {
        let after = 9 + 24 * day + piece.life_hours;
        let (days, hour) = (after / 24, after % 24);
        open(days as f64) + (hour - 9).clamp(0, 10) as f64
    };
    let windows: Vec<Piece> = (0..3).map(|day| Piece { from: open(day as f64), until: end(day) }).collect();
    let shelf_end = {
        let hours = use_by.since(start()) as f64 / MICROS_PER_HOUR as f64 + 8.0;
        let (days, hour) = ((hours / 24.0).floor(), hours % 24.0);
        open(days) + (hour - 9.0).clamp(0.0, 10.0)
    };
    let shelf = vec![Piece { from: 0.0, until: shelf_end.min(windows[0].until) }; 3];
    let wanted = plan(Demand::Believed(belief), &shelf, &windows, piece.money);
    let numbers = |cutting: &Cutting| (cutting.best.pieces, (cutting.best.profit * 100.0).round());
    let found: Vec<_> = planned.days.iter().map(|day| numbers(&day.cutting.unwrap())).collect();
    assert_eq!(found, wanted.iter().map(numbers).collect::<Vec<_>>());

    say(&ground, "saku", CutTerms { cost_cents_per_kg: Some(9_000), ..CutTerms::default() });
    let dear = self::planned(&ground, start(), "saku");
    assert_eq!((dear.piece.cost_per_kg_cents, dear.piece.cost_basis), (9_000, CostBasis::Said));
    assert!(
        dear.days.iter().all(|day| day.cutting.unwrap().best.pieces == 0),
        "nothing is cut to be sold below its cost"
    );
    assert_eq!(dear.profit, 0.0);
}

fn what_is_there_counts_and_what_is_held_does_not(which: Which) {
    let ground = open(which, shop());
    let one = ground.trays("saku", 1, 300);
    label(&ground, &one);
    let first = |ground: &Ground| planned(ground, start(), "saku").days[0].cutting.unwrap().best.pieces;
    let empty = first(&ground);
    assert!(empty > 3, "{empty}");
    let more = ground.trays("saku", 3, 300);
    label(&ground, &more);
    let fewer = first(&ground);
    assert!(fewer < empty && empty <= fewer + 3, "{fewer} of {empty}");
    let shelf = of(&ground, start(), "saku");
    assert_eq!((shelf.shelf_g, shelf.shelf_pieces), (1_200, 4));
    assert!(shelf.shelf_sells > 0.0 && shelf.shelf_sells < 4.0);
    let days = shelf.planned.unwrap().days;
    let through: i64 = days.iter().map(|day| day.shelf.sold + day.shelf.expired).sum();
    assert_eq!(through + days[2].shelf.end, 1_200, "the projection loses nothing");
    for code in more {
        let draft = HoldDraft { scope: "tray".into(), code, reason: "smells".into() };
        ground.desk.act(move |tx, shop| hold::place(tx, shop, &actor(), start(), &draft)).unwrap();
    }
    assert_eq!(first(&ground), empty, "what is on hold serves nobody");
    // Long after its end nothing of it is there.
    let late = of(&ground, hours_after(24 * 30), "saku");
    assert_eq!((late.shelf_g, late.shelf_pieces), (0, 0));
}

fn closed_days_have_no_cutting(which: Which) {
    let mut hours = OpeningHours::default();
    // 25 November 2026 is a Wednesday.
    hours.days[3] = None;
    let ground = open(which, Shop { hours, ..shop() });
    label(&ground, &ground.trays("saku", 1, 300));
    let days = planned(&ground, start(), "saku").days;
    let open: Vec<(String, bool)> = days.iter().map(|day| (day.day.to_string(), day.cutting.is_some())).collect();
    let wanted = [("2026-11-25", true), ("2026-11-26", false), ("2026-11-27", true)];
    assert_eq!(open, wanted.map(|(day, open)| (day.to_owned(), open)));
    assert_eq!(days[1].asked, 0.0);
    // After closing there is nothing to cut for that day any more.
    let evening = planned(&ground, hours_after(12), "saku").days;
    assert_eq!(
        evening.iter().filter(|day| day.cutting.is_some()).map(|day| day.day).collect::<Vec<_>>(),
        [parse_day("2026-11-27").unwrap()]
    );
    let shut = Ground::of(Shop { hours: OpeningHours { days: [None; 7] }, ..shop() }, which, 2);
    shut.place("case", chill(0, 2_000));
    label(&shut, &shut.trays("saku", 1, 300));
    assert_eq!(of(&shut, start(), "saku").planned, Err(vec![Missing::Hours]));
}

fn a_tub_is_planned_in_portions(which: Which) {
    let ground = open(which, shop());
    label(&ground, &ground.trays("scrape", 1, 1_000));
    let found = of(&ground, start(), "scrape");
    assert_eq!((found.shelf_g, found.shelf_pieces), (1_000, 6), "whole portions of 150 g");
    assert_eq!(found.planned.unwrap().piece.grams, 150);
    // The kitchen pays a quarter of 23.33; where a kilogram costs less than that, the plan would know no end.
    say(&ground, "scrape", CutTerms { cost_cents_per_kg: Some(100), ..CutTerms::default() });
    let cheap = planned(&ground, start(), "scrape");
    assert_eq!(cheap.piece.leftover, Leftover::KitchenNotCounted);
    assert!(cheap.days[0].cutting.unwrap().best.pieces < 400);
}

/// A portion of a gram and a thousand of them an hour, which is what may be said: planned in groups, and near to what a hundred times the
/// portion at a hundredth of the rate says.
fn the_smallest_portions_and_the_largest_rate_are_planned(which: Which) {
    let ground = open(which, shop());
    label(&ground, &ground.trays("scrape", 1, 5_000));
    let said = |portion, rate| CutTerms {
        portion_g: Some(portion),
        units_per_hour_permille: Some(rate),
        cost_cents_per_kg: Some(1_500),
        ..CutTerms::default()
    };
    say(&ground, "scrape", said(1, 1_000_000));
    let small = of(&ground, start(), "scrape");
    assert_eq!((small.shelf_g, small.shelf_pieces), (5_000, 5_000));
    let usual = said(100, 10_000);
    ground.desk.act(move |tx, _| terms::put(tx, &actor(), start(), "scrape", &usual, Expected::Version(1))).unwrap();
    let large = of(&ground, start(), "scrape");
    assert_eq!(large.shelf_pieces, 50);
    let close = |small: f64, large: f64| (small - large).abs() <= 0.05 * large.abs() + 1.0;
    assert!(close(small.shelf_sells / 100.0, large.shelf_sells), "{} {}", small.shelf_sells, large.shelf_sells);
    let (small, large) = (small.planned.unwrap(), large.planned.unwrap());
    assert!(large.profit > 0.0 && close(small.profit, large.profit), "{} {}", small.profit, large.profit);
    for (small, large) in small.days.iter().zip(&large.days) {
        let pieces = |day: &OfDay| day.cutting.unwrap().best.pieces as f64;
        assert!(close(pieces(small) / 100.0, pieces(large)), "{small:?} {large:?}");
    }
}
