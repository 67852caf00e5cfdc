//! How much of a cut is asked for, and when: what the shop's own sales say, and how sure that is.

pub mod gamma;
pub mod learn;
pub mod observe;
pub mod rate;
pub mod response;
pub mod week;

/// So many weeks back sales count, all alike; older ones do not.
pub const WEEKS: i64 = 8;

/// What is believed of a rate, units sold per standard hour at the list price: a Gamma distribution by shape and rate (hours).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief {
    pub shape: f64,
    pub rate: f64,
}

impl Belief {
    /// Expected units per standard hour.
    pub fn mean(self) -> f64 {
        self.shape / self.rate
    }
}

/// Where a number was taken from, so that it can be said beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// The cut's own sales.
    Own,
    /// What the shop sold of everything else.
    Shop,
    /// A stated default.
    Stated,
    /// A person said so.
    Told,
}

/// How demand answers to the price: `e^{at_list (1 - p/list)}` times the demand at list.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elasticity {
    pub at_list: f64,
    /// A range to show what hangs on it.
    pub low: f64,
    pub high: f64,
    pub basis: Basis,
}

/// How the week runs: the share of an average opening hour that each hour of each weekday sees. Mean 1 over opening time.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// By weekday, Monday first, then by local hour.
    pub factors: [[f64; 24]; 7],
}

/// All that is known of the demand for one cut.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    pub belief: Belief,
    pub basis: Basis,
    pub elasticity: Elasticity,
    pub pattern: Pattern,
    /// The evidence: units sold, and the hours in which there was something to sell.
    pub units_sold: i64,
    pub hours_in_stock: f64,
}

/// How many times the demand at list a price sees. `list` above zero; both in the same unit.
pub fn multiplier(elasticity: f64, price: f64, list: f64) -> f64 {
    (elasticity * (1.0 - price / list)).exp()
}
