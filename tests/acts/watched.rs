//! What the watch finds as time passes, and freezing against parasites from the readings to the sale.

use crate::counter::{actor, arrival};
use crate::{Day, code_of, day};
use sakudana::domain::alarm::Kind;
use sakudana::domain::catalogue::SpeciesDraft;
use sakudana::domain::life::curve::Reading;
use sakudana::domain::logger::Line;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::refusal::Code;
use sakudana::domain::tray::Tray;
use sakudana::ops::alarm::{self, acknowledge};
use sakudana::ops::edit_catalogue::{Expected, put_place, put_species};
use sakudana::ops::freeze_parasites::{FreezingDraft, LetterDraft, record};
use sakudana::ops::hold;
use sakudana::ops::place_tray::Way;
use sakudana::ops::receive::receive;
use sakudana::ops::{take_readings, watch};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use sakudana::units::temperature::MilliCelsius;

impl Day {
    fn hours(&self, hours: i64) -> Instant {
        self.start.plus_micros(hours * MICROS_PER_HOUR)
    }

    /// One temperature every ten minutes from one hour of the day to another.
    fn kept(&self, place: &'static str, celsius_mc: i64, from_hour: i64, to_hour: i64, now: Instant) {
        let first = self.hours(from_hour);
        let reading = |n: i64| Reading {
            at: first.plus_micros(n * 10 * MICROS_PER_MINUTE),
            temperature: MilliCelsius::new(celsius_mc).unwrap(),
        };
        let lines: Vec<Line> = (0..=(to_hour - from_hour) * 6)
            .map(|n| Line { number: u64::try_from(n).unwrap() + 1, found: Ok(reading(n)) })
            .collect();
        self.desk
            .act(move |tx, shop| {
                let delivery = take_readings::begin(tx, place)?;
                take_readings::take(tx, shop, &actor(), now, &delivery, &lines)
            })
            .unwrap();
    }

    fn round(&self, now: Instant) -> usize {
        self.desk.act(move |tx, shop| watch::go_round(tx, shop, now)).unwrap()
    }

    fn open_alarms(&self) -> Vec<Kind> {
        self.desk.look(|reading, _| alarm::open(reading)).unwrap().into_iter().map(|shown| shown.alarm.kind).collect()
    }

    fn note(&self, kind: Kind, now: Instant) {
        let open = self.desk.look(|reading, _| alarm::open(reading)).unwrap();
        let id = open.iter().find(|shown| shown.alarm.kind == kind).unwrap().alarm.id;
        self.desk.act(move |tx, _| acknowledge(tx, &actor(), now, id, Some("seen to"))).unwrap();
    }

    /// A salmon, whose species must be frozen before it is eaten raw, in the freezer from the start.
    fn frozen_salmon(&self) -> (String, Tray) {
        let now = self.start;
        let mut fish = arrival(Some(now));
        (fish.species, fish.place) = ("SAL".into(), "freezer".into());
        let received = self
            .desk
            .act(move |tx, shop| {
                let draft = SpeciesDraft {
                    scientific_name: "Salmo salar".into(),
                    market_name: "Salmon".into(),
                    names: std::collections::BTreeMap::new(),
                    group: "salmonid".into(),
                    parasite_rule: "freeze_before_raw".into(),
                    parasite_note: None,
                };
                put_species(tx, shop, &actor(), now, "SAL", &draft, Expected::New)?;
                receive(tx, shop, &actor(), now, &fish)
            })
            .unwrap();
        (received.lot.code, received.tray)
    }
}

fn measured(lot: &str, solid_since: Option<Instant>) -> FreezingDraft {
    FreezingDraft { scope: "lot".into(), code: lot.into(), letter: None, solid_since, note: None }
}

/// Reg. (EU) 1276/2011: all parts at -20 °C or colder for at least 24 hours. The freezer here is kept at -21 °C.
#[test]
fn a_freezing_is_measured_recorded_and_then_the_fish_is_sold_raw() {
    let d = day();
    let (lot, fish) = d.frozen_salmon();
    d.kept("freezer", -21_000, 0, 26, d.hours(26));
    let solid = Some(d.hours(1));
    let put = |now: Instant, draft: FreezingDraft| d.desk.act(move |tx, shop| record(tx, shop, &actor(), now, &draft));
    assert_eq!(
        code_of(put(d.hours(26), measured(&lot, None))),
        Code::FreezingTooShort,
        "nobody says since when it was solid"
    );
    assert_eq!(code_of(put(d.hours(24), measured(&lot, solid))), Code::FreezingTooShort, "an hour is missing");
    let kept = put(d.hours(26), measured(&lot, solid)).unwrap();
    assert_eq!((kept.evidence.as_str(), kept.hours, kept.temperature_mc), ("measured", 24, -20_000));

    let thawed = d.take(&fish, "ice", Way::Thaw, d.hours(26)).unwrap();
    let saku = d.cut(&thawed, Some(1_000), "lean-saku", "ice", 0, 26 * MICROS_PER_HOUR);
    let saku = d.label(&saku, d.hours(26)).unwrap();
    d.sell(&saku, d.hours(27)).unwrap();
    d.clean();
}

#[test]
fn a_reading_that_comes_late_refutes_the_record() {
    let d = day();
    let (lot, fish) = d.frozen_salmon();
    d.kept("freezer", -21_000, 0, 26, d.hours(26));
    let draft = measured(&lot, Some(d.hours(1)));
    let now = d.hours(26);
    d.desk.act(move |tx, shop| record(tx, shop, &actor(), now, &draft)).unwrap();
    let thawed = d.take(&fish, "ice", Way::Thaw, d.hours(26)).unwrap();
    let saku = d.cut(&thawed, Some(1_000), "lean-saku", "ice", 0, 26 * MICROS_PER_HOUR);
    let saku = d.label(&saku, d.hours(26)).unwrap();
    d.measured("freezer", &[(12 * 60 + 5, -12_000)], 27 * MICROS_PER_HOUR);
    assert_eq!(d.stops(&saku, 27 * MICROS_PER_HOUR), [Code::OnHold, Code::ParasiteFreezingMissing]);
    d.measured("freezer", &[(13 * 60 + 5, -12_000)], 27 * MICROS_PER_HOUR);
    let open = d.desk.look(|reading, _| sakudana::ops::look::open_holds(reading)).unwrap();
    assert_eq!(open.len(), 1, "refuted once is enough");
    d.clean();
}

#[test]
fn without_a_record_it_is_not_sold_raw_and_a_short_letter_is_none() {
    let d = day();
    let (lot, fish) = d.frozen_salmon();
    // A gap of two hours: nobody knows how cold it was.
    d.kept("freezer", -21_000, 0, 12, d.hours(12));
    d.kept("freezer", -21_000, 14, 26, d.hours(26));
    let put = |now: Instant, draft: FreezingDraft| d.desk.act(move |tx, shop| record(tx, shop, &actor(), now, &draft));
    assert_eq!(code_of(put(d.hours(26), measured(&lot, Some(d.hours(1))))), Code::FreezingTooShort);
    let thawed = d.take(&fish, "ice", Way::Thaw, d.hours(26)).unwrap();
    assert_eq!(code_of(put(d.hours(26), measured(&lot, Some(d.hours(1))))), Code::NotFrozen);
    let saku = d.cut(&thawed, Some(1_000), "lean-saku", "ice", 0, 26 * MICROS_PER_HOUR);
    let saku = d.label(&saku, d.hours(26)).unwrap();
    assert_eq!(code_of(d.sell(&saku, d.hours(26))), Code::ParasiteFreezingMissing);
    let letter = |hours| FreezingDraft {
        letter: Some(LetterDraft { reference: "letter 7".into(), temperature_mc: -20_000, hours, solid_at_mc: None }),
        ..measured(&lot, None)
    };
    assert_eq!(code_of(put(d.hours(26), letter(23))), Code::InvalidValue);
    put(d.hours(26), letter(24)).unwrap();
    d.sell(&saku, d.hours(26)).unwrap();
    d.clean();
}

#[test]
fn a_silent_place_is_told_once_and_ends_with_a_reading() {
    let d = day();
    let now = d.start;
    let watched = PlaceDraft {
        name: "On ice".into(),
        method: "chill".into(),
        expects_readings: Some(true),
        gap_minutes: Some(60),
        ..PlaceDraft::default()
    };
    d.desk.act(move |tx, shop| put_place(tx, shop, &actor(), now, "ice", &watched, Expected::Version(1))).unwrap();
    d.kept("ice", 0, 0, 1, d.hours(1));
    assert_eq!((d.round(d.hours(2)), d.open_alarms()), (0, vec![]), "an hour is allowed");
    let late = d.hours(2).plus_micros(MICROS_PER_MINUTE);
    assert_eq!((d.round(late), d.open_alarms()), (1, vec![Kind::PlaceSilent]));
    assert_eq!(d.round(late.plus_micros(MICROS_PER_MINUTE)), 0, "once is enough");
    d.note(Kind::PlaceSilent, late);
    assert_eq!(d.open_alarms(), [Kind::PlaceSilent], "a name does not bring the readings back");
    d.kept("ice", 0, 1, 3, d.hours(3));
    d.round(d.hours(3));
    assert_eq!(d.open_alarms(), []);
}

#[test]
fn a_warm_spell_ends_when_it_is_cold_and_someone_knows() {
    let d = day();
    d.kept("ice", 0, 0, 2, d.hours(2));
    d.kept("ice", 6_000, 3, 5, d.hours(5));
    assert_eq!(d.open_alarms(), [Kind::PlaceTooWarm]);
    d.note(Kind::PlaceTooWarm, d.hours(5));
    assert_eq!(d.open_alarms(), [Kind::PlaceTooWarm], "it is warm still");
    d.kept("ice", 0, 6, 8, d.hours(8));
    assert_eq!(d.open_alarms(), [], "one spell, one alarm");
    d.kept("ice", 0, 6, 8, d.hours(9));
    assert_eq!(d.open_alarms(), []);
}

/// A bench of 10 °C without a logger: every hour counts as exposure, and after eight of them the fish is on hold (FDA guidance ch. 7, from
/// memory).
#[test]
fn exposure_ends_in_a_hold_of_its_own() {
    let d = day();
    let block = d.label(&d.block("bench", None), d.start).unwrap();
    let before = d.round(d.hours(8));
    assert!(!d.open_alarms().contains(&Kind::ExposureReached), "{before}");
    d.round(d.hours(9));
    assert!(d.open_alarms().contains(&Kind::ExposureReached));
    assert_eq!(code_of(d.take(&block, "freezer", Way::Freeze, d.hours(9))), Code::ExposureReached);
    let held = d.desk.look(|reading, _| sakudana::ops::look::open_holds(reading)).unwrap();
    let of_block: Vec<_> = held.iter().filter(|hold| hold.scope == "tray" && hold.target_id == block.id).collect();
    assert_eq!((of_block.len(), of_block[0].placed_by.as_str()), (1, "the shop's watch"));
    let (id, now) = (of_block[0].id, d.hours(9));
    d.desk.act(move |tx, _| hold::release(tx, &actor(), now, id, "the bench was empty")).unwrap();
    d.round(d.hours(10));
    let again = d.desk.look(|reading, _| sakudana::ops::look::open_holds(reading)).unwrap();
    assert!(
        !again.iter().any(|hold| hold.target_id == block.id && hold.scope == "tray"),
        "it is not placed again each minute"
    );
    assert_eq!(code_of(d.sell(&block, d.hours(10))), Code::ExposureReached, "released or not, it is not sold");
}
