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

/// Numbers that look like chance and are the same in every run (splitmix64, Steele et al. 2014, constants from memory).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        bits ^ (bits >> 31)
    }

    pub fn below(&mut self, sides: usize) -> usize {
        (self.bits() % sides as u64) as usize
    }

    /// From 0 to below 1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// The time until something that happens so often.
    pub fn wait(&mut self, rate: f64) -> f64 {
        -(1.0 - self.unit()).ln() / rate
    }
}
