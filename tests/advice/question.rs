//! From trays to the question and back: stages, ends, portions, ages, the kitchen's and the freezer's part.

use crate::ground::{Dice, near};
use chrono::NaiveTime;
use sakudana::domain::advice::program::{Fault, fault, solve};
use sakudana::domain::advice::question::{Asked, Cut, Freezing, MOST_UNITS, Moves, Tray, ask};
use sakudana::domain::advice::stages::{Days, standard_hours};
use sakudana::domain::advice::{Choice, Freezer};
use sakudana::domain::demand::{Basis, Belief, Elasticity, Forecast, Pattern};
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::terms::{CutTerms, ShopTerms, Terms};
use sakudana::domain::tray::Kind;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use sakudana::units::money::PricePerKg;
use sakudana::units::zone::Zone;

/// A shop in Lisbon, which is on UTC in November; from nine to seven, Sundays closed; the list price is 80.00.
struct Shop {
    zone: Zone,
    hours: OpeningHours,
    review_times: Vec<NaiveTime>,
    terms: Terms,
    forecast: Forecast,
}

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn price(cents: i64) -> PricePerKg {
    PricePerKg::new(cents).unwrap()
}

fn shop() -> Shop {
    let mut hours = OpeningHours::default();
    hours.days[6] = None;
    let said = ShopTerms { freezer_permille: 300, ..ShopTerms::default() };
    let mut factors = [[1.0; 24]; 7];
    factors[3][17] = 2.0;
    Shop {
        zone: Zone::parse("Europe/Lisbon").unwrap(),
        hours,
        terms: said.of(&CutTerms::default(), price(8_000)),
        review_times: said.review_times,
        forecast: Forecast {
            belief: Belief { shape: 6.0, rate: 10.0 },
            basis: Basis::Own,
            elasticity: Elasticity { at_list: 2.0, low: 1.5, high: 3.0, basis: Basis::Stated },
            pattern: Pattern { factors },
            units_sold: 6,
            hours_in_stock: 10.0,
        },
    }
}

impl Shop {
    fn days(&self, now: Instant) -> Days<'_> {
        let (hours, review_times, pattern) = (&self.hours, &self.review_times, &self.forecast.pattern);
        Days { now, zone: self.zone, hours, review_times, pattern }
    }

    fn cut<'a>(&'a self, now: &str, trays: &'a [Tray]) -> Cut<'a> {
        Cut { days: self.days(at(now)), terms: &self.terms, forecast: &self.forecast, kitchen_taken_g: 0, trays }
    }

    fn ask(&self, now: &str, trays: &[Tray]) -> Asked {
        let asked = ask(&self.cut(now, trays)).unwrap();
        assert_eq!(fault(&asked.problem), None);
        asked
    }
}

fn block(id: i64, net_g: i64, ends: &str) -> Tray {
    Tray { id, kind: Kind::Block, net_g, price: price(8_000), ends: at(ends), freezing: Freezing::Allowed }
}

/// Each stage as it begins: when, hours, whether a review, grams for the kitchen.
fn told(asked: &Asked) -> Vec<(String, f64, bool, i64)> {
    let stages = asked.starts.iter().zip(&asked.problem.stages);
    stages
        .map(|(start, stage)| (start.to_string()[5..16].to_owned(), stage.hours, stage.review, stage.kitchen_g))
        .collect()
}

/// Thursday 26 November 2026, half past eight: what is decided now holds for the opening; later reviews at three, and the next days at opening
/// and at three; the first of each day is the kitchen's. Thursdays from five to six count twice.
#[test]
fn days_are_cut_at_reviews() {
    let shop = shop();
    let asked = shop.ask("2026-11-26T08:30:00Z", &[block(1, 300, "2026-11-27T20:30:00Z")]);
    let expected = [
        ("11-26T08:30", 6.0, true, 3_000),
        ("11-26T15:00", 5.0, true, 0),
        ("11-27T09:00", 6.0, true, 3_000),
        ("11-27T15:00", 4.0, true, 0),
    ];
    assert_eq!(
        told(&asked),
        expected.map(|(start, hours, review, kitchen)| (start.to_owned(), hours, review, kitchen))
    );
    assert_eq!((asked.problem.today, asked.problem.units[0].ends), (2, 4));
    assert_eq!(asked.problem.left_cents_per_kg, 2_000);
    assert_eq!(asked.problem.prices, [8_000, 7_200, 6_400, 5_600, 4_800, 4_000]);
}

/// An end within the day is a cut, at the full hour before; one within this hour is where it is; one at night is the next opening, which on
/// Saturday night is Monday's.
#[test]
fn trays_end_no_later_than_they_do() {
    let shop = shop();
    let trays = [
        block(1, 300, "2026-11-26T10:40:00Z"),
        block(2, 300, "2026-11-26T13:59:00Z"),
        block(3, 300, "2026-11-28T23:00:00Z"),
        block(4, 300, "2026-11-30T10:10:00Z"),
    ];
    let asked = shop.ask("2026-11-26T10:20:00Z", &trays);
    let starts: Vec<String> = told(&asked).into_iter().map(|(start, ..)| start).collect();
    let expected = [
        "11-26T10:20",
        "11-26T10:40",
        "11-26T13:00",
        "11-26T15:00",
        "11-27T09:00",
        "11-27T15:00",
        "11-28T09:00",
        "11-28T15:00",
        "11-30T09:00",
    ];
    assert_eq!(starts, expected);
    let ends: Vec<usize> = asked.problem.units.iter().map(|unit| unit.ends).collect();
    assert_eq!(ends, [1, 2, 8, 9]);
    assert_eq!(asked.problem.reaches, [1, 2, 3, 4]);
    let reviews: Vec<bool> = asked.problem.stages.iter().map(|stage| stage.review).collect();
    assert_eq!(reviews, [true, false, false, true, true, true, true, true, true]);
    assert_eq!(
        asked.problem.stages.iter().map(|stage| stage.kitchen_g).sum::<i64>(),
        4 * 3_000,
        "each open day, Monday too"
    );
    near("Thursday from 10:20 to 10:40", asked.problem.stages[0].hours, 1.0 / 3.0, 1e-12);
}

/// Asked after closing, today's part is over: nothing is sold before the morning, but the kitchen's room of both days is there.
#[test]
fn after_closing_the_evening_is_a_stage_without_customers() {
    let shop = shop();
    let mut cut = shop.cut("2026-11-26T20:00:00Z", &[]);
    let trays = [block(1, 300, "2026-11-27T19:00:00Z")];
    cut.trays = &trays;
    cut.kitchen_taken_g = 2_400;
    let asked = ask(&cut).unwrap();
    let stages = told(&asked).into_iter().map(|(_, hours, _, kitchen)| (hours, kitchen)).collect::<Vec<_>>();
    assert_eq!(stages, [(0.0, 600), (6.0, 3_000), (4.0, 0)]);
    assert_eq!(asked.problem.today, 1);
    cut.kitchen_taken_g = 9_000;
    assert_eq!(ask(&cut).unwrap().problem.stages[0].kitchen_g, 0);
}

/// Six days on is far enough: what lives longer is left then.
#[test]
fn what_lives_longer_is_left_over() {
    let shop = shop();
    let trays = [block(1, 300, "2026-11-27T19:00:00Z"), block(2, 300, "2026-12-20T12:00:00Z")];
    let asked = shop.ask("2026-11-26T09:00:00Z", &trays);
    let stages = asked.problem.stages.len();
    assert_eq!(asked.problem.units[1].ends, stages + 1);
    assert!(asked.starts.last().unwrap().since(at("2026-12-02T09:00:00Z")) < 0);
    assert_eq!(stages, 2 * 5, "two reviews on five open days of six; the last of them ends as the next opens");
}

/// A tub in portions, the rest as the last; blocks whole; bulk and what has ended left out; in the order of ends, then ids.
#[test]
fn tubs_are_cut_into_portions() {
    let shop = shop();
    let tub = Tray { kind: Kind::Tub, ..block(7, 400, "2026-11-26T19:00:00Z") };
    let bulk = Tray { kind: Kind::Bulk, ..block(8, 5_000, "2026-11-28T19:00:00Z") };
    let ended = block(9, 250, "2026-11-26T08:00:00Z");
    let asked = shop.ask(
        "2026-11-26T09:00:00Z",
        &[block(3, 290, "2026-11-28T19:00:00Z"), tub, bulk, ended, block(2, 310, "2026-11-28T19:00:00Z")],
    );
    let units: Vec<(usize, i64)> = asked.problem.units.iter().map(|unit| (unit.tray, unit.grams)).collect();
    assert_eq!(units, [(0, 150), (0, 150), (0, 100), (1, 310), (2, 290)]);
    assert_eq!(asked.trays.iter().map(|tray| tray.id).collect::<Vec<_>>(), [7, 2, 3]);
    assert_eq!(asked.left_out, [8, 9]);
    assert_eq!(asked.problem.reaches, [3, 5]);
    assert!(ask(&shop.cut("2026-11-26T09:00:00Z", &[bulk, ended])).is_none());
    assert!(ask(&shop.cut("2026-11-26T09:00:00Z", &[])).is_none());
}

/// Six ages are four: the youngest three are one. (Two that end in one hour are one age anyway.)
#[test]
fn there_are_at_most_four_ages() {
    let shop = shop();
    let ends = ["26T12:10", "26T12:40", "26T15:00", "27T12:00", "28T12:00", "28T13:00", "30T12:00"];
    let trays: Vec<Tray> = (1..).zip(ends).map(|(id, end)| block(id, 300, &format!("2026-11-{end}:00Z"))).collect();
    assert_eq!(shop.ask("2026-11-26T09:00:00Z", &trays).problem.reaches, [2, 3, 4, 7]);
}

/// Frozen is only from a tray on from which all may be, with 24 hours left.
#[test]
fn the_freezer_takes_the_youngest() {
    let shop = shop();
    let mut trays = [
        block(1, 300, "2026-11-26T19:00:00Z"),
        block(2, 300, "2026-11-27T08:59:00Z"),
        block(3, 300, "2026-11-28T19:00:00Z"),
        block(4, 300, "2026-11-28T19:00:00Z"),
    ];
    let first = |trays: &[Tray]| shop.ask("2026-11-26T09:00:00Z", trays).problem.freezer;
    assert_eq!(first(&trays), Some(Freezer { cents_per_kg: 2_400, first: 2 }));
    trays[2].freezing = Freezing::Refused;
    assert_eq!(first(&trays), Some(Freezer { cents_per_kg: 2_400, first: 3 }));
    trays[3].freezing = Freezing::Refused;
    assert_eq!(first(&trays), None);
    let mut never = shop;
    never.terms.freezer_cents_per_kg = None;
    assert_eq!(never.ask("2026-11-26T09:00:00Z", &trays).problem.freezer, None);
}

/// Portions grow until there are 400 units; of 500 blocks the oldest 400 are asked about, and nothing is said of freezing.
#[test]
fn there_are_at_most_400_units() {
    let shop = shop();
    let tubs: Vec<Tray> =
        (0..10).map(|id| Tray { kind: Kind::Tub, ..block(id, 12_100, "2026-11-28T19:00:00Z") }).collect();
    let units = shop.ask("2026-11-26T09:00:00Z", &tubs).problem.units;
    assert_eq!(
        (units.len(), units[0].grams, units[20].grams),
        (210, 600, 100),
        "81 portions of 150 g, 41 of 300 g, 21 of 600 g"
    );
    let blocks: Vec<Tray> = (0..500).map(|id| block(id, 300, "2026-11-28T19:00:00Z")).collect();
    let asked = shop.ask("2026-11-26T09:00:00Z", &blocks);
    assert_eq!((asked.problem.units.len(), asked.left_out.len()), (MOST_UNITS, 100));
    assert_eq!(asked.problem.freezer, None);
}

/// From a choice to trays: part of a tub for the kitchen, the lower price only where it is lower, the youngest to the freezer; and shares.
#[test]
fn a_choice_is_about_trays() {
    let shop = shop();
    let tub = Tray { kind: Kind::Tub, ..block(1, 400, "2026-11-26T19:00:00Z") };
    let cheap = Tray { price: price(6_000), ..block(2, 300, "2026-11-27T19:00:00Z") };
    let trays = [
        tub,
        cheap,
        block(3, 300, "2026-11-27T19:00:00Z"),
        block(4, 300, "2026-11-28T19:00:00Z"),
        block(5, 200, "2026-11-28T19:00:00Z"),
    ];
    let asked = shop.ask("2026-11-26T09:00:00Z", &trays);
    let choice = Choice { price: Some(2), reach: 7, kitchen: 2, freeze: 1 };
    let lowered = [1, 3, 4].map(|id| (id, price(6_400))).to_vec();
    assert_eq!(asked.moves(&choice), Moves { prices: lowered, kitchen: vec![(1, 300)], freeze: vec![5] });
    let choice = Choice { price: Some(3), reach: 5, kitchen: 4, freeze: 0 };
    assert_eq!(
        asked.moves(&choice),
        Moves { prices: vec![(3, price(5_600))], kitchen: vec![(1, 400), (2, 300)], freeze: vec![] }
    );
    assert_eq!(asked.moves(&Choice::default()), Moves::default());
    let odd = Choice { price: Some(99), reach: 99, kitchen: 99, freeze: 99 };
    assert_eq!(asked.moves(&odd).freeze, [1, 2, 3, 4, 5]);
    let shares = asked.shares(&[1.0, 0.5, 0.25, 0.2, 0.1, 0.0, 0.0]);
    let expected = [(1, 250.0 / 400.0), (2, 0.2), (3, 0.1), (4, 0.0), (5, 0.0)];
    for ((id, share), (expected_id, expected)) in shares.into_iter().zip(expected) {
        assert_eq!(id, expected_id);
        near("share", share, expected, 1e-12);
    }
}

/// On the night the clocks go back (Lisbon, 25 October 2026), and where the shop's clock is half an hour off the world's: a day is its opening
/// hours, and an end is rounded down by the shop's clock.
#[test]
fn clocks_are_the_shops() {
    let mut shop = shop();
    shop.hours = OpeningHours::default();
    let asked = shop.ask("2026-10-24T14:00:00Z", &[block(1, 300, "2026-10-26T19:00:00Z")]);
    let starts: Vec<String> = told(&asked).into_iter().map(|(start, ..)| start).collect();
    assert_eq!(starts, ["10-24T14:00", "10-25T09:00", "10-25T15:00", "10-26T09:00", "10-26T15:00"]);
    near(
        "three hours of Saturday, twenty of the days after",
        asked.problem.stages.iter().map(|stage| stage.hours).sum(),
        24.0,
        1e-12,
    );
    shop.zone = Zone::parse("Asia/Kolkata").unwrap();
    let asked = shop
        .ask("2026-11-26T04:00:00Z", &[block(1, 300, "2026-11-26T07:15:00Z"), block(2, 300, "2026-11-26T12:00:00Z")]);
    assert_eq!(told(&asked)[1].0, "11-26T06:30", "12:45 in India is 12:00, which is 06:30 UTC");
}

/// Random cuts at random moments: the question is sound, no gram is lost, and nothing can be sold after its end, nor an hour and more before.
#[test]
fn every_cut_makes_a_sound_question() {
    let mut shop = shop();
    let mut dice = Dice::new(77);
    let start = at("2026-10-23T00:00:00Z");
    for round in 0..150 {
        shop.review_times.truncate(dice.below(3));
        if round % 3 == 0 {
            shop.review_times = [8, 12, 18].map(|hour| NaiveTime::from_hms_opt(hour, 30, 0).unwrap()).to_vec();
        }
        shop.hours.days[dice.below(7)] = if dice.below(2) == 0 { None } else { OpeningHours::default().days[0] };
        let now = start.plus_micros(dice.below(5 * 24 * 60) as i64 * MICROS_PER_MINUTE);
        let tray = |id: usize, dice: &mut Dice| Tray {
            id: id as i64,
            kind: [Kind::Block, Kind::Tub][dice.below(2)],
            net_g: 1 + dice.below(900) as i64,
            price: price(4_000 + 1_000 * dice.below(5) as i64),
            ends: now.plus_micros((1 + dice.below(9 * 24 * 60)) as i64 * MICROS_PER_MINUTE),
            freezing: [Freezing::Allowed, Freezing::Refused][usize::from(dice.below(4) == 0)],
        };
        let trays: Vec<Tray> = (0..1 + dice.below(6)).map(|id| tray(id, &mut dice)).collect();
        let cut = Cut { days: shop.days(now), ..shop.cut("2026-11-26T09:00:00Z", &trays) };
        let asked = ask(&cut).unwrap();
        let problem = &asked.problem;
        assert_eq!(fault(problem), None::<Fault>, "round {round}");
        assert_eq!(
            problem.units.iter().map(|unit| unit.grams).sum::<i64>(),
            trays.iter().map(|tray| tray.net_g).sum::<i64>()
        );
        for unit in &problem.units {
            let ends = asked.trays[unit.tray].ends;
            let until: f64 = problem.stages.iter().take(unit.ends).map(|stage| stage.hours).sum();
            let limit = ends.min(now.plus_micros(6 * 24 * MICROS_PER_HOUR));
            let lives = standard_hours(&cut.days, now, limit);
            assert!(until <= lives + 1e-9 && until > lives - 2.0 - 1e-9, "round {round}: {until} of {lives}");
        }
        if round % 10 == 0 {
            assert!(solve(problem).best.total.is_finite());
        }
    }
}
