//! Laws of how fast something goes with temperature, each with its exact mean over a straight line; and tariffs: laws laid end to end
//! over the thermometer. Which tariff holds where is `regime`'s.
//!
//! Temperatures are milli-degrees Celsius as `f64`, since a line cut in two has its middle anywhere.

/// A rate as a function of temperature, in multiples of the rate the sum counts in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    Flat(f64),
    /// (1 + 0.1 T)^2 with T in °C.
    SquareRoot,
    /// `at_zero` times e^(`per_mc` T) with T in milli-degrees.
    Exponential {
        at_zero: f64,
        per_mc: f64,
    },
}

impl Law {
    pub fn rate(self, mc: f64) -> f64 {
        self.mean(mc, mc)
    }

    /// The mean rate while the temperature goes evenly from one end to the other: the integral over the line, divided by its length.
    #[inline]
    pub fn mean(self, low: f64, high: f64) -> f64 {
        match self {
            Law::Flat(rate) => rate,
            Law::SquareRoot => {
                let (a, b) = (1.0 + low * 1e-4, 1.0 + high * 1e-4);
                (a * a + a * b + b * b) / 3.0
            }
            Law::Exponential { at_zero, per_mc } => {
                let half = (high - low) * 0.5;
                at_zero * (per_mc * (low + half)).exp() * sinh_over(per_mc * half)
            }
        }
    }
}

/// sinh(x)/x, without the cancellation that (e^b - e^a)/(b - a) suffers on a nearly flat line.
fn sinh_over(x: f64) -> f64 {
    if x.abs() > 0.5 {
        return x.sinh() / x;
    }
    let y = x * x;
    // The series to the seventh term: the eighth is below 1e-17 here.
    let tail = 1.0 + y / 110.0 * (1.0 + y / 156.0 * (1.0 + y / 210.0));
    1.0 + y / 6.0 * (1.0 + y / 20.0 * (1.0 + y / 42.0 * (1.0 + y / 72.0 * tail)))
}

/// A law and the warmest temperature it holds at.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Band {
    up_to: f64,
    law: Law,
}

/// Laws laid end to end from the coldest temperature to the warmest.
#[derive(Debug, Clone, PartialEq)]
pub struct Tariff {
    bands: Vec<Band>,
}

impl Tariff {
    /// Between two neighbouring edges the law chosen for their middle holds; an edge belongs to the colder side.
    pub fn new(mut edges: Vec<f64>, law_at: impl Fn(f64) -> Law) -> Tariff {
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let mut bands: Vec<Band> = Vec::new();
        let mut below = None;
        for up_to in edges.into_iter().chain([f64::INFINITY]) {
            let probe = match below {
                None => up_to - 1_000.0,
                Some(edge) if up_to.is_infinite() => edge + 1_000.0,
                Some(edge) => (edge + up_to) * 0.5,
            };
            let law = law_at(probe);
            below = Some(up_to);
            match bands.last_mut() {
                Some(last) if last.law == law => last.up_to = up_to,
                _ => bands.push(Band { up_to, law }),
            }
        }
        Tariff { bands }
    }

    /// Nothing up to and at a temperature, one above it.
    pub fn above(edge: f64) -> Tariff {
        Tariff::new(vec![edge], |mc| Law::Flat(if mc > edge { 1.0 } else { 0.0 }))
    }

    /// The same whatever the temperature.
    pub fn flat(rate: f64) -> Tariff {
        Tariff { bands: vec![Band { up_to: f64::INFINITY, law: Law::Flat(rate) }] }
    }

    pub fn rate(&self, mc: f64) -> f64 {
        self.mean(mc, mc)
    }

    /// The mean rate over a straight line between two temperatures, either way round.
    #[inline]
    pub fn mean(&self, from: f64, to: f64) -> f64 {
        let (low, high) = (from.min(to), from.max(to));
        match self.bands.iter().find(|band| low <= band.up_to) {
            Some(band) if high <= band.up_to => band.law.mean(low, high),
            _ => self.mean_over_edges(low, high),
        }
    }

    /// The law of a line that lies wholly on one; an edge it begins or ends at is no matter.
    pub fn law_over(&self, from: f64, to: f64) -> Option<Law> {
        let (low, high) = (from.min(to), from.max(to));
        self.bands.iter().find(|band| low < band.up_to).filter(|band| high <= band.up_to).map(|band| band.law)
    }

    fn mean_over_edges(&self, low: f64, high: f64) -> f64 {
        let mut reached = low;
        let mut total = 0.0;
        for band in &self.bands {
            let end = band.up_to.min(high);
            if end > reached {
                total += band.law.mean(reached, end) * (end - reached);
                reached = end;
            }
        }
        total / (high - low)
    }
}
