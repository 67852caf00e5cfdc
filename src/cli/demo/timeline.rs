//! All files of the demo merged into one row of events in the order of time. Days become dates here: day 0 is the last day of the shop
//! whose 08:15 has passed.

use super::contradiction::Contradiction;
use super::files::{Files, Line};
use super::rows::{ActRow, BreakdownRow, LossRow, LotRow, OutputRow, ReviewRow, SaleRow};
use crate::domain::hours::weekday;
use crate::units::instant::Instant;
use crate::units::zone::Zone;
use chrono::{Days, NaiveDate, NaiveTime};
use std::collections::HashMap;

/// The calendar of one demo: which date day 0 is.
#[derive(Debug, Clone, Copy)]
pub struct Calendar {
    zone: Zone,
    day_0: NaiveDate,
}

impl Calendar {
    /// Day 0 is today once it is 08:15, when the data has ended, and yesterday before that.
    pub fn of(zone: Zone, now: Instant) -> Calendar {
        let today = zone.day_of(now);
        let end_of_data = NaiveTime::from_hms_opt(8, 15, 0).unwrap_or(NaiveTime::MIN);
        let over = zone.instant_of(today.and_time(end_of_data)) <= now;
        let day_0 = if over { today } else { today.pred_opt().unwrap_or(today) };
        Calendar { zone, day_0 }
    }

    /// By how many weekdays day 0 is later than the Thursday it is in the files.
    pub fn weekdays_later(&self) -> usize {
        const THURSDAY: usize = 3;
        (weekday(self.day_0) + 7 - THURSDAY) % 7
    }

    /// The date of a day counted from day 0; none far outside any calendar.
    pub fn date(&self, day: i64) -> Option<NaiveDate> {
        let days = Days::new(day.unsigned_abs());
        if day < 0 { self.day_0.checked_sub_days(days) } else { self.day_0.checked_add_days(days) }
    }

    /// The instant of a local time on a day counted from day 0.
    pub fn moment(&self, day: i64, time: &str) -> Result<Instant, String> {
        let written = time.len() == 5;
        let time_of_day = NaiveTime::parse_from_str(time, "%H:%M").ok().filter(|_| written);
        let time_of_day = time_of_day.ok_or_else(|| format!("{time:?} is not a time HH:MM"))?;
        let date = self.date(day).filter(|_| (-366..=0).contains(&day));
        let date = date.ok_or_else(|| format!("day {day} is not from -366 to 0"))?;
        Ok(self.zone.instant_of(date.and_time(time_of_day)))
    }
}

/// What happened.
pub enum What {
    Lot(Box<Line<LotRow>>),
    Breakdown { cutting: Line<BreakdownRow>, outputs: Vec<Line<OutputRow>>, losses: Vec<Line<LossRow>> },
    Act(Line<ActRow>),
    Sale(Vec<Line<SaleRow>>),
    Review(Line<ReviewRow>),
}

pub struct Event {
    pub day: i64,
    pub at: Instant,
    pub what: What,
}

/// The events of one day, in order.
pub struct Day {
    pub day: i64,
    pub events: Vec<Event>,
}

/// Merges everything. Within one minute lots come first, then breakdowns, acts, sales and the review.
pub fn merge(files: &Files, calendar: &Calendar, wrong: &mut Vec<Contradiction>) -> Vec<Day> {
    let mut events: Vec<(u8, Event)> = Vec::new();
    let mut add =
        |rank: u8, day: i64, time: &str, what: What, wrong: &mut Vec<Contradiction>| match calendar.moment(day, time) {
            Ok(at) => events.push((rank, Event { day, at, what })),
            Err(why) => wrong.extend(first_line(&what, &why)),
        };
    for line in files.lots.rows::<LotRow>(wrong) {
        let (day, time) = (line.row.day, line.row.time.clone());
        add(0, day, &time, What::Lot(Box::new(line)), wrong);
    }
    for (cutting, outputs, losses) in breakdowns(files, wrong) {
        let (day, time) = (cutting.row.day, cutting.row.time.clone());
        add(1, day, &time, What::Breakdown { cutting, outputs, losses }, wrong);
    }
    for line in files.acts.rows::<ActRow>(wrong) {
        let (day, time) = (line.row.day, line.row.time.clone());
        add(2, day, &time, What::Act(line), wrong);
    }
    for lines in sales(files, wrong) {
        let Some((day, time)) = lines.first().map(|line| (line.row.day, line.row.time.clone())) else { continue };
        add(3, day, &time, What::Sale(lines), wrong);
    }
    for line in files.reviews.rows::<ReviewRow>(wrong) {
        let (day, time) = (line.row.day, line.row.time.clone());
        add(4, day, &time, What::Review(line), wrong);
    }
    events.sort_by_key(|(rank, event)| (event.day, event.at, *rank));
    let mut days: Vec<Day> = Vec::new();
    for (_, event) in events {
        match days.last_mut() {
            Some(last) if last.day == event.day => last.events.push(event),
            _ => days.push(Day { day: event.day, events: vec![event] }),
        }
    }
    days
}

fn first_line(what: &What, why: &str) -> Option<Contradiction> {
    match what {
        What::Lot(line) => Some(line.contradiction(why)),
        What::Breakdown { cutting, .. } => Some(cutting.contradiction(why)),
        What::Act(line) => Some(line.contradiction(why)),
        What::Sale(lines) => lines.first().map(|line| line.contradiction(why)),
        What::Review(line) => Some(line.contradiction(why)),
    }
}

type Cutting = (Line<BreakdownRow>, Vec<Line<OutputRow>>, Vec<Line<LossRow>>);

/// Each breakdown with its outputs and losses; one that belongs to no breakdown is a contradiction.
fn breakdowns(files: &Files, wrong: &mut Vec<Contradiction>) -> Vec<Cutting> {
    let mut outputs: HashMap<String, Vec<Line<OutputRow>>> = HashMap::new();
    for line in files.outputs.rows::<OutputRow>(wrong) {
        outputs.entry(line.row.breakdown.clone()).or_default().push(line);
    }
    let mut losses: HashMap<String, Vec<Line<LossRow>>> = HashMap::new();
    for line in files.losses.rows::<LossRow>(wrong) {
        losses.entry(line.row.breakdown.clone()).or_default().push(line);
    }
    let mut found = Vec::new();
    for line in files.breakdowns.rows::<BreakdownRow>(wrong) {
        let label = line.row.label.clone();
        found.push((line, outputs.remove(&label).unwrap_or_default(), losses.remove(&label).unwrap_or_default()));
    }
    let nobody = "there is no such breakdown";
    wrong.extend(outputs.into_values().flatten().map(|line| line.contradiction(nobody)));
    wrong.extend(losses.into_values().flatten().map(|line| line.contradiction(nobody)));
    found
}

/// The lines of each sale, which stand together in the file.
fn sales(files: &Files, wrong: &mut Vec<Contradiction>) -> Vec<Vec<Line<SaleRow>>> {
    let mut sales: Vec<Vec<Line<SaleRow>>> = Vec::new();
    for line in files.sales.rows::<SaleRow>(wrong) {
        let head = sales.last().and_then(|lines| lines.first()).filter(|head| head.row.sale == line.row.sale);
        let Some(head) = head else {
            sales.push(vec![line]);
            continue;
        };
        if (head.row.day, &head.row.time, &head.row.person) != (line.row.day, &line.row.time, &line.row.person) {
            wrong.push(line.contradiction("another time or person than the sale's first line"));
        }
        if let Some(lines) = sales.last_mut() {
            lines.push(line);
        }
    }
    sales
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn day_0_is_the_last_day_whose_morning_has_passed() {
        let zone = Zone::parse("Europe/Dublin").unwrap();
        for (now, day_0) in [
            ("2026-11-26T08:14:59Z", "2026-11-25"),
            ("2026-11-26T08:15:00Z", "2026-11-26"),
            ("2026-07-01T07:15:00Z", "2026-07-01"),
            ("2026-07-01T23:30:00Z", "2026-07-01"),
        ] {
            let calendar = Calendar::of(zone, Instant::parse(now).unwrap());
            assert_eq!(calendar.date(0).map(|d| d.to_string()), Some(day_0.to_owned()), "{now}");
            assert!(calendar.moment(0, "08:10").unwrap() < Instant::parse(now).unwrap());
        }
    }

    #[test]
    fn times_are_strict() {
        let calendar = Calendar::of(Zone::UTC, Instant::parse("2026-11-26T12:00:00Z").unwrap());
        for (day, time) in [(1, "08:00"), (0, "8:00"), (0, "24:00"), (0, "08:60"), (-400, "08:00"), (i64::MIN, "08:00")]
        {
            assert!(calendar.moment(day, time).is_err(), "{day} {time}");
        }
    }
}
