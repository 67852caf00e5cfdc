//! The table of all settings of a shop's own rules: the range of each, which way is looser, and where among the rules it lies.

use super::Written;
use crate::domain::profile::{AcrossFreezing, Counting, RawModel, Rules};
use crate::units::temperature::MilliCelsius;
use std::ops::RangeInclusive;

/// Which values are looser than another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looser {
    Higher,
    Lower,
    /// A property of the fish: no other value is plainly stricter, so each needs its ground.
    Other,
}

pub enum Form {
    Number(RangeInclusive<i64>),
    /// A number, or the word "none", which is the highest.
    NumberOrNone(RangeInclusive<i64>),
    /// Words from the strictest to the loosest; the value is the place in the row.
    Words(&'static [&'static str]),
}

/// A setting: every value is one whole number, whatever it looks like in the file.
pub struct Setting {
    pub name: &'static str,
    pub form: Form,
    pub looser: Looser,
    pub get: fn(&Rules) -> i64,
    pub put: fn(&mut Rules, i64),
}

/// Stands for "none": no number is higher.
const NONE: i64 = i64::MAX;

const ON_OFF: &[&str] = &["on", "off"];

const fn number(
    name: &'static str,
    range: RangeInclusive<i64>,
    looser: Looser,
    get: fn(&Rules) -> i64,
    put: fn(&mut Rules, i64),
) -> Setting {
    Setting { name, form: Form::Number(range), looser, get, put }
}

/// Of words the later in the row is always the looser.
const fn words(
    name: &'static str,
    row: &'static [&'static str],
    get: fn(&Rules) -> i64,
    put: fn(&mut Rules, i64),
) -> Setting {
    Setting { name, form: Form::Words(row), looser: Looser::Higher, get, put }
}

/// Every setting. The ranges are wider than any ground we know of; they keep typing errors out.
pub static SETTINGS: [Setting; 23] = [
    // Either model alone runs slower than the faster of both somewhere.
    words(
        "raw_model",
        &["cautious", "square_root", "exponential"],
        |r| r.rates.model.rank(),
        |r, v| {
            r.rates.model = RawModel::of_rank(v);
        },
    ),
    words("raw_clock", ON_OFF, |r| off(r.running.raw), |r, v| r.running.raw = v == 0),
    words("colour_clock", ON_OFF, |r| off(r.running.colour), |r, v| r.running.colour = v == 0),
    words("exposure_clock", ON_OFF, |r| off(r.running.exposure), |r, v| r.running.exposure = v == 0),
    words("frozen_clock", ON_OFF, |r| off(r.running.frozen), |r, v| r.running.frozen = v == 0),
    number(
        "cold_limit_mc",
        -1_000..=7_000,
        Looser::Higher,
        |r| r.cold_limit.get(),
        |r, v| {
            r.cold_limit = MilliCelsius::clamped(v);
        },
    ),
    // It moves both edges of the band, so that any other value gives credit where the profile gives none.
    number(
        "freezing_point_mc",
        -2_500..=-500,
        Looser::Other,
        |r| r.rates.freezing_point.get(),
        |r, v| {
            r.rates.freezing_point = MilliCelsius::clamped(v);
        },
    ),
    number(
        "superchill_depth_mc",
        0..=3_000,
        Looser::Higher,
        |r| r.rates.band_depth_mc,
        |r, v| r.rates.band_depth_mc = v,
    ),
    number(
        "superchill_cap_permille",
        1_000..=4_000,
        Looser::Higher,
        |r| r.rates.superchill_cap_permille,
        |r, v| {
            r.rates.superchill_cap_permille = v;
        },
    ),
    number(
        "exposure_safe_mc",
        0..=10_000,
        Looser::Higher,
        |r| r.rates.safe.get(),
        |r, v| {
            r.rates.safe = MilliCelsius::clamped(v);
        },
    ),
    number(
        "exposure_hot_mc",
        10_000..=30_000,
        Looser::Higher,
        |r| r.rates.hot.get(),
        |r, v| {
            r.rates.hot = MilliCelsius::clamped(v);
        },
    ),
    number("exposure_minutes", 0..=2_880, Looser::Higher, |r| r.exposure.minutes, |r, v| r.exposure.minutes = v),
    number(
        "exposure_hot_minutes",
        0..=2_880,
        Looser::Higher,
        |r| r.exposure.hot_minutes,
        |r, v| {
            r.exposure.hot_minutes = v;
        },
    ),
    number(
        "exposure_previously_frozen_minutes",
        0..=2_880,
        Looser::Higher,
        |r| r.exposure.previously_frozen_minutes,
        |r, v| r.exposure.previously_frozen_minutes = v,
    ),
    number(
        "exposure_previously_frozen_hot_minutes",
        0..=2_880,
        Looser::Higher,
        |r| r.exposure.previously_frozen_hot_minutes,
        |r, v| r.exposure.previously_frozen_hot_minutes = v,
    ),
    Setting {
        name: "date_mark_days",
        form: Form::NumberOrNone(1..=30),
        looser: Looser::Higher,
        get: |r| r.date_mark.days.unwrap_or(NONE),
        put: |r, v| r.date_mark.days = (v != NONE).then_some(v),
    },
    // The hour of the last day comes before its end.
    words(
        "date_mark_counting",
        &["clock_hours", "calendar_days"],
        |r| i64::from(r.date_mark.counting == Counting::CalendarDays),
        |r, v| r.date_mark.counting = if v == 0 { Counting::ClockHours } else { Counting::CalendarDays },
    ),
    // A free thaw day is one day more.
    words(
        "date_mark_across_freezing",
        &["thaw_day_counts", "thaw_day_free"],
        |r| i64::from(r.date_mark.across == AcrossFreezing::ThawDayFree),
        |r, v| r.date_mark.across = if v == 0 { AcrossFreezing::ThawDayCounts } else { AcrossFreezing::ThawDayFree },
    ),
    number(
        "frozen_through_mc",
        -40_000..=-5_000,
        Looser::Higher,
        |r| r.rates.frozen_through.get(),
        |r, v| {
            r.rates.frozen_through = MilliCelsius::clamped(v);
        },
    ),
    number("frozen_days_at_minus_18", 1..=900, Looser::Higher, |r| r.frozen_days, |r, v| r.frozen_days = v),
    // A higher one is stricter above -18 °C and looser below.
    number(
        "frozen_q10_permille",
        1_000..=5_000,
        Looser::Other,
        |r| r.rates.frozen_q10_permille,
        |r, v| {
            r.rates.frozen_q10_permille = v;
        },
    ),
    number(
        "frozen_coldest_credit_mc",
        -86_000..=-18_000,
        Looser::Lower,
        |r| r.rates.coldest_credit.get(),
        |r, v| {
            r.rates.coldest_credit = MilliCelsius::clamped(v);
        },
    ),
    number(
        "thawed_colour_permille",
        0..=1_000,
        Looser::Higher,
        |r| r.thawed_colour_permille,
        |r, v| {
            r.thawed_colour_permille = v;
        },
    ),
];

fn off(running: bool) -> i64 {
    i64::from(!running)
}

impl RawModel {
    fn rank(self) -> i64 {
        match self {
            RawModel::Cautious => 0,
            RawModel::SquareRoot => 1,
            RawModel::Exponential => 2,
        }
    }

    fn of_rank(rank: i64) -> RawModel {
        match rank {
            1 => RawModel::SquareRoot,
            2 => RawModel::Exponential,
            _ => RawModel::Cautious,
        }
    }
}

impl Form {
    pub fn read(&self, written: &Written) -> Option<i64> {
        match (self, written) {
            (Form::Number(range) | Form::NumberOrNone(range), Written::Number(value)) => {
                range.contains(value).then_some(*value)
            }
            (Form::NumberOrNone(_), Written::Word(word)) => (word == "none").then_some(NONE),
            (Form::Words(row), Written::Word(word)) => {
                row.iter().position(|known| known == word).and_then(|at| i64::try_from(at).ok())
            }
            _ => None,
        }
    }

    pub fn must(&self) -> String {
        match self {
            Form::Number(range) => format!("must be a whole number from {} to {}", range.start(), range.end()),
            Form::NumberOrNone(range) => {
                format!("must be a whole number from {} to {} or \"none\"", range.start(), range.end())
            }
            Form::Words(row) => format!("must be one of \"{}\"", row.join("\", \"")),
        }
    }

    /// A value as the file writes it.
    pub fn write(&self, value: i64) -> String {
        match self {
            Form::Words(row) => usize::try_from(value)
                .ok()
                .and_then(|at| row.get(at))
                .map_or_else(String::new, |word| (*word).to_owned()),
            Form::NumberOrNone(_) if value == NONE => "none".to_owned(),
            Form::Number(_) | Form::NumberOrNone(_) => value.to_string(),
        }
    }
}

impl Looser {
    pub fn is_looser(self, value: i64, than: i64) -> bool {
        match self {
            Looser::Higher => value > than,
            Looser::Lower => value < than,
            Looser::Other => value != than,
        }
    }
}
