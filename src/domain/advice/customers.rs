//! How many customers come in a stretch of time: the chances of none, one, two … of them.

use super::Demand;

/// Nobody counts further; whoever comes after so many finds nothing left to buy.
const MOST: usize = 100_000;
/// What is left out at both ends, of all.
const TAIL: f64 = 1e-14;

/// The chances of 0, 1, 2 … customers in so many standard hours, all further ones counted with the last. They sum to 1.
pub(super) fn chances(demand: Demand, hours: f64) -> Vec<f64> {
    let (mode, nobody, ratio) = match demand {
        Demand::Known(rate) => {
            let mean = rate * hours;
            (mean, (-mean).exp(), Ratio { add: 0.0, grow: 0.0, mean })
        }
        Demand::Believed(belief) => {
            let share = hours / (belief.rate + hours);
            let mode = ((belief.shape - 1.0) * hours / belief.rate).max(0.0);
            let nobody = (-belief.shape * (hours / belief.rate).ln_1p()).exp();
            (mode, nobody, Ratio { add: belief.shape - 1.0, grow: share, mean: 0.0 })
        }
    };
    if mode > MOST as f64 {
        return certain(MOST);
    }
    let mode = mode.floor() as usize;
    let mut below = Vec::new();
    let (mut chance, mut sum, mut n) = (1.0, 1.0, mode);
    while n > 0 && chance > 0.0 {
        chance /= ratio.at(n);
        below.push(chance);
        sum += chance;
        n -= 1;
    }
    let mut all = vec![0.0; n];
    all.extend(below.into_iter().rev());
    all.push(1.0);
    let (mut chance, mut n) = (1.0, mode);
    loop {
        let next = ratio.at(n + 1);
        // From here on each chance is at most this many times the one before, so the rest is below a geometric series.
        let most = next.max(ratio.grow);
        if n >= MOST || (most < 1.0 && chance * next / (1.0 - most) < TAIL * sum) {
            break;
        }
        chance *= next;
        sum += chance;
        all.push(chance);
        n += 1;
    }
    // From the likeliest number on all chances are known but for a factor: their sum, or, where nobody is likeliest, the chance of nobody.
    let factor = if mode == 0 { nobody } else { 1.0 / sum };
    all.iter_mut().for_each(|chance| *chance *= factor);
    let missing = 1.0 - all.iter().sum::<f64>();
    if let Some(last) = all.last_mut() {
        *last = (*last + missing).max(0.0);
    }
    all
}

fn certain(n: usize) -> Vec<f64> {
    let mut all = vec![0.0; n];
    all.push(1.0);
    all
}

/// How each chance follows from the one before.
struct Ratio {
    add: f64,
    grow: f64,
    mean: f64,
}

impl Ratio {
    fn at(&self, n: usize) -> f64 {
        let n = n as f64;
        (self.mean + self.grow * (n + self.add)) / n
    }
}
