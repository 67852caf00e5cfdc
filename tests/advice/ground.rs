//! Problems as the tests write them: money in whole units, which the program counts in hundredths.

use sakudana::domain::advice::{Demand, Problem, Stage, Unit};

/// The ladder 20/16/12 with elasticity 2 at list, units of 1 kg that last, and so many stages of one standard hour.
pub fn ladder(count: usize, stages: usize, left: f64) -> Problem {
    let unit = |tray| Unit { grams: 1_000, price: 2_000, ends: stages + 1, tray };
    Problem {
        units: (0..count).map(unit).collect(),
        stages: vec![Stage { hours: 1.0, review: true, kitchen_g: 0 }; stages],
        today: stages,
        prices: vec![2_000, 1_600, 1_200],
        reaches: vec![count],
        demand: Demand::Known(1.0),
        elasticity: 2.0,
        kitchen_cents_per_kg: 0,
        freezer: None,
        waste_cents_per_kg: 0,
        left_cents_per_kg: (left * 100.0).round() as i64,
    }
}

/// Within half a unit of the last printed digit.
#[track_caller]
pub fn near(what: &str, got: f64, expected: f64, within: f64) {
    assert!((got - expected).abs() <= within, "{what}: {got}, not {expected}");
}
