//! Frozen and thawed in awkward orders: neither an exposure nor a printed date is better for it, and the label says it.

use crate::{Day, code_of, day};
use sakudana::domain::life::clocks::Clock;
use sakudana::domain::refusal::Code;
use sakudana::domain::tray::{LabelReason, Tray};
use sakudana::ops::place_tray::Way;
use sakudana::units::instant::{MICROS_PER_HOUR as HOUR, MICROS_PER_MINUTE as MINUTE};

impl Day {
    fn exposure_permille(&self, tray: &Tray, after: i64) -> i64 {
        self.judged(tray, after).facts.life.clocks.of(Clock::Exposure).unwrap().used_permille
    }
}

/// So many half hours at 6 °C, above the 40 °F of the guidance (FDA guidance ch. 7, from memory).
fn warm(half_hours: i64) -> Vec<(i64, i64)> {
    (0..=half_hours).map(|half| (half * 30, 6_000)).collect()
}

/// Seven and a half of the eight hours that never frozen fish may have: a freezing in the shop does not make them a part of twenty-four.
#[test]
fn freezing_does_not_undo_an_exposure() {
    let d = day();
    let block = d.cut(&d.fish("case"), None, "lean-saku", "case", 0, 0);
    d.measured("case", &warm(15), 7 * HOUR + 30 * MINUTE);
    assert_eq!(d.exposure_permille(&block, 7 * HOUR + 30 * MINUTE), 938);
    d.take(&block, "freezer", Way::Freeze, d.at(7 * HOUR + 30 * MINUTE)).unwrap();
    d.take(&block, "ice", Way::Thaw, d.at(8 * HOUR)).unwrap();
    assert_eq!(d.exposure_permille(&block, 8 * HOUR), 938);
    d.clean();
}

/// Known only when the tray was frozen already: it is on hold, and its exposure is over after thawing too.
#[test]
fn freezing_does_not_revive_what_exposure_ended() {
    let d = day();
    let block = d.cut(&d.fish("case"), None, "lean-saku", "case", 0, 0);
    d.take(&block, "freezer", Way::Freeze, d.at(9 * HOUR + 30 * MINUTE)).unwrap();
    d.measured("case", &warm(19), 10 * HOUR);
    assert_eq!(d.stops(&block, 10 * HOUR), [Code::OnHold, Code::ExposureReached, Code::Frozen]);
    d.take(&block, "ice", Way::Thaw, d.at(11 * HOUR)).unwrap();
    assert!(d.stops(&block, 11 * HOUR).contains(&Code::ExposureReached));
    d.clean();
}

/// Ten days later its old label still says the date of before, and nothing of the freezing. Other reasons for a label do not hide that.
#[test]
fn a_thawed_tray_is_not_sold_under_its_old_label() {
    let d = day();
    let block = d.label(&d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0), d.start).unwrap();
    d.take(&block, "freezer", Way::Freeze, d.at(HOUR)).unwrap();
    d.take(&block, "ice", Way::Thaw, d.at(240 * HOUR)).unwrap();
    assert_eq!(code_of(d.sell(&block, d.at(240 * HOUR))), Code::LabelOutdated);
    d.take(&block, "bench", Way::Move, d.at(240 * HOUR)).unwrap();
    assert_eq!(d.judged(&block, 240 * HOUR).facts.tray.label_wanted, Some(LabelReason::Thawed));
    d.label(&block, d.at(240 * HOUR)).unwrap();
    d.sell(&block, d.at(240 * HOUR)).unwrap();
    d.clean();
}

/// A tub that was never frozen, topped up with what was: its label must say so from now on.
#[test]
fn thawed_fish_in_a_tub_wants_a_label_that_says_so() {
    let d = day();
    let tub = d.label(&d.cut(&d.fish("ice"), Some(1_000), "scrape", "ice", 0, 0), d.start).unwrap();
    let source = d.cut(&d.fish("ice"), Some(1_000), "scrape", "ice", 0, 0);
    d.take(&source, "freezer", Way::Freeze, d.at(HOUR)).unwrap();
    d.take(&source, "ice", Way::Thaw, d.at(2 * HOUR)).unwrap();
    d.pour(&tub, &source, Some(200), 2 * HOUR);
    assert_eq!(d.stops(&tub, 2 * HOUR), [Code::LabelOutdated]);
    d.again(&tub, 2 * HOUR);
    assert_eq!(d.stops(&tub, 2 * HOUR), []);
}

/// The clock is six hours behind while the tray is frozen. It had what it had at the last move, and no more.
#[test]
fn a_clock_set_back_lengthens_no_paused_date() {
    let d = day();
    let block = d.label(&d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0), d.start).unwrap();
    d.take(&block, "case", Way::Move, d.at(10 * HOUR)).unwrap();
    let printed = d.again(&block, 10 * HOUR).use_by.unwrap();
    d.take(&block, "freezer", Way::Freeze, d.at(4 * HOUR)).unwrap();
    let thawed = d.take(&block, "ice", Way::Thaw, d.at(11 * HOUR)).unwrap();
    assert_eq!(thawed.use_by, Some(printed.plus_micros(HOUR)));
    d.clean();
}
