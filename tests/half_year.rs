//! Half a year of an invented shop with known demand.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "half_year/advised.rs"]
mod advised;
#[path = "half_year/report.rs"]
mod report;
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
#[path = "half_year/world.rs"]
mod world;

use advised::{Advised, Following};
use report::Season;
use bound::{by_trying_everything, clairvoyant};
use counter::{Books, Counter};
use cuts::usual;
use dice::Dice;
use policies::{AtRandom, LeaveAlone, Policy, RuleOfThumb, run};
use world::{KitchenComes, Year};

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
    let mut settings = usual(1);
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
    let years = world::draw(&usual(3), 5);
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
    for (cut, year) in world::draw(&usual(3), 11).iter().enumerate() {
        learning::check_what_is_seen(year, &mut AtRandom(Dice::new(cut as u64)));
    }
}

fn policies<'y>(years: &'y [Year]) -> Vec<Box<dyn Policy + Send + 'y>> {
    vec![
        Box::new(LeaveAlone),
        Box::new(RuleOfThumb),
        Box::new(Advised::knowing("advice, demand known", years, Following::WorthIt)),
        Box::new(Advised::learning("advice, prior 1.6 times too low", years, 1.0 / 1.6)),
        Box::new(Advised::learning("advice, prior 1.6 times too high", years, 1.6)),
        Box::new(Advised::told("advice, told 1.6 times too little", years, 1.0 / 1.6)),
        Box::new(Advised::told("advice, told 1.6 times too much", years, 1.6)),
        Box::new(Advised::knowing("model's optimum", years, Following::Best)),
    ]
}

#[test]
fn table() {
    for seed in 0..number("SAKUDANA_YEARS", 1) {
        let years = world::draw(&usual(number("SAKUDANA_YEAR_CUTS", 3)), seed as u64);
        let season = Season::of(&years, policies(&years));
        season.print(&format!("seed {seed}"));
        season.print_cuts(&years);
    }
}

#[test]
#[ignore]
fn other_worlds() {
    for (name, settings) in cuts::others(number("SAKUDANA_YEAR_CUTS", 3)) {
        let years = world::draw(&settings, 1);
        let season = Season::of(&years, policies(&years));
        season.print(name);
        season.print_cuts(&years);
    }
}

fn number(name: &str, usual: usize) -> usize {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}
