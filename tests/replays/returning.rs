//! What customers bring back: to waste, by the lots it was sold from, never more than was sold.

use crate::ground::{Which, actor};
use crate::till::{BLOCK_CENTS, Counter, at, sale};
use sakudana::ops::failure::Failure;
use sakudana::ops::sell::{self, LineDraft};
use sakudana::ops::settle::{Decision, settle};
use sakudana::ops::take_back::{ReturnDraft, take_back};
use sakudana::ops::top_up::{TopUp, top_up};

fn bring(
    counter: &Counter,
    sale_id: i64,
    lines: &[(&str, i64, i64)],
) -> Result<Vec<(i64, i64)>, (&'static str, String)> {
    let line = |(tray, grams, refund): &(&str, i64, i64)| ReturnDraft {
        tray: (*tray).to_owned(),
        grams: *grams,
        refund_cents: *refund,
        reason: "smelled odd at home".into(),
    };
    let lines: Vec<ReturnDraft> = lines.iter().map(line).collect();
    let back = counter.ground.desk.act(move |tx, shop| take_back(tx, shop, &actor(), at(400), sale_id, &lines));
    let rows = back.map_err(|failure| match failure {
        Failure::Refused(refusal) => (refusal.code.as_str(), refusal.findings[0].field.clone()),
        Failure::Store(error) => panic!("{error}"),
    })?;
    Ok(rows.into_iter().map(|row| (row.grams, row.refund_cents)).collect())
}

pub fn what_comes_back_goes_to_waste(which: Which) {
    let counter = Counter::open(which, 4, 3);
    let (b, t) = (&counter.blocks, &counter.tubs);
    let (tub, poured) = (t[0].clone(), TopUp { source: t[1].clone(), grams: None });
    counter.act(move |tx, shop| top_up(tx, shop, &actor(), at(20), &tub, &poured).map(drop));
    let lines = [LineDraft { tray: b[0].clone(), grams: None }, LineDraft { tray: t[0].clone(), grams: Some(333) }];
    let sold = counter.act(move |tx, shop| sell::sell(tx, shop, &actor(), at(30), &lines));
    let (id, total) = (sold.sale.id, sold.sale.total_cents);
    let (customer, waste) = (counter.account("customer"), counter.account("waste"));
    assert_eq!(bring(&counter, id, &[(&t[0], 100, 233), (&t[0], 33, 0)]), Ok(vec![(100, 233), (33, 0)]));
    assert_eq!((counter.account("customer"), counter.account("waste")), (customer - 133, waste + 133));
    assert_eq!(counter.left(&t[0]), (667, "here"), "never into stock");
    let refused = |lines: &[(&str, i64, i64)], code: &'static str, field: &str| {
        assert_eq!(bring(&counter, id, lines), Err((code, field.to_owned())), "{lines:?}");
    };
    refused(&[(&t[0], 201, 0)], "return_exceeds_sale", "lines/0/grams");
    refused(&[(&t[0], 150, 0), (&t[0], 51, 0)], "return_exceeds_sale", "lines/1/grams");
    refused(&[(&b[0], 300, total - 233 + 1)], "return_exceeds_sale", "lines/0/refund_cents");
    refused(&[(&b[0], 0, 0)], "invalid_value", "lines/0/grams");
    refused(&[(&b[0], -1, 0)], "invalid_value", "lines/0/grams");
    refused(&[(&b[0], 1, -1)], "invalid_value", "lines/0/refund_cents");
    refused(&[(&b[1], 300, 0)], "unknown_reference", "lines/0/tray_code");
    refused(&[], "invalid_value", "lines");
    assert_eq!(bring(&counter, 9_999, &[(&b[0], 1, 0)]), Err(("not_found", "id".to_owned())));
    assert_eq!(
        bring(&counter, id, &[(&b[0], 300, BLOCK_CENTS), (&t[0], 200, 0)]),
        Ok(vec![(300, BLOCK_CENTS), (200, 0)])
    );
    assert_eq!((counter.account("customer"), counter.account("waste")), (customer - 633, waste + 633));
    assert_eq!(counter.left(&b[0]), (0, "sold"));
    counter.sound();
    // What came back is not put back besides.
    let undone = counter.ground.desk.act(move |tx, shop| sell::reverse(tx, shop, &actor(), at(31), id, "mis-scan"));
    assert!(matches!(undone, Err(Failure::Refused(refusal)) if refusal.code.as_str() == "not_reversible"));
    // Of a sale that was put on another tray, that tray comes back.
    let twice = counter.send("till-1", 100, vec![sale("twice", 90, &[(&b[0], None, BLOCK_CENTS)])])[0].sale_id;
    assert_eq!(bring(&counter, twice, &[(&b[2], 300, 0)]).err().map(|e| e.0), Some("unknown_reference"));
    let exception = counter.exceptions()[0].exception.id;
    let way = sakudana::domain::replay::Way::WasOtherTray;
    let decision = Decision { way, tray: Some(b[2].clone()), grams: None, note: None };
    counter.act(move |tx, shop| settle(tx, shop, &actor(), at(300), exception, &decision).map(drop));
    assert_eq!(bring(&counter, twice, &[(&b[2], 300, BLOCK_CENTS)]), Ok(vec![(300, BLOCK_CENTS)]));
    counter.sound();
    // A reversed sale has nothing with a customer.
    let other = counter.sell_live(&b[3], None, 200).sale.id;
    counter.act(move |tx, shop| sell::reverse(tx, shop, &actor(), at(201), other, "mis-scan").map(drop));
    assert_eq!(bring(&counter, other, &[(&b[3], 300, 0)]).err().map(|e| e.0), Some("already_reversed"));
    counter.sound();
}
