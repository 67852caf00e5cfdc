//! Orders: what a list reserves, how it is worked off, and what becomes of it when trays go or others are brought.

use crate::ground::{actor, on_both, start};
use crate::shop::{at, codes, open, order, passed, refused, weight};
use sakudana::domain::picking::list::{LineState, State};
use sakudana::domain::refusal::Code;
use sakudana::ops::pick::work::{Consent, Outcome};
use sakudana::ops::pick::{PickDraft, make};
use sakudana::units::instant::MICROS_PER_HOUR;
use std::collections::BTreeSet;

on_both!(
    an_order_by_weight_is_reserved_and_worked_off,
    two_pickers_never_get_the_same_tray,
    what_the_till_sold_is_missing_and_is_filled_up,
    a_weight_is_filled_up_beside_what_is_picked,
    another_tray_is_judged_at_once,
    a_stand_in_for_a_weight_keeps_the_window,
    a_forgotten_list_reserves_no_longer,
    a_list_given_up_lets_go,
    tubs_are_drawn_in_order,
    life_is_asked_for_at_the_time_of_need,
    what_makes_no_sense_is_refused,
);

use crate::ground::Which;

/// PICK-A of the reference, in a shop: 310, 180, 275, 420, 150, 205, 330, 260 g to 975-1025 g takes 1, 2, 3 and 8.
fn an_order_by_weight_is_reserved_and_worked_off(which: Which) {
    let house = open(which);
    let b = house.blocks(&[310, 180, 275, 420, 150, 205, 330, 260]);
    let list = house.make(8, &weight(975, 1_025)).unwrap();
    let id = list.list.id;
    assert_eq!(codes(&list, LineState::Wanted), [0, 1, 2, 7].map(|at: usize| b[at].clone()));
    assert_eq!(passed(&list), [3, 4, 5, 6].map(|at: usize| (b[at].clone(), "no_completion")));
    assert_eq!((list.expected_g(), list.picked_g(), list.missing_g()), (1_025, 0, 0));
    // Another list gets none of them, and says whose they are.
    let other = house.make(8, &order(2)).unwrap();
    assert_eq!(codes(&other, LineState::Wanted), [3, 4].map(|at: usize| b[at].clone()));
    assert_eq!(passed(&other), [0, 1, 2].map(|at: usize| (b[at].clone(), "reserved")));
    assert!(other.passed.iter().all(|p| p.why.list() == Some(id)));
    house.is_sound();
    for (done, code) in [0, 1, 2, 7].into_iter().map(|at: usize| &b[at]).enumerate() {
        assert_eq!(house.list(8, id).next().unwrap().tray.code.to_string(), *code);
        let scanned = house.scan(8, id, &code.to_lowercase()).unwrap();
        assert_eq!((scanned.outcome, codes(&scanned.after, LineState::Picked).len()), (Outcome::Picked, done + 1));
        assert_eq!(scanned.tray.place, "room", "an order is laid aside where it is");
        if done < 3 {
            assert_eq!(house.scan(8, id, code).unwrap().outcome, Outcome::PickedAlready);
        }
    }
    let done = house.list(9, id);
    assert_eq!((done.list.state, done.list.ended_by.as_deref()), (State::Done, Some("mika")));
    assert_eq!(done.picked_g(), 1_025);
    for (act, field) in [(house.scan(9, id, &b[0]).map(drop), "scan"), (house.fill_up(9, id).map(drop), "fill up")] {
        assert!(refused(act, Code::PickListOver).contains("picked"), "{field}");
    }
    // The trays of an order are sold as ever.
    house.sell(9, &b[0], None);
    house.is_sound();
}

fn two_pickers_never_get_the_same_tray(which: Which) {
    let house = open(which);
    let trays: Vec<_> = (0..12).map(|n| ("saku", "room", 200 + 10 * n)).collect();
    house.batch(0, &trays);
    // Eight people at once ask for three each; there are trays for four of them.
    let desk = &house.ground.desk;
    let lists = std::thread::scope(|scope| {
        let ask = |n: i64| {
            let draft = if n % 2 == 0 { order(3) } else { weight(600, 960) };
            desk.act(move |tx, shop| make(tx, shop, &actor(), at(1), &draft))
        };
        let threads: Vec<_> = (0..8).map(|n| scope.spawn(move || ask(n))).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect::<Vec<_>>()
    });
    let got: Vec<String> = lists.iter().flatten().flat_map(|list| codes(list, LineState::Wanted)).collect();
    let distinct: BTreeSet<&String> = got.iter().collect();
    assert_eq!(distinct.len(), got.len(), "{got:?}");
    assert!(got.len() >= 9, "{got:?}");
    for list in lists {
        if let Err(refusal) = list {
            assert!(
                refusal.to_string().starts_with("nothing_to_pick")
                    || refusal.to_string().starts_with("window_unreachable")
            );
        }
    }
    house.is_sound();
}

fn what_the_till_sold_is_missing_and_is_filled_up(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320, 330, 340]);
    let id = house.make(6, &order(3)).unwrap().list.id;
    house.scan(6, id, &b[0]).unwrap();
    // The customer holds it in his hand: the till is not stopped.
    house.sell(6, &b[1], None);
    let list = house.list(6, id);
    assert_eq!((codes(&list, LineState::Gone), list.missing_trays()), (vec![b[1].clone()], 1));
    let gone = list.lines_in(LineState::Gone).next().unwrap();
    assert!(gone.because.as_ref().unwrap().contains("sold"), "{:?}", gone.because);
    // What is on hold cannot be brought either, but may be again.
    house.hold(6, &b[2]);
    assert_eq!(house.list(6, id).missing_trays(), 2);
    assert_eq!(house.list(6, id).next().map(|line| line.tray.code.to_string()), None);
    assert!(refused(house.scan(6, id, &b[2]), Code::OnHold).contains("smells odd"));
    let filled = house.fill_up(7, id).unwrap();
    assert_eq!(codes(&filled, LineState::Wanted), [b[3].clone(), b[4].clone()]);
    assert_eq!((filled.missing_trays(), codes(&filled, LineState::Gone).len()), (0, 0));
    house.is_sound();
    house.scan(7, id, &b[3]).unwrap();
    assert_eq!(house.scan(7, id, &b[4]).unwrap().after.list.state, State::Done);
    // What an order laid aside is kept for whoever fetches it.
    let said = refused(house.make(7, &order(1)), Code::NothingToPick);
    assert!(said.contains("3 reserved"), "{said}");
    assert_eq!(
        codes(&house.make(12, &order(3)).unwrap(), LineState::Wanted),
        [b[0].clone(), b[3].clone(), b[4].clone()]
    );
    house.is_sound();
}

/// What is picked counts, and the rest is put together anew; where that cannot be, both nearest are named.
fn a_weight_is_filled_up_beside_what_is_picked(which: Which) {
    let house = open(which);
    let b = house.blocks(&[400, 410, 420, 190]);
    let id = house.make(8, &weight(800, 830)).unwrap().list.id;
    house.scan(8, id, &b[0]).unwrap();
    house.sell(8, &b[1], None);
    assert_eq!((house.list(8, id).missing_g(), house.list(8, id).missing_trays()), (400, 1));
    let filled = house.fill_up(8, id).unwrap();
    assert_eq!((codes(&filled, LineState::Wanted), filled.expected_g()), (vec![b[2].clone()], 820));
    house.sell(8, &b[2], None);
    let said = refused(house.fill_up(8, id), Code::WindowUnreachable);
    assert!(said.contains("190 g below, none above"), "{said}");
    house.is_sound();
}

fn another_tray_is_judged_at_once(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320, 330, 340]);
    let collar = house.batch(5, &[("collar", "room", 300)]).remove(0);
    let id = house.make(6, &order(2)).unwrap().list.id;
    assert!(refused(house.scan(6, id, &collar), Code::NotASubstitute).contains("collar"));
    refused(house.scan(6, id, "no code at all"), Code::NotACode);
    // The newest goes in for the newer of the two, and over two older ones that are free: a person is asked first.
    let scanned = house.scan(6, id, &b[4]).unwrap();
    let over: Vec<String> = scanned.passes_over.iter().map(|p| p.tray.code.to_string()).collect();
    assert_eq!((scanned.outcome, over), (Outcome::Confirm, vec![b[1].clone(), b[2].clone(), b[3].clone()]));
    assert_eq!(scanned.replaces.map(|tray| tray.code.to_string()), Some(b[1].clone()));
    assert_eq!(codes(&house.list(6, id), LineState::Wanted), [b[0].clone(), b[1].clone()], "nothing was done yet");
    let scanned = house.scan_with(6, id, &b[4], Consent::Given).unwrap();
    assert_eq!(scanned.outcome, Outcome::Substituted);
    assert_eq!(codes(&scanned.after, LineState::Picked), [b[4].clone()]);
    assert_eq!(codes(&scanned.after, LineState::Replaced), [b[1].clone()]);
    // What it stood in for is free for others.
    let other = house.make(6, &order(1)).unwrap();
    assert_eq!(codes(&other, LineState::Wanted), [b[1].clone()]);
    assert!(refused(house.scan(6, id, &b[1]), Code::ReservedForAnother).contains(&format!("list {}", other.list.id)));
    // One that came older than what is wanted passes over nothing, so nobody is asked. It is not: all older ones are on lists.
    let first = house.scan_with(6, id, &b[2], Consent::NotAsked).unwrap();
    assert_eq!((first.outcome, first.passes_over.len()), (Outcome::Confirm, 1), "the wanted one is older");
    house.sell(6, &b[0], None);
    let scanned = house.scan(6, id, &b[2]).unwrap();
    assert_eq!(
        (scanned.outcome, scanned.after.list.state),
        (Outcome::Substituted, State::Done),
        "it stands in for one that is gone"
    );
    assert_eq!(scanned.replaces.map(|tray| tray.code.to_string()), Some(b[0].clone()));
    house.is_sound();
}

fn a_stand_in_for_a_weight_keeps_the_window(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320, 345, 420]);
    let id = house.make(6, &weight(600, 650)).unwrap().list.id;
    assert_eq!(codes(&house.list(6, id), LineState::Wanted), [b[0].clone(), b[1].clone()]);
    let said = refused(house.scan(6, id, &b[4]), Code::NotASubstitute);
    assert!(said.contains("720 g, outside 600 to 650 g"), "{said}");
    let scanned = house.scan_with(6, id, &b[3], Consent::Given).unwrap();
    assert_eq!((scanned.outcome, scanned.after.expected_g()), (Outcome::Substituted, 645));
    assert_eq!(scanned.passes_over.len(), 2, "the replaced one, and one of 320 g that would do");
    assert_eq!(house.scan(6, id, &b[0]).unwrap().after.list.state, State::Done);
    assert!(refused(house.scan(6, id, &b[2]), Code::PickListOver).contains("picked"));
    house.is_sound();
}

fn a_forgotten_list_reserves_no_longer(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320]);
    let first = house.make(3, &order(2)).unwrap();
    let id = first.list.id;
    assert_eq!(first.reserved_until, Some(at(7)));
    house.scan(4, id, &b[0]).unwrap();
    assert_eq!(house.list(4, id).reserved_until, Some(at(8)), "who works on it reserves on");
    let early = house.make(8, &order(1)).unwrap();
    assert_eq!(codes(&early, LineState::Wanted), [b[2].clone()]);
    house.give_up(8, early.list.id).unwrap();
    assert_eq!(house.list(9, id).reserved_until, None);
    let late = house.make(9, &order(2)).unwrap();
    assert_eq!(codes(&late, LineState::Wanted), [b[0].clone(), b[1].clone()]);
    house.is_sound();
    // The first list lost both, says so, and can go on with what is left.
    let left = house.list(9, id);
    assert_eq!(codes(&left, LineState::Gone), [b[0].clone(), b[1].clone()]);
    assert_eq!(left.missing_trays(), 2);
    let filled = house.fill_up(9, id).unwrap();
    assert_eq!((codes(&filled, LineState::Wanted), filled.missing_trays()), (vec![b[2].clone()], 1));
    assert_eq!(filled.reserved_until, Some(at(13)));
    house.is_sound();
}

fn a_list_given_up_lets_go(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320]);
    let id = house.make(3, &order(2)).unwrap().list.id;
    house.scan(3, id, &b[0]).unwrap();
    let over = house.give_up(3, id).unwrap();
    assert_eq!((over.list.state, over.reserved_until), (State::GivenUp, None));
    refused(house.give_up(3, id), Code::PickListOver);
    let other = house.make(3, &order(3)).unwrap();
    assert_eq!(codes(&other, LineState::Wanted), b);
    house.is_sound();
}

/// A tub gives any weight up to what it holds: a weight is drawn out of tubs in order, to the middle of the window.
fn tubs_are_drawn_in_order(which: Which) {
    let house = open(which);
    let (old, new) =
        (house.batch(0, &[("scrape", "room", 300)]).remove(0), house.batch(1, &[("scrape", "room", 900)]).remove(0));
    let draft = PickDraft { cut: Some("scrape".into()), ..weight(490, 510) };
    let list = house.make(2, &draft).unwrap();
    let grams: Vec<(String, i64)> = list.lines.iter().map(|l| (l.tray.code.to_string(), l.line.grams)).collect();
    assert_eq!(grams, [(old.clone(), 300), (new.clone(), 200)]);
    assert!(refused(house.make(2, &draft), Code::NothingToPick).contains("2 reserved"), "a tub is reserved as a whole");
    house.scan(2, list.list.id, &old).unwrap();
    // Somebody else sold out of it what was to be drawn.
    house.sell(2, &new, Some(750));
    let left = house.list(2, list.list.id);
    assert!(left.lines_in(LineState::Gone).next().unwrap().because.as_ref().unwrap().contains("150 g"));
    let said = refused(house.fill_up(2, list.list.id), Code::WindowUnreachable);
    assert!(said.contains("150 g below"), "{said}");
    house.is_sound();
}

fn life_is_asked_for_at_the_time_of_need(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310]);
    let until = |code: &str| {
        let list = house.make(2, &order(2)).unwrap();
        house.give_up(2, list.list.id).unwrap();
        list.lines.iter().find(|l| l.tray.code.to_string() == code).unwrap().sell_until.unwrap()
    };
    let hours = until(&b[0]).since(at(2)) / MICROS_PER_HOUR;
    let now = house.make(2, &PickDraft { least_hours: Some(hours), ..order(1) }).unwrap();
    assert_eq!(codes(&now, LineState::Wanted), [b[0].clone()]);
    house.give_up(2, now.list.id).unwrap();
    let tomorrow = PickDraft { least_hours: Some(hours), needed_at: Some(at(3)), ..order(1) };
    let later = house.make(2, &tomorrow).unwrap();
    assert_eq!(
        (codes(&later, LineState::Wanted), passed(&later)),
        (vec![b[1].clone()], vec![(b[0].clone(), "too_little_life")])
    );
    house.give_up(2, later.list.id).unwrap();
    let dear = PickDraft { highest_price_per_kg_cents: Some(7_949), ..order(1) };
    assert!(refused(house.make(2, &dear), Code::NothingToPick).contains("2 too dear"));
    let elsewhere = PickDraft { place: Some("case".into()), ..order(1) };
    assert!(refused(house.make(2, &elsewhere), Code::NothingToPick).contains("2 other place"));
}

fn what_makes_no_sense_is_refused(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310]);
    let invalid = |draft: PickDraft, field: &str| {
        let said = refused(house.make(2, &draft), Code::InvalidValue);
        assert!(said.contains(&format!("; {field}: ")), "{field}: {said}");
    };
    invalid(PickDraft { purpose: "gift".into(), ..order(1) }, "purpose");
    invalid(PickDraft { rule: Some("lifo".into()), ..order(1) }, "rule");
    invalid(PickDraft { choice: Some("best".into()), ..order(1) }, "choice");
    for count in [0, -1, 201, i64::MAX] {
        invalid(order(count), "count");
    }
    invalid(PickDraft { count: None, ..order(1) }, "count");
    invalid(PickDraft { low_g: Some(1), ..order(1) }, "count");
    invalid(PickDraft { low_g: None, ..weight(1, 2) }, "low_g");
    invalid(PickDraft { high_g: None, ..weight(1, 2) }, "high_g");
    invalid(weight(0, 10), "low_g");
    invalid(weight(20, 10), "low_g");
    invalid(weight(1, i64::MAX), "high_g");
    invalid(PickDraft { cut: None, ..order(1) }, "cut_code");
    invalid(PickDraft { least_hours: Some(-1), ..order(1) }, "least_hours");
    invalid(PickDraft { least_hours: Some(1_001), ..order(1) }, "least_hours");
    invalid(PickDraft { highest_price_per_kg_cents: Some(-1), ..order(1) }, "highest_price_per_kg_cents");
    invalid(PickDraft { needed_at: Some(start()), ..order(1) }, "needed_at");
    invalid(PickDraft { needed_at: Some(at(2 + 31 * 24 + 1)), ..order(1) }, "needed_at");
    invalid(PickDraft { note: Some(" ".into()), ..order(1) }, "note");
    refused(house.make(2, &PickDraft { cut: Some("no-such".into()), ..order(1) }), Code::UnknownReference);
    refused(house.make(2, &PickDraft { place: Some("no-such".into()), ..order(1) }), Code::UnknownReference);
    let bulk = refused(house.make(2, &PickDraft { cut: Some("bones".into()), ..order(1) }), Code::NothingToPick);
    assert!(bulk.contains("may be sold"), "{bulk}");
    let said = refused(house.make(2, &weight(5_000_000, 6_000_000)), Code::PickTooLarge);
    assert!(said.contains("10000000"), "{said}");
    let said = refused(house.make(2, &weight(305, 309)), Code::WindowUnreachable);
    assert!(said.contains("300 g below, 310 g above"), "{said}");
    refused(house.scan(2, 99, &b[0]), Code::NotFound);
    refused(house.fill_up(2, 99), Code::NotFound);
    refused(house.give_up(2, 99), Code::NotFound);
    house.is_sound();
}
