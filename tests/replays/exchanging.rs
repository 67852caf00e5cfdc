//! `was_other_tray`: what went off a wrong tray goes back there, the right one is sold, and what stood against that is said.

use crate::ground::{Which, actor};
use crate::settling::{decision, exception_of, try_settle};
use crate::till::{BLOCK_CENTS, Counter, Line, at, found, sale};
use sakudana::domain::replay::{Danger, Way};
use sakudana::ops::failure::Failure;
use sakudana::ops::sell::find;
use sakudana::ops::settle::Shown;
use sakudana::ops::take_back::{ReturnDraft, take_back};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::top_up::{TopUp, top_up};

fn was(tray: &str, grams: Option<i64>) -> sakudana::ops::settle::Decision {
    decision(Way::WasOtherTray, Some(tray), grams, None)
}

/// The number of the sale, and of its exception.
fn send(counter: &Counter, key: &str, line: Line<'_>) -> (i64, i64) {
    let sale_id = counter.send("till-1", 100, vec![sale(key, 90, &[line])])[0].sale_id;
    (sale_id, exception_of(counter, sale_id))
}

/// Trays, grams and money of the lines of a sale.
fn lines(counter: &Counter, sale_id: i64) -> Vec<(String, i64, i64)> {
    let sold = counter.ground.desk.look(|reading, _| find(reading, sale_id)).unwrap();
    sold.lines.into_iter().map(|line| (line.tray_code, line.grams, line.price_cents)).collect()
}

fn bring(counter: &Counter, sale_id: i64, tray: &str, grams: i64) -> Result<(), String> {
    let line = ReturnDraft { tray: tray.into(), grams, refund_cents: 0, reason: "smelled odd".into() };
    let back = counter
        .ground
        .desk
        .act(move |tx, shop| take_back(tx, shop, &actor(), at(700), sale_id, std::slice::from_ref(&line)).map(drop));
    back.map_err(|failure| match failure {
        Failure::Refused(refusal) => format!("{}: {}", refusal.code.as_str(), refusal.findings[0].reason),
        Failure::Store(error) => panic!("{error}"),
    })
}

pub fn what_left_a_wrong_tray_goes_back(which: Which) {
    let counter = Counter::open(which, 5, 3);
    let (b, t) = (&counter.blocks, &counter.tubs);
    let customer = counter.account("customer");
    let doubtful = counter.link(&b[0], "OTHER");
    let (sale_id, exception) = send(&counter, "block", (&doubtful, None, BLOCK_CENTS));
    assert_eq!(counter.left(&b[0]), (0, "sold"));
    let settled = try_settle(&counter, exception, was(&b[1], None)).unwrap();
    assert_eq!(settled.exception.resolution.unwrap().settled_g, 300);
    assert_eq!((counter.left(&b[0]), counter.left(&b[1])), ((300, "here"), (0, "sold")));
    assert_eq!(counter.account("customer"), customer + 300);
    assert_eq!(lines(&counter, sale_id), [(b[1].clone(), 300, BLOCK_CENTS)]);
    counter.sound();
    // It is for sale again, once.
    counter.sell_live(&b[0], None, 510);
    counter.sound();
    // Out of one tub on two lines, one of them from another tub, and less of it.
    let two = [(t[0].as_str(), Some(100), 1), (t[0].as_str(), Some(200), 467)];
    let sale_id = counter.send("till-1", 100, vec![sale("tub", 90, &two)])[0].sale_id;
    let exception = exception_of(&counter, sale_id);
    assert_eq!(lines(&counter, sale_id), [(t[0].clone(), 300, 468)]);
    try_settle(&counter, exception, was(&t[1], Some(90))).unwrap();
    assert_eq!((counter.left(&t[0]), counter.left(&t[1])), ((300, "here"), (410, "here")));
    assert_eq!(lines(&counter, sale_id), [(t[0].clone(), 200, 467), (t[1].clone(), 90, 1)]);
    counter.sound();
    // No more comes back of a tray than is left of it with the customer.
    let refused = bring(&counter, sale_id, &t[0], 201).unwrap_err();
    assert!(refused.starts_with("return_exceeds_sale: 200 g"), "{refused}");
    assert_eq!(bring(&counter, sale_id, &t[0], 200), Ok(()));
    assert_eq!(bring(&counter, sale_id, &t[1], 90), Ok(()));
    counter.sound();
}

pub fn what_cannot_go_back_is_refused(which: Which) {
    let counter = Counter::open(which, 6, 4);
    let (b, t) = (&counter.blocks, &counter.tubs);
    let (returned_sale, returned) = send(&counter, "returned", (&b[0], None, 1));
    assert_eq!(bring(&counter, returned_sale, &b[0], 10), Ok(()));
    let (_, wasted) = send(&counter, "wasted", (&t[0], Some(100), 1));
    let tub = t[0].clone();
    counter.act(move |tx, shop| take_out(tx, shop, &actor(), at(200), &tub, Whither::Waste, None, Some("fell")));
    let (_, poured) = send(&counter, "poured", (&t[1], Some(100), 1));
    let (tub, source) = (t[1].clone(), TopUp { source: t[2].clone(), grams: None });
    counter.act(move |tx, shop| top_up(tx, shop, &actor(), at(200), &tub, &source).map(drop));
    let (_, plain) = send(&counter, "plain", (&b[1], None, 1));
    let before = (counter.account("customer"), counter.left(&b[2]));
    for (exception, other, code) in [
        (returned, b[2].as_str(), "not_reversible"),
        (wasted, &b[2], "tray_gone"),
        (poured, &b[2], "not_reversible"),
        (plain, &b[1], "way_does_not_fit"),
        (plain, &counter.loin, "wrong_kind"),
    ] {
        assert_eq!(try_settle(&counter, exception, was(other, None)).err(), Some(code));
    }
    assert_eq!((counter.account("customer"), counter.left(&b[2])), before);
    // What was booked as a count difference is of no tray.
    let (sale_id, over) = send(&counter, "over", (&t[3], Some(600), 1_400));
    try_settle(&counter, over, decision(Way::CountDifference, None, None, None)).unwrap();
    let refused = bring(&counter, sale_id, &t[3], 501).unwrap_err();
    assert!(refused.contains("count difference"), "{refused}");
    counter.sell_live(&b[3], None, 60);
    let (sale_id, twice) = send(&counter, "twice", (&b[3], None, BLOCK_CENTS));
    try_settle(&counter, twice, decision(Way::CountDifference, None, None, None)).unwrap();
    let refused = bring(&counter, sale_id, &b[3], 1).unwrap_err();
    assert!(refused.starts_with("unknown_reference") && refused.contains("count difference"), "{refused}");
    counter.sound();
}

fn dangerous(shown: &Shown) -> bool {
    shown.exception.findings.iter().any(|finding| finding.what.danger() == Danger::Eaten)
}

pub fn what_stood_against_the_right_one_is_said(which: Which) {
    let counter = Counter::open(which, 4, 1);
    let b = &counter.blocks;
    counter.sell_live(&b[0], None, 30);
    counter.hold(&b[1], 60);
    let (sale_id, held) = send(&counter, "held", (&b[0], None, BLOCK_CENTS));
    let (_, since) = send(&counter, "since", (&b[0], None, BLOCK_CENTS));
    let (_, raw) = send(&counter, "raw", ("scribble", None, BLOCK_CENTS));
    let (_, sound) = send(&counter, "sound", (&b[0], None, BLOCK_CENTS));
    counter.hold(&b[2], 95);
    let shown = try_settle(&counter, held, was(&b[1], None)).unwrap();
    let codes: Vec<&str> = shown.exception.findings.iter().map(|finding| finding.what.as_str()).collect();
    assert_eq!(codes, ["on_hold", "already_sold"]);
    let reason = &shown.exception.findings[0].reason;
    assert_eq!(*reason, format!("tray {}: smells odd", b[1]));
    assert!(dangerous(&shown));
    // It was put on hold after it was sold, and before anybody knew that it was.
    let shown = try_settle(&counter, since, was(&b[2], None)).unwrap();
    assert_eq!(shown.exception.findings[0].what.as_str(), "held_since");
    // Its lot is named though the code named none.
    let shown = try_settle(&counter, raw, was(&counter.salmon, None)).unwrap();
    assert_eq!(shown.exception.findings[0].what.as_str(), "parasite_freezing_missing");
    assert_eq!(shown.lot_codes.len(), 1);
    let shown = try_settle(&counter, sound, was(&b[3], None)).unwrap();
    assert!(!dangerous(&shown), "{shown:?}");
    counter.sound();
    // The same stands in the list, and told again the sale says it too.
    let listed = counter.exceptions();
    let listed = listed.iter().find(|shown| shown.exception.id == held).unwrap();
    assert!(dangerous(listed));
    let again = counter.send("till-1", 600, vec![sale("held", 90, &[(&b[0], None, BLOCK_CENTS)])]).remove(0);
    assert_eq!((again.sale_id, found(&again)), (sale_id, vec![(1, "on_hold"), (1, "already_sold")]));
    // Nothing but what is written down of this very tray excuses it.
    counter.forget("UPDATE exception_findings SET reason = 'smells odd' WHERE code = 'on_hold'");
    let found = counter.unsound();
    assert!(found.iter().any(|name| name.starts_with("holds:")), "{found:?}");
}
