//! What readings that come late change for a customer: also for what was sold before anybody knew.

use crate::counter::actor;
use crate::measured::FOUR_WARM_HOURS;
use crate::{Day, day};
use sakudana::domain::gs1::own::Article;
use sakudana::domain::tray::Tray;
use sakudana::ops::customer::{Address, Card, Scanned, Warning, card};
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::units::instant::{MICROS_PER_HOUR, MICROS_PER_MINUTE};

const HOUR: i64 = MICROS_PER_HOUR;

impl Day {
    fn card(&self, tray: &Tray, after: i64) -> Card {
        let address = Address {
            article: Article::Restricted { item_number: 101 }.number().unwrap(),
            lot: None,
            tray: tray.code.to_string(),
            use_by: None,
        };
        self.desk.look(|reading, shop| card(reading, shop, self.at(after), &address)).unwrap()
    }

    fn labelled(&self, fish: &Tray, place: &str) -> Tray {
        let tray = self.cut(fish, Some(1_000), "lean-saku", place, 0, 0);
        self.label(&tray, self.start).unwrap()
    }

    fn sold(&self, tray: &Tray, after: i64) {
        let (lines, now) = ([LineDraft { tray: tray.code.to_string(), grams: None }], self.at(after));
        self.desk.act(move |tx, shop| sell(tx, shop, &actor(), now, &lines)).unwrap();
    }
}

/// Eight hours above 4.4 °C use the time of never-frozen fish up (the profile of the EU, `domain/profile/eu.rs`); it lay twelve at 15 °C.
#[test]
fn what_was_sold_too_warm_is_told_when_it_is_known() {
    let d = day();
    let fish = d.fish("ice");
    let (sold, later) = (d.labelled(&fish, "ice"), d.labelled(&fish, "ice"));
    d.sold(&sold, 14 * HOUR);
    assert_eq!(d.card(&sold, 15 * HOUR).warnings, []);
    let rows: Vec<(i64, i64)> =
        (0..=14 * 6).map(|ten| (ten * 10, if (60..780).contains(&(ten * 10)) { 15_000 } else { 0 })).collect();
    d.measured("ice", &rows, 15 * HOUR);
    for tray in [&sold, &later] {
        assert_eq!(d.card(tray, 15 * HOUR).warnings, [Warning::TooWarm], "{}", tray.code);
    }
    // Sold in the first minute, it was spared all of it.
    let d = day();
    let fish = d.fish("ice");
    let spared = d.labelled(&fish, "ice");
    d.sold(&spared, MICROS_PER_MINUTE);
    d.measured("ice", &rows, 15 * HOUR);
    assert_eq!(d.card(&spared, 15 * HOUR).warnings, []);
}

/// A date that late readings shortened is shown shortened, and the label that promises more no longer holds.
#[test]
fn a_shortened_date_is_shown_and_never_a_longer_one() {
    let d = day();
    let fish = d.fish("case");
    let (in_stock, sold) = (d.labelled(&fish, "case"), d.labelled(&fish, "case"));
    d.sold(&sold, 10 * HOUR);
    let printed = in_stock.use_by.unwrap();
    let before = d.card(&in_stock, 10 * HOUR);
    assert_eq!((before.use_by, before.scanned), (Some(printed), Scanned::Current));
    d.measured("case", &FOUR_WARM_HOURS, 10 * HOUR);
    for tray in [&in_stock, &sold] {
        let after = d.card(tray, 10 * HOUR);
        assert!(after.use_by.unwrap() < printed, "{}", tray.code);
        assert_eq!((after.scanned, after.warnings.as_slice()), (Scanned::Outdated, &[][..]));
    }
    let again = d.again(&in_stock, 10 * HOUR);
    let after = d.card(&in_stock, 10 * HOUR);
    assert_eq!((after.use_by, after.scanned), (again.use_by, Scanned::Current));
}
