//! The morning's markdown candidates by remaining life: which trays, what to do, at which price. A stated ladder of the shop's own
//! (common practice, no source); the optimum of a demand model takes this place when there is demand to learn from.

use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::money::PricePerKg;

/// One step of the ladder: with at most this many hours of sale left, this share off the list price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    pub within_hours: i64,
    pub off_permille: i64,
}

/// The shop's ladder, and the hours below which a tray is better cooked this morning than marked down again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ladder {
    pub steps: Vec<Step>,
    pub kitchen_within_hours: i64,
}

impl Default for Ladder {
    /// 20 % off within 24 hours of the end, 40 % within 10, the kitchen within 3.
    fn default() -> Ladder {
        let steps = vec![Step { within_hours: 24, off_permille: 200 }, Step { within_hours: 10, off_permille: 400 }];
        Ladder { steps, kitchen_within_hours: 3 }
    }
}

/// What the review proposes for one tray.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Advice {
    /// Sell at this price per kilogram.
    MarkDown(PricePerKg),
    /// Too little time is left to sell it; cook it now.
    Kitchen,
    /// Its life has ended: off the counter.
    TakeOff,
}

impl Advice {
    pub const fn as_str(self) -> &'static str {
        match self {
            Advice::MarkDown(_) => "mark_down",
            Advice::Kitchen => "kitchen",
            Advice::TakeOff => "take_off",
        }
    }
}

impl Ladder {
    /// Checks a ladder from settings: later steps start later and take more off.
    pub fn check(self) -> Result<Ladder, String> {
        let mut last = Step { within_hours: i64::MAX, off_permille: 0 };
        for step in &self.steps {
            if !(1..=240).contains(&step.within_hours) || !(1..=900).contains(&step.off_permille) {
                return Err("each step needs within_hours from 1 to 240 and off_permille from 1 to 900".into());
            }
            if step.within_hours >= last.within_hours || step.off_permille <= last.off_permille {
                return Err("steps run from far to near the end, each taking more off than the one before".into());
            }
            last = *step;
        }
        if !(0..last.within_hours.min(240)).contains(&self.kitchen_within_hours) {
            return Err("kitchen_within_hours must be from 0 to below the last step".into());
        }
        Ok(self)
    }

    /// The advice for a tray, or none when it can be left alone.
    pub fn advise(
        &self,
        list_price: PricePerKg,
        price: PricePerKg,
        sell_until: Instant,
        now: Instant,
    ) -> Option<Advice> {
        let left = sell_until.since(now);
        if left < 0 {
            return Some(Advice::TakeOff);
        }
        if left < self.kitchen_within_hours * MICROS_PER_HOUR {
            return Some(Advice::Kitchen);
        }
        let off =
            self.steps.iter().filter(|s| left <= s.within_hours * MICROS_PER_HOUR).map(|s| s.off_permille).max()?;
        let lowered = list_price.lowered_by_permille(off);
        (lowered < price).then_some(Advice::MarkDown(lowered))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hours(h: i64) -> Instant {
        Instant::from_micros(h * MICROS_PER_HOUR).unwrap_or_else(|_| panic!("small"))
    }

    fn price(cents: i64) -> PricePerKg {
        PricePerKg::new(cents).unwrap_or_default()
    }

    #[test]
    fn the_ladder_is_walked_down_and_never_up() {
        let ladder = Ladder::default();
        let advise =
            |left: i64, now_price| ladder.advise(price(8_000), price(now_price), hours(100 + left), hours(100));
        assert_eq!(advise(25, 8_000), None);
        assert_eq!(advise(24, 8_000), Some(Advice::MarkDown(price(6_400))));
        assert_eq!(advise(24, 6_400), None);
        assert_eq!(advise(10, 6_400), Some(Advice::MarkDown(price(4_800))));
        assert_eq!(advise(10, 4_000), None);
        assert_eq!(advise(2, 8_000), Some(Advice::Kitchen));
        assert_eq!(advise(-1, 8_000), Some(Advice::TakeOff));
    }

    #[test]
    fn ladders_are_checked() {
        let step = |within_hours, off_permille| Step { within_hours, off_permille };
        for (steps, kitchen) in [
            (vec![step(10, 100), step(24, 200)], 3),
            (vec![step(24, 200), step(10, 200)], 3),
            (vec![step(24, 0)], 3),
            (vec![step(24, 200)], 24),
            (vec![step(24, 950)], 1),
        ] {
            assert!(Ladder { steps, kitchen_within_hours: kitchen }.check().is_err());
        }
        assert!(Ladder::default().check().is_ok());
    }
}
