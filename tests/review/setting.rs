//! A shop in which hardly anyone comes by and a lower price brings many more, so that there is advice; and its acts by name. Decides nothing.

use diesel::prelude::*;
use diesel::sql_types::Text;

use crate::ground::{Ground, Which, actor, chill, shop, start};
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::Tray;
use sakudana::ops::carry;
use sakudana::ops::failure::Failure;
use sakudana::ops::hold::{HoldDraft, place};
use sakudana::ops::judge::tray_by_code;
use sakudana::ops::label;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::pay::{Followed, Range, advice};
use sakudana::ops::pick::{PickDraft, make};
use sakudana::ops::place_tray::{Way as Going, take_to};
use sakudana::ops::press::Press;
use sakudana::ops::review::decide::{CarryDraft, Draft, Taken, Way, decide, of_day};
use sakudana::ops::review::undo::undo;
use sakudana::ops::review::{Morning, Proposal, morning};
use sakudana::ops::sell::{LineDraft, reverse, sell};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::verify::verify;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};

/// So many hours after the fish was cut; the shop opens an hour after it, at nine in Helsinki.
pub fn at(hours: i64) -> Instant {
    start().plus_micros(hours * MICROS_PER_HOUR)
}

#[derive(QueryableByName)]
struct Offer {
    #[diesel(sql_type = Text)]
    offer: String,
}

pub struct Day {
    pub ground: Ground,
}

pub fn draft(cut: &str, way: Way, basis: &str) -> Draft {
    Draft {
        cut: cut.into(),
        way,
        basis: basis.into(),
        price_per_kg_cents: None,
        kitchen: Vec::new(),
        freeze: Vec::new(),
        note: None,
    }
}

pub fn accept(proposal: &Proposal) -> Draft {
    draft(&proposal.cut_code, Way::Accepted, &proposal.basis)
}

pub fn declined(proposal: &Proposal) -> Draft {
    draft(&proposal.cut_code, Way::Declined, &proposal.basis)
}

pub fn changed(proposal: &Proposal, price: Option<i64>) -> Draft {
    Draft { price_per_kg_cents: price, ..draft(&proposal.cut_code, Way::Changed, &proposal.basis) }
}

pub fn carried(code: &str, grams: Option<i64>) -> CarryDraft {
    CarryDraft { tray: code.into(), grams }
}

pub fn code(failure: &Failure) -> &'static str {
    match failure {
        Failure::Refused(refusal) => refusal.code.as_str(),
        Failure::Store(error) => panic!("the store failed: {error}"),
    }
}

impl Day {
    pub fn open(which: Which) -> Day {
        Day::of(which, |_| ())
    }

    pub fn of(which: Which, set: impl Fn(&mut Shop)) -> Day {
        let mut shop = shop();
        shop.terms.prior_units_per_hour_permille = 60;
        shop.terms.elasticity_permille = 4_000;
        shop.terms.kitchen_permille = 20;
        // Whatever gains anything is said.
        (shop.terms.least_gain_cents, shop.terms.least_gain_permille) = (1, 0);
        set(&mut shop);
        let ground = Ground::of(shop, which, 4);
        let draft = |method: &str, set_point_mc, upper_limit_mc| PlaceDraft {
            method: method.into(),
            ..chill(set_point_mc, upper_limit_mc)
        };
        ground.place("case", chill(500, 2_000));
        ground.place("bench", draft("ambient", 15_000, 25_000));
        ground.place("freezer", draft("frozen", -60_000, -50_000));
        Day { ground }
    }

    pub fn morning(&self, now: Instant) -> Morning {
        self.ground.desk.look(|reading, shop| morning(reading, shop, now)).unwrap()
    }

    pub fn find(&self, cut: &str, now: Instant) -> Option<Proposal> {
        self.morning(now).proposals.into_iter().find(|proposal| proposal.cut_code == cut)
    }

    pub fn proposal(&self, cut: &str, now: Instant) -> Proposal {
        self.find(cut, now).unwrap_or_else(|| panic!("nothing is advised for {cut}"))
    }

    pub fn decide(&self, now: Instant, drafts: Vec<Draft>) -> Result<Vec<Taken>, Failure> {
        self.ground.desk.act(move |tx, shop| decide(tx, shop, &actor(), now, &drafts))
    }

    pub fn refused(&self, now: Instant, drafts: Vec<Draft>) -> (&'static str, String) {
        match self.decide(now, drafts).unwrap_err() {
            Failure::Refused(refusal) => (refusal.code.as_str(), refusal.findings[0].field.clone()),
            Failure::Store(error) => panic!("the store failed: {error}"),
        }
    }

    pub fn decisions(&self, now: Instant) -> Vec<Taken> {
        self.ground.desk.look(|reading, shop| of_day(reading, &shop.zone.day_of(now).to_string())).unwrap()
    }

    pub fn undo(&self, id: i64, now: Instant) -> Result<Taken, Failure> {
        self.ground.desk.act(move |tx, shop| undo(tx, shop, &actor(), now, id, None))
    }

    pub fn undo_refused(&self, id: i64, now: Instant) -> &'static str {
        code(&self.undo(id, now).unwrap_err())
    }

    /// Code, kind and grams of what is to be carried.
    pub fn errands(&self, now: Instant) -> Vec<(String, String, i64)> {
        let open = self.ground.desk.look(|reading, shop| carry::open(reading, shop, now)).unwrap();
        let told = |open: carry::Open| {
            let tray = &open.judged.facts.tray;
            (tray.code.to_string(), open.errand.kind.clone(), carry::grams_of(&open.errand, tray))
        };
        open.into_iter().map(told).collect()
    }

    /// Number of what is to be carried, and whether it is of an earlier day.
    pub fn open_errands(&self, now: Instant) -> Vec<(i64, bool)> {
        let open = self.ground.desk.look(|reading, shop| carry::open(reading, shop, now)).unwrap();
        open.into_iter().map(|open| (open.errand.id, open.since == carry::Since::Earlier)).collect()
    }

    pub fn drop_errand(&self, id: i64, now: Instant) -> Result<(), Failure> {
        self.ground.desk.act(move |tx, _| carry::drop_one(tx, &actor(), now, id, None))
    }

    fn carry(
        &self,
        scanned: &str,
        place: Option<&str>,
        errand: Option<i64>,
        now: Instant,
    ) -> Result<(String, Tray), Failure> {
        let (scanned, place) = (scanned.to_owned(), place.map(str::to_owned));
        self.ground.desk.act(move |tx, shop| {
            let arrival = carry::Arrival { scanned: &scanned, place: place.as_deref(), errand };
            let (errand, tray) = carry::complete(tx, shop, &actor(), now, arrival)?;
            Ok((errand.kind, tray))
        })
    }

    pub fn complete(&self, scanned: &str, place: Option<&str>, now: Instant) -> (String, Tray) {
        self.carry(scanned, place, None, now).unwrap()
    }

    pub fn complete_refused(&self, scanned: &str, place: Option<&str>, now: Instant) -> &'static str {
        code(&self.carry(scanned, place, None, now).unwrap_err())
    }

    pub fn complete_named(&self, scanned: &str, errand: i64, now: Instant) -> Tray {
        self.carry(scanned, None, Some(errand), now).unwrap().1
    }

    pub fn complete_named_refused(
        &self,
        scanned: &str,
        place: Option<&str>,
        errand: i64,
        now: Instant,
    ) -> &'static str {
        code(&self.carry(scanned, place, Some(errand), now).unwrap_err())
    }

    /// To the kitchen without a word about any errand.
    pub fn to_kitchen(&self, tray: &str, grams: Option<i64>, now: Instant) {
        let tray = tray.to_owned();
        let out = self
            .ground
            .desk
            .act(move |tx, shop| take_out(tx, shop, &actor(), now, &tray, Whither::Kitchen, grams, None).map(drop));
        out.unwrap();
    }

    pub fn pour(&self, into: &str, from: &str, grams: i64, now: Instant) {
        let (into, draft) = (into.to_owned(), TopUp { source: from.to_owned(), grams: Some(grams) });
        self.ground.desk.act(move |tx, shop| top_up(tx, shop, &actor(), now, &into, &draft).map(drop)).unwrap();
    }

    pub fn thaw(&self, code: &str, now: Instant) {
        let code = code.to_owned();
        let thaw = self
            .ground
            .desk
            .act(move |tx, shop| take_to(tx, shop, &actor(), now, &code, "case", Going::Thaw, None).map(drop));
        thaw.unwrap();
    }

    pub fn reverse(&self, sale: i64, now: Instant) {
        self.ground.desk.act(move |tx, shop| reverse(tx, shop, &actor(), now, sale, "wrong tray").map(drop)).unwrap();
    }

    /// Trays that are laid aside for a customer.
    pub fn order(&self, cut: &str, count: i64, now: Instant) -> Vec<String> {
        let draft = PickDraft {
            purpose: "order".into(),
            cut: Some(cut.to_owned()),
            count: Some(count),
            ..PickDraft::default()
        };
        let made = self.ground.desk.act(move |tx, shop| make(tx, shop, &actor(), now, &draft)).unwrap();
        made.lines.iter().map(|line| line.tray.code.to_string()).collect()
    }

    /// What came of a decision so far.
    pub fn followed(&self, now: Instant, decision: i64) -> Followed {
        let report =
            self.ground.desk.look(|reading, shop| advice(reading, shop, now, Range::usual(shop, now))).unwrap();
        report.decisions.into_iter().find(|followed| followed.decided.id == decision).unwrap()
    }

    pub fn tray(&self, code: &str) -> Tray {
        self.ground.desk.look(|reading, _| tray_by_code(reading, "", code)).unwrap()
    }

    pub fn hold(&self, code: &str, now: Instant) {
        let draft = HoldDraft { scope: "tray".into(), code: code.into(), reason: "smells odd".into() };
        self.ground.desk.act(move |tx, shop| place(tx, shop, &actor(), now, &draft).map(drop)).unwrap();
    }

    pub fn take_to(&self, code: &str, place: &'static str, now: Instant) {
        let (code, way) = (code.to_owned(), if place == "freezer" { Going::Freeze } else { Going::Move });
        self.ground
            .desk
            .act(move |tx, shop| take_to(tx, shop, &actor(), now, &code, place, way, None).map(drop))
            .unwrap();
    }

    pub fn mark_down(&self, code: &str, price: i64, now: Instant) {
        let code = code.to_owned();
        self.ground
            .desk
            .act(move |tx, shop| mark_down(tx, shop, &actor(), now, &code, price, "Last day").map(drop))
            .unwrap();
    }

    pub fn sell(&self, code: &str, now: Instant) -> i64 {
        let line = LineDraft { tray: code.to_owned(), grams: None };
        self.ground
            .desk
            .act(move |tx, shop| sell(tx, shop, &actor(), now, std::slice::from_ref(&line)))
            .unwrap()
            .sale
            .id
    }

    pub fn label(&self, codes: &[String], now: Instant) {
        for code in codes {
            let code = code.clone();
            self.ground
                .desk
                .act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), now, &code, None).map(drop))
                .unwrap();
        }
    }

    /// How many changes there are.
    pub fn changes(&self) -> usize {
        self.offers().len()
    }

    pub fn changes_since(&self, count: usize) -> Vec<String> {
        self.offers().split_off(count)
    }

    fn offers(&self) -> Vec<String> {
        let query = diesel::sql_query("SELECT COALESCE(offer, '') AS offer FROM changes ORDER BY id");
        let rows: Vec<Offer> = query.load(&mut self.ground.witness()).unwrap();
        rows.into_iter().map(|row| row.offer).collect()
    }

    pub fn holds_together(&self) {
        let findings = self.ground.desk.look(|reading, _| verify(reading)).unwrap();
        let wrong: Vec<String> = findings.into_iter().flat_map(|finding| finding.wrong).collect();
        assert!(wrong.is_empty(), "verify: {wrong:?}");
    }
}
