//! How the week runs, from all cuts of the shop together: one cut sells too little to tell Tuesday at eleven from Wednesday at four.

use super::Pattern;
use crate::domain::hours::OpeningHours;
use chrono::{NaiveTime, Timelike};

/// One number for each hour of each weekday, Monday first.
pub type Week = [[f64; 24]; 7];

/// An hour of the week, a weekday or an hour of the day is taken to be as busy as what it is shrunk to until about so many units are
/// expected of it. A choice of ours, no source.
pub const STEADY_UNITS: f64 = 20.0;

/// How many hours of each hour of the week the shop is open.
pub fn open_hours(hours: &OpeningHours) -> Week {
    let mut open = [[0.0; 24]; 7];
    for (day, span) in open.iter_mut().zip(hours.days) {
        let Some(span) = span else { continue };
        let (from, to) = (of_day(span.open), of_day(span.close));
        let mut hour = 0.0;
        for cell in day.iter_mut() {
            *cell = (to.min(hour + 1.0) - from.max(hour)).max(0.0);
            hour += 1.0;
        }
    }
    open
}

fn of_day(time: NaiveTime) -> f64 {
    f64::from(time.num_seconds_from_midnight()) / 3_600.0
}

/// Opening hours of an average day on which the shop opens.
pub fn trading_day(open: &Week) -> f64 {
    let (mut hours, mut days) = (0.0, 0.0);
    for day in open {
        let sum: f64 = day.iter().sum();
        if sum > 0.0 {
            hours += sum;
            days += 1.0;
        }
    }
    if days > 0.0 { hours / days } else { 0.0 }
}

impl Pattern {
    /// Every opening hour as busy as any other.
    pub fn flat(open: &Week) -> Pattern {
        Pattern { factors: open.map(|day| day.map(|hours| if hours > 0.0 { 1.0 } else { 0.0 })) }
    }

    /// The share of an hour of the week; 0 where the shop is closed.
    pub fn at(&self, weekday: usize, hour: usize) -> f64 {
        self.factors.get(weekday).and_then(|day| day.get(hour)).copied().unwrap_or(0.0)
    }

    /// The pattern by what was sold and what would have been expected in the same hours in stock were all hours alike. Hours of the day and
    /// weekdays first, each shrunk to 1; then every hour of the week, shrunk to the product of its two.
    pub fn learned(open: &Week, sold: &Week, expected: &Week) -> Pattern {
        let by_hour = share_of(&columns(sold), &columns(expected));
        let leaned = each(expected, |_, hour, units| units * by_hour.get(hour).copied().unwrap_or(1.0));
        let by_day = share_of(&rows(sold), &rows(&leaned));
        let factors = each(open, |day, hour, hours| {
            if hours <= 0.0 {
                return 0.0;
            }
            let usual = by_day.get(day).copied().unwrap_or(1.0) * by_hour.get(hour).copied().unwrap_or(1.0);
            (STEADY_UNITS + cell(sold, day, hour)) / (STEADY_UNITS / usual + cell(expected, day, hour))
        });
        Pattern { factors }.evened(open)
    }

    /// With mean 1 over opening time.
    fn evened(self, open: &Week) -> Pattern {
        let hours: f64 = open.iter().flatten().sum();
        let sum: f64 =
            open.iter().flatten().zip(self.factors.iter().flatten()).map(|(hours, factor)| hours * factor).sum();
        if hours <= 0.0 || sum <= 0.0 {
            return Pattern::flat(open);
        }
        Pattern { factors: each(&self.factors, |_, _, factor| factor * hours / sum) }
    }
}

/// Gamma-Poisson around 1.
fn share_of(sold: &[f64], expected: &[f64]) -> Vec<f64> {
    sold.iter().zip(expected).map(|(sold, expected)| (STEADY_UNITS + sold) / (STEADY_UNITS + expected)).collect()
}

fn rows(week: &Week) -> Vec<f64> {
    week.iter().map(|day| day.iter().sum()).collect()
}

fn columns(week: &Week) -> Vec<f64> {
    (0..24).map(|hour| week.iter().filter_map(|day| day.get(hour)).sum()).collect()
}

fn cell(week: &Week, day: usize, hour: usize) -> f64 {
    week.get(day).and_then(|day| day.get(hour)).copied().unwrap_or(0.0)
}

fn each(week: &Week, make: impl Fn(usize, usize, f64) -> f64) -> Week {
    let mut made = *week;
    for (day, row) in made.iter_mut().enumerate() {
        for (hour, value) in row.iter_mut().enumerate() {
            *value = make(day, hour, *value);
        }
    }
    made
}
