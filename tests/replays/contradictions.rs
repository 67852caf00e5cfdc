//! Each contradiction alone: what the ledger does, what is written down, and that it is told once.

use crate::ground::{Which, actor};
use crate::till::{BLOCK_CENTS, Counter, Line, at, found, sale, sender};
use sakudana::domain::replay::TillClock;
use sakudana::domain::tray_code::TrayCode;
use sakudana::ops::hold;
use sakudana::ops::once::Request;
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::replay::{ROUTE, Taken, take};
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::ops::take_out::{Whither, take_out};
use std::sync::Arc;
use std::thread;

/// What a line of a sale comes to: grams that moved, grams that are missing, the codes.
type Expected = (i64, Option<i64>, &'static [&'static str]);

fn no_such_tray() -> String {
    (900_000..).find_map(TrayCode::from_number).unwrap().to_string()
}

fn to(counter: &Counter, code: &str, place: &'static str, way: Way, minutes: i64) {
    let code = code.to_owned();
    counter.act(move |tx, shop| take_to(tx, shop, &actor(), at(minutes), &code, place, way, None).map(drop));
}

pub fn each_is_recorded_and_the_ledger_is_even(which: Which) {
    let counter = Counter::open(which, 9, 4);
    let (b, t) = (&counter.blocks, &counter.tubs);
    counter.sell_live(&b[0], None, 30);
    let wasted = b[1].clone();
    counter.act(move |tx, shop| take_out(tx, shop, &actor(), at(31), &wasted, Whither::Waste, None, Some("fell")));
    counter.hold(&b[2], 32);
    to(&counter, &b[3], "freezer", Way::Freeze, 33);
    to(&counter, &b[4], "freezer", Way::Freeze, 34);
    to(&counter, &b[4], "case", Way::Thaw, 35);
    let (nobody, other_lot) = (no_such_tray(), counter.link(&b[8], "OTHER"));
    let rows: Vec<(Line<'_>, Expected)> = vec![
        ((&b[0], None, BLOCK_CENTS), (0, Some(300), &["already_sold"])),
        ((&b[1], None, BLOCK_CENTS), (0, Some(300), &["gone_otherwise"])),
        ((&b[2], None, BLOCK_CENTS), (300, Some(0), &["on_hold"])),
        ((&b[3], None, BLOCK_CENTS), (300, Some(0), &["frozen"])),
        ((&b[4], None, BLOCK_CENTS), (300, Some(0), &["label_outdated"])),
        ((&b[5], Some(310), BLOCK_CENTS), (300, Some(0), &["weight_differs"])),
        ((&b[6], None, 1), (300, Some(0), &["price_differs"])),
        ((&b[7], None, BLOCK_CENTS), (300, Some(0), &[])),
        ((&other_lot, None, BLOCK_CENTS), (300, Some(0), &["code_contradicts"])),
        ((&nobody, Some(300), BLOCK_CENTS), (0, Some(300), &["unknown_code"])),
        (("scribble", None, BLOCK_CENTS), (0, None, &["unknown_code"])),
        ((&counter.salmon, None, BLOCK_CENTS), (300, Some(0), &["parasite_freezing_missing"])),
        ((&counter.loin, Some(200), 600), (200, Some(0), &["wrong_kind"])),
        ((&t[0], Some(600), 1_400), (500, Some(100), &["overdrawn"])),
        ((&t[0], Some(10), 23), (0, Some(10), &["already_sold"])),
        ((&t[1], None, 23), (0, None, &["weight_unknown"])),
        ((&t[2], Some(120), 280), (120, Some(0), &[])),
    ];
    let (customer, mut moved) = (counter.account("customer"), 0);
    for (number, (line, (moves, missing, codes))) in rows.iter().enumerate() {
        let draft = sale(&number.to_string(), 100, &[*line]);
        let known = counter.exceptions().len();
        let outcome = counter.send("till-1", 200, vec![draft.clone()]).remove(0);
        let said: Vec<&str> = found(&outcome).into_iter().map(|(_, code)| code).collect();
        assert_eq!(said, *codes, "{line:?}");
        let expected = if codes.is_empty() { Taken::Accepted } else { Taken::WithExceptions };
        assert_eq!(outcome.taken, expected);
        moved += moves;
        assert_eq!(counter.account("customer"), customer + moved, "{line:?}");
        let exceptions = counter.exceptions();
        assert_eq!(exceptions.len(), known + usize::from(!codes.is_empty()), "{line:?}");
        if let Some(newest) = exceptions.first().filter(|_| !codes.is_empty()) {
            let e = &newest.exception;
            assert_eq!(
                (e.sale_id, e.line_number, e.moved_g, e.missing_g),
                (outcome.sale_id, 1, *moves, *missing),
                "{line:?}"
            );
            assert_eq!((e.price_cents, e.device_time, e.received_at), (line.2, at(100), at(200)));
            assert_eq!((e.till.as_str(), e.scanned.as_str()), ("key till-1", line.0));
        }
        // Once more changes nothing, and says the same.
        let again = counter.send("till-1", 201, vec![draft]).remove(0);
        assert_eq!((again.taken, again.sale_id, found(&again)), (Taken::Replayed, outcome.sale_id, found(&outcome)));
        assert_eq!((counter.account("customer"), counter.exceptions().len()), (customer + moved, exceptions.len()));
        counter.sound();
    }
    assert_eq!(counter.left(&t[0]), (0, "sold"));
    assert_eq!(counter.left(&b[2]), (0, "sold"));
    assert_eq!(counter.left(&b[1]), (0, "waste"));
    // A sale of many lines: a block twice and a tub twice in it, the money whole.
    let lines = [(t[3].as_str(), Some(100), 233), (&t[3], Some(450), 1_050), (&b[0], None, 5), (&nobody, None, 7)];
    let outcome = counter.send("till-1", 300, vec![sale("many", 250, &lines)]).remove(0);
    assert_eq!(found(&outcome), [(2, "overdrawn"), (3, "already_sold"), (4, "unknown_code")]);
    let sold = counter.ground.desk.look(|reading, _| sakudana::ops::sell::find(reading, outcome.sale_id)).unwrap();
    assert_eq!((sold.sale.total_cents, sold.lines.len(), sold.lines[0].grams), (1_295, 1, 500));
    assert_eq!((sold.sale.at, sold.sale.sold_by.as_str()), (at(250).micros(), "key till-1"));
    counter.sound();
}

pub fn time_is_that_of_the_sale(which: Which) {
    let counter = Counter::open(which, 6, 1);
    let b = &counter.blocks;
    for code in b.iter().take(2) {
        counter.label(code);
    }
    let use_by = counter.tray(&b[0]).use_by.unwrap();
    let days = use_by.since(at(0)) / 60_000_000;
    let received = days + 600;
    // Before its use-by by the till's clock, received long after: nothing but that clock says so. After it: it may be eaten.
    let sales = vec![
        sale("early", days - 10, &[(&b[0], None, BLOCK_CENTS)]),
        sale("late", days + 10, &[(&b[1], None, BLOCK_CENTS)]),
        sale("belly", days + 20, &[(&counter.belly, None, 2_401)]),
    ];
    let outcomes = counter.send("till-1", received, sales);
    assert_eq!(found(&outcomes[0]), [(1, "expired_since")]);
    assert!(found(&outcomes[1]).contains(&(1, "past_use_by")), "{:?}", outcomes[1]);
    assert!(found(&outcomes[2]).contains(&(1, "life_ended")), "{:?}", outcomes[2]);
    counter.sound();
    let other = Counter::open(which, 6, 1);
    let b = &other.blocks;
    // Held and let go while the till was cut off; held after it was sold.
    let hold = other.hold(&b[0], 100);
    other.act(move |tx, _| hold::release(tx, &actor(), at(200), hold, "was the bin").map(drop));
    other.hold(&b[1], 180);
    let sales = vec![
        sale("a", 90, &[(&b[2], None, BLOCK_CENTS)]),
        sale("b", 150, &[(&b[0], None, BLOCK_CENTS)]),
        sale("c", 160, &[(&b[1], None, BLOCK_CENTS)]),
        // Its clock went back, then ahead, then was that of a new battery.
        sale("d", 60, &[(&b[3], None, BLOCK_CENTS)]),
        sale("e", 9_000, &[(&b[4], None, BLOCK_CENTS)]),
        sale("f", -90_000, &[(&b[5], None, BLOCK_CENTS)]),
    ];
    let outcomes = other.send("till-1", 300, sales.clone());
    let codes: Vec<_> = outcomes.iter().map(found).collect();
    assert_eq!(codes, [vec![], vec![(1, "on_hold")], vec![(1, "held_since")], vec![], vec![], vec![]]);
    let clocks: Vec<TillClock> = outcomes.iter().map(|outcome| outcome.clock).collect();
    use TillClock::{Ahead, Backwards, LongAgo, Plausible};
    assert_eq!(clocks, [Plausible, Plausible, Plausible, Backwards, Ahead, LongAgo]);
    let again: Vec<TillClock> = other.send("till-1", 400, sales).iter().map(|outcome| outcome.clock).collect();
    assert_eq!(again, clocks);
    let gone: Vec<_> = b.iter().map(|code| other.tray(code).gone_at.unwrap()).collect();
    assert_eq!(gone, [at(150), at(160), at(90), at(160), at(300), at(300)]);
    other.sound();
}

pub fn a_key_is_one_sale(which: Which) {
    let counter = Counter::open(which, 3, 2);
    let (b, t) = (&counter.blocks, &counter.tubs);
    let first = sale("one", 50, &[(&t[0], Some(100), 233)]);
    let other = sale("one", 50, &[(&t[0], Some(150), 350), (&b[0], None, BLOCK_CENTS)]);
    let outcomes = counter.send("till-1", 60, vec![first.clone(), first.clone(), other.clone(), first.clone()]);
    let taken: Vec<Taken> = outcomes.iter().map(|outcome| outcome.taken).collect();
    assert_eq!(taken, [Taken::Accepted, Taken::Replayed, Taken::WithExceptions, Taken::Replayed]);
    assert_eq!(found(&outcomes[2]), [(0, "key_reused")]);
    assert_eq!(outcomes[3].sale_id, outcomes[0].sale_id);
    assert_eq!((counter.left(&t[0]), counter.left(&b[0])), ((250, "here"), (0, "sold")));
    let again = counter.send("till-1", 70, vec![other]).remove(0);
    assert_eq!((again.taken, again.sale_id), (Taken::Replayed, outcomes[2].sale_id));
    assert_eq!(counter.exceptions().len(), 1);
    // The key of another till is another key.
    assert_eq!(counter.send("till-2", 80, vec![first])[0].taken, Taken::Accepted);
    assert_eq!(counter.left(&t[0]), (150, "here"));
    counter.sound();
}

pub fn a_sale_that_got_through_is_known_again(which: Which) {
    let counter = Counter::open(which, 4, 2);
    let (b, t) = (&counter.blocks, &counter.tubs);
    let live = |key: &str, lines: &[Line<'_>]| {
        let draft = sale(key, 0, lines);
        let drafts: Vec<LineDraft> =
            lines.iter().map(|(tray, grams, _)| LineDraft { tray: (*tray).into(), grams: *grams }).collect();
        let request = Request {
            client: "till-1".into(),
            route: ROUTE.into(),
            key: draft.key,
            fingerprint: draft.fingerprint_as_sale,
        };
        let say = sender("till-1").speech.say;
        counter
            .ground
            .desk
            .act_once(request, at(40), move |tx, shop| Ok(say(sell(tx, shop, &actor(), at(40), &drafts)?)))
    };
    assert!(!live("one", &[(&b[0], None, BLOCK_CENTS), (&t[0], Some(100), 233)]).unwrap().replayed);
    assert!(!live("two", &[(&b[1], None, BLOCK_CENTS)]).unwrap().replayed);
    let acts = counter.account("customer");
    let sales = vec![
        // Said otherwise, and the same goods.
        sale("one", 39, &[(&b[0].to_lowercase(), Some(300), BLOCK_CENTS), (&t[0], Some(100), 233)]),
        // The till charged less than the books say.
        sale("two", 39, &[(&b[1], None, 2_000)]),
    ];
    let outcomes = counter.send("till-1", 60, sales.clone());
    assert_eq!(outcomes.iter().map(|o| o.taken).collect::<Vec<_>>(), [Taken::Replayed, Taken::Replayed]);
    assert_eq!(outcomes.iter().map(found).collect::<Vec<_>>(), [vec![], vec![(1, "price_differs")]]);
    assert_eq!(
        counter.send("till-1", 61, sales).iter().map(found).collect::<Vec<_>>(),
        [vec![], vec![(1, "price_differs")]]
    );
    assert_eq!((counter.account("customer"), counter.exceptions().len()), (acts, 1));
    // Other goods under a key that got through.
    let outcome = counter.send("till-1", 62, vec![sale("two", 39, &[(&b[2], None, BLOCK_CENTS)])]).remove(0);
    assert_eq!((outcome.taken, found(&outcome)), (Taken::WithExceptions, vec![(0, "key_reused")]));
    // And the other way: what was replayed is not sold again when the till then asks as if it had never been cut off.
    counter.send("till-1", 63, vec![sale("three", 50, &[(&b[3], None, BLOCK_CENTS)])]);
    let answer = live("three", &[(&b[3], None, BLOCK_CENTS)]).unwrap();
    assert!(answer.replayed && answer.status == 201, "{answer:?}");
    counter.sound();
}

pub fn two_tills_and_two_tabs(which: Which) {
    let counter = Arc::new(Counter::open(which, 12, 1));
    // Two tills have sold the same block, each cut off from the other.
    let one = counter.send("till-1", 60, vec![sale("a", 50, &[(&counter.blocks[0], None, BLOCK_CENTS)])]).remove(0);
    let two = counter.send("till-2", 61, vec![sale("a", 49, &[(&counter.blocks[0], None, BLOCK_CENTS)])]).remove(0);
    assert_eq!(
        (one.taken, two.taken, found(&two)),
        (Taken::Accepted, Taken::WithExceptions, vec![(1, "already_sold")])
    );
    // One queue sent from two tabs at the same time.
    let queue: Vec<_> = counter.blocks[1..]
        .iter()
        .enumerate()
        .map(|(n, block)| sale(&format!("q{n}"), 70, &[(block, None, BLOCK_CENTS), (&counter.tubs[0], Some(10), 23)]))
        .collect();
    let tabs: Vec<_> = (0..4)
        .map(|_| {
            let (counter, queue) = (Arc::clone(&counter), queue.clone());
            thread::spawn(move || {
                let sender = sender("till-1");
                queue
                    .into_iter()
                    .map(|sale| take(&counter.ground.desk, &sender, at(80), None, vec![sale]).unwrap().0.remove(0))
                    .collect::<Vec<_>>()
            })
        })
        .collect();
    let outcomes: Vec<_> = tabs.into_iter().flat_map(|tab| tab.join().unwrap()).collect();
    let accepted = outcomes.iter().filter(|outcome| outcome.taken == Taken::Accepted).count();
    let replayed = outcomes.iter().filter(|outcome| outcome.taken == Taken::Replayed).count();
    assert_eq!((accepted, replayed), (11, 33));
    assert_eq!(counter.left(&counter.tubs[0]), (390, "here"));
    counter.sound();
}
