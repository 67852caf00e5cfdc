//! What fish has lived through, summed: the seven sums every clock is read from, and how they pass on when trays become other trays.

/// Sums over a stretch of a fish's life, in microseconds. Those of the clocks count equivalents: at 0 °C for raw and colour, at -18 °C
/// for frozen storage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Wear {
    /// Ice time of the raw-eating clock.
    pub raw_micros: i64,
    /// Ice time of the colour clock.
    pub colour_micros: i64,
    /// Time in frozen storage, as at -18 °C.
    pub frozen_micros: i64,
    /// Time above the safety temperature.
    pub exposed_micros: i64,
    /// The part of it above the hot temperature.
    pub hot_micros: i64,
    /// Plain time that was measured, and plain time that had to be assumed.
    pub measured_micros: i64,
    pub assumed_micros: i64,
}

impl Wear {
    fn each(self, other: Wear, join: impl Fn(i64, i64) -> i64) -> Wear {
        Wear {
            raw_micros: join(self.raw_micros, other.raw_micros),
            colour_micros: join(self.colour_micros, other.colour_micros),
            frozen_micros: join(self.frozen_micros, other.frozen_micros),
            exposed_micros: join(self.exposed_micros, other.exposed_micros),
            hot_micros: join(self.hot_micros, other.hot_micros),
            measured_micros: join(self.measured_micros, other.measured_micros),
            assumed_micros: join(self.assumed_micros, other.assumed_micros),
        }
    }

    /// One stretch after another.
    pub fn plus(self, later: Wear) -> Wear {
        self.each(later, i64::saturating_add)
    }

    /// What a stretch adds between two running sums.
    pub fn minus(self, earlier: Wear) -> Wear {
        self.each(earlier, i64::saturating_sub)
    }
}

/// What a tray may use up: fixed when it is made, by species group, form and the rules in force. No colour budget, no colour clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Budgets {
    pub raw_micros: i64,
    pub colour_micros: Option<i64>,
    pub frozen_micros: i64,
}

/// The wear of a tray made from, or topped up with, trays of these wears, all as of the same instant. Of each clock the most consumed
/// share of any input is taken over into the new budget, and never more is left than any input had; exposure never resets; how much was
/// measured is that of the input whose raw clock had run furthest.
pub fn inherit(inputs: &[(Wear, Budgets)], budgets: &Budgets) -> Wear {
    let raw = inputs.iter().map(|(wear, own)| take_over(wear.raw_micros, own.raw_micros, budgets.raw_micros)).max();
    let frozen =
        inputs.iter().map(|(wear, own)| take_over(wear.frozen_micros, own.frozen_micros, budgets.frozen_micros)).max();
    let colour = inputs.iter().map(|(wear, own)| match (own.colour_micros, budgets.colour_micros) {
        (Some(before), Some(after)) => take_over(wear.colour_micros, before, after),
        _ => wear.colour_micros,
    });
    let most = |sum: fn(&Wear) -> i64| inputs.iter().map(|(wear, _)| sum(wear)).max().unwrap_or(0);
    let furthest = inputs
        .iter()
        .max_by_key(|(wear, own)| (permille(wear.raw_micros, own.raw_micros), wear.assumed_micros))
        .map_or(Wear::default(), |(wear, _)| *wear);
    Wear {
        raw_micros: raw.unwrap_or(0),
        colour_micros: colour.max().unwrap_or(0),
        frozen_micros: frozen.unwrap_or(0),
        exposed_micros: most(|w| w.exposed_micros),
        hot_micros: most(|w| w.hot_micros),
        measured_micros: furthest.measured_micros,
        assumed_micros: furthest.assumed_micros,
    }
}

/// What of a new budget is used when `used` of `before` was: the same share, rounded up, and never more left than before.
fn take_over(used: i64, before: i64, after: i64) -> i64 {
    let by_share = if before <= 0 {
        after
    } else {
        let product = i128::from(used.max(0)) * i128::from(after);
        i64::try_from((product + i128::from(before) - 1) / i128::from(before)).unwrap_or(i64::MAX)
    };
    let left = before.saturating_sub(used).max(0);
    by_share.max(after.saturating_sub(left))
}

/// Used share of a budget in permille, rounded up, at most 1000.
pub fn permille(used: i64, budget: i64) -> i64 {
    if budget <= 0 {
        return 1_000;
    }
    let share = (i128::from(used.max(0)) * 1_000 + i128::from(budget) - 1) / i128::from(budget);
    i64::try_from(share).unwrap_or(1_000).clamp(0, 1_000)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(budget: i64, used: i64) -> (Wear, Budgets) {
        let wear = Wear {
            raw_micros: used,
            colour_micros: used,
            frozen_micros: used,
            exposed_micros: used,
            ..Wear::default()
        };
        (wear, Budgets { raw_micros: budget, colour_micros: Some(budget), frozen_micros: budget })
    }

    proptest::proptest! {
        #[test]
        fn taking_over_never_lengthens_a_life(inputs in proptest::collection::vec((1_i64..1_000_000, 0_i64..1_200_000), 1..5), budget in 1_i64..2_000_000) {
            let inputs: Vec<(Wear, Budgets)> = inputs.into_iter().map(|(budget, used)| of(budget, used)).collect();
            let (_, budgets) = of(budget, 0);
            let heir = inherit(&inputs, &budgets);
            for (wear, own) in &inputs {
                for (used, before) in [(heir.raw_micros, wear.raw_micros), (heir.colour_micros, wear.colour_micros), (heir.frozen_micros, wear.frozen_micros)] {
                    proptest::prop_assert!((budget - used).max(0) <= (own.raw_micros - before).max(0));
                    proptest::prop_assert!(permille(used, budget) >= permille(before, own.raw_micros));
                }
                proptest::prop_assert!(heir.exposed_micros >= wear.exposed_micros);
            }
        }
    }
}
