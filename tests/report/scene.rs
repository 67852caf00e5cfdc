//! A shop in which trays are decided about, and go. Decides nothing by itself.

use crate::ground::{Ground, Which, actor, arrival, chill, start};
use sakudana::domain::place::PlaceDraft;
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::pay::waste::{WasteReport, waste};
use sakudana::ops::pay::{AdviceReport, Range, advice};
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, reverse, sell};
use sakudana::ops::take_back::{ReturnDraft, take_back};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::verify;
use sakudana::store::acts::{self, NewAct};
use sakudana::store::decisions::{self, DecidedTray, Decision, Expected};
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::units::zone::parse_day;

pub struct Scene {
    pub ground: Ground,
}

/// So many minutes after the start, which is a Wednesday, 25 November 2026, eight in the morning in Helsinki.
pub fn at(minutes: i64) -> Instant {
    start().plus_micros(minutes * MICROS_PER_MINUTE)
}

pub fn range(from: &str, to: &str) -> Range {
    Range { from: parse_day(from).unwrap(), to: parse_day(to).unwrap() }
}

/// What is decided about one tray.
pub struct About<'a> {
    pub tray: &'a str,
    pub net_g: i64,
    pub course: &'a str,
    pub sold_permille: i64,
}

impl Scene {
    pub fn new(which: Which) -> Scene {
        let ground = Ground::open(which, 2);
        ground.place("case", chill(0, 2_000));
        let freezer = PlaceDraft { method: "frozen".into(), ..chill(-30_000, -25_000) };
        ground.place("freezer", freezer);
        Scene { ground }
    }

    /// Trays cut of one fish, with what was lost of it named.
    pub fn cut(&self, outputs: &[(&str, i64)], lost_g: i64) -> Vec<String> {
        let total: i64 = outputs.iter().map(|(_, net_g)| net_g).sum::<i64>() + lost_g;
        let outputs: Vec<OutputDraft> = outputs
            .iter()
            .map(|(cut, net_g)| OutputDraft { cut: (*cut).into(), place: "case".into(), net_g: *net_g })
            .collect();
        let made = self.ground.desk.act(move |tx, shop| {
            let fish = receive(tx, shop, &actor(), start(), &arrival("YFT", "case", total))?.tray.code.to_string();
            let cutting = Cutting {
                bench_minutes: None,
                inputs: vec![InputDraft { tray: fish, grams: None }],
                outputs: outputs.clone(),
                losses: (lost_g > 0).then(|| LossDraft { name: "bones".into(), grams: lost_g }).into_iter().collect(),
                place: "case".into(),
                reason: None,
            };
            break_down(tx, shop, &actor(), start(), &cutting)
        });
        made.unwrap().trays.iter().map(|tray| tray.code.to_string()).collect()
    }

    /// Records a decision as a review does: its act, what was expected, the trays. All of them end at `ends`.
    pub fn decide(
        &self,
        when: Instant,
        cut: &str,
        way: &str,
        ends: Instant,
        expected: Expected,
        about: &[About<'_>],
    ) -> i64 {
        let (cut, way) = (cut.to_owned(), way.to_owned());
        let about: Vec<(String, i64, String, i64)> =
            about.iter().map(|a| (a.tray.to_owned(), a.net_g, a.course.to_owned(), a.sold_permille)).collect();
        let recorded = self.ground.desk.act(move |tx, shop| {
            let new =
                NewAct { kind: "decide", at: when, recorded_at: when, actor: "mika", reason: None, reverses: None };
            let act_id = acts::append(tx, &new)?;
            let alone = Expected {
                sold_g: 400,
                revenue_cents: 3_000,
                wasted_g: 200,
                total_cents: 3_000,
                ..Expected::default()
            };
            let decision = Decision {
                id: 0,
                act_id,
                at: when,
                day: shop.zone.day_of(when).to_string(),
                cut: cut.clone(),
                way: way.clone(),
                decided_by: "mika".into(),
                note: None,
                basis: "b".into(),
                price_per_kg_cents: None,
                expected,
                alone,
                explanation: "{}".into(),
                undone: None,
            };
            let mut of = Vec::new();
            for (code, net_g, course, sold_permille) in &about {
                let tray = sakudana::ops::judge::tray_by_code(tx, "tray", code)?;
                of.push(DecidedTray {
                    tray_id: tray.id,
                    tray_code: code.clone(),
                    net_g: *net_g,
                    ends_at: ends.micros(),
                    old_price: 7_950,
                    new_price: 7_950,
                    course: course.clone(),
                    sold_permille: *sold_permille,
                    advised_course: course.clone(),
                    advised_price: None,
                    kitchen_g: 0,
                    advised_kitchen_g: 0,
                    promised_g: 0,
                });
            }
            Ok(decisions::insert(tx, &decision, &of)?)
        });
        recorded.unwrap()
    }

    pub fn undo(&self, id: i64, when: Instant) {
        let undone = self.ground.desk.act(move |tx, _| {
            let new = NewAct { kind: "undo", at: when, recorded_at: when, actor: "mika", reason: None, reverses: None };
            let act_id = acts::append(tx, &new)?;
            Ok(decisions::mark_undone(tx, id, &decisions::Undone { at: when, by: "mika".into(), act_id })?)
        });
        undone.unwrap();
    }

    /// Sells one tray, or some grams of it, and gives the number of the sale.
    pub fn sell(&self, tray: &str, grams: Option<i64>, when: Instant) -> i64 {
        self.sold(vec![LineDraft { tray: tray.to_owned(), grams }], when)
    }

    /// Sells whole trays at once.
    pub fn sell_lines(&self, trays: &[&str], when: Instant) -> i64 {
        self.sold(trays.iter().map(|tray| LineDraft { tray: (*tray).to_owned(), grams: None }).collect(), when)
    }

    fn sold(&self, lines: Vec<LineDraft>, when: Instant) -> i64 {
        self.ground.desk.act(move |tx, shop| sell(tx, shop, &actor(), when, &lines)).unwrap().sale.id
    }

    pub fn reverse(&self, sale: i64, when: Instant) {
        self.ground.desk.act(move |tx, shop| reverse(tx, shop, &actor(), when, sale, "mis-scan")).unwrap();
    }

    pub fn bring_back(&self, sale: i64, when: Instant, lines: &[(&str, i64, i64, &str)]) {
        let lines: Vec<ReturnDraft> = lines
            .iter()
            .map(|(tray, grams, refund_cents, reason)| ReturnDraft {
                tray: (*tray).into(),
                grams: *grams,
                refund_cents: *refund_cents,
                reason: (*reason).into(),
            })
            .collect();
        self.ground.desk.act(move |tx, shop| take_back(tx, shop, &actor(), when, sale, &lines)).unwrap();
    }

    pub fn out(&self, tray: &str, whither: Whither, grams: Option<i64>, reason: Option<&str>, when: Instant) {
        let (tray, reason) = (tray.to_owned(), reason.map(str::to_owned));
        self.ground
            .desk
            .act(move |tx, shop| take_out(tx, shop, &actor(), when, &tray, whither, grams, reason.as_deref()))
            .unwrap();
    }

    pub fn count(&self, tray: &str, counted_g: i64, when: Instant) {
        let line = CountLine { tray: tray.to_owned(), counted_g };
        self.ground
            .desk
            .act(move |tx, shop| count(tx, shop, &actor(), when, std::slice::from_ref(&line), Some("missing")))
            .unwrap();
    }

    pub fn freeze(&self, tray: &str, when: Instant) {
        let tray = tray.to_owned();
        self.ground
            .desk
            .act(move |tx, shop| take_to(tx, shop, &actor(), when, &tray, "freezer", Way::Freeze, None))
            .unwrap();
    }

    pub fn pour(&self, tub: &str, source: &str, grams: i64, when: Instant) {
        let (tub, source) = (tub.to_owned(), source.to_owned());
        self.ground
            .desk
            .act(move |tx, shop| {
                let draft = TopUp { source: source.clone(), grams: Some(grams) };
                top_up(tx, shop, &actor(), when, &tub, &draft)
            })
            .unwrap();
    }

    pub fn advice(&self, now: Instant, days: Range) -> AdviceReport {
        self.ground.desk.look(|reading, shop| advice(reading, shop, now, days)).unwrap()
    }

    pub fn waste(&self, days: Range) -> WasteReport {
        self.ground.desk.look(|reading, shop| waste(reading, shop, days)).unwrap()
    }

    pub fn clean(&self) {
        let findings = self.ground.desk.look(|reading, _| verify::verify(reading)).unwrap();
        assert!(findings.iter().all(|f| f.wrong.is_empty()), "{findings:?}");
    }
}
