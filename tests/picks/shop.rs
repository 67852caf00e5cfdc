//! The shop of these tests: a cold room, two cases, a bench and a freezer; fish that arrives hour by hour, so that each batch ends later than
//! the one before.

use crate::ground::{Ground, Which, actor, arrival, chill, start};
use sakudana::domain::picking::list::LineState;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::refusal::Code;
use sakudana::domain::shop::Shop;
use sakudana::ops::break_down::{Cutting, InputDraft, OutputDraft, break_down};
use sakudana::ops::failure::Failure;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::pick::show::{Shown, shown};
use sakudana::ops::pick::work::{Consent, Scanned, end_as_it_is, fill_up, give_up, scan};
use sakudana::ops::pick::{PickDraft, make};
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::ops::verify;
use sakudana::store::Tx;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};

pub struct House {
    pub ground: Ground,
}

pub fn at(hours: i64) -> Instant {
    start().plus_micros(hours * MICROS_PER_HOUR)
}

pub fn open(which: Which) -> House {
    let ground = Ground::open(which, 4);
    let place = |name: &str, method: &str, set_point_mc, upper_limit_mc| PlaceDraft {
        name: name.into(),
        method: method.into(),
        set_point_mc,
        upper_limit_mc,
        ..PlaceDraft::default()
    };
    for code in ["room", "case", "window"] {
        ground.place(code, chill(0, 2_000));
    }
    ground.place("freezer", place("Freezer", "frozen", -60_000, -50_000));
    ground.place("bench", place("Bench", "ambient", 10_000, 10_000));
    House { ground }
}

impl House {
    /// A fish arrives and is cut at once; the codes of its trays.
    pub fn batch(&self, hours: i64, trays: &[(&'static str, &'static str, i64)]) -> Vec<String> {
        let (trays, now) = (trays.to_vec(), at(hours));
        self.ground.desk.act(move |tx, shop| fish(tx, shop, now, &trays)).unwrap()
    }

    /// One block of saku in the room, an hour younger each.
    pub fn blocks(&self, weights: &[i64]) -> Vec<String> {
        let weights = weights.to_vec();
        let made = self.ground.desk.act(move |tx, shop| {
            let mut codes = Vec::new();
            for (hours, grams) in weights.iter().enumerate() {
                let one = fish(tx, shop, at(i64::try_from(hours).unwrap()), &[("saku", "room", *grams)])?;
                codes.extend(one);
            }
            Ok(codes)
        });
        made.unwrap()
    }

    pub fn make(&self, hours: i64, draft: &PickDraft) -> Result<Shown, Failure> {
        let draft = draft.clone();
        self.ground.desk.act(move |tx, shop| make(tx, shop, &actor(), at(hours), &draft))
    }

    pub fn list(&self, hours: i64, id: i64) -> Shown {
        self.ground.desk.look(|reading, shop| shown(reading, shop, at(hours), id)).unwrap()
    }

    pub fn scan(&self, hours: i64, id: i64, text: &str) -> Result<Scanned, Failure> {
        self.scan_with(hours, id, text, Consent::NotAsked)
    }

    pub fn scan_with(&self, hours: i64, id: i64, text: &str, consent: Consent) -> Result<Scanned, Failure> {
        let text = text.to_owned();
        self.ground.desk.act(move |tx, shop| scan(tx, shop, &actor(), at(hours), id, &text, consent))
    }

    pub fn fill_up(&self, hours: i64, id: i64) -> Result<Shown, Failure> {
        self.ground.desk.act(move |tx, shop| fill_up(tx, shop, &actor(), at(hours), id, None))
    }

    pub fn give_up(&self, hours: i64, id: i64) -> Result<Shown, Failure> {
        self.ground.desk.act(move |tx, shop| give_up(tx, shop, &actor(), at(hours), id, Some("called off")))
    }

    pub fn end(&self, hours: i64, id: i64) -> Result<Shown, Failure> {
        self.ground.desk.act(move |tx, shop| end_as_it_is(tx, shop, &actor(), at(hours), id, Some("that is all")))
    }

    pub fn sell(&self, hours: i64, code: &str, grams: Option<i64>) {
        let line = LineDraft { tray: code.to_owned(), grams };
        self.ground.desk.act(move |tx, shop| sell(tx, shop, &actor(), at(hours), std::slice::from_ref(&line))).unwrap();
    }

    pub fn hold(&self, hours: i64, code: &str) {
        let draft = HoldDraft { scope: "tray".into(), code: code.to_owned(), reason: "smells odd".into() };
        self.ground.desk.act(move |tx, shop| hold::place(tx, shop, &actor(), at(hours), &draft)).unwrap();
    }

    /// Everything that `verify` asks of a live database.
    pub fn is_sound(&self) {
        let findings = self.ground.desk.look(|reading, _| verify::verify(reading)).unwrap();
        let wrong: Vec<_> = findings.iter().filter(|finding| !finding.wrong.is_empty()).collect();
        assert!(wrong.is_empty(), "{wrong:?}");
        assert!(findings.iter().any(|finding| finding.name.starts_with("picks:")));
    }
}

fn fish(
    tx: &mut Tx<'_>,
    shop: &Shop,
    now: Instant,
    trays: &[(&'static str, &'static str, i64)],
) -> Result<Vec<String>, Failure> {
    let grams = trays.iter().map(|(.., grams)| grams).sum();
    let fish = receive(tx, shop, &actor(), now, &arrival("YFT", "room", grams))?.tray.code.to_string();
    let output = |(cut, place, net_g): &(&str, &str, i64)| OutputDraft {
        cut: (*cut).into(),
        place: (*place).into(),
        net_g: *net_g,
    };
    let cutting = Cutting {
        bench_minutes: Some(0),
        inputs: vec![InputDraft { tray: fish, grams: None }],
        outputs: trays.iter().map(output).collect(),
        losses: Vec::new(),
        place: "bench".into(),
        reason: None,
    };
    Ok(break_down(tx, shop, &actor(), now, &cutting)?.trays.iter().map(|tray| tray.code.to_string()).collect())
}

pub fn order(count: i64) -> PickDraft {
    PickDraft { purpose: "order".into(), cut: Some("saku".into()), count: Some(count), ..PickDraft::default() }
}

pub fn weight(low: i64, high: i64) -> PickDraft {
    PickDraft { count: None, low_g: Some(low), high_g: Some(high), ..order(1) }
}

pub fn refill(place: &str) -> PickDraft {
    PickDraft { purpose: "refill".into(), place: Some(place.into()), ..PickDraft::default() }
}

/// Codes of the lines in a state, in their order.
pub fn codes(shown: &Shown, state: LineState) -> Vec<String> {
    shown.lines_in(state).map(|line| line.tray.code.to_string()).collect()
}

/// Codes of the trays passed over, with the reasons.
pub fn passed(shown: &Shown) -> Vec<(String, &'static str)> {
    shown.passed.iter().map(|passed| (passed.tray.code.to_string(), passed.why.as_str())).collect()
}

#[track_caller]
pub fn refused<T: std::fmt::Debug>(outcome: Result<T, Failure>, code: Code) -> String {
    match outcome {
        Err(Failure::Refused(refusal)) => {
            assert_eq!(refusal.code, code, "{refusal}");
            refusal.to_string()
        }
        other => panic!("not refused: {other:?}"),
    }
}
