//! How the week runs, as a small picture: a bar for each opening hour, a row for each weekday. The same is said in words for whoever does not see
//! it.

use crate::domain::demand::Pattern;
use crate::domain::demand::week::Week;
use maud::{Markup, html};

pub const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// Units of the picture; it is as wide as what is around it.
const ROW: f64 = 46.0;
const BAR: f64 = 34.0;
const LEFT: f64 = 52.0;
const FOOT: f64 = 24.0;

/// An opening hour: weekday, hour, share of an average one.
type Hour = (usize, usize, f64);

fn open_hours(open: &Week, pattern: &Pattern) -> Vec<Hour> {
    let rows = open.iter().enumerate();
    let hours = rows.flat_map(|(day, row)| row.iter().enumerate().map(move |(hour, open)| (day, hour, *open)));
    hours.filter(|(.., open)| *open > 0.0).map(|(day, hour, _)| (day, hour, pattern.at(day, hour))).collect()
}

/// The picture, and under it its main points in words.
pub fn picture(open: &Week, pattern: &Pattern) -> Markup {
    let hours = open_hours(open, pattern);
    let first = hours.iter().map(|(_, hour, _)| *hour).min().unwrap_or(0);
    let last = hours.iter().map(|(_, hour, _)| *hour).max().unwrap_or(0);
    let columns = last - first + 1;
    let most = hours.iter().map(|(.., share)| *share).fold(1.0, f64::max);
    let (width, height) = (LEFT + of(columns) * BAR, 7.0 * ROW + FOOT);
    let words = in_words(&hours);
    html! {
        figure.week {
            svg role="img" aria-label=(words) viewBox=(format!("0 0 {width:.0} {height:.0}")) {
                @for (day, name) in WEEKDAYS.iter().enumerate() {
                    @let ground = (of(day) + 1.0) * ROW;
                    text x="0" y=(format!("{:.0}", ground - 6.0)) { (name) }
                    line x1=(format!("{LEFT:.0}")) x2=(format!("{width:.0}")) y1=(format!("{ground:.0}")) y2=(format!("{ground:.0}")) {}
                    @if !hours.iter().any(|(of_day, ..)| *of_day == day) {
                        text x=(format!("{:.0}", LEFT + 6.0)) y=(format!("{:.0}", ground - 6.0)) { "closed" }
                    }
                }
                @for (day, hour, share) in &hours { (bar(*day, hour - first, share / most)) }
                @for hour in (first..=last).step_by(2) {
                    text x=(format!("{:.0}", LEFT + of(hour - first) * BAR)) y=(format!("{:.0}", height - 6.0)) { (hour) }
                }
            }
            figcaption.small { (words) }
        }
    }
}

fn bar(day: usize, column: usize, share: f64) -> Markup {
    let high = (ROW - 8.0) * share;
    let (x, y) = (LEFT + of(column) * BAR + 2.0, (of(day) + 1.0) * ROW - high);
    html! {
        rect x=(format!("{x:.1}")) y=(format!("{y:.1}")) width=(format!("{:.1}", BAR - 4.0)) height=(format!("{high:.1}")) {}
    }
}

#[expect(clippy::cast_precision_loss, reason = "hours and days of a week")]
const fn of(count: usize) -> f64 {
    count as f64
}

fn in_words(hours: &[Hour]) -> String {
    let mut sorted = hours.to_vec();
    sorted.sort_by(|a, b| b.2.total_cmp(&a.2));
    let (Some(busiest), Some(quietest)) = (sorted.first(), sorted.last()) else { return "Never open.".to_owned() };
    if busiest.2 - quietest.2 < 0.02 {
        return "As far as is known, every opening hour is as busy as any other.".to_owned();
    }
    let told = |(day, hour, share): &Hour| {
        format!(
            "{} {hour} to {} o'clock ({share:.1} times an average hour)",
            WEEKDAYS.get(*day).unwrap_or(&""),
            hour + 1
        )
    };
    format!("Busiest: {}. Quietest: {}.", told(busiest), told(quietest))
}
