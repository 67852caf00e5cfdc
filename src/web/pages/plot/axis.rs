//! The axes of a picture: which degrees and which instants are named on them. How they are drawn is `plot`'s.

use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;
use crate::units::zone::Zone;
use chrono::{Datelike, NaiveDate, NaiveTime, TimeDelta, Timelike};

/// The time a picture shows, in the shop's zone.
#[derive(Debug, Clone, Copy)]
pub struct Stretch {
    pub zone: Zone,
    pub from: Instant,
    pub to: Instant,
}

/// From the coldest to the warmest that is shown, with room above for names and below for alarms, in milli-degrees.
pub struct Scale {
    pub low: i64,
    pub high: i64,
    step: i64,
}

impl Scale {
    pub fn of(shown: impl Iterator<Item = MilliCelsius> + Clone) -> Scale {
        let coldest = shown.clone().min().map_or(0, MilliCelsius::get);
        let warmest = shown.max().map_or(5_000, MilliCelsius::get);
        let span = (warmest - coldest).max(2_000);
        let (low, high) = (coldest - span * 12 / 100, warmest + span * 30 / 100);
        let steps = [500, 1_000, 2_000, 5_000, 10_000, 20_000];
        let step = steps.into_iter().find(|step| (high - low) / step <= 6).unwrap_or(50_000);
        Scale { low, high, step }
    }

    /// Degrees to name.
    pub fn ticks(&self) -> Vec<i64> {
        let first = -(-self.low).div_euclid(self.step);
        (first..=self.high.div_euclid(self.step)).map(|n| n * self.step).collect()
    }

    /// A degree to name, in °C.
    pub fn written(&self, mc: i64) -> String {
        let sign = if mc < 0 { "-" } else { "" };
        let (whole, tenth) = (mc.abs() / 1_000, mc.abs() % 1_000 / 100);
        if self.step < 1_000 { format!("{sign}{whole}.{tenth}") } else { format!("{sign}{whole}") }
    }
}

/// Steps of the time axis in minutes; from a day on in days.
const STEPS: [i64; 10] = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360];
const DAY_STEPS: [i64; 7] = [1, 2, 3, 7, 14, 28, 56];

/// Instants to name on the time axis, at most about so many: whole hours of the shop's clock, and days by name.
pub fn time_ticks(stretch: &Stretch, most: i64) -> Vec<(Instant, String)> {
    let minutes = stretch.to.since(stretch.from) / MICROS_PER_MINUTE;
    match STEPS.into_iter().find(|step| minutes / step <= most) {
        Some(step) => ticks(stretch, 1, step),
        None if minutes / 720 <= most => ticks(stretch, 1, 720),
        None => {
            let days = minutes / (24 * 60);
            let step = DAY_STEPS.into_iter().find(|step| days / step <= most);
            ticks(stretch, step.unwrap_or(days / most.max(1) + 1), 24 * 60)
        }
    }
}

fn ticks(stretch: &Stretch, days: i64, minutes: i64) -> Vec<(Instant, String)> {
    let zone = stretch.zone;
    let (mut day, last) = (zone.day_of(stretch.from), zone.day_of(stretch.to));
    let mut found: Vec<(Instant, String)> = Vec::new();
    while day <= last {
        if i64::from(day.num_days_from_ce()).rem_euclid(days) == 0 {
            for minute in (0..24 * 60).step_by(usize::try_from(minutes).unwrap_or(1).max(1)) {
                let at = zone.instant_of(day.and_time(NaiveTime::MIN) + TimeDelta::minutes(minute));
                // Where the clock is set forward two marks fall on one instant.
                let later = found.last().is_none_or(|(before, _)| at > *before);
                if later && at >= stretch.from && at <= stretch.to {
                    found.push((at, tick_label(zone, day, minute, at, days)));
                }
            }
        }
        let Some(next) = day.succ_opt() else { break };
        day = next;
    }
    found
}

fn tick_label(zone: Zone, day: NaiveDate, minute: i64, at: Instant, days: i64) -> String {
    match (minute, days) {
        (0, ..=2) => day.format("%a %-d").to_string(),
        (0, _) => day.format("%-d %b").to_string(),
        _ => {
            let time = zone.time_of(at);
            format!("{:02}:{:02}", time.hour(), time.minute())
        }
    }
}
