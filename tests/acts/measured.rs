//! Acts and readings that meet in an awkward order: what each tray lived through stays what its places and ancestors give, and what was
//! printed never promises more.

use crate::counter::{actor, arrival, shop};
use crate::{Day, code_of, day, day_of};
use sakudana::domain::life::clocks::Clock;
use sakudana::domain::life::curve::Reading;
use sakudana::domain::life::wear::Wear;
use sakudana::domain::logger::{Line, Outcome};
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::profile::Rules;
use sakudana::domain::refusal::Code;
use sakudana::domain::shop::{Jurisdiction, Shop};
use sakudana::domain::tray::{LabelReason, Tray};
use sakudana::ops::board::{Judged, one};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::edit_catalogue::{Expected, put_place};
use sakudana::ops::label;
use sakudana::ops::place_tray::Way;
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, reverse, sell};
use sakudana::ops::take_readings::{self, Taken};
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE, MICROS_PER_SECOND};
use sakudana::units::temperature::MilliCelsius;

const HOUR: i64 = MICROS_PER_HOUR;
const MINUTE: i64 = MICROS_PER_MINUTE;

impl Day {
    pub fn at(&self, micros: i64) -> Instant {
        self.start.plus_micros(micros)
    }

    /// A fish of 4 kg, taken in when the day began.
    pub fn fish(&self, place: &str) -> Tray {
        let (now, mut fish) = (self.start, arrival(Some(self.start)));
        fish.place = place.into();
        self.desk.act(move |tx, shop| receive(tx, shop, &actor(), now, &fish)).unwrap().tray
    }

    /// Cuts 1 kg of a fish, or all of it, into one tray; the rest of that is lost.
    pub fn cut(&self, fish: &Tray, grams: Option<i64>, cut: &str, place: &str, bench_minutes: i64, after: i64) -> Tray {
        let now = self.at(after);
        let cutting = Cutting {
            inputs: vec![InputDraft { tray: fish.code.to_string(), grams }],
            outputs: vec![OutputDraft { cut: cut.into(), place: place.into(), net_g: 600 }],
            losses: vec![LossDraft { name: "the rest".into(), grams: grams.unwrap_or(4_000) - 600 }],
            place: "bench".into(),
            bench_minutes: Some(bench_minutes),
            reason: None,
        };
        self.desk.act(move |tx, shop| break_down(tx, shop, &actor(), now, &cutting)).unwrap().trays.remove(0)
    }

    /// Readings of a place, in minutes of the day and milli-degrees.
    pub fn measured(&self, place: &'static str, rows: &[(i64, i64)], after: i64) -> Taken {
        let line = |(number, (minute, mc)): (u64, &(i64, i64))| Line {
            number,
            found: Ok(Reading { at: self.at(minute * MINUTE), temperature: MilliCelsius::new(*mc).unwrap() }),
        };
        let (lines, now): (Vec<Line>, Instant) = ((1..).zip(rows).map(line).collect(), self.at(after));
        self.desk
            .act(move |tx, shop| {
                let delivery = take_readings::begin(tx, place)?;
                take_readings::take(tx, shop, &actor(), now, &delivery, &lines)
            })
            .unwrap()
    }

    pub fn judged(&self, tray: &Tray, after: i64) -> Judged {
        let code = tray.code.to_string();
        self.desk.look(|reading, shop| one(reading, shop, self.at(after), &code)).unwrap()
    }

    pub fn wear(&self, tray: &Tray, after: i64) -> Wear {
        self.judged(tray, after).facts.life.wear
    }

    pub fn stops(&self, tray: &Tray, after: i64) -> Vec<Code> {
        self.judged(tray, after).verdict.stops.iter().map(|stop| stop.code).collect()
    }

    pub fn again(&self, tray: &Tray, after: i64) -> Tray {
        let (code, now) = (tray.code.to_string(), self.at(after));
        self.desk
            .act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), now, &code, Some("seen")))
            .unwrap()
    }

    pub fn pour(&self, tub: &Tray, source: &Tray, grams: Option<i64>, after: i64) -> Tray {
        let (code, now) = (tub.code.to_string(), self.at(after));
        let draft = TopUp { source: source.code.to_string(), grams };
        self.desk.act(move |tx, shop| top_up(tx, shop, &actor(), now, &code, &draft)).unwrap()
    }
}

/// Cold on ice, but for four hours at 12 °C that nobody noticed until the logger was read.
pub const FOUR_WARM_HOURS: [(i64, i64); 13] = [
    (0, 0),
    (50, 0),
    (60, 12_000),
    (120, 12_000),
    (180, 12_000),
    (240, 12_000),
    (300, 12_000),
    (310, 0),
    (360, 0),
    (420, 0),
    (480, 0),
    (540, 0),
    (600, 0),
];

/// Fish that came ten minutes ago cannot have lain on the bench for eight hours: all of the ten minutes count there (10 °C, unmeasured:
/// four times the pace of ice by the square-root model, from memory), and no more.
#[test]
fn a_bench_longer_than_the_stay_counts_the_stay() {
    let d = day();
    let fish = d.fish("ice");
    let tub = d.cut(&fish, Some(1_000), "scrape", "ice", 480, 10 * MINUTE);
    let wear = tub.lived.wear;
    // Scrape has half the budget: the same share of it is used, and no more is left than the fish had of what scrape may have.
    assert_eq!((wear.exposed_micros, wear.assumed_micros), (10 * MINUTE, 10 * MINUTE));
    let rest = d.wear(&fish, 10 * MINUTE);
    assert_eq!((rest.raw_micros, rest.exposed_micros), (40 * MINUTE, 10 * MINUTE));
    // Again at once: the stay has just begun, so that there is no bench to count.
    let next = d.cut(&fish, Some(1_000), "scrape", "ice", 480, 10 * MINUTE);
    assert_eq!(next.lived.wear, wear);
    d.clean();
}

/// The warm hours were the parent's. They shorten the child's life, stop its label, and the new label is shorter.
#[test]
fn late_readings_of_the_parents_place_stop_the_childs_label() {
    for still_there in [true, false] {
        let d = day();
        let fish = d.fish("ice");
        let part = still_there.then_some(1_000);
        // Cut where nothing is assumed of the bench, so that the parent's stay is not even interrupted.
        let block = d.label(&d.cut(&fish, part, "lean-saku", "case", 0, 7 * HOUR), d.at(7 * HOUR)).unwrap();
        let before = d.judged(&block, 11 * HOUR).facts.life;
        assert_eq!(d.stops(&block, 11 * HOUR), []);
        let taken = d.measured("ice", &FOUR_WARM_HOURS, 11 * HOUR);
        assert!(taken.follows.lives_changed >= 1, "{taken:?}");
        let after = d.judged(&block, 11 * HOUR).facts;
        // (1 + 0.1 * 12)^2 = 4.84 (square-root model, from memory) for four hours instead of one.
        let more = after.life.wear.raw_micros - before.wear.raw_micros;
        assert!((4 * HOUR * 384 / 100..4 * HOUR * 384 / 100 + HOUR).contains(&more), "{more}");
        assert!(after.life.wear.exposed_micros >= 4 * HOUR);
        assert_eq!(after.tray.label_wanted, Some(LabelReason::ShorterLife));
        assert_eq!(d.stops(&block, 11 * HOUR), [Code::LabelOutdated]);
        assert_eq!(code_of(d.sell(&block, d.at(11 * HOUR))), Code::LabelOutdated);
        let again = d.again(&block, 11 * HOUR);
        assert!(again.use_by < block.use_by, "{:?} after {:?}", again.use_by, block.use_by);
        d.sell(&block, d.at(11 * HOUR)).unwrap();
        d.clean();
    }
}

/// What is gone is passed by when readings come late; a mis-scan that brings it back has them counted all the same.
#[test]
fn a_reversed_sale_brings_back_what_the_tray_lived_through() {
    let d = day();
    let block = d.label(&d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0), d.start).unwrap();
    d.take(&block, "case", Way::Move, d.at(7 * HOUR)).unwrap();
    let line = LineDraft { tray: block.code.to_string(), grams: None };
    let (now, later) = (d.at(10 * HOUR), d.at(10 * HOUR + 9 * MINUTE));
    let sold = d.desk.act(move |tx, shop| sell(tx, shop, &actor(), now, std::slice::from_ref(&line))).unwrap();
    let taken = d.measured("ice", &FOUR_WARM_HOURS, 10 * HOUR + 5 * MINUTE);
    assert_eq!(taken.follows.lives_changed, 0, "it is gone");
    let id = sold.sale.id;
    d.desk.act(move |tx, shop| reverse(tx, shop, &actor(), later, id, "scanned twice")).unwrap();
    let wear = d.wear(&block, 10 * HOUR + 9 * MINUTE);
    assert!(wear.exposed_micros >= 4 * HOUR, "{wear:?}");
    assert_eq!(d.stops(&block, 10 * HOUR + 9 * MINUTE), [Code::LabelOutdated]);
    d.clean();
}

/// What was lived through keeps the limit it was lived through under: ten hours at 0 °C, then ten at 2 °C (1.44 by the square-root model, from
/// memory). A label allows for 2 °C from the first, so it still holds.
#[test]
fn another_limit_counts_from_its_hour_on() {
    let d = day();
    let block = d.label(&d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0), d.start).unwrap();
    let now = d.at(10 * HOUR);
    let warmer = PlaceDraft {
        name: "On ice".into(),
        method: "chill".into(),
        set_point_mc: 0,
        upper_limit_mc: 2_000,
        ..PlaceDraft::default()
    };
    d.desk.act(move |tx, shop| put_place(tx, shop, &actor(), now, "ice", &warmer, Expected::Version(1))).unwrap();
    assert_eq!(d.wear(&block, 10 * HOUR).raw_micros, 10 * HOUR);
    assert_eq!(d.wear(&block, 20 * HOUR).raw_micros, 10 * HOUR + 10 * HOUR * 144 / 100);
    assert_eq!(d.stops(&block, 20 * HOUR), []);
    d.clean();
}

fn shop_of_the_united_states() -> Shop {
    Shop { jurisdiction: Jurisdiction::Us, rules: Rules::of(Jurisdiction::Us), ..shop() }
}

/// Days 1 and 2 passed chilled, the day of freezing counts nothing, and the day of thawing takes number 3: seven days end four days later
/// (Food Code Adoption in North Carolina: Date Marking). What was thawed is not frozen again.
#[test]
fn thawing_resumes_the_date_mark_and_refreezing_is_refused() {
    let d = day_of(shop_of_the_united_states());
    let block = d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0);
    let date = |after| d.judged(&block, after).facts.life.end_of(Clock::DateMark);
    assert_eq!(date(HOUR), Instant::parse("2026-12-01T23:59:59.999999Z").ok());
    d.take(&block, "freezer", Way::Freeze, d.at(48 * HOUR)).unwrap();
    assert_eq!(date(15 * 24 * HOUR), None, "it stands still");
    d.take(&block, "ice", Way::Thaw, d.at(15 * 24 * HOUR)).unwrap();
    assert_eq!(date(15 * 24 * HOUR), Instant::parse("2026-12-14T23:59:59.999999Z").ok());
    let again = d.take(&block, "freezer", Way::Freeze, d.at(15 * 24 * HOUR + HOUR));
    assert_eq!(code_of(again), Code::Refreeze);
    d.clean();
}

/// On the bench the block cannot keep what its label promised. Back on ice the date does not grow again.
#[test]
fn a_move_to_a_warmer_place_asks_for_a_shorter_label() {
    let d = day();
    let block = d.label(&d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0), d.start).unwrap();
    let moved = d.take(&block, "bench", Way::Move, d.at(HOUR)).unwrap();
    assert_eq!(moved.label_wanted, Some(LabelReason::ShorterLife));
    assert_eq!(code_of(d.sell(&block, d.at(HOUR))), Code::LabelOutdated);
    let shorter = d.again(&block, HOUR);
    // Eight hours above the safety temperature is what never frozen fish may have in all (FDA guidance ch. 7, from memory).
    assert!(shorter.use_by.unwrap() <= d.at(9 * HOUR), "{:?}", shorter.use_by);
    d.take(&block, "ice", Way::Move, d.at(2 * HOUR)).unwrap();
    let back = d.again(&block, 2 * HOUR);
    assert_eq!(back.use_by, shorter.use_by, "what was printed does not grow");
    assert_eq!(d.wear(&block, 2 * HOUR).exposed_micros, HOUR, "nor is the hour forgotten");
    d.clean();
}

/// Fish of a warm day and of a cold one, poured there and back: both tubs carry the warm day, also when it is only known in the evening.
#[test]
fn two_tubs_poured_into_each_other_share_the_worse_past() {
    let d = day();
    let warm = d.cut(&d.fish("ice"), Some(1_000), "scrape", "case", 0, 7 * HOUR);
    let cold = d.cut(&d.fish("case"), Some(1_000), "scrape", "case", 0, 7 * HOUR);
    d.pour(&cold, &warm, Some(200), 8 * HOUR);
    d.pour(&warm, &cold, Some(300), 9 * HOUR);
    assert!(d.wear(&cold, 10 * HOUR).exposed_micros == 0 && d.wear(&warm, 10 * HOUR).exposed_micros == 0);
    d.measured("ice", &FOUR_WARM_HOURS, 10 * HOUR);
    let [one, other] = [&warm, &cold].map(|tub| d.wear(tub, 10 * HOUR));
    assert!(one.exposed_micros >= 4 * HOUR, "{one:?}");
    assert_eq!(one.exposed_micros, other.exposed_micros);
    assert_eq!(one.raw_micros, other.raw_micros);
    d.clean();
}

/// Of two requests that came together the later may be done first. The source that is emptied then stood where it was up to the pouring.
#[test]
fn a_pouring_done_late_is_reckoned_to_where_the_tub_had_come() {
    let d = day();
    let tub = d.cut(&d.fish("ice"), Some(1_000), "scrape", "ice", 0, HOUR);
    let source = d.cut(&d.fish("case"), Some(1_000), "scrape", "bench", 0, HOUR);
    d.take(&tub, "case", Way::Move, d.at(2 * HOUR + 30 * MICROS_PER_SECOND)).unwrap();
    d.pour(&tub, &source, None, 2 * HOUR);
    d.clean();
    d.measured("bench", &[(60, 9_000), (110, 9_500), (150, 9_000)], 3 * HOUR);
    d.clean();
}

/// A logger's clock may run two minutes fast. What it says of the time after an act is not the act's yet, and is counted when it comes; what
/// it says of later is not taken.
#[test]
fn readings_ahead_of_an_act_wait_for_their_time() {
    let d = day();
    let block = d.cut(&d.fish("ice"), None, "lean-saku", "ice", 0, 0);
    let taken = d.measured("ice", &[(0, 0), (60, 0), (61, 8_000), (62, 8_000), (63, 8_000)], HOUR);
    assert_eq!((taken.tally.count(Outcome::Accepted), taken.tally.count(Outcome::InFuture)), (4, 1));
    d.take(&block, "case", Way::Move, d.at(60 * MINUTE + 30 * MICROS_PER_SECOND)).unwrap();
    let anchored = d.judged(&block, 2 * HOUR).facts.tray.lived.wear;
    // 4.444 °C of the way to 8 °C in a minute is passed after 33 s: the block had gone by then.
    assert_eq!((anchored.exposed_micros, anchored.assumed_micros), (0, 0));
    d.clean();
    let again = d.measured("ice", &[(61, 8_000), (62, 8_000)], HOUR + MINUTE);
    assert_eq!((again.tally.count(Outcome::Repeated), again.changed), (2, None));
    d.clean();
}

/// A whole batch that contradicts what is there takes about as long as it took to store that, not as long as both multiplied.
#[test]
fn contradicting_a_batch_costs_no_more_than_storing_it() {
    let d = day();
    let rows = |mc: i64| (0..5_000).map(|minute| (minute, mc)).collect::<Vec<(i64, i64)>>();
    let timed = |rows: &[(i64, i64)]| {
        let begun = std::time::Instant::now();
        (d.measured("ice", rows, 90 * HOUR), begun.elapsed())
    };
    let (_, stored) = timed(&rows(500));
    let (taken, raised) = timed(&rows(600));
    assert_eq!(taken.tally.count(Outcome::Contradicting), 5_000);
    assert!(raised < stored * 20, "{raised:?} after {stored:?}");
}
