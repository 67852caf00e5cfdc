//! Fish is cut, sold, marked down, put back and brought back at known hours, and the evidence is what a person would note on paper.

use crate::ground::{Ground, Which, actor, chill, on_both, shop, start};
use sakudana::domain::demand::Basis;
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::refusal::Code;
use sakudana::domain::shop::Shop;
use sakudana::domain::terms::CutTerms;
use sakudana::ops::demand::{Study, forecasts, studies, study};
use sakudana::ops::edit_catalogue::Expected;
use sakudana::ops::failure::Failure;
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::look::lots_page;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::place_tray::{Way, take_to};
use sakudana::ops::replay::{ReplayedDraft, ReplayedLineDraft, Sender, Speech, take};
use sakudana::ops::sell::{LineDraft, Sold, reverse, sell};
use sakudana::ops::take_back::{ReturnDraft, take_back};
use sakudana::ops::take_out::{Whither, take_out};
use sakudana::ops::terms;
use sakudana::units::instant::{Instant, MICROS_PER_MINUTE};
use sakudana::units::money::Cents;
use std::sync::Arc;

on_both!(
    hours_without_stock_do_not_count,
    what_was_undone_was_not_sold,
    a_hold_is_no_stock,
    a_sale_of_an_offline_till_counts_at_its_own_time,
    lowered_prices_are_told_apart,
    tubs_count_in_portions_and_frozen_fish_not_at_all,
    what_a_person_says_goes_first,
    terms_are_kept_under_a_version,
    wrong_terms_are_refused_all_at_once,
    closed_days_and_other_weeks_do_not_count,
);

/// Wednesday, 25 November 2026, so many minutes after nine in Helsinki, when the shop opens.
fn at(minutes: i64) -> Instant {
    start().plus_micros((60 + minutes) * MICROS_PER_MINUTE)
}

const DAY: i64 = 24 * 60;

struct Counter(Ground);

impl Counter {
    fn open(which: Which) -> Counter {
        Counter::of(shop(), which)
    }

    fn of(shop: Shop, which: Which) -> Counter {
        let ground = Ground::of(shop, which, 2);
        ground.place("case", chill(0, 2_000));
        ground.place("freezer", PlaceDraft { method: "frozen".into(), ..chill(-60_000, -50_000) });
        Counter(ground)
    }

    fn sell(&self, minutes: i64, tray: &str, grams: Option<i64>) -> Sold {
        let lines = [LineDraft { tray: tray.into(), grams }];
        self.0.desk.act(move |tx, shop| sell(tx, shop, &actor(), at(minutes), &lines)).unwrap()
    }

    /// What is known of a cut so many minutes after opening on the first day.
    fn study(&self, minutes: i64, cut: &str) -> Study {
        self.0.desk.look(|reading, shop| study(reading, shop, at(minutes), cut)).unwrap()
    }

    fn put(&self, cut: &'static str, terms: CutTerms, expected: Expected) -> Result<i64, Failure> {
        let said = self.0.desk.act(move |tx, _| terms::put(tx, &actor(), at(5), cut, &terms, expected));
        said.map(|said| said.version)
    }
}

#[track_caller]
fn seen(study: &Study) -> (i64, i64) {
    let forecast = &study.learned.forecast;
    (forecast.units_sold, (forecast.hours_in_stock * 60.0).round() as i64)
}

/// Three blocks, the last gone at half past twelve: three and a half hours count, and no more on the next day. The rest is Gamma-Poisson.
fn hours_without_stock_do_not_count(which: Which) {
    let counter = Counter::open(which);
    let trays = counter.0.trays("saku", 3, 300);
    for (tray, minutes) in trays.iter().zip([65, 150, 210]) {
        counter.sell(minutes, tray, None);
    }
    let evening = counter.study(10 * 60, "saku");
    assert_eq!(seen(&evening), (3, 210));
    assert_eq!(seen(&counter.study(DAY + 10 * 60, "saku")), (3, 210));
    assert_eq!(seen(&counter.study(100, "saku")), (1, 100), "what is yet to come is not known");
    // Half a unit an hour was stated, and weighs ten hours; the week of one busy morning bends little.
    let belief = evening.learned.forecast.belief;
    assert!((belief.shape - 8.0).abs() < 1e-9 && (belief.rate - 13.5).abs() < 0.5, "{belief:?}");
    assert_eq!(evening.learned.forecast.basis, Basis::Stated);
    let hours: Vec<usize> = (0..24).filter(|hour| evening.learned.forecast.pattern.at(2, *hour) > 0.0).collect();
    assert_eq!(hours, (9..19).collect::<Vec<_>>());
    assert!(evening.learned.forecast.pattern.at(2, 10) > evening.learned.forecast.pattern.at(2, 9));
    assert_eq!(evening.learned.since, Some(start()));
    // What nothing was seen of is believed like what is like it, or as stated.
    assert_eq!(seen(&counter.study(10 * 60, "belly")), (0, 0));
}

fn what_was_undone_was_not_sold(which: Which) {
    let counter = Counter::open(which);
    let trays = counter.0.trays("saku", 3, 300);
    let mistaken = counter.sell(60, &trays[0], None).sale.id;
    let spoiled = counter.sell(120, &trays[1], None).sale.id;
    let back = ReturnDraft { tray: trays[1].clone(), grams: 300, refund_cents: 2_385, reason: "smelled odd".into() };
    counter
        .0
        .desk
        .act(move |tx, shop| {
            reverse(tx, shop, &actor(), at(65), mistaken, "the wrong tray")?;
            take_back(tx, shop, &actor(), at(180), spoiled, std::slice::from_ref(&back)).map(drop)
        })
        .unwrap();
    assert_eq!(seen(&counter.study(10 * 60, "saku")), (0, 600));
    counter.sell(240, &trays[0], None);
    counter.sell(300, &trays[2], None);
    assert_eq!(seen(&counter.study(10 * 60, "saku")), (2, 300));
}

/// A block on hold from ten to one; another whose batch is from four on; one whose fish is from three on, and which is thrown away at five.
fn a_hold_is_no_stock(which: Which) {
    let counter = Counter::open(which);
    let desk = &counter.0.desk;
    let [saku, belly, collar] = ["saku", "belly", "collar"].map(|cut| counter.0.trays(cut, 1, 300).remove(0));
    let lots = desk.look(|reading, _| lots_page(reading, None, 3)).unwrap();
    let newest = lots.iter().max_by_key(|lot| lot.id).unwrap().code.to_string();
    let place = |minutes: i64, scope: &str, code: &str| {
        let draft = HoldDraft { scope: scope.into(), code: code.into(), reason: "smells odd".into() };
        desk.act(move |tx, shop| hold::place(tx, shop, &actor(), at(minutes), &draft)).unwrap().id
    };
    let id = place(60, "tray", &saku);
    desk.act(move |tx, _| hold::release(tx, &actor(), at(240), id, "it was the bin")).unwrap();
    place(420, "batch", &belly);
    place(360, "lot", &newest);
    desk.act(move |tx, shop| {
        take_out(tx, shop, &actor(), at(480), &collar, Whither::Waste, None, Some("recalled")).map(drop)
    })
    .unwrap();
    assert_eq!(seen(&counter.study(300, "saku")), (0, 120));
    assert_eq!(seen(&counter.study(600, "saku")), (0, 420));
    assert_eq!(seen(&counter.study(600, "belly")), (0, 420));
    assert_eq!(seen(&counter.study(600, "collar")), (0, 360));
}

fn a_sale_of_an_offline_till_counts_at_its_own_time(which: Which) {
    let counter = Counter::open(which);
    let tray = counter.0.trays("saku", 1, 300).remove(0);
    let speech = Speech { say: |_| (201, String::new()), sale_of: |_| None };
    let sender = Sender { client: "till".into(), actor: actor(), speech };
    let draft = ReplayedDraft {
        number: 1,
        key: "till-sale-00000001".into(),
        fingerprint: "a".into(),
        fingerprint_as_sale: "b".into(),
        fingerprint_unpriced: "c".into(),
        device_time: at(45),
        sequence: None,
        lines: vec![ReplayedLineDraft { tray, grams: None, charged: Cents::new(2_385).unwrap() }],
        total: Cents::new(2_385).unwrap(),
    };
    take(&counter.0.desk, &Arc::new(sender), at(500), None, vec![draft]).unwrap();
    let evening = counter.study(10 * 60, "saku");
    assert_eq!(seen(&evening), (1, 45));
    assert!(evening.learned.forecast.pattern.at(2, 9) > evening.learned.forecast.pattern.at(2, 10));
}

/// A tray at list from nine to eleven, then 20 % off and sold at twelve; the other at list until one.
fn lowered_prices_are_told_apart(which: Which) {
    let counter = Counter::open(which);
    let trays = counter.0.trays("saku", 2, 300);
    let first = trays[0].clone();
    let desk = &counter.0.desk;
    desk.act(move |tx, shop| mark_down(tx, shop, &actor(), at(120), &first, 6_360, "End of day")).unwrap();
    counter.sell(180, &trays[0], None);
    counter.sell(240, &trays[1], None);
    let evening = counter.study(10 * 60, "saku");
    assert_eq!(seen(&evening), (2, 240));
    assert!((evening.learned.lowered_units - 1.0).abs() < 1e-9, "{evening:?}");
    assert!((evening.learned.lowered_hours - 1.0).abs() < 1e-9, "{evening:?}");
    let forecast = &evening.learned.forecast;
    assert_eq!((forecast.elasticity.at_list, forecast.elasticity.basis), (2.0, Basis::Stated), "one is too few");
    // The hour at 20 % off counts for e^0.4 hours: three and 1.49, on top of the ten of the prior.
    assert!((forecast.belief.rate - 14.49).abs() < 0.6, "{:?}", forecast.belief);
}

fn tubs_count_in_portions_and_frozen_fish_not_at_all(which: Which) {
    let counter = Counter::open(which);
    let tub = counter.0.trays("scrape", 1, 2_000).remove(0);
    counter.sell(30, &tub, Some(150));
    counter.sell(60, &tub, Some(450));
    let morning = counter.study(90, "scrape");
    assert_eq!(seen(&morning), (4, 90));
    assert_eq!((morning.draws, morning.mean_draw_g, morning.portion_g), (2, Some(300), 150));
    counter.put("scrape", CutTerms { portion_g: Some(300), ..CutTerms::default() }, Expected::New).unwrap();
    assert_eq!(seen(&counter.study(90, "scrape")), (2, 90));
    let block = counter.0.trays("saku", 1, 300).remove(0);
    let desk = &counter.0.desk;
    desk.act(move |tx, shop| take_to(tx, shop, &actor(), at(120), &block, "freezer", Way::Freeze, None)).unwrap();
    assert_eq!(seen(&counter.study(10 * 60, "saku")), (0, 120));
    // A loin is not sold over the counter.
    let all = counter.0.desk.look(|reading, shop| studies(reading, shop, at(0))).unwrap();
    let codes: Vec<&str> = all.iter().map(|study| study.cut.code.as_str()).collect();
    assert_eq!(codes, ["belly", "collar", "saku", "scrape", "slices"]);
    let none = counter.0.desk.look(|reading, shop| study(reading, shop, at(0), "loin"));
    assert!(matches!(none, Err(Failure::Refused(refusal)) if refusal.code == Code::NotFound));
}

fn what_a_person_says_goes_first(which: Which) {
    let counter = Counter::open(which);
    let trays = counter.0.trays("saku", 2, 300);
    counter.sell(60, &trays[0], None);
    let learned = counter.study(600, "saku").learned;
    let said =
        CutTerms { elasticity_permille: Some(3_500), units_per_hour_permille: Some(1_250), ..CutTerms::default() };
    counter.put("saku", said, Expected::Version(0)).unwrap();
    let told = counter.study(600, "saku").learned;
    assert_eq!((told.forecast.basis, told.forecast.elasticity.basis), (Basis::Told, Basis::Told));
    assert!((told.forecast.belief.mean() - 1.25).abs() < 1e-9 && (told.forecast.elasticity.at_list - 3.5).abs() < 1e-9);
    assert!((told.own_belief.mean() - learned.own_belief.mean()).abs() < 1e-9, "what was learned is still told");
    assert_eq!(told.own_basis, Basis::Stated);
    let all = counter.0.desk.look(|reading, shop| forecasts(reading, shop, at(600))).unwrap();
    assert_eq!(all["saku"], told.forecast);
    assert_eq!(all["belly"].basis, Basis::Stated);
    counter.put("saku", CutTerms::default(), Expected::Version(1)).unwrap();
    assert_eq!(counter.study(600, "saku").learned.forecast, learned.forecast);
}

fn terms_are_kept_under_a_version(which: Which) {
    let counter = Counter::open(which);
    let kitchen = |cents| CutTerms { kitchen_cents_per_kg: Some(cents), ..CutTerms::default() };
    let code = |outcome: Result<i64, Failure>| match outcome {
        Err(Failure::Refused(refusal)) => refusal.code,
        other => panic!("{other:?}"),
    };
    assert_eq!(code(counter.put("saku", kitchen(900), Expected::Version(1))), Code::NotFound);
    assert_eq!(code(counter.put("nothing", kitchen(900), Expected::New)), Code::NotFound);
    assert_eq!(counter.put("saku", kitchen(900), Expected::New), Ok(1));
    assert_eq!(code(counter.put("saku", kitchen(800), Expected::New)), Code::AlreadyExists);
    assert_eq!(code(counter.put("saku", kitchen(800), Expected::Version(0))), Code::VersionMismatch);
    assert_eq!(counter.put("saku", kitchen(-50), Expected::Version(1)), Ok(2));
    let (said, all) = counter
        .0
        .desk
        .look(|reading, shop| Ok((terms::standing(reading, shop, "saku")?, terms::of_cuts(reading, shop)?)))
        .unwrap();
    let (said, in_force) = (said.0.unwrap(), said.1);
    assert_eq!((said.version, said.set_by.as_str(), said.set_at), (2, "mika", at(5)));
    assert_eq!((in_force.kitchen_cents_per_kg, in_force.kitchen_g_per_day), (-50, 3_000));
    assert_eq!(all["saku"], in_force);
    // A quarter of 120.05 a kilogram, as the settings say of all.
    assert_eq!((all["belly"].kitchen_cents_per_kg, all.len()), (3_001, 8));
    assert_eq!(counter.0.desk.look(|reading, _| terms::said(reading)).unwrap().len(), 1);
}

fn wrong_terms_are_refused_all_at_once(which: Which) {
    let counter = Counter::open(which);
    let wrong = CutTerms {
        kitchen_cents_per_kg: Some(-10_000_001),
        kitchen_g_per_day: Some(-1),
        freezer_cents_per_kg: Some(-1),
        waste_cents_per_kg: Some(10_000_001),
        elasticity_permille: Some(10_001),
        units_per_hour_permille: Some(0),
        portion_g: Some(0),
        cost_cents_per_kg: Some(-1),
    };
    let Err(Failure::Refused(refusal)) = counter.put("saku", wrong, Expected::New) else { panic!("taken") };
    assert_eq!((refusal.code, refusal.findings.len()), (Code::InvalidValue, 8));
    // The ends of every range are taken, by the database too.
    let least = CutTerms {
        kitchen_cents_per_kg: Some(-10_000_000),
        kitchen_g_per_day: Some(0),
        freezer_cents_per_kg: Some(0),
        waste_cents_per_kg: Some(0),
        elasticity_permille: Some(0),
        units_per_hour_permille: Some(1),
        portion_g: Some(1),
        cost_cents_per_kg: Some(0),
    };
    let most = CutTerms {
        kitchen_cents_per_kg: Some(10_000_000),
        kitchen_g_per_day: Some(1_000_000),
        freezer_cents_per_kg: Some(10_000_000),
        waste_cents_per_kg: Some(10_000_000),
        elasticity_permille: Some(10_000),
        units_per_hour_permille: Some(1_000_000),
        portion_g: Some(10_000),
        cost_cents_per_kg: Some(10_000_000),
    };
    assert_eq!(counter.put("saku", least, Expected::New), Ok(1));
    assert_eq!(counter.put("saku", most.clone(), Expected::Version(1)), Ok(2));
    let said = counter.0.desk.look(|reading, _| terms::said(reading)).unwrap();
    assert_eq!(said["saku"], most);
}

/// Closed on Thursdays: the day between two days of stock does not count. Nine weeks later nothing of it does.
fn closed_days_and_other_weeks_do_not_count(which: Which) {
    let mut hours = OpeningHours::default();
    hours.days[3] = None;
    let counter = Counter::of(Shop { hours, ..shop() }, which);
    let trays = counter.0.trays("saku", 2, 300);
    counter.sell(60, &trays[0], None);
    assert_eq!(seen(&counter.study(DAY + 600, "saku")), (1, 600));
    let friday = counter.study(2 * DAY + 60, "saku");
    assert_eq!(seen(&friday), (1, 660));
    assert!(friday.learned.forecast.pattern.at(3, 10).abs() < 1e-12, "closed");
    // The other block may lie there for ever: after its use-by it is not for sale, and the weeks of its sale are over.
    let later = counter.study(9 * 7 * DAY, "saku");
    assert_eq!(later.learned.forecast.units_sold, 0);
}
