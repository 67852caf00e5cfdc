//! Medians over the rounds, ratios, goals, and the rows of Markdown they end in.

use crate::Measured;
use std::collections::BTreeMap;
use std::time::Duration;

/// How it was done, and by how many callers.
type Way = (&'static str, usize);

const SERIAL: Way = ("bare", 1);
const ALONE: Way = ("alone", 1);

/// What was measured, by way and number of callers, one figure a round.
#[derive(Default)]
pub struct Table(BTreeMap<Way, Vec<Figure>>);

#[derive(Clone, Copy)]
struct Figure {
    rate: f64,
    p50: Duration,
    p99: Duration,
}

fn at_share(sorted: &[Duration], percent: usize) -> Duration {
    sorted.get((sorted.len() * percent / 100).min(sorted.len().saturating_sub(1))).copied().unwrap_or_default()
}

fn median<T: Copy>(mut of: Vec<T>, order: impl Fn(&T, &T) -> std::cmp::Ordering) -> T {
    of.sort_by(order);
    of[of.len() / 2]
}

impl Table {
    pub fn note(&mut self, way: Way, measured: Measured) {
        let Measured { rate, mut waits } = measured;
        waits.sort();
        let figure = Figure { rate, p50: at_share(&waits, 50), p99: at_share(&waits, 99) };
        self.0.entry(way).or_default().push(figure);
    }

    fn middle(&self, way: Way) -> Figure {
        let rounds = &self.0[&way];
        Figure {
            rate: median(rounds.iter().map(|f| f.rate).collect(), f64::total_cmp),
            p50: median(rounds.iter().map(|f| f.p50).collect(), Ord::cmp),
            p99: median(rounds.iter().map(|f| f.p99).collect(), Ord::cmp),
        }
    }

    /// How many times the rate of `base` that of `way` is: the middle of the rounds, so that what disturbs one round disturbs both sides.
    fn ratio(&self, way: Way, base: Way) -> f64 {
        let rounds = self.0[&way].iter().zip(&self.0[&base]);
        median(rounds.map(|(of, to)| of.rate / to.rate).collect(), f64::total_cmp)
    }

    pub fn print(&self, callers: &[usize]) {
        println!("| way | a second | of bare, one commit each | of bare, same group | p50 | p99 |");
        println!("|---|---:|---:|---:|---:|---:|");
        row("sync of 16 KiB, overwriting", self.middle(("sync", 0)), None, None);
        for &n in callers {
            let name = if n == 1 { "bare, one commit each".to_owned() } else { format!("bare, {n} in one commit") };
            row(&name, self.middle(("bare", n)), Some(self.ratio(("bare", n), SERIAL)), None);
        }
        let of_serial = Some(self.ratio(ALONE, SERIAL));
        row("act without a line, 1 caller", self.middle(ALONE), of_serial, of_serial);
        for &n in callers {
            let name = format!("act, {n} {}", if n == 1 { "caller" } else { "callers" });
            let shop = ("shop", n);
            row(&name, self.middle(shop), Some(self.ratio(shop, SERIAL)), Some(self.ratio(shop, ("bare", n))));
        }
        println!();
        goal("64 callers, of bare with one commit each", self.ratio(("shop", 64), SERIAL), 5.0);
        goal("64 callers, of bare with 64 in one commit", self.ratio(("shop", 64), ("bare", 64)), 0.6);
        goal("1 caller, of the act without a line", self.ratio(("shop", 1), ALONE), 0.9);
    }
}

fn row(name: &str, figure: Figure, of_serial: Option<f64>, of_group: Option<f64>) {
    let ratio = |r: Option<f64>| r.map_or_else(String::new, |r| format!("{r:.2}"));
    let wait = |w: Duration| if w.is_zero() { String::new() } else { format!("{:.2} ms", w.as_secs_f64() * 1e3) };
    let (of_serial, of_group) = (ratio(of_serial), ratio(of_group));
    println!(
        "| {name} | {:.0} | {of_serial} | {of_group} | {} | {} |",
        figure.rate,
        wait(figure.p50),
        wait(figure.p99)
    );
}

fn goal(what: &str, reached: f64, wanted: f64) {
    let verdict = if reached >= wanted { "met" } else { "MISSED" };
    println!("goal {verdict}: {what}: {reached:.2} (at least {wanted})");
}
