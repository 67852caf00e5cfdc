//! What the loggers of the demo measured: its files, and after their end the day before over again, so that no place has been silent when
//! the shop opens.

use super::contradiction::Contradiction;
use super::files::{Files, Line};
use super::rows::TemperatureRow;
use super::timeline::Calendar;
use crate::cli::stop::Stop;
use crate::domain::life::curve::Reading;
use crate::domain::logger;
use crate::domain::permissions::Role;
use crate::ops::desk::{Actor, Desk};
use crate::ops::take_readings::{Delivery, deliver as deliver_lines};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::temperature::MilliCelsius;
use std::sync::Arc;

const DAY: i64 = 24 * MICROS_PER_HOUR;

/// Takes in all readings up to now.
pub fn deliver(
    desk: &Desk,
    files: &Files,
    calendar: &Calendar,
    now: Instant,
    wrong: &mut Vec<Contradiction>,
) -> Result<usize, Stop> {
    let mut taken = 0;
    for (place, file) in files.temperatures() {
        let rows: Vec<Line<TemperatureRow>> = file.rows(wrong);
        let mut readings = Vec::with_capacity(rows.len());
        for line in &rows {
            match read(calendar, &line.row) {
                Ok(reading) => readings.push(reading),
                Err(why) => wrong.push(line.contradiction(why)),
            }
        }
        go_on(&mut readings, now);
        taken += readings.len();
        let lines: Vec<logger::Line> =
            (1..).zip(readings).map(|(number, reading)| logger::Line { number, found: Ok(reading) }).collect();
        let delivery = Arc::new(Delivery { place: place.to_owned(), newest_before: None });
        let actor = Actor { name: format!("logger of {place}"), role: Role::Logger };
        deliver_lines(desk, &actor, now, &delivery, Arc::new(lines))?;
    }
    Ok(taken)
}

fn read(calendar: &Calendar, row: &TemperatureRow) -> Result<Reading, String> {
    let temperature = MilliCelsius::from_celsius(&row.celsius).map_err(|e| e.to_string())?;
    Ok(Reading { at: calendar.moment(row.day, &row.time)?, temperature })
}

/// Repeats the last day of a file up to now.
fn go_on(readings: &mut Vec<Reading>, now: Instant) {
    let Some(end) = readings.last().map(|reading| reading.at) else { return };
    let last_day: Vec<Reading> =
        readings.iter().copied().filter(|reading| reading.at > end.plus_micros(-DAY)).collect();
    for days in 1..=3 {
        let later = last_day.iter().map(|r| Reading { at: r.at.plus_micros(days * DAY), ..*r });
        readings.extend(later.filter(|reading| reading.at <= now));
    }
    readings.retain(|reading| reading.at <= now);
}
