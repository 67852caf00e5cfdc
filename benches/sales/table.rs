//! Medians over the rounds, ratios, goals, and the rows of Markdown they end in.

use crate::Measured;
use std::collections::BTreeMap;
use std::time::Duration;

/// What was measured, by way and number of callers, one figure a round.
#[derive(Default)]
pub struct Table(BTreeMap<(&'static str, usize), Vec<Figure>>);

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
    pub fn note(&mut self, way: &'static str, callers: usize, measured: Measured) {
        let Measured { rate, mut waits } = measured;
        waits.sort();
        let figure = Figure { rate, p50: at_share(&waits, 50), p99: at_share(&waits, 99) };
        self.0.entry((way, callers)).or_default().push(figure);
    }

    fn middle(&self, way: &'static str, callers: usize) -> Figure {
        let rounds = &self.0[&(way, callers)];
        Figure {
            rate: median(rounds.iter().map(|f| f.rate).collect(), f64::total_cmp),
            p50: median(rounds.iter().map(|f| f.p50).collect(), Ord::cmp),
            p99: median(rounds.iter().map(|f| f.p99).collect(), Ord::cmp),
        }
    }

    pub fn print(&self, callers: &[usize]) {
        let serial = self.middle("bare", 1).rate;
        println!("| way | a second | of bare, one commit each | of bare, same group | p50 | p99 |");
        println!("|---|---:|---:|---:|---:|---:|");
        row("sync of 16 KiB, overwriting", self.middle("sync", 0), None, None);
        for &n in callers {
            let name = if n == 1 { "bare, one commit each".to_owned() } else { format!("bare, {n} in one commit") };
            let figure = self.middle("bare", n);
            row(&name, figure, Some(figure.rate / serial), None);
        }
        let alone = self.middle("alone", 0);
        row("act without a line, 1 caller", alone, Some(alone.rate / serial), Some(alone.rate / serial));
        for &n in callers {
            let figure = self.middle("shop", n);
            let same = figure.rate / self.middle("bare", n).rate;
            row(
                &format!("act, {n} {}", if n == 1 { "caller" } else { "callers" }),
                figure,
                Some(figure.rate / serial),
                Some(same),
            );
        }
        println!();
        goal("64 callers, of bare with one commit each", self.middle("shop", 64).rate / serial, 5.0);
        goal(
            "64 callers, of bare with 64 in one commit",
            self.middle("shop", 64).rate / self.middle("bare", 64).rate,
            0.6,
        );
        goal("1 caller, of the act without a line", self.middle("shop", 1).rate / alone.rate, 0.9);
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
