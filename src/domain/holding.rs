//! What lies on a tray by lot, and drawing from it. A mix is drawn in proportion, so that a trace names every fish that may be in it.

use crate::units::share::largest_remainder;

/// Grams and cost of one lot on a tray.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holding {
    pub lot_id: i64,
    pub grams: i64,
    pub cost_cents: i64,
}

/// Holdings that are drawn from together.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pool(Vec<Holding>);

impl Pool {
    /// Pours holdings together, one entry a lot, in the order of the lots.
    pub fn of(holdings: impl IntoIterator<Item = Holding>) -> Pool {
        let mut pool = Pool::default();
        for holding in holdings {
            pool.add(holding);
        }
        pool
    }

    pub fn add(&mut self, holding: Holding) {
        match self.0.iter_mut().find(|h| h.lot_id == holding.lot_id) {
            Some(same) => {
                same.grams += holding.grams;
                same.cost_cents += holding.cost_cents;
            }
            None => {
                self.0.push(holding);
                self.0.sort_by_key(|h| h.lot_id);
            }
        }
    }

    pub fn holdings(&self) -> &[Holding] {
        &self.0
    }

    pub fn grams(&self) -> i64 {
        self.0.iter().map(|h| h.grams).sum()
    }

    /// Takes `grams` out, of every lot in proportion to what is there; each lot's cost goes with its grams. None, and nothing
    /// taken, when the pool holds less. Sums are exact.
    pub fn draw(&mut self, grams: i64) -> Option<Vec<Holding>> {
        if grams < 0 || grams > self.grams() {
            return None;
        }
        let weights: Vec<i64> = self.0.iter().map(|h| h.grams).collect();
        let parts = largest_remainder(grams, &weights)?;
        let mut drawn = Vec::new();
        for (holding, part) in self.0.iter_mut().zip(parts) {
            let shares = largest_remainder(holding.cost_cents, &[part, holding.grams - part]);
            let cost = shares.and_then(|s| s.first().copied()).unwrap_or(0);
            holding.grams -= part;
            holding.cost_cents -= cost;
            if part != 0 || cost != 0 {
                drawn.push(Holding { lot_id: holding.lot_id, grams: part, cost_cents: cost });
            }
        }
        Some(drawn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pool(parts: &[(i64, i64, i64)]) -> Pool {
        Pool::of(parts.iter().map(|(lot_id, grams, cost_cents)| Holding {
            lot_id: *lot_id,
            grams: *grams,
            cost_cents: *cost_cents,
        }))
    }

    #[test]
    fn a_mix_is_drawn_in_proportion() {
        let mut tub = pool(&[(1, 300, 900), (2, 100, 500)]);
        let drawn = tub.draw(200).unwrap_or_default();
        assert_eq!(
            drawn,
            vec![Holding { lot_id: 1, grams: 150, cost_cents: 450 }, Holding { lot_id: 2, grams: 50, cost_cents: 250 }]
        );
        assert_eq!(tub.draw(201), None);
        assert_eq!(tub.grams(), 200);
    }

    proptest::proptest! {
        #[test]
        fn drawing_conserves_grams_and_cost(parts in proptest::collection::vec((0_i64..5_000, 0_i64..90_000), 1..5), draws in proptest::collection::vec(0_i64..3_000, 0..20)) {
            let start: Vec<(i64, i64, i64)> = parts.iter().enumerate().map(|(i, (g, c))| (i as i64, *g, *c)).collect();
            let mut tub = pool(&start);
            let (grams, cost): (i64, i64) = parts.iter().fold((0, 0), |(g, c), (pg, pc)| (g + pg, c + pc));
            let mut taken = (0, 0);
            for grams in draws {
                for h in tub.draw(grams).unwrap_or_default() {
                    proptest::prop_assert!(h.grams >= 0 && h.cost_cents >= 0);
                    taken = (taken.0 + h.grams, taken.1 + h.cost_cents);
                }
                proptest::prop_assert!(tub.holdings().iter().all(|h| h.grams >= 0 && h.cost_cents >= 0));
            }
            let left_cost: i64 = tub.holdings().iter().map(|h| h.cost_cents).sum();
            proptest::prop_assert_eq!((taken.0 + tub.grams(), taken.1 + left_cost), (grams, cost));
        }
    }
}
