//! Acts that once could have lengthened a life or hidden an end, each as the sequence that showed it.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "acts/alarms.rs"]
mod alarms;
#[path = "acts/customer.rs"]
mod customer;
#[path = "acts/frozen.rs"]
mod frozen;
#[path = "acts/labelled.rs"]
mod labelled;
#[path = "acts/measured.rs"]
mod measured;
#[path = "acts/watched.rs"]
mod watched;

mod counter;

use counter::{actor, arrival, catalogue, shop};
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::refusal::Code;
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::{LabelReason, Tray};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::desk::Desk;
use sakudana::ops::edit_catalogue::{Expected, put_place};
use sakudana::ops::failure::Failure;
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::ops::{label, verify};
use sakudana::store::StoreOptions;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE, MICROS_PER_SECOND};

struct Day {
    desk: Desk,
    start: Instant,
    _folder: tempfile::TempDir,
}

fn day() -> Day {
    day_of(shop())
}

fn day_of(shop: Shop) -> Day {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("shop.db").to_str().unwrap().to_owned();
    let desk = Desk::open(&StoreOptions { database, readers: 1 }, shop).unwrap();
    let start = Instant::parse("2026-11-25T06:00:00Z").unwrap();
    catalogue(&desk, start);
    desk.act(move |tx, shop| {
        let place = |name: &str, method: &str, set, limit| PlaceDraft {
            name: name.into(),
            method: method.into(),
            set_point_mc: set,
            upper_limit_mc: limit,
            ..PlaceDraft::default()
        };
        put_place(tx, shop, &actor(), start, "bench", &place("Bench", "ambient", 10_000, 10_000), Expected::New)?;
        put_place(tx, shop, &actor(), start, "ice", &place("On ice", "chill", 0, 0), Expected::New)
    })
    .unwrap();
    Day { desk, start, _folder: folder }
}

impl Day {
    /// One block cut right after receiving, standing in `place`.
    fn block(&self, place: &'static str, supplier_use_by: Option<&str>) -> Tray {
        let (now, mut fish) = (self.start, arrival(Some(self.start)));
        fish.supplier_use_by = supplier_use_by.map(Into::into);
        let received = self.desk.act(move |tx, shop| receive(tx, shop, &actor(), now, &fish)).unwrap();
        let cutting = Cutting {
            inputs: vec![InputDraft { tray: received.tray.code.to_string(), grams: None }],
            outputs: vec![OutputDraft { cut: "short-saku".into(), place: place.into(), net_g: 300 }],
            losses: vec![LossDraft { name: "the rest".into(), grams: 3_700 }],
            place: "bench".into(),
            bench_minutes: None,
            reason: None,
        };
        self.desk.act(move |tx, shop| break_down(tx, shop, &actor(), now, &cutting)).unwrap().trays.remove(0)
    }

    fn label(&self, tray: &Tray, now: Instant) -> Result<Tray, Failure> {
        let code = tray.code.to_string();
        self.desk.act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), now, &code, None))
    }

    fn take(&self, tray: &Tray, place: &'static str, way: Way, now: Instant) -> Result<Tray, Failure> {
        let code = tray.code.to_string();
        self.desk.act(move |tx, shop| take_to(tx, shop, &actor(), now, &code, place, way, None))
    }

    fn sell(&self, tray: &Tray, now: Instant) -> Result<(), Failure> {
        let line = LineDraft { tray: tray.code.to_string(), grams: None };
        self.desk.act(move |tx, shop| sell(tx, shop, &actor(), now, std::slice::from_ref(&line))).map(drop)
    }

    fn clean(&self) {
        let findings = self.desk.look(|reading, _| verify::verify(reading)).unwrap();
        assert!(findings.iter().all(|f| f.wrong.is_empty()), "{findings:?}");
    }
}

fn code_of<T>(outcome: Result<T, Failure>) -> Code {
    match outcome {
        Err(Failure::Refused(refusal)) => refusal.code,
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("was done"),
    }
}

/// Six hours at 0 °C are an hour and a half on a bench of 10 °C. Frozen for a second and thawed onto ice, the label may promise that hour
/// and a half and the second, not the six hours ice would have given.
#[test]
fn a_short_freeze_does_not_lengthen_a_printed_date() {
    let d = day();
    let block = d.label(&d.block("bench", None), d.start).unwrap();
    assert_eq!(block.use_by.unwrap().since(d.start), 90 * MICROS_PER_MINUTE);
    d.take(&block, "freezer", Way::Freeze, d.start).unwrap();
    let second = d.start.plus_micros(MICROS_PER_SECOND);
    let thawed = d.take(&block, "ice", Way::Thaw, second).unwrap();
    assert_eq!(thawed.label_wanted, Some(LabelReason::Thawed));
    let again = d.label(&block, second).unwrap();
    assert_eq!(again.use_by, block.use_by, "down to the whole minute the second is gone");
    d.clean();
}

#[test]
fn what_has_ended_is_not_hidden_in_the_freezer() {
    let d = day();
    let block = d.label(&d.block("bench", None), d.start).unwrap();
    let later = d.start.plus_micros(2 * MICROS_PER_HOUR);
    assert_eq!(code_of(d.take(&block, "freezer", Way::Freeze, later)), Code::PastUseBy);
    assert_eq!(code_of(d.sell(&block, later)), Code::PastUseBy);
}

/// The supplier's day ends in the shop's zone (Lisbon is on UTC in November), whatever the clock says, and freezing does not move it.
#[test]
fn the_suppliers_date_binds_through_everything() {
    let d = day();
    let block = d.label(&d.block("ice", Some("2026-11-25")), d.start.plus_micros(13 * MICROS_PER_HOUR));
    assert_eq!(code_of(block), Code::LifeEnded, "short-saku has six hours");
    let block = d.block("ice", Some("2026-11-25"));
    d.take(&block, "freezer", Way::Freeze, d.start).unwrap();
    let evening = d.start.plus_micros(17 * MICROS_PER_HOUR);
    d.take(&block, "ice", Way::Thaw, evening).unwrap();
    let labelled = d.label(&block, evening).unwrap();
    assert_eq!(labelled.use_by, Instant::parse("2026-11-25T23:59:00Z").ok());
    assert_eq!(code_of(d.sell(&block, d.start.plus_micros(18 * MICROS_PER_HOUR))), Code::PastUseBy);
    let mut late = arrival(Some(d.start));
    late.supplier_use_by = Some("2026-11-24".into());
    let now = d.start;
    assert_eq!(code_of(d.desk.act(move |tx, shop| receive(tx, shop, &actor(), now, &late))), Code::InvalidValue);
}

/// A clock set back after a tray was reckoned at its end does not bring it back.
#[test]
fn a_clock_set_back_revives_nothing() {
    let d = day();
    let block = d.label(&d.block("bench", None), d.start).unwrap();
    let later = d.start.plus_micros(3 * MICROS_PER_HOUR);
    d.take(&block, "ice", Way::Move, later).unwrap();
    assert!(matches!(code_of(d.sell(&block, d.start)), Code::PastUseBy | Code::LifeEnded));
}

#[test]
fn a_count_that_changes_a_block_asks_for_its_label() {
    let d = day();
    let block = d.label(&d.block("ice", None), d.start).unwrap();
    let (line, now) = (CountLine { tray: block.code.to_string(), counted_g: 280 }, d.start);
    let counted =
        d.desk.act(move |tx, shop| count(tx, shop, &actor(), now, std::slice::from_ref(&line), Some("re-weighed")));
    assert_eq!(counted.unwrap()[0].tray.label_wanted, Some(LabelReason::Weight));
    d.clean();
}

#[test]
fn an_arrival_is_told_within_its_year() {
    let d = day();
    let (now, old) = (d.start, arrival(Instant::parse("1970-01-01T00:00:00Z").ok()));
    assert_eq!(code_of(d.desk.act(move |tx, shop| receive(tx, shop, &actor(), now, &old))), Code::TimeTooEarly);
}
