//! Does a rolled act through the program's own acts, and brings back what it made or the code of its refusal.

use crate::acts::{Act, Output};
use crate::ground::{CUTS, Ground, actor, arrival, start};
use crate::naive::{Made, Naive};
use sakudana::domain::life::curve::Reading;
use sakudana::domain::logger::Line;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::shop::Shop;
use sakudana::domain::tray::Tray;
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::edit_catalogue::{Expected, put_place};
use sakudana::ops::failure::Failure;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::label;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::press::Press;
use sakudana::ops::receive::receive;
use sakudana::ops::review::{Course, morning};
use sakudana::ops::sell::{LineDraft, Sold, reverse, sell};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::take_readings;
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::watch::go_round;
use sakudana::store::{Tx, holds, trays};
use sakudana::units::instant::Instant;
use sakudana::units::temperature::MilliCelsius;

type Done = Result<Made, Failure>;

/// An act with its codes, free of the model, as the writer wants it.
type Ready = Box<dyn Fn(&mut Tx<'_>, &Shop) -> Done + Send>;

pub fn perform(ground: &Ground, naive: &Naive, act: &Act, now: i64) -> Result<Made, &'static str> {
    let ready = ready(naive, act.clone(), start().plus_micros(now));
    match ground.desk.act(move |tx, shop| ready(tx, shop)) {
        Ok(made) => Ok(made),
        Err(Failure::Refused(refusal)) => Err(refusal.code.as_str()),
        Err(Failure::Store(error)) => panic!("the store failed: {error}"),
    }
}

fn made(trays: &[Tray]) -> Made {
    let use_by = trays.first().and_then(|t| t.use_by).map(|at| at.since(start()));
    Made { codes: trays.iter().map(|t| t.code.to_string()).collect(), use_by, ..Made::default() }
}

fn made_sale(sold: &Sold) -> Made {
    let prices = sold.lines.iter().map(|l| l.price_cents).chain([sold.sale.total_cents]).collect();
    Made { id: sold.sale.id, prices, ..Made::default() }
}

fn said(reason: bool) -> Option<&'static str> {
    reason.then_some("seen at the counter")
}

fn ready(naive: &Naive, act: Act, now: Instant) -> Ready {
    let code = |tray: &usize| naive.trays[*tray].code.clone();
    let place = |place: &usize| naive.places[*place].code.clone();
    match &act {
        Act::Receive { species, place: at, grams, record, warm, thawed, supplier_days } => {
            let mut arrival = arrival(species, &place(at), *grams);
            arrival.parasite_letter = arrival.parasite_letter.filter(|_| *record);
            arrival.previously_frozen = *thawed;
            arrival.inspection.core_temperature_mc = if *warm { 4_445 } else { 4_444 };
            // The calendar day of the shop's own zone, as a letter writes it.
            arrival.supplier_use_by = supplier_days.map(|days| {
                let seconds = (naive.law.day(now.since(start())) + days) * 86_400 + FIRST_DAY_SECONDS;
                chrono::DateTime::from_timestamp(seconds, 0).unwrap().format("%Y-%m-%d").to_string()
            });
            Box::new(move |tx, shop| {
                let received = receive(tx, shop, &actor(), now, &arrival)?;
                // The hold that a warm fish arrives under has no number in the answer.
                let hold = holds::open(tx)?.into_iter().rfind(|h| h.scope == "lot" && h.target_id == received.lot.id);
                let codes = vec![received.lot.code, received.tray.code.to_string()];
                Ok(Made { codes, id: hold.map_or(0, |h| h.id), ..Made::default() })
            })
        }
        Act::BreakDown { inputs, outputs, losses, reason, bench, bench_minutes } => {
            let mut cutting = cutting(naive, inputs, outputs, losses, *reason);
            cutting.place = place(bench);
            cutting.bench_minutes = *bench_minutes;
            Box::new(move |tx, shop| Ok(made(&break_down(tx, shop, &actor(), now, &cutting)?.trays)))
        }
        Act::TopUp { tub, source, grams } => {
            let (tub, draft) = (code(tub), TopUp { source: code(source), grams: *grams });
            Box::new(move |tx, shop| Ok(made(&[top_up(tx, shop, &actor(), now, &tub, &draft)?])))
        }
        Act::Move { tray, place: to } => carry(code(tray), place(to), Way::Move, now),
        Act::Freeze { tray, place: to } => carry(code(tray), place(to), Way::Freeze, now),
        Act::Thaw { tray, place: to } => carry(code(tray), place(to), Way::Thaw, now),
        Act::Kitchen { tray, grams } => take(code(tray), Whither::Kitchen, *grams, None, now),
        Act::Waste { tray, grams, reason } => take(code(tray), Whither::Waste, *grams, said(*reason), now),
        Act::Count { lines, reason } => {
            let lines: Vec<CountLine> =
                lines.iter().map(|(tray, counted_g)| CountLine { tray: code(tray), counted_g: *counted_g }).collect();
            let reason = said(*reason);
            Box::new(move |tx, shop| count(tx, shop, &actor(), now, &lines, reason).map(|_| Made::default()))
        }
        Act::HoldLot { lot } => place_hold("lot", naive.lots[*lot].code.clone(), now),
        Act::HoldBatch { tray } => place_hold("batch", code(tray), now),
        Act::HoldTray { tray } => place_hold("tray", code(tray), now),
        Act::Release { hold } => {
            let id = naive.holds[*hold].id;
            Box::new(move |tx, _| hold::release(tx, &actor(), now, id, "looked at it").map(|_| Made::default()))
        }
        Act::Label { tray, reason } => {
            let (tray, reason) = (code(tray), said(*reason));
            Box::new(move |tx, shop| {
                Ok(made(&[label::issue(tx, shop, &Press::default(), &actor(), now, &tray, reason)?]))
            })
        }
        Act::MarkDown { tray, price } => {
            let (tray, price) = (code(tray), *price);
            Box::new(move |tx, shop| Ok(made(&[mark_down(tx, shop, &actor(), now, &tray, price, "Last day")?])))
        }
        Act::Review => {
            // Days that are told side by side share the shop: only trays of this one are touched.
            let ours: Vec<String> = naive.trays.iter().map(|tray| tray.code.clone()).collect();
            Box::new(move |tx, shop| {
                let advised = morning(tx, shop, now)?.proposals.into_iter().flat_map(|proposal| proposal.trays);
                let lowered = advised.filter(|advised| advised.course == Course::MarkDown);
                let mut known = lowered.map(|advised| (advised.on.tray.code.to_string(), advised.price.get()));
                let Some((code, price)) = known.find(|(code, _)| ours.contains(code)) else {
                    return Ok(Made::default());
                };
                mark_down(tx, shop, &actor(), now, &code, price, "Last day")?;
                Ok(Made { codes: vec![code], prices: vec![price], ..Made::default() })
            })
        }
        Act::Sell { lines } => {
            let lines: Vec<LineDraft> =
                lines.iter().map(|(tray, grams)| LineDraft { tray: code(tray), grams: *grams }).collect();
            Box::new(move |tx, shop| Ok(made_sale(&sell(tx, shop, &actor(), now, &lines)?)))
        }
        Act::Reverse { sale } => {
            let id = naive.sales[*sale].id;
            Box::new(move |tx, shop| Ok(made_sale(&reverse(tx, shop, &actor(), now, id, "scanned twice")?)))
        }
        Act::PutPlace { place: at, method, limit, gap_minutes, stale } => {
            let (code, version) = (place(at), naive.places[*at].version - i64::from(*stale));
            let draft = PlaceDraft { gap_minutes: Some(*gap_minutes), ..draft(method, *limit) };
            Box::new(move |tx, shop| {
                put_place(tx, shop, &actor(), now, &code, &draft, Expected::Version(version)).map(|_| Made::default())
            })
        }
        Act::Readings { place: at, readings } => deliver(place(at), readings, now),
        Act::Watch => watch(now),
    }
}

/// Midnight, UTC, of the day the sequence begins on.
const FIRST_DAY_SECONDS: i64 = 1_795_564_800;

/// Readings as a logger would send them.
fn deliver(place: String, readings: &[(i64, i64)], now: Instant) -> Ready {
    let line = |(number, (at, t)): (usize, &(i64, i64))| Line {
        number: number as u64 + 1,
        found: Ok(Reading { at: start().plus_micros(*at), temperature: MilliCelsius::new(*t).unwrap() }),
    };
    let lines: Vec<Line> = readings.iter().enumerate().map(line).collect();
    Box::new(move |tx, shop| {
        let delivery = take_readings::begin(tx, &place)?;
        let last_hold = newest_hold(tx)?;
        let taken = take_readings::take(tx, shop, &actor(), now, &delivery, &lines)?;
        let watched = taken.follows.lives_changed > 0;
        Ok(Made { watched, holds: holds_since(tx, last_hold)?, ..Made::default() })
    })
}

/// A minute has passed, and the watch goes round.
fn watch(now: Instant) -> Ready {
    Box::new(move |tx, shop| {
        let last_hold = newest_hold(tx)?;
        go_round(tx, shop, now)?;
        Ok(Made { watched: true, holds: holds_since(tx, last_hold)?, ..Made::default() })
    })
}

fn newest_hold(tx: &mut Tx<'_>) -> Result<i64, Failure> {
    Ok(holds::open(tx)?.iter().map(|hold| hold.id).max().unwrap_or(0))
}

/// The holds that the watch placed, each with the code of its tray.
fn holds_since(tx: &mut Tx<'_>, last: i64) -> Result<Vec<(i64, String)>, Failure> {
    let new: Vec<_> = holds::open(tx)?.into_iter().filter(|hold| hold.id > last).collect();
    new.into_iter().map(|hold| Ok((hold.id, trays::by_id(tx, hold.target_id)?.code.to_string()))).collect()
}

/// A place of a method, as cold as it may be set.
pub fn draft(method: &str, upper_limit_mc: i64) -> PlaceDraft {
    let set_point_mc = match method {
        "chill" => -2_000,
        "superchill" => -3_000,
        "ambient" => 0,
        _ => -25_000,
    };
    PlaceDraft { name: "A place".into(), method: method.into(), set_point_mc, upper_limit_mc, ..PlaceDraft::default() }
}

fn cutting(
    naive: &Naive,
    inputs: &[(usize, Option<i64>)],
    outputs: &[Output],
    losses: &[i64],
    reason: bool,
) -> Cutting {
    let input =
        |(tray, grams): &(usize, Option<i64>)| InputDraft { tray: naive.trays[*tray].code.clone(), grams: *grams };
    let output = |o: &Output| OutputDraft {
        cut: CUTS[o.cut].code.into(),
        place: naive.places[o.place].code.clone(),
        net_g: o.grams,
    };
    Cutting {
        inputs: inputs.iter().map(input).collect(),
        outputs: outputs.iter().map(output).collect(),
        losses: losses.iter().map(|grams| LossDraft { name: "skin".into(), grams: *grams }).collect(),
        place: naive.places[0].code.clone(),
        bench_minutes: None,
        reason: said(reason).map(str::to_owned),
    }
}

fn carry(tray: String, place: String, way: Way, now: Instant) -> Ready {
    Box::new(move |tx, shop| Ok(made(&[take_to(tx, shop, &actor(), now, &tray, &place, way, None)?])))
}

fn take(tray: String, whither: Whither, grams: Option<i64>, reason: Option<&'static str>, now: Instant) -> Ready {
    Box::new(move |tx, shop| Ok(made(&[take_out(tx, shop, &actor(), now, &tray, whither, grams, reason)?])))
}

fn place_hold(scope: &str, code: String, now: Instant) -> Ready {
    let draft = HoldDraft { scope: scope.into(), code, reason: "smells odd".into() };
    Box::new(move |tx, shop| Ok(Made { id: hold::place(tx, shop, &actor(), now, &draft)?.id, ..Made::default() }))
}
