//! A code, weighed against the tray and its labels: what is sold, and each reason why not. Scan and sale say the same.

use crate::counter::actor;
use crate::shelf::{OnShelf, Shelf, shop_with};
use crate::support::decoders::{zbar, zbar_telling_upc_a, zxing};
use sakudana::domain::refusal::Code;
use sakudana::domain::tray::Kind;
use sakudana::domain::verdict::Outcome;
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::failure::Failure;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::sell::{LineDraft, Sold, sell};
use sakudana::units::instant::MICROS_PER_HOUR;

const PRICES: (&str, u32) = ("29IIIIVPPPPPC", 2);

fn shelf() -> Shelf {
    Shelf::stocked(shop_with(None, Some(PRICES)), 2, &[268, 310, 244])
}

impl Shelf {
    fn sell(&self, text: &str) -> Result<Sold, Code> {
        let (line, now) = (LineDraft { tray: text.to_owned(), grams: None }, self.later());
        match self.desk.act(move |tx, shop| sell(tx, shop, &actor(), now, std::slice::from_ref(&line))) {
            Ok(sold) => Ok(sold),
            Err(Failure::Refused(refusal)) => Err(refusal.code),
            Err(other) => panic!("{text:?}: {other}"),
        }
    }

    /// Scan and sale stop for the same reason, and no other tray is named.
    #[track_caller]
    fn stops(&self, on: &OnShelf, text: &str, expected: &[Code]) {
        let scanned = self.scan(text).unwrap_or_else(|refusal| panic!("{text:?}: {refusal}"));
        assert_eq!(scanned.facts.tray.code, on.tray.code, "{text:?}");
        let found: Vec<Code> = scanned.verdict.stops.iter().map(|stop| stop.code).collect();
        assert_eq!((scanned.verdict.outcome, found.as_slice()), (Outcome::Stop, expected), "{text:?}");
        assert_eq!(self.sell(text).map(|_| ()), Err(expected[0]), "{text:?}");
    }
}

#[test]
fn every_form_of_every_code_sells_its_tray() {
    let shelf = Shelf::stocked(shop_with(Some("0614141"), Some(PRICES)), 2, &[268, 311, 244, 287]);
    let linear = |on: &OnShelf| on.linear.clone();
    for on in &shelf.trays {
        // Both fish gave the same weights: their linear codes are not one tray's.
        for form in on.forms().into_iter().filter(|form| Some(form) != linear(on).as_ref()) {
            let scanned = shelf.scan(&form).unwrap_or_else(|refusal| panic!("{form:?}: {refusal}"));
            assert_eq!((scanned.facts.tray.code, scanned.verdict.outcome), (on.tray.code, Outcome::Sell), "{form:?}");
        }
    }
    let blocks: Vec<&OnShelf> = shelf.trays.iter().filter(|on| on.tray.kind == Kind::Block).collect();
    for on in &blocks {
        let sold = shelf.sell(&on.address).unwrap();
        assert_eq!(sold.lines[0].tray_code, on.tray.code.to_string());
        assert_eq!(shelf.reasons(&on.address), [Code::AlreadySold]);
        assert_eq!(shelf.reasons(&on.elements), [Code::AlreadySold]);
    }
}

#[test]
fn a_markdown_sells_on_the_old_label_until_there_is_a_new_one() {
    let shelf = shelf();
    let on = &shelf.trays[0];
    let lowered = shelf.mark_down(&on.tray, 5_960);
    let scanned = shelf.scan(&on.address).unwrap();
    assert_eq!((scanned.verdict.outcome, scanned.verdict.stops.len()), (Outcome::SellAtMarkdown, 0));
    let relabelled = shelf.label(&lowered, shelf.later()).unwrap();
    let new = shelf.on_shelf(&relabelled, &on.lot);
    shelf.stops(on, &on.address, &[Code::LabelSuperseded]);
    shelf.stops(on, &on.elements, &[Code::LabelSuperseded]);
    // What is typed claims nothing.
    assert_eq!(shelf.reasons(&on.tray.code.to_string()), []);
    let sold = shelf.sell(&new.address).unwrap();
    assert_eq!(sold.sale.total_cents, 1_597, "268 g at 59.60, half up: computed");
}

#[test]
fn the_till_takes_the_lower_price() {
    let shelf = shelf();
    shelf.mark_down(&shelf.trays[0].tray, 5_960);
    assert_eq!(shelf.sell(&shelf.trays[0].address).unwrap().sale.total_cents, 1_597);
}

/// Each value of the code, changed alone with everything else right.
#[test]
fn what_is_not_so_has_its_own_reason() {
    let shelf = shelf();
    let on = &shelf.trays[0];
    let other = shelf.trays.iter().find(|other| other.lot != on.lot).unwrap();
    let changed = |from: &str, to: &str| {
        assert!(on.address.contains(from), "{from}");
        on.address.replace(from, to)
    };
    let day = on.address.split("17=").nth(1).unwrap().get(..6).unwrap();
    shelf.stops(on, &changed(&on.lot, &other.lot), &[Code::CodeContradicts]);
    shelf.stops(on, &changed("02900000001015", "02900000001039"), &[Code::CodeContradicts]);
    shelf.stops(on, &changed("3103=000268", "3103=000310"), &[Code::WeightDiffers]);
    shelf.stops(on, &changed("3922=1997", "3922=1996"), &[Code::CodeContradicts]);
    shelf.stops(on, &changed(day, "991231"), &[Code::CodeContradicts, Code::PastUseBy]);
    shelf.stops(on, &changed(day, "300101"), &[Code::CodeContradicts]);
    let refused = |text: String, code: Code| {
        assert_eq!(shelf.reasons(&text), [code], "{text}");
        assert_eq!(
            shelf.sell(&text).map(|_| ()),
            Err(if code == Code::NotFound { Code::UnknownReference } else { code })
        );
    };
    refused(changed("02900000001015", "02900000001016"), Code::WrongCheckDigit);
    refused(changed("counter.example", "other.example"), Code::OtherShop);
    refused(changed("02900000001015", "99520123456781"), Code::OtherShop);
    refused(changed("3103=000268&", ""), Code::NotACode);
    refused(changed(&on.tray.code.to_string(), "CCCCCCC"), Code::WrongCheckCharacter);
    // A tub says no weight.
    let tub = shelf.trays.iter().find(|on| on.tray.kind == Kind::Tub).unwrap();
    shelf.stops(tub, &format!("{}&3103=000300&3922=900", tub.address), &[Code::CodeContradicts, Code::WeightDiffers]);
    // Without the attributes there is nothing to contradict.
    assert_eq!(shelf.reasons(on.address.split('?').next().unwrap()), []);
}

#[test]
fn a_code_without_a_label_is_nobodys() {
    let shelf = shelf();
    let (tray, lot) = shelf.cut(&[299]).remove(0);
    let on = shelf.on_shelf(&tray, &lot);
    shelf.stops(&on, &on.address, &[Code::CodeContradicts, Code::WeightDiffers]);
    assert_eq!(shelf.reasons(&tray.code.to_string()), []);
}

#[test]
fn a_tray_that_was_weighed_again_needs_a_new_label() {
    let shelf = shelf();
    let (on, now) = (&shelf.trays[1], shelf.now);
    let line = CountLine { tray: on.address.clone(), counted_g: 300 };
    shelf
        .desk
        .act(move |tx, shop| count(tx, shop, &actor(), now, std::slice::from_ref(&line), Some("dripped")))
        .unwrap();
    shelf.stops(on, &on.address, &[Code::WeightDiffers]);
    let counted = shelf.scan(&on.tray.code.to_string()).unwrap().facts.tray;
    let new = shelf.on_shelf(&shelf.label(&counted, shelf.later()).unwrap(), &on.lot);
    shelf.stops(on, &on.address, &[Code::LabelSuperseded]);
    assert_eq!(shelf.reasons(&new.address), []);
}

/// Frozen for a week: the label from before says a day that has passed, though the fish has its time left.
#[test]
fn the_date_in_the_code_is_judged_by_itself() {
    let shelf = shelf();
    let on = &shelf.trays[2];
    let take = |place: &'static str, way, now| {
        let code = on.tray.code.to_string();
        shelf.desk.act(move |tx, shop| take_to(tx, shop, &actor(), now, &code, place, way, None)).unwrap()
    };
    take("freezer", Way::Freeze, shelf.later());
    let week = shelf.now.plus_micros(7 * 24 * MICROS_PER_HOUR);
    let thawed = take("case", Way::Thaw, week);
    let new = shelf.on_shelf(&shelf.label(&thawed, week).unwrap(), &on.lot);
    let reasons = |text: &str| -> Vec<Code> {
        shelf.scan_at(text, week).unwrap().verdict.stops.iter().map(|stop| stop.code).collect()
    };
    assert_eq!(reasons(&on.address), [Code::PastUseBy, Code::LabelSuperseded]);
    assert_eq!(reasons(&new.address), []);
}

#[test]
fn a_linear_code_names_the_one_tray_it_fits() {
    // The second fish gives blocks of 268 and 244 g again, the first alone one of 310.
    let shelf = Shelf::stocked(shop_with(None, Some(PRICES)), 1, &[268, 310, 244]);
    let number = |grams: i64| shelf.trays.iter().find(|on| on.tray.net.get() == grams).unwrap().linear.clone().unwrap();
    for on in shelf.trays.iter().filter(|on| on.tray.kind == Kind::Block) {
        let scanned = shelf.scan(on.linear.as_deref().unwrap()).unwrap();
        assert_eq!((scanned.facts.tray.code, scanned.verdict.outcome), (on.tray.code, Outcome::Sell));
    }
    let mut twins = shelf.cut(&[268, 244]);
    let (tray, lot) = twins.remove(0);
    let labelled = shelf.label(&tray, shelf.now).unwrap();
    let twin = shelf.on_shelf(&labelled, &lot);
    assert_eq!(twin.linear.as_ref(), Some(&number(268)));
    let refusal = shelf.scan(&number(268)).map(|_| ()).unwrap_err();
    assert_eq!(refusal.code, Code::SeveralTrays);
    let reason = &refusal.findings[0].reason;
    assert!([&shelf.trays[0], &twin].iter().all(|on| reason.contains(&on.tray.code.grouped())), "{reason}");
    assert_eq!(shelf.sell(&number(268)).map(|_| ()), Err(Code::SeveralTrays));
    // The twin gets a lower price and a new label; the old number may still stick on it, and stays ambiguous.
    let lowered = shelf.on_shelf(&shelf.label(&shelf.mark_down(&twin.tray, 5_000), shelf.later()).unwrap(), &lot);
    assert_eq!(shelf.reasons(&number(268)), [Code::SeveralTrays]);
    assert_eq!(shelf.reasons(lowered.linear.as_deref().unwrap()), []);
    // Sold by its QR, the first may be scanned once more by its bars: that must not sell the twin.
    shelf.sell(&shelf.trays[0].address).unwrap();
    assert_eq!(shelf.reasons(&number(268)), [Code::SeveralTrays]);
    assert_eq!(shelf.sell(&number(310)).unwrap().lines[0].tray_code, shelf.trays[1].tray.code.to_string());
    assert_eq!(shelf.reasons(&number(310)), [Code::AlreadySold]);
    let codes = &shelf.desk.shop().codes;
    let nobody = codes.linear_number(77, shelf.trays[0].tray.price.for_weight(shelf.trays[0].tray.net), twin.tray.net);
    assert_eq!(shelf.reasons(&nobody.unwrap().unwrap()), [Code::NoTrayFits], "there is no cut 77");
}

#[test]
fn a_linear_code_with_the_weight() {
    let shelf = Shelf::stocked(shop_with(None, Some(("28IIIIVWWWWWC", 3))), 1, &[268, 310, 244]);
    for on in shelf.trays.iter().filter(|on| on.tray.kind == Kind::Block) {
        let scanned = shelf.scan(on.linear.as_deref().unwrap()).unwrap();
        assert_eq!((scanned.facts.tray.code, scanned.verdict.outcome), (on.tray.code, Outcome::Sell));
    }
}

/// A UPC-A is drawn as the EAN-13 it is, with a 0 before it. Readers give it with that or without; either sells the tray.
#[test]
fn a_linear_code_of_twelve_digits_is_drawn_and_read_in_both_lengths() {
    let shelf = Shelf::stocked(shop_with(None, Some(("2IIIIIVPPPPC", 2))), 1, &[268, 310, 244]);
    for on in shelf.trays.iter().filter(|on| on.tray.kind == Kind::Block) {
        let twelve = on.linear.clone().unwrap();
        let thirteen = format!("0{twelve}");
        let png = shelf.picture(&on.tray);
        let readings = [(zxing(&png), &thirteen), (zbar(&png), &thirteen), (zbar_telling_upc_a(&png), &twelve)];
        for (found, expected) in readings {
            assert!(found.contains(expected) && found.contains(&on.address), "{found:?}");
            let scanned = shelf.scan(expected).unwrap();
            assert_eq!((scanned.facts.tray.code, scanned.verdict.outcome), (on.tray.code, Outcome::Sell), "{expected}");
        }
    }
}

/// Acts that sell nothing take an old label for the tray it is on, but never another tray's.
#[test]
fn other_acts_ask_only_whose_code_it_is() {
    let shelf = shelf();
    let on = &shelf.trays[0];
    shelf.label(&shelf.mark_down(&on.tray, 5_960), shelf.later()).unwrap();
    assert_eq!(shelf.reasons(&on.address), [Code::LabelSuperseded]);
    let hold_by = |text: String, now| {
        let draft = HoldDraft { scope: "tray".into(), code: text, reason: "case door stood open".into() };
        shelf.desk.act(move |tx, shop| hold::place(tx, shop, &actor(), now, &draft))
    };
    let other = shelf.trays.iter().find(|other| other.lot != on.lot).unwrap();
    match hold_by(on.address.replace(&on.lot, &other.lot), shelf.now) {
        Err(Failure::Refused(refusal)) => {
            assert_eq!((refusal.code, refusal.findings[0].field.as_str()), (Code::CodeContradicts, "code"));
        }
        other => panic!("{other:?}"),
    }
    hold_by(on.address.clone(), shelf.now).unwrap();
    assert_eq!(shelf.reasons(&on.tray.code.to_string()), [Code::OnHold]);
}
