//! A place through time, told plainly: its settings, its readings, and what an hour there does to fish. Every stretch is added up in
//! floating point, from a rule of thumb integrated numerically. Slow, and written without a look at how the program does it.

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::ops::Bound::{Excluded, Unbounded};

/// What a stretch did, in microseconds of each kind.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Toll {
    pub raw: f64,
    pub colour: f64,
    pub frozen: f64,
    pub exposed: f64,
    pub hot: f64,
    pub measured: f64,
    pub assumed: f64,
}

impl Toll {
    pub fn plus(self, other: Toll) -> Toll {
        Toll {
            raw: self.raw + other.raw,
            colour: self.colour + other.colour,
            frozen: self.frozen + other.frozen,
            exposed: self.exposed + other.exposed,
            hot: self.hot + other.hot,
            measured: self.measured + other.measured,
            assumed: self.assumed + other.assumed,
        }
    }
}

/// How long a warm spell passes for a door left open, in every place here.
const WARM_MINUTES: i64 = 30;

/// How warm a label lets its buyer keep the fish, in milli-degrees.
const LABEL_LIMIT: i64 = 2_000;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    pub from: i64,
    pub method: &'static str,
    /// Milli-degrees.
    pub limit: i64,
    pub gap_minutes: i64,
}

/// The faster of the square-root and the exponential model, in degrees Celsius (both from memory, as the reference says). The first climbs
/// again below -10 °C and is not asked there.
fn model(t: f64) -> f64 {
    let root = if t > -10.0 { (1.0 + 0.1 * t).powi(2) } else { 0.0 };
    root.max((0.12 * t).exp())
}

fn raw_rate(method: &str, measured: bool, t: f64) -> f64 {
    match method {
        "frozen" if t <= -15.0 => 0.0,
        "superchill" if measured && (-3.0..=-1.0).contains(&t) => model(t).max(1.0 / 1.5),
        _ => model(t).max(1.0),
    }
}

/// Tuna frozen at -18 °C loses its colour in 14 days instead of 282.24 h at 0 °C, 1.78 times faster for 10 °C more, fastest at -10 °C and
/// no slower than that up to 0 °C, no credit below -40 °C (Yang et al. 2016; Chow, Ochiai & Watabe 2004; abstracts).
fn colour_rate(method: &str, measured: bool, t: f64) -> f64 {
    if method != "frozen" {
        return raw_rate(method, measured, t);
    }
    let slow = 282.24 / 336.0 * 1.78_f64.powf((t.clamp(-40.0, -10.0) + 18.0) / 10.0);
    if t > 0.0 { slow.max(model(t)) } else { slow }
}

/// Three times faster for 10 °C more, no credit below -40 °C.
fn frozen_rate(method: &str, t: f64) -> f64 {
    if method == "frozen" { 3_f64.powf((t.max(-40.0) + 18.0) / 10.0) } else { 0.0 }
}

fn above(edge: f64, t: f64) -> f64 {
    if t > edge { 1.0 } else { 0.0 }
}

/// How fast each thing runs at a temperature.
fn rates(method: &str, measured: bool, t: f64) -> Toll {
    Toll {
        raw: raw_rate(method, measured, t),
        colour: colour_rate(method, measured, t),
        frozen: frozen_rate(method, t),
        exposed: above(4.444, t),
        hot: above(21.111, t),
        measured: if measured { 1.0 } else { 0.0 },
        assumed: if measured { 0.0 } else { 1.0 },
    }
}

/// Where some rate has a corner or a jump: between two of these all are smooth. 1.5417 °C is where the model passes the pace of colour at
/// -10 °C, 15.79 °C where the two models cross (computed).
fn corners() -> [f64; 10] {
    let worst_colour = 282.24 / 336.0 * 1.78_f64.powf(0.8);
    let meets = (worst_colour.sqrt() - 1.0) * 10.0;
    [-40.0, -15.0, -10.0, -3.0, -1.0, 0.0, meets, 4.444, 15.790_081_360_252_53, 21.111]
}

/// Time spent while the temperature goes evenly from one to another: small steps, each by three points of Gauss.
fn along(method: &str, measured: bool, from: f64, to: f64, micros: f64) -> Toll {
    let steady = |t: f64, micros: f64| scaled(rates(method, measured, t), micros);
    if from == to {
        return steady(from, micros);
    }
    let (low, high) = (from.min(to), from.max(to));
    let mut cuts = vec![low];
    cuts.extend(corners().into_iter().filter(|corner| *corner > low && *corner < high));
    cuts.push(high);
    let mut sum = Toll::default();
    for ends in cuts.windows(2) {
        let (a, b) = (ends[0], ends[1]);
        let steps = ((b - a) / 2.0).ceil();
        let width = (b - a) / steps;
        for step in 0..steps as usize {
            let middle = a + (step as f64 + 0.5) * width;
            let share = micros * width / (high - low);
            for (place, weight) in [(-0.6_f64.sqrt(), 5.0), (0.0, 8.0), (0.6_f64.sqrt(), 5.0)] {
                sum = sum.plus(steady(middle + place * width / 2.0, share * weight / 18.0));
            }
        }
    }
    sum
}

fn scaled(rate: Toll, by: f64) -> Toll {
    Toll {
        raw: rate.raw * by,
        colour: rate.colour * by,
        frozen: rate.frozen * by,
        exposed: rate.exposed * by,
        hot: rate.hot * by,
        measured: rate.measured * by,
        assumed: rate.assumed * by,
    }
}

/// One place: everything that was set there and measured there. Instants are microseconds since the sequence began.
#[derive(Debug, Default)]
pub struct Climate {
    settings: Vec<Setting>,
    readings: BTreeMap<i64, i64>,
    /// Stretches between two turns, reckoned once until anything changes.
    reckoned: RefCell<HashMap<(i64, i64), Toll>>,
}

impl Climate {
    pub fn new(method: &'static str, limit: i64, gap_minutes: i64) -> Climate {
        let first = Setting { from: i64::MIN, method, limit, gap_minutes };
        Climate { settings: vec![first], ..Climate::default() }
    }

    pub fn set(&mut self, from: i64, method: &'static str, limit: i64, gap_minutes: i64) {
        self.settings.push(Setting { from, method, limit, gap_minutes });
        self.reckoned.borrow_mut().clear();
    }

    /// Of two readings of one instant the warmer counts.
    pub fn read(&mut self, at: i64, temperature: i64) {
        let kept = self.readings.entry(at).or_insert(temperature);
        *kept = (*kept).max(temperature);
        self.reckoned.borrow_mut().clear();
    }

    pub fn readings(&self) -> &BTreeMap<i64, i64> {
        &self.readings
    }

    pub fn setting(&self, at: i64) -> Setting {
        *self.settings.iter().rfind(|setting| setting.from <= at).unwrap()
    }

    fn before(&self, at: i64) -> Option<(i64, i64)> {
        self.readings.range(..=at).next_back().map(|(at, t)| (*at, *t))
    }

    fn after(&self, at: i64) -> Option<(i64, i64)> {
        self.readings.range((Excluded(at), Unbounded)).next().map(|(at, t)| (*at, *t))
    }

    /// What fish that stood here from one instant to another lived through.
    pub fn toll(&self, from: i64, to: i64) -> Toll {
        if to <= from {
            return Toll::default();
        }
        let mut turns = vec![from, to];
        turns.extend(self.readings.range((Excluded(from), Excluded(to))).map(|(at, _)| *at));
        turns.extend(self.settings.iter().map(|setting| setting.from).filter(|at| *at > from && *at < to));
        turns.sort_unstable();
        turns.dedup();
        turns.windows(2).fold(Toll::default(), |sum, ends| sum.plus(self.stretch(ends[0], ends[1])))
    }

    /// Between two instants with neither a reading nor a change of settings between them.
    fn stretch(&self, from: i64, to: i64) -> Toll {
        if let Some(known) = self.reckoned.borrow().get(&(from, to)) {
            return *known;
        }
        let here = self.setting(from);
        let micros = (to - from) as f64;
        let toll = match (self.before(from), self.after(from)) {
            (Some((a, low)), Some((b, high))) if b - a <= self.setting(a).gap_minutes * 60_000_000 => {
                let on_line = |at: i64| (low as f64 + (high - low) as f64 * (at - a) as f64 / (b - a) as f64) / 1e3;
                along(here.method, true, on_line(from), on_line(to), micros)
            }
            (before, after) => {
                let neighbours = [before, after].into_iter().flatten().map(|(_, t)| t);
                let worst = neighbours.max().map_or(here.limit, |t| t.max(here.limit)) as f64 / 1e3;
                along(here.method, false, worst, worst, micros)
            }
        };
        self.reckoned.borrow_mut().insert((from, to), toll);
        toll
    }

    /// How warm it is taken to be from an instant after the last reading on, until another reading comes: at its limit, or as last read when
    /// all last readings were above the limit, and that is longer ago than a spell may last that is taken for a door left open.
    pub fn state(&self, at: i64) -> i64 {
        let here = self.setting(at);
        let warm = self.readings.iter().rev().take_while(|(_, t)| **t > here.limit).last();
        match (warm, self.readings.last_key_value()) {
            (Some((since, _)), Some((until, t))) if (*until).max(at) - since >= WARM_MINUTES * 60_000_000 => *t,
            _ => here.limit,
        }
    }

    /// How fast each thing runs there meanwhile.
    pub fn pace(&self, at: i64) -> Toll {
        rates(self.setting(at).method, false, self.state(at) as f64 / 1e3)
    }

    /// The same, taken away and kept as the label says, or where it stands if that is warmer.
    pub fn pace_on_label(&self, at: i64) -> Toll {
        rates("chill", false, self.state(at).max(LABEL_LIMIT) as f64 / 1e3)
    }
}
