//! Short lists: an order that cannot be met whole stays open until it is filled up, or until a person ends it as it is.

use crate::ground::{Which, on_both};
use crate::shop::{at, codes, open, order, refused, weight};
use sakudana::domain::picking::list::{LineState, State};
use sakudana::domain::refusal::Code;
use sakudana::ops::pick::work::Outcome;

on_both!(
    a_short_order_stays_open_and_is_filled_up,
    what_the_till_sold_of_an_order_is_missing_again,
    a_short_order_is_ended_as_it_is,
    a_short_weight_takes_one_more,
);

fn a_short_order_stays_open_and_is_filled_up(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300; 6]);
    let id = house.make(6, &order(10)).unwrap().list.id;
    for code in &b {
        house.scan(6, id, code).unwrap();
    }
    let list = house.list(6, id);
    assert_eq!((list.list.state, list.missing_trays(), list.is_short()), (State::Open, 4, true));
    let more = house.batch(6, &[("saku", "room", 300); 5]);
    let filled = house.fill_up(7, id).unwrap();
    assert_eq!((codes(&filled, LineState::Wanted).len(), filled.missing_trays()), (4, 0));
    for code in codes(&filled, LineState::Wanted) {
        house.scan(7, id, &code).unwrap();
    }
    let done = house.list(7, id);
    assert_eq!((done.list.state, codes(&done, LineState::Picked).len()), (State::Done, 10));
    assert_eq!(codes(&house.make(7, &order(3)).unwrap(), LineState::Wanted).len(), 1, "{more:?}");
    house.is_sound();
}

/// What is laid aside and sold to another is not there for whoever ordered it.
fn what_the_till_sold_of_an_order_is_missing_again(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320]);
    let id = house.make(3, &order(2)).unwrap().list.id;
    house.scan(3, id, &b[0]).unwrap();
    house.sell(3, &b[0], None);
    let list = house.scan(3, id, &b[1]).unwrap().after;
    assert_eq!((list.list.state, codes(&list, LineState::Gone)), (State::Open, vec![b[0].clone()]));
    assert_eq!((list.missing_trays(), list.picked_g()), (1, 310));
    let filled = house.fill_up(3, id).unwrap();
    assert_eq!(codes(&filled, LineState::Wanted), [b[2].clone()]);
    assert_eq!(house.scan(3, id, &b[2]).unwrap().after.list.state, State::Done);
    // Fetched: a list that is done tells what it was.
    house.sell(4, &b[1], None);
    assert_eq!(codes(&house.list(4, id), LineState::Picked), [b[1].clone(), b[2].clone()]);
    house.is_sound();
}

fn a_short_order_is_ended_as_it_is(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320, 330]);
    let id = house.make(4, &order(5)).unwrap().list.id;
    assert!(refused(house.end(4, id), Code::NothingToPick).contains("give it up"));
    house.scan(4, id, &b[0]).unwrap();
    house.scan(4, id, &b[1]).unwrap();
    house.sell(4, &b[1], None);
    let done = house.end(5, id).unwrap();
    assert_eq!((done.list.state, done.missing_trays(), done.reserved_until), (State::Done, 4, Some(at(9))));
    assert_eq!(codes(&done, LineState::Picked), [b[0].clone()]);
    assert_eq!(codes(&done, LineState::Gone), [b[1].clone()]);
    refused(house.end(5, id), Code::PickListOver);
    // What it keeps is kept; what it still wanted is free.
    assert_eq!(codes(&house.make(5, &order(5)).unwrap(), LineState::Wanted), [b[2].clone(), b[3].clone()]);
    house.is_sound();
}

/// A weight that lost a picked tray waits for no other one: whatever keeps it within the window may be brought.
fn a_short_weight_takes_one_more(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 290, 800]);
    let id = house.make(4, &weight(600, 620)).unwrap().list.id;
    house.scan(4, id, &b[0]).unwrap();
    house.sell(4, &b[1], None);
    let list = house.list(4, id);
    assert_eq!((list.missing_g(), list.list.state), (300, State::Open));
    assert!(refused(house.scan(4, id, &b[3]), Code::NotASubstitute).contains("1100 g"));
    let more = house.batch(4, &[("saku", "room", 305)]).remove(0);
    let scanned = house.scan(4, id, &more).unwrap();
    assert_eq!((scanned.outcome, scanned.after.list.state), (Outcome::Substituted, State::Done));
    assert_eq!(scanned.after.picked_g(), 605);
    house.is_sound();
}
