//! Every row of the table, and what a till's clock is believed.

use super::*;
use crate::domain::life::lived::Lived;
use crate::domain::life::wear::Budgets;
use crate::domain::tray::Fate;
use crate::domain::tray_code::TrayCode;
use crate::units::money::PricePerKg;

fn grams(grams: i64) -> Grams {
    Grams::new(grams).unwrap()
}

fn tray(kind: Kind, net: i64) -> Tray {
    let at = Instant::from_micros(1_000).unwrap();
    let price = PricePerKg::new(10_000).unwrap();
    Tray {
        id: 1,
        code: (0..).find_map(TrayCode::from_number).unwrap(),
        kind,
        cut: "saku".into(),
        species: "YFT".into(),
        batch_id: None,
        place: "case".into(),
        fate: None,
        gone_at: None,
        net: grams(net),
        initial: grams(300),
        price,
        list_price: price,
        markdown_reason: None,
        lived: Lived::fresh(Budgets { raw_micros: 1, colour_micros: None, frozen_micros: 1 }, at),
        cut_at: at,
        use_by: None,
        supplier_until: None,
        paused_left_micros: None,
        frozen_at: None,
        thawed_at: None,
        label_wanted: None,
        version: 1,
    }
}

fn gone(kind: Kind, fate: Fate) -> Tray {
    Tray { fate: Some(fate), ..tray(kind, 0) }
}

fn stop(code: Code) -> Vec<Stop> {
    vec![Stop { code, reason: "so it is".into() }]
}

/// What moved, what is missing, and the codes, of a line of these grams for this money.
fn settled(tray: &Tray, said: Option<i64>, charged: i64, stops: Vec<Stop>) -> (i64, Option<i64>, Vec<&'static str>) {
    let claim = Claim { grams: said.map(grams), charged: Cents::new(charged).unwrap() };
    let against = Against { now: stops, then: Vec::new(), held_since: Vec::new() };
    let (tray_price, at) = (tray.price, tray.cut_at);
    // Reasons that are of a time are asked of then.
    let against = Against { then: against.now.clone(), ..against };
    let Settlement { moved, missing, findings } = settle(claim, tray, tray_price, findings(against, at, at));
    (moved.get(), missing.map(Grams::get), findings.iter().map(|finding| finding.what.as_str()).collect())
}

#[test]
fn goods_that_are_there_leave_and_what_is_not_there_moves_nothing() {
    let (block, tub, bulk) = (tray(Kind::Block, 300), tray(Kind::Tub, 300), tray(Kind::Bulk, 300));
    let rows = [
        // Nothing to say against it. 100.00 a kilogram is 30.00 for 300 g.
        (&block, None, 3_000, vec![], (300, Some(0), vec![])),
        (&block, Some(300), 3_000, vec![], (300, Some(0), vec![])),
        (&tub, Some(120), 1_200, vec![], (120, Some(0), vec![])),
        (&tub, Some(300), 3_000, vec![], (300, Some(0), vec![])),
        // It holds less; another weight; no weight; another price.
        (&tub, Some(301), 3_010, vec![], (300, Some(1), vec!["overdrawn"])),
        (&block, Some(310), 3_000, vec![], (300, Some(0), vec!["weight_differs"])),
        (&block, Some(290), 2_900, vec![], (300, Some(0), vec!["weight_differs", "price_differs"])),
        (&tub, None, 1_200, vec![], (0, None, vec!["weight_unknown"])),
        (&block, None, 2_999, vec![], (300, Some(0), vec!["price_differs"])),
        // Not sold as such, and still gone.
        (&bulk, Some(200), 2_000, stop(Code::WrongKind), (200, Some(0), vec!["wrong_kind"])),
        (&bulk, None, 2_000, stop(Code::WrongKind), (0, None, vec!["wrong_kind", "weight_unknown"])),
    ];
    for (tray, said, charged, stops, expected) in rows {
        assert_eq!(settled(tray, said, charged, stops), expected, "{:?} {said:?}", tray.kind);
    }
}

#[test]
fn reasons_against_a_sale_do_not_keep_the_goods_in_the_books() {
    for (code, expected) in [
        (Code::OnHold, "on_hold"),
        (Code::ExposureReached, "exposure_reached"),
        (Code::PastUseBy, "past_use_by"),
        (Code::LifeEnded, "life_ended"),
        (Code::ParasiteFreezingMissing, "parasite_freezing_missing"),
        (Code::Frozen, "frozen"),
        (Code::LabelOutdated, "label_outdated"),
        (Code::LabelSuperseded, "label_outdated"),
        (Code::WeightDiffers, "weight_differs"),
        (Code::CodeContradicts, "code_contradicts"),
    ] {
        let found = settled(&tray(Kind::Block, 300), None, 3_000, stop(code));
        assert_eq!(found, (300, Some(0), vec![expected]), "{}", code.as_str());
    }
}

#[test]
fn what_is_gone_moves_nothing() {
    for (fate, code, expected) in [
        (Fate::Sold, Code::AlreadySold, "already_sold"),
        (Fate::Waste, Code::TrayGone, "gone_otherwise"),
        (Fate::Kitchen, Code::TrayGone, "gone_otherwise"),
    ] {
        // A block of which the till does not say the weight had 300 g; no price stands against that charged.
        let found = settled(&gone(Kind::Block, fate), None, 1, stop(code));
        assert_eq!(found, (0, Some(300), vec![expected]));
        assert_eq!(settled(&gone(Kind::Tub, fate), Some(80), 1, stop(code)), (0, Some(80), vec![expected]));
        assert_eq!(settled(&gone(Kind::Tub, fate), None, 1, stop(code)), (0, None, vec![expected]));
    }
    let claim = Claim { grams: Some(grams(80)), charged: Cents::ZERO };
    let unknown = settle_unknown(claim, &Refusal::new(Code::UnknownReference, "tray_code", "there is no tray"));
    assert_eq!((unknown.moved, unknown.missing), (Grams::ZERO, Some(grams(80))));
    assert_eq!(unknown.findings[0].what, Contradiction::UnknownCode);
}

#[test]
fn the_gravest_stands_first_and_codes_read_back() {
    let mut stops = stop(Code::PastUseBy);
    stops.extend(stop(Code::OnHold));
    let found = settled(&tray(Kind::Tub, 100), Some(150), 1, stops);
    assert_eq!(found, (100, Some(50), vec!["on_hold", "past_use_by", "overdrawn", "price_differs"]));
    let codes: std::collections::BTreeSet<&str> = Contradiction::ALL.iter().map(|one| one.as_str()).collect();
    assert_eq!(codes.len(), Contradiction::ALL.len());
    for one in Contradiction::ALL {
        assert_eq!(Contradiction::parse(one.as_str()), Some(*one));
        assert!(one.advice().ends_with('.') && !one.title().ends_with('.'));
    }
    for way in Way::ALL {
        assert_eq!(Way::parse(way.as_str()), Some(way));
    }
}

#[test]
fn whether_its_time_was_over_is_asked_of_when_it_was_sold() {
    let now: Vec<Stop> = [Code::PastUseBy, Code::Frozen, Code::LabelOutdated].into_iter().flat_map(stop).collect();
    let then: Vec<Stop> = [Code::OnHold, Code::WrongKind].into_iter().flat_map(stop).collect();
    let codes = |now: &[Stop], then: &[Stop], at: i64| -> Vec<&'static str> {
        let against = Against { now: now.to_vec(), then: then.to_vec(), held_since: vec!["a recall".into()] };
        let [at, began] = [at, 0].map(|at| Instant::from_micros(at + 10 * MICROS_PER_HOUR).unwrap());
        let mut found = findings(against, at, began);
        found.sort_by_key(|finding| finding.what);
        found.into_iter().map(|finding| finding.what.as_str()).collect()
    };
    assert_eq!(codes(&now, &then, 0), ["on_hold", "held_since", "expired_since", "frozen"]);
    // What had run out then is said once.
    assert_eq!(codes(&now, &now, 0), ["past_use_by", "held_since", "label_outdated", "frozen"]);
    // Two clocks may differ by two minutes; before that, what has run out by now counts as well.
    assert_eq!(codes(&now, &[], -CLOCK_TOLERANCE), ["held_since", "expired_since", "frozen"]);
    let early = ["past_use_by", "held_since", "label_outdated", "before_it_was_cut", "frozen"];
    assert_eq!(codes(&now, &[], -CLOCK_TOLERANCE - 1), early);
}

#[test]
fn a_clock_that_contradicts_the_order_is_noted_and_not_followed() {
    let hour = MICROS_PER_HOUR;
    let at = |hours: i64| Instant::from_micros(hours * hour).unwrap();
    let now = at(2_000);
    assert_eq!(happened(at(1_999), now, None), (at(1_999), TillClock::Plausible));
    assert_eq!(happened(at(1_999), now, Some(at(1_999))), (at(1_999), TillClock::Plausible));
    assert_eq!(happened(at(1_998), now, Some(at(1_999))), (at(1_999), TillClock::Backwards));
    assert_eq!(happened(now.plus_micros(CLOCK_TOLERANCE), now, None), (now, TillClock::Plausible));
    assert_eq!(happened(now.plus_micros(CLOCK_TOLERANCE + 1), now, None), (now, TillClock::Ahead));
    assert_eq!(
        happened(now.plus_micros(-QUEUE_LIMIT), now, None),
        (now.plus_micros(-QUEUE_LIMIT), TillClock::Plausible)
    );
    assert_eq!(happened(Instant::EPOCH, now, Some(at(1_999))), (now, TillClock::LongAgo));
}
