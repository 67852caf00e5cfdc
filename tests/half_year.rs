//! Half a year of an invented shop whose demand is known: what the advice brings, and what it wastes, against leaving alone, a rule of
//! thumb, the best that the model knows, and the best that anybody could have done who knew every customer beforehand.
//!
//! Trays, customers and what each of them would pay are drawn once: every policy meets the same. The fish was bought before and costs
//! the same whatever is decided, so policies are compared by what they brought: revenue and kitchen, less what waste cost.
//!
//! `SAKUDANA_YEARS=8` runs eight whole half-years of the whole shop of seven cuts, with more policies, beginning with the seed
//! `SAKUDANA_YEAR_SEED` (1), and the other worlds whole as well; `SAKUDANA_YEAR_CUTS` for fewer cuts. For that the program should be
//! optimised; the tables are printed:
//! `cargo test --config profile.dev.package.sakudana.opt-level=3 --test half_year -- --nocapture`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "half_year/advised.rs"]
mod advised;
#[path = "half_year/bound.rs"]
mod bound;
#[path = "half_year/counter.rs"]
mod counter;
#[path = "half_year/cuts.rs"]
mod cuts;
#[path = "model/dice.rs"]
mod dice;
#[path = "half_year/learning.rs"]
mod learning;
#[path = "half_year/policies.rs"]
mod policies;
#[path = "half_year/report.rs"]
mod report;
#[path = "half_year/world.rs"]
mod world;

use advised::{Advised, Following};
use bound::{by_trying_everything, clairvoyant};
use cuts::{HALF_A_YEAR, others, usual};
use dice::Dice;
use policies::{AtRandom, LeaveAlone, Policy, RuleAndKitchen, RuleOfThumb, run};
use report::Season;
use std::env;
use world::{KitchenComes, Year};

const LEAVE: &str = "leave alone";
const RULE: &str = "rule of thumb";
const KNOWN: &str = "advice, demand known";
const TOO_LOW: &str = "advice, learning, prior / 1.6";
const TOO_HIGH: &str = "advice, learning, prior x 1.6";
const BEST: &str = "model's optimum";

/// How much is run: little in a usual run of the tests, all of it when asked for.
struct Extent {
    seeds: std::ops::Range<u64>,
    cuts: usize,
    weeks_of_others: i64,
    more: bool,
}

impl Extent {
    fn asked_for() -> Extent {
        let number = |name: &str| env::var(name).ok().map(|text| text.parse::<u64>().unwrap());
        let first = number("SAKUDANA_YEAR_SEED").unwrap_or(1);
        let years = number("SAKUDANA_YEARS");
        Extent {
            seeds: first..first + years.unwrap_or(2),
            cuts: number("SAKUDANA_YEAR_CUTS").map_or(if years.is_some() { 7 } else { 2 }, |cuts| cuts as usize),
            weeks_of_others: if years.is_some() { HALF_A_YEAR } else { 8 },
            more: years.is_some(),
        }
    }
}

#[test]
fn the_advice_in_half_a_year() {
    let extent = Extent::asked_for();
    let mut seasons = Vec::new();
    for seed in extent.seeds.clone() {
        let years = world::draw(&usual(extent.cuts, HALF_A_YEAR), seed);
        let mut policies = usual_policies(&years);
        if extent.more {
            policies.push(Box::new(RuleAndKitchen));
            policies.push(Box::new(Advised::told("advice, told rates / 1.6", &years, 1.0 / 1.6)));
            policies.push(Box::new(Advised::told("advice, told rates x 1.6", &years, 1.6)));
            policies.push(Box::new(Advised::sparing("advice, waste at a tenth of list", &years, 100)));
        }
        let season = Season::of(&years, policies);
        season.print(&format!("Half a year of {} cuts, seed {seed}", extent.cuts));
        season.print_cuts(&years);
        for advice in [KNOWN, TOO_LOW, TOO_HIGH] {
            let brought = |policy: &str| season.books(policy).proceeds();
            assert!(brought(advice) > brought(RULE).max(brought(LEAVE)), "{advice}, seed {seed}");
            assert!(100 * brought(advice) >= 97 * brought(BEST), "{advice}, seed {seed}");
            let wasted = |policy: &str| season.books(policy).wasted_g;
            assert!(wasted(advice) < wasted(RULE).min(wasted(LEAVE)), "{advice}, seed {seed}: {} g", wasted(advice));
        }
        // A bound far above what can be done would bound nothing.
        assert!(100 * season.books(BEST).proceeds() >= 85 * season.most, "of {}", season.most);
        seasons.push(season);
    }
    Season::together(seasons).print("All of them");
}

#[test]
fn the_advice_in_other_worlds() {
    let extent = Extent::asked_for();
    for (name, settings) in others(extent.cuts, extent.weeks_of_others) {
        let years = world::draw(&settings, extent.seeds.start + 100);
        let mut policies = usual_policies(&years);
        let mut advised = vec![KNOWN, TOO_LOW, TOO_HIGH];
        if !extent.more {
            // Eight weeks with two cuts are too few to learn in what is asserted of half a year.
            policies.truncate(3);
            advised.truncate(1);
        }
        let season = Season::of(&years, policies);
        season.print(&format!("{name}, {} weeks of {} cuts", extent.weeks_of_others, extent.cuts));
        for advice in advised {
            let (advised, rule) = (season.books(advice).proceeds(), season.books(RULE).proceeds());
            assert!(advised >= rule, "{name}, {advice}: {advised}, the rule {rule}");
        }
    }
}

fn usual_policies(years: &[Year]) -> Vec<Box<dyn Policy + Send>> {
    vec![
        Box::new(LeaveAlone),
        Box::new(RuleOfThumb),
        Box::new(Advised::knowing(KNOWN, years, Following::WorthIt)),
        Box::new(Advised::learning(TOO_LOW, years, 1.0 / 1.6)),
        Box::new(Advised::learning(TOO_HIGH, years, 1.6)),
        Box::new(Advised::knowing(BEST, years, Following::Best)),
    ]
}

#[test]
fn the_bound_is_the_best_of_all_deeds() {
    let (mut above_leaving, mut above_the_rule) = (0, 0);
    for seed in 0..200 {
        let year = tiny(seed);
        let most = clairvoyant(&year);
        assert_eq!(most, by_trying_everything(&year), "seed {seed}: {:?}", year.batches);
        let brings = |policy: &mut dyn Policy| run(std::slice::from_ref(&year), policy)[0].proceeds();
        above_leaving += usize::from(most > brings(&mut LeaveAlone));
        above_the_rule += usize::from(most > brings(&mut RuleOfThumb));
    }
    // Worlds in which nothing is to be decided would show nothing.
    assert!(above_leaving > 100 && above_the_rule > 100, "{above_leaving} and {above_the_rule} of 200");
}

/// Four days, one cut, few trays, a ladder of list, 20 % and 40 % off.
fn tiny(seed: u64) -> Year {
    let mut settings = usual(1, 1);
    settings.days = 4;
    settings.kitchen_g_per_day = 500;
    settings.kitchen_comes = KitchenComes::Mornings;
    settings.waste_cents_per_kg = 300;
    settings.surplus = 2.0;
    settings.cuts[0].rate = 0.12;
    settings.cuts[0].life = (20, 50);
    let mut year = world::draw(&settings, seed).remove(0);
    year.ladder = vec![year.ladder[0], year.ladder[2], year.ladder[4]];
    year
}

#[test]
fn nothing_done_at_random_brings_more_than_the_bound() {
    let years = world::draw(&usual(3, HALF_A_YEAR), 5);
    let most: Vec<i64> = years.iter().map(clairvoyant).collect();
    for seed in 0..20 {
        let books = run(&years, &mut AtRandom(Dice::new(seed)));
        for (books, most) in books.iter().zip(&most) {
            assert!(books.proceeds() <= *most, "{books:?} brings more than {most}");
        }
    }
}

#[test]
fn what_is_seen_hour_by_hour_is_what_the_engine_sees_tray_by_tray() {
    for (cut, year) in world::draw(&usual(3, HALF_A_YEAR), 11).iter().enumerate() {
        learning::check_what_is_seen(year, &mut AtRandom(Dice::new(cut as u64)));
    }
}
