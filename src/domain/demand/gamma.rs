//! The two distributions that beliefs and forecasts are made of: Gamma for a rate, negative binomial for how many are sold at a rate that is
//! known only so well.

use super::Belief;

/// The logarithm of the Gamma function of a number above zero: Stirling's series, after the argument was raised to where it is exact to
/// the last digits of a double.
pub fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut below) = (x, 0.0);
    while x < 10.0 {
        below += x.ln();
        x += 1.0;
    }
    let inverse = 1.0 / (x * x);
    // Bernoulli numbers over 2k(2k - 1), k from 1 on.
    let terms =
        [1.0 / 12.0, -1.0 / 360.0, 1.0 / 1_260.0, -1.0 / 1_680.0, 1.0 / 1_188.0, -691.0 / 360_360.0, 1.0 / 156.0];
    let series = terms.iter().rev().fold(0.0, |sum, term| sum * inverse + term) / x;
    (x - 0.5) * x.ln() - x + 0.5 * std::f64::consts::TAU.ln() + series - below
}

/// How much of a Gamma distribution of that shape and rate 1 lies below `x`.
pub fn below(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let scale = (shape * x.ln() - x - ln_gamma(shape)).exp();
    if x < shape + 1.0 {
        return (scale * rising(shape, x)).clamp(0.0, 1.0);
    }
    (1.0 - scale * falling(shape, x)).clamp(0.0, 1.0)
}

/// The power series of the lower part.
fn rising(shape: f64, x: f64) -> f64 {
    let (mut term, mut sum, mut k) = (1.0 / shape, 1.0 / shape, shape);
    for _ in 0..10_000 {
        k += 1.0;
        term *= x / k;
        sum += term;
        if term < sum * 1e-16 {
            break;
        }
    }
    sum
}

/// The continued fraction of the upper part, from the front (modified Lentz).
fn falling(shape: f64, x: f64) -> f64 {
    let floor = |value: f64| if value.abs() < 1e-300 { 1e-300 } else { value };
    let mut b = x + 1.0 - shape;
    let (mut c, mut d) = (1e300, 1.0 / floor(b));
    let (mut fraction, mut k) = (d, 0.0);
    for _ in 0..10_000 {
        k += 1.0;
        let a = -k * (k - shape);
        b += 2.0;
        d = 1.0 / floor(a * d + b);
        c = floor(b + a / c);
        fraction *= d * c;
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    fraction
}

impl Belief {
    /// The rate that the true one is below with this probability, between 0 and 1.
    pub fn quantile(self, probability: f64) -> f64 {
        let (mut low, mut high) = (0.0, self.shape.max(1.0));
        while below(self.shape, high) < probability && high < 1e12 {
            (low, high) = (high, high * 2.0);
        }
        // Halving sixty times reaches the last digit of what is between.
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if below(self.shape, middle) < probability { low = middle } else { high = middle }
        }
        0.5 * (low + high) / self.rate
    }

    /// What is believed after so many units were sold in so many standard hours in stock.
    #[must_use]
    pub fn after(self, units: f64, hours: f64) -> Belief {
        Belief { shape: self.shape + units, rate: self.rate + hours }
    }

    /// How likely exactly 0, 1, 2 … up to `most` units are asked for in so many standard hours: the predictive distribution, a negative
    /// binomial. What is missing to 1 is asked for more.
    pub fn asked_for(self, hours: f64, most: usize) -> Vec<f64> {
        if hours <= 0.0 {
            return (0..=most).map(|k| if k == 0 { 1.0 } else { 0.0 }).collect();
        }
        let (none, more) = ((self.rate / (self.rate + hours)).ln() * self.shape, (hours / (self.rate + hours)).ln());
        // In logarithms: the likelihood of none may be too small for a double where that of the middle is not.
        let mut log = none;
        let mut k = 0.0;
        let mut chances = Vec::with_capacity(most + 1);
        for _ in 0..=most {
            chances.push(log.exp());
            log += ((self.shape + k) / (k + 1.0)).ln() + more;
            k += 1.0;
        }
        chances
    }

    /// How many of `there` units are expected to be sold in so many standard hours.
    pub fn sold_of(self, there: usize, hours: f64) -> f64 {
        let Some(last) = there.checked_sub(1) else { return 0.0 };
        let mut at_most = 0.0;
        let missing = self.asked_for(hours, last).into_iter().map(|chance| {
            at_most += chance;
            1.0 - at_most
        });
        missing.sum()
    }
}
