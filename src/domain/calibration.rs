//! Whether what was said to be so likely happened so often: forecasts in bins, each with what was seen and how sure that is, and the Brier score
//! with its parts.
//!
//! The Brier score (Brier 1950, Monthly Weather Review 78, 1-3) is the mean of (forecast - outcome)². Its parts are those of Murphy (1973,
//! Journal of Applied Meteorology 12, 595-600): reliability, less resolution, plus uncertainty. Where the forecasts of a bin differ among
//! themselves these three do not sum to the score; what is missing is two parts within the bins (Stephenson, Coelho, Jolliffe 2008, Weather
//! and Forecasting 23, 752-757; from memory), which are reckoned as one here, so that the sum is exact. Outcomes may be shares.

/// One forecast with what came of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// How likely it was said to be, or which share was expected: 0 to 1.
    pub forecast: f64,
    /// 1 when it happened, 0 when not, or the share that did.
    pub happened: f64,
    /// How much it counts, above 0.
    pub weight: f64,
}

/// Fewer than this many say nothing: with 20 the interval around a half still reaches 20 points either way.
pub const ENOUGH: f64 = 20.0;

/// Two-sided 95 %.
const Z: f64 = 1.959_963_984_540_054;

/// What can be said of a bin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    TooFew,
    /// The forecast lies within what chance allows.
    Fits,
    /// It happened oftener than said.
    Oftener,
    Rarer,
}

impl Word {
    pub const fn as_str(self) -> &'static str {
        match self {
            Word::TooFew => "too_few",
            Word::Fits => "fits",
            Word::Oftener => "oftener",
            Word::Rarer => "rarer",
        }
    }
}

/// Forecasts of about the same size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// From this forecast on, up to below `to`; the last bin includes it.
    pub from: f64,
    pub to: f64,
    /// How many forecasts, and how many equal weights they are worth.
    pub count: usize,
    pub worth: f64,
    /// Their means by weight.
    pub forecast: f64,
    pub happened: f64,
    /// Where the true share lies, 95 %: Wilson's score interval.
    pub low: f64,
    pub high: f64,
    pub word: Word,
}

/// The Brier score and what it is made of: `score = reliability - resolution + uncertainty + within`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brier {
    pub score: f64,
    /// How far the bins are from what they said; 0 is best.
    pub reliability: f64,
    /// How far what happened in the bins is from what happened in all; the more the better.
    pub resolution: f64,
    /// What somebody who always says the mean would score.
    pub uncertainty: f64,
    /// What the bins hide.
    pub within: f64,
}

/// All of it. Bins without a forecast are left out.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    pub bins: Vec<Bin>,
    pub count: usize,
    /// None without forecasts.
    pub brier: Option<Brier>,
}

/// Sorts outcomes into so many bins of equal width, at least one. What has no weight, or is not between 0 and 1, is not counted.
pub fn calibrate(outcomes: &[Outcome], bins: usize) -> Calibration {
    let counted: Vec<Outcome> = outcomes.iter().copied().filter(counts).collect();
    let all = bins.max(1);
    // A division, so that 0.6 is where the bin of 0.6 begins.
    let edge = |k: usize| as_f64(k) / as_f64(all);
    let mut sums = vec![Sums::default(); all];
    for outcome in &counted {
        let place = (0..all).rev().find(|k| outcome.forecast >= edge(*k)).unwrap_or(0);
        if let Some(sums) = sums.get_mut(place) {
            sums.add(outcome);
        }
    }
    let mut total = Sums::default();
    counted.iter().for_each(|outcome| total.add(outcome));
    let kept = sums.iter().enumerate().filter(|(_, sums)| sums.count > 0);
    let found = kept.clone().map(|(k, sums)| sums.bin(edge(k), edge(k + 1))).collect();
    let brier = (total.count > 0).then(|| brier(&total, kept.map(|(_, sums)| sums)));
    Calibration { bins: found, count: counted.len(), brier }
}

fn counts(outcome: &Outcome) -> bool {
    let share = |x: f64| (0.0..=1.0).contains(&x);
    share(outcome.forecast) && share(outcome.happened) && outcome.weight.is_finite() && outcome.weight > 0.0
}

/// Wilson's score interval (Wilson 1927, Journal of the American Statistical Association 22, 209-212) of a share seen among `n`, for 95 %.
pub fn wilson(share: f64, n: f64) -> (f64, f64) {
    if n <= 0.0 {
        return (0.0, 1.0);
    }
    let z2 = Z * Z;
    let middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = Z / (1.0 + z2 / n) * (share * (1.0 - share) / n + z2 / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

/// Sums over outcomes, from which everything follows.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    count: usize,
    weight: f64,
    weight_squared: f64,
    forecast: f64,
    happened: f64,
    /// Squares of the outcomes, and of forecast less outcome.
    happened_squared: f64,
    missed_squared: f64,
}

impl Sums {
    fn add(&mut self, o: &Outcome) {
        self.count += 1;
        self.weight += o.weight;
        self.weight_squared += o.weight * o.weight;
        self.forecast += o.weight * o.forecast;
        self.happened += o.weight * o.happened;
        self.happened_squared += o.weight * o.happened * o.happened;
        self.missed_squared += o.weight * (o.forecast - o.happened).powi(2);
    }

    fn mean_forecast(&self) -> f64 {
        self.forecast / self.weight
    }

    fn mean_happened(&self) -> f64 {
        self.happened / self.weight
    }

    fn bin(&self, from: f64, to: f64) -> Bin {
        // How many equal weights are worth as much (Kish 1965, Survey Sampling; from memory).
        let worth = self.weight * self.weight / self.weight_squared;
        let (forecast, happened) = (self.mean_forecast(), self.mean_happened());
        let (low, high) = wilson(happened.clamp(0.0, 1.0), worth);
        let word = match () {
            () if worth < ENOUGH - 1e-9 => Word::TooFew,
            () if forecast < low => Word::Oftener,
            () if forecast > high => Word::Rarer,
            () => Word::Fits,
        };
        Bin { from, to, count: self.count, worth, forecast, happened, low, high, word }
    }
}

fn brier<'a>(total: &Sums, bins: impl Iterator<Item = &'a Sums>) -> Brier {
    let mean = total.mean_happened();
    let score = total.missed_squared / total.weight;
    let (mut reliability, mut resolution) = (0.0, 0.0);
    for bin in bins {
        let share = bin.weight / total.weight;
        reliability += share * (bin.mean_forecast() - bin.mean_happened()).powi(2);
        resolution += share * (bin.mean_happened() - mean).powi(2);
    }
    let uncertainty = total.happened_squared / total.weight - mean * mean;
    Brier { score, reliability, resolution, uncertainty, within: score - reliability + resolution - uncertainty }
}

fn as_f64(count: usize) -> f64 {
    count as f64
}
