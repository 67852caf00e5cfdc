//! The textbook's algorithm (1.2 of the reference, FEFO pointer): one price for all, Poisson demand, a table over review, next unit and step.
//! Written from its pseudo-code and sharing nothing with the program.

/// Whether a price may rise again.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Prices {
    NeverRaised,
    Free,
}

pub struct Textbook {
    /// Kilograms, in the order of issue.
    pub weights: Vec<f64>,
    /// In how many periods each can be sold.
    pub ends: Vec<usize>,
    /// A kilogram, falling.
    pub prices: Vec<f64>,
    /// Expected demand by period and step.
    pub means: Vec<Vec<f64>>,
    /// What a kilogram is worth when its time has ended.
    pub residual: f64,
    /// What it is worth when the last period has ended and its time has not.
    pub left: f64,
    /// What the kitchen pays a kilogram at each review; none where it takes nothing.
    pub redirect: Vec<Option<f64>>,
    pub rule: Prices,
}

#[derive(Debug, Clone, Default)]
pub struct Answer {
    pub value: f64,
    pub step: usize,
    pub redirected: usize,
    pub sold_kg: f64,
    pub expired_kg: f64,
    pub redirected_kg: f64,
    pub sold_units: f64,
    pub redirected_units: f64,
    /// What each first price is worth with nothing redirected.
    pub by_price: Vec<f64>,
}

/// Chances of 0, 1 … n-1 and of all more.
pub fn poisson(mean: f64, n: usize) -> Vec<f64> {
    let mut chance = (-mean).exp();
    let mut all = Vec::new();
    for d in 0..n {
        all.push(chance);
        chance *= mean / (d + 1) as f64;
    }
    all.push((1.0 - all.iter().sum::<f64>()).max(0.0));
    all
}

impl Textbook {
    fn before(&self, i: usize) -> f64 {
        self.weights[..i].iter().sum()
    }

    fn expired(&self, i: usize, period: usize) -> usize {
        i.max(self.ends.iter().filter(|end| **end <= period).count())
    }

    /// `V[k][i][j]`, and at each review what is best from there: step and whether the next unit is redirected.
    pub fn solve(&self) -> Answer {
        let (n, periods, steps) = (self.weights.len(), self.means.len(), self.prices.len());
        let kg = |from: usize, to: usize| self.before(to) - self.before(from);
        let mut value: Vec<Vec<f64>> = (0..=n)
            .map(|i| {
                let after = self.expired(i, periods);
                vec![self.residual * kg(i, after) + self.left * kg(after, n); steps]
            })
            .collect();
        let mut policy = Vec::new();
        let mut by_price = Vec::new();
        for k in (0..periods).rev() {
            let mut q = vec![vec![0.0; steps]; n + 1];
            for i in 0..=n {
                for j in 0..steps {
                    for (d, chance) in poisson(self.means[k][j], n - i).iter().enumerate() {
                        q[i][j] += chance * (self.prices[j] * kg(i, i + d) + value[i + d][j]);
                    }
                }
            }
            let mut best = vec![vec![(0.0, 0, false); steps]; n + 1];
            for i in (0..=n).rev() {
                for j0 in 0..steps {
                    let from = if self.rule == Prices::Free { 0 } else { j0 };
                    let (mut at, mut most) = (from, q[i][from]);
                    for j in from..steps {
                        if q[i][j] > most + 1e-12 {
                            (at, most) = (j, q[i][j]);
                        }
                    }
                    best[i][j0] = (most, at, false);
                    if let (Some(c), true) = (self.redirect[k], i < n) {
                        let other = c * self.weights[i] + best[i + 1][j0].0;
                        if other > most + 1e-12 {
                            best[i][j0] = (other, 0, true);
                        }
                    }
                }
            }
            if k == 0 {
                by_price = q[0].clone();
            }
            let then: Vec<Vec<f64>> = best.iter().map(|row| row.iter().map(|(value, _, _)| *value).collect()).collect();
            value = (0..=n)
                .map(|i| {
                    let after = self.expired(i, k);
                    then[after].iter().map(|value| value + self.residual * kg(i, after)).collect()
                })
                .collect();
            policy.push(best);
        }
        policy.reverse();
        let mut answer = Answer { value: value[0][0], by_price, ..Answer::default() };
        self.follow(&policy, &mut answer);
        answer
    }

    fn follow(&self, policy: &[Vec<Vec<(f64, usize, bool)>>], answer: &mut Answer) {
        let (n, steps) = (self.weights.len(), self.prices.len());
        let mut at = vec![vec![0.0; steps]; n + 1];
        at[0][0] = 1.0;
        for (k, best) in policy.iter().enumerate() {
            let mut next = vec![vec![0.0; steps]; n + 1];
            for i in 0..=n {
                for j0 in 0..steps {
                    let chance = at[i][j0];
                    let start = self.expired(i, k);
                    answer.expired_kg += chance * (self.before(start) - self.before(i));
                    let mut from = start;
                    while best[from][j0].2 {
                        from += 1;
                    }
                    answer.redirected_kg += chance * (self.before(from) - self.before(start));
                    answer.redirected_units += chance * (from - start) as f64;
                    let step = best[from][j0].1;
                    if k == 0 && (i, j0) == (0, 0) {
                        (answer.step, answer.redirected) = (step, from);
                    }
                    for (d, p) in poisson(self.means[k][step], n - from).iter().enumerate() {
                        next[from + d][step] += chance * p;
                        answer.sold_kg += chance * p * (self.before(from + d) - self.before(from));
                        answer.sold_units += chance * p * d as f64;
                    }
                }
            }
            at = next;
        }
        for (i, row) in at.iter().enumerate() {
            let after = self.expired(i, policy.len());
            answer.expired_kg += row.iter().sum::<f64>() * (self.before(after) - self.before(i));
        }
    }

    /// The value of prices fixed in advance, a step for each period.
    pub fn schedule(&self, steps: &[usize]) -> f64 {
        let n = self.weights.len();
        let kg = |from: usize, to: usize| self.before(to) - self.before(from);
        let ends = |i: usize| {
            self.residual * kg(i, self.expired(i, steps.len())) + self.left * kg(self.expired(i, steps.len()), n)
        };
        let mut value: Vec<f64> = (0..=n).map(ends).collect();
        for (k, step) in steps.iter().enumerate().rev() {
            let sold = |i: usize| -> f64 {
                let chances = poisson(self.means[k][*step], n - i);
                chances.iter().enumerate().map(|(d, p)| p * (self.prices[*step] * kg(i, i + d) + value[i + d])).sum()
            };
            let sold: Vec<f64> = (0..=n).map(sold).collect();
            value = (0..=n).map(|i| self.residual * kg(i, self.expired(i, k)) + sold[self.expired(i, k)]).collect();
        }
        value[0]
    }
}

/// The ladder 20/16/12 with elasticity 2, units of 1 kg that last (instance L1 of the reference).
pub fn l1(n: usize, demand: f64, periods: usize, left: f64, rule: Prices) -> Textbook {
    let means = vec![demand, demand * 0.4_f64.exp(), demand * 0.8_f64.exp()];
    Textbook {
        weights: vec![1.0; n],
        ends: vec![periods + 1; n],
        prices: vec![20.0, 16.0, 12.0],
        means: vec![means; periods],
        residual: 0.0,
        left,
        redirect: vec![None; periods],
        rule,
    }
}
