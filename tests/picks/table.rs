//! Trays to choose among, and the plainest way to choose: look at all subsets.

use sakudana::domain::picking::{Candidate, Choice, Missed, Window};
use sakudana::domain::tray::Kind;
use sakudana::domain::tray_code::TrayCode;
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::money::PricePerKg;

pub fn hour(hours: i64) -> Instant {
    Instant::EPOCH.plus_micros(hours * MICROS_PER_HOUR)
}

/// A block in the cold room, by number, weight, hour of its cutting and hour of its end.
pub fn block(number: usize, net_g: i64, cut: i64, until: i64) -> Candidate {
    Candidate {
        tray_id: i64::try_from(number).unwrap() + 1,
        code: (1..).filter_map(TrayCode::from_number).nth(number).unwrap(),
        kind: Kind::Block,
        place: "cold-room".into(),
        net_g,
        cut_at: hour(cut),
        sell_until: hour(until),
        price: PricePerKg::new(7_450).unwrap(),
        reserved_for: None,
        promised: false,
    }
}

/// Blocks of these weights, the oldest first.
pub fn blocks(weights: &[i64]) -> Vec<Candidate> {
    weights.iter().enumerate().map(|(at, grams)| block(at, *grams, 0, 100 + i64::try_from(at).unwrap())).collect()
}

/// Numbers that look like chance and are the same in every run.
pub struct Dice(pub u64);

impl Dice {
    pub fn below(&mut self, sides: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from((self.0 >> 33) % u64::try_from(sides).unwrap()).unwrap()
    }
}

/// A subset: a bit for each place, the oldest lowest, and its weight.
#[derive(Debug, Clone, Copy)]
pub struct Subset {
    bits: u32,
    pub sum: i64,
}

impl Subset {
    pub fn has(self, place: usize) -> bool {
        self.bits >> place & 1 == 1
    }

    pub fn places(self) -> Vec<usize> {
        (0..32).filter(|place| self.has(*place)).collect()
    }

    /// Lower for the one of two subsets that takes the older trays: where they differ first, it has the tray.
    fn older(self) -> u32 {
        !self.bits.reverse_bits()
    }
}

/// Every subset, with its weight added up tray by tray.
pub fn subsets(weights: &[i64]) -> Vec<Subset> {
    let sum =
        |bits: u32| weights.iter().enumerate().filter(|(at, _)| bits >> at & 1 == 1).map(|(_, grams)| grams).sum();
    (0..1_u32 << weights.len()).map(|bits| Subset { bits, sum: sum(bits) }).collect()
}

/// The choice, read off the subsets word by word.
pub fn naive(all: &[Subset], window: Window, choice: Choice) -> Result<Vec<usize>, Missed> {
    let fitting = all.iter().filter(|set| window.holds(set.sum));
    let away = |set: &Subset| (2 * set.sum - window.low - window.high).abs();
    let best = match choice {
        Choice::OldestFirst => fitting.min_by_key(|set| set.older()),
        Choice::Closest => fitting.min_by_key(|set| (away(set), set.older())),
        Choice::Fewest => fitting.min_by_key(|set| (set.bits.count_ones(), set.older())),
        Choice::LeastFresh => fitting.min_by_key(|set| (32 - set.bits.leading_zeros(), away(set), set.older())),
    };
    let sums = || all.iter().map(|set| set.sum);
    best.map(|set| set.places()).ok_or_else(|| Missed::Unreachable {
        below: sums().filter(|sum| (1..window.low).contains(sum)).max(),
        above: sums().filter(|sum| *sum > window.high).min(),
    })
}
