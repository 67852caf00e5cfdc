//! Alarms and holds in awkward orders: each is over when its cause is and a person has seen to it, no earlier and no later.

use crate::counter::actor;
use crate::{Day, day};
use sakudana::domain::alarm::{Alarm, Kind};
use sakudana::domain::tray::Tray;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::{alarm, watch};
use sakudana::units::instant::{MICROS_PER_HOUR as HOUR, MICROS_PER_MINUTE as MINUTE};

impl Day {
    /// Alarms that are not over.
    fn alarms(&self, kind: Kind) -> Vec<Alarm> {
        let open = self.desk.look(|reading, _| alarm::open(reading)).unwrap();
        open.into_iter().map(|shown| shown.alarm).filter(|alarm| alarm.kind == kind).collect()
    }

    fn watch(&self, after: i64) {
        let now = self.at(after);
        self.desk.act(move |tx, shop| watch::go_round(tx, shop, now)).unwrap();
    }

    fn acknowledge(&self, alarm: &Alarm, after: i64) -> Alarm {
        let (id, now) = (alarm.id, self.at(after));
        self.desk.act(move |tx, _| alarm::acknowledge(tx, &actor(), now, id, None)).unwrap().alarm
    }

    fn hold(&self, tray: &Tray, reason: &str, after: i64) -> i64 {
        let (now, reason) = (self.at(after), reason.to_owned());
        let draft = HoldDraft { scope: "tray".into(), code: tray.code.to_string(), reason };
        self.desk.act(move |tx, shop| hold::place(tx, shop, &actor(), now, &draft)).unwrap().id
    }

    fn release(&self, id: i64, after: i64) {
        let now = self.at(after);
        self.desk.act(move |tx, _| hold::release(tx, &actor(), now, id, "looked at it")).unwrap();
    }
}

/// Ten hours at 6 °C.
fn warm_hours() -> Vec<(i64, i64)> {
    (0..=20).map(|half| (half * 30, 6_000)).collect()
}

/// A hold for another reason does not speak for the one that the exposure placed.
#[test]
fn releasing_another_hold_leaves_the_alarm_of_the_exposure() {
    let d = day();
    let block = d.cut(&d.fish("case"), None, "lean-saku", "case", 0, 0);
    let torn = d.hold(&block, "torn wrap", HOUR);
    d.measured("case", &warm_hours(), 10 * HOUR);
    d.watch(10 * HOUR);
    assert_eq!(d.alarms(Kind::ExposureReached).len(), 1);
    d.release(torn, 10 * HOUR);
    assert_eq!(d.alarms(Kind::ExposureReached).len(), 1);
}

/// A reading between shows that it was cold: what looked like one long warm time was two short ones.
#[test]
fn an_alarm_whose_cause_was_no_cause_ends() {
    let d = day();
    d.measured("case", &[(0, 1_000), (1, 5_000), (41, 5_000)], 41 * MINUTE);
    let raised = d.alarms(Kind::PlaceTooWarm);
    assert_eq!(raised.len(), 1, "{raised:?}");
    d.measured("case", &[(20, 1_000)], 42 * MINUTE);
    d.measured("case", &[(50, 1_000)], 50 * MINUTE);
    d.acknowledge(&raised[0], 51 * MINUTE);
    d.watch(52 * MINUTE);
    assert!(d.alarms(Kind::PlaceTooWarm).is_empty(), "{:?}", d.alarms(Kind::PlaceTooWarm));
}

/// Two warm times that a late reading makes one.
#[test]
fn of_two_alarms_that_are_one_none_stays() {
    let d = day();
    d.measured("case", &[(0, 1_000), (1, 5_000), (41, 5_000), (45, 1_000), (46, 5_000), (90, 5_000)], 90 * MINUTE);
    let raised = d.alarms(Kind::PlaceTooWarm);
    assert_eq!(raised.len(), 2, "{raised:?}");
    d.measured("case", &[(45, 5_000)], 91 * MINUTE);
    d.measured("case", &[(100, 1_000)], 100 * MINUTE);
    for a in &raised {
        d.acknowledge(a, 101 * MINUTE);
    }
    d.watch(102 * MINUTE);
    assert!(d.alarms(Kind::PlaceTooWarm).is_empty(), "{:?}", d.alarms(Kind::PlaceTooWarm));
}

/// Cold again and acknowledged: over. The reading that made it cold is contradicted: it is warm still.
#[test]
fn an_alarm_comes_back_when_it_was_not_cold() {
    let d = day();
    d.measured("case", &[(0, 1_000), (1, 5_000), (41, 5_000), (45, 1_000)], 45 * MINUTE);
    let raised = d.alarms(Kind::PlaceTooWarm);
    d.acknowledge(&raised[0], 46 * MINUTE);
    assert!(d.alarms(Kind::PlaceTooWarm).is_empty());
    d.measured("case", &[(45, 9_000), (75, 9_000)], 75 * MINUTE);
    assert_eq!(d.alarms(Kind::PlaceTooWarm).len(), 1);
}

/// Three days above the limit, told twice.
#[test]
fn a_spell_longer_than_the_look_back_keeps_its_beginning() {
    let d = day();
    let long: Vec<(i64, i64)> = (0..=60 * 2).map(|half| (half * 30, if half == 0 { 1_000 } else { 3_000 })).collect();
    d.measured("case", &long[..100], 50 * HOUR);
    let first = d.alarms(Kind::PlaceTooWarm)[0].since;
    d.measured("case", &long[100..], 60 * HOUR);
    assert_eq!(d.alarms(Kind::PlaceTooWarm)[0].since, first);
}

/// Late readings inside a warm time that has long ended do not open it again.
#[test]
fn late_readings_inside_a_spell_leave_its_end() {
    let d = day();
    d.measured("case", &[(0, 1_000), (1, 5_000), (60, 5_000), (120, 5_000), (180, 1_000)], 180 * MINUTE);
    let raised = d.alarms(Kind::PlaceTooWarm);
    let rest: Vec<(i64, i64)> = (4..=100).map(|hour| (hour * 60, 1_000)).collect();
    d.measured("case", &rest, 100 * HOUR);
    d.measured("case", &[(30, 6_000), (40, 6_000)], 100 * HOUR);
    let now = d.alarms(Kind::PlaceTooWarm);
    assert_eq!((now.len(), now[0].since, now[0].ended_at), (1, raised[0].since, raised[0].ended_at));
}

/// A warm time that goes on has nothing to do with readings of last week.
#[test]
fn readings_of_another_time_leave_an_alarm_alone() {
    let d = day();
    d.measured("case", &[(0, 1_000), (60, 1_000), (120, 1_000)], 120 * MINUTE);
    let today = 60 * 24 * 7;
    d.measured("case", &[(today, 1_000), (today + 10, 5_000), (today + 60, 5_000)], (today + 60) * MINUTE);
    let raised = d.alarms(Kind::PlaceTooWarm);
    d.measured("case", &[(30, 1_500), (90, 1_500)], (today + 60) * MINUTE);
    assert_eq!(d.alarms(Kind::PlaceTooWarm), raised);
}
