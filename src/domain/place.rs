//! A place that trays stand in, how cold it is kept, and the limits a place of its kind may have.

use super::life::curve::Era;
use super::refusal::{Code, Finding, Refusal};
use super::text;
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;

/// How a place keeps fish.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StorageMethod {
    Chill,
    Superchill,
    Frozen,
    Ambient,
}

impl StorageMethod {
    pub const ALL: [(StorageMethod, &'static str); 4] = [
        (StorageMethod::Chill, "chill"),
        (StorageMethod::Superchill, "superchill"),
        (StorageMethod::Frozen, "frozen"),
        (StorageMethod::Ambient, "ambient"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(method, _)| *method == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<StorageMethod> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(method, _)| *method)
    }

    /// The coldest set-point and the warmest upper limit a place of this method may have, in milli-degrees. Chill to 5 °C
    /// (41 °F: FDA Food Code 3-501.16); superchill within 2 °C below an initial freezing point of -1 °C (EFSA BIOHAZ 2021) and
    /// inside the rate models; frozen at -18 °C or colder (Reg. (EC) 853/2004); the bench to 25 °C, where the models end.
    pub const fn limits(self) -> (i64, i64) {
        match self {
            StorageMethod::Chill => (-2_000, 5_000),
            StorageMethod::Superchill => (-3_000, -500),
            StorageMethod::Frozen => (-86_000, -18_000),
            StorageMethod::Ambient => (0, 25_000),
        }
    }
}

/// A case, cabinet, freezer or bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    pub code: String,
    pub name: String,
    pub method: StorageMethod,
    pub set_point: MilliCelsius,
    pub upper_limit: MilliCelsius,
    /// Readings further apart than this leave a gap, which counts at the worst; no reading for longer raises an alarm.
    pub gap_minutes: i64,
    /// How long it may be above its upper limit without an alarm: a defrosting, a delivery.
    pub warm_minutes: i64,
    /// Whether a logger measures here, so that its silence is an alarm.
    pub expects_readings: bool,
    /// How many times readings changed; not a version of the settings.
    pub generation: i64,
    pub version: i64,
}

/// Longest gap and longest warm spell a place may be allowed, in minutes: four hours, after which nobody can say how the fish fared.
const LONGEST_MINUTES: i64 = 240;

/// What a person says of a place.
#[derive(Debug, Clone, Default)]
pub struct PlaceDraft {
    pub name: String,
    pub method: String,
    pub set_point_mc: i64,
    pub upper_limit_mc: i64,
    /// 90 when absent.
    pub gap_minutes: Option<i64>,
    /// 30 when absent.
    pub warm_minutes: Option<i64>,
    /// False when absent.
    pub expects_readings: Option<bool>,
}

impl Place {
    /// Checks a draft. Every wrong field is found at once.
    pub fn check(code: &str, draft: &PlaceDraft) -> Result<Place, Refusal> {
        let code = text::catalogue_code("code", code)?;
        let name = text::name("name", &draft.name)?;
        let method = StorageMethod::parse(&draft.method).ok_or_else(|| {
            Refusal::new(Code::InvalidValue, "method", "must be chill, superchill, frozen or ambient")
        })?;
        let (coldest, warmest) = method.limits();
        let mut findings = Vec::new();
        for (field, value) in [("set_point_mc", draft.set_point_mc), ("upper_limit_mc", draft.upper_limit_mc)] {
            if !(coldest..=warmest).contains(&value) {
                let reason = format!(
                    "a {} place is kept from {coldest} to {warmest} thousandths of a degree Celsius",
                    method.as_str()
                );
                findings.push(Finding { field: field.into(), reason });
            }
        }
        if draft.set_point_mc > draft.upper_limit_mc {
            findings.push(Finding { field: "set_point_mc".into(), reason: "must not be above upper_limit_mc".into() });
        }
        let (gap_minutes, warm_minutes) = (draft.gap_minutes.unwrap_or(90), draft.warm_minutes.unwrap_or(30));
        for (field, minutes, least) in [("gap_minutes", gap_minutes, 1), ("warm_minutes", warm_minutes, 0)] {
            if !(least..=LONGEST_MINUTES).contains(&minutes) {
                let reason = format!("must be from {least} to {LONGEST_MINUTES}");
                findings.push(Finding { field: field.into(), reason });
            }
        }
        if !findings.is_empty() {
            return Err(Refusal { code: Code::InvalidValue, findings });
        }
        let read = |field: &'static str, value| {
            MilliCelsius::new(value).map_err(|e| Refusal::new(Code::InvalidValue, field, e.to_string()))
        };
        let set_point = read("set_point_mc", draft.set_point_mc)?;
        let upper_limit = read("upper_limit_mc", draft.upper_limit_mc)?;
        let expects_readings = draft.expects_readings.unwrap_or(false);
        Ok(Place {
            code,
            name,
            method,
            set_point,
            upper_limit,
            gap_minutes,
            warm_minutes,
            expects_readings,
            generation: 0,
            version: 1,
        })
    }

    /// The settings that count for the fish in it, from an instant on.
    pub const fn era(&self, from: Instant) -> Era {
        Era {
            from,
            method: self.method,
            upper_limit: self.upper_limit,
            gap_micros: self.gap_minutes * MICROS_PER_MINUTE,
            warm_micros: self.warm_minutes * MICROS_PER_MINUTE,
        }
    }

    pub const fn is_frozen(&self) -> bool {
        matches!(self.method, StorageMethod::Frozen)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draft(method: &str, set_point_mc: i64, upper_limit_mc: i64) -> PlaceDraft {
        PlaceDraft { name: "Case".into(), method: method.into(), set_point_mc, upper_limit_mc, ..PlaceDraft::default() }
    }

    #[test]
    fn a_place_keeps_the_limits_of_its_method() {
        for (method, set, limit) in [
            ("chill", 0, 2_000),
            ("superchill", -1_500, -500),
            ("frozen", -60_000, -50_000),
            ("ambient", 10_000, 12_000),
        ] {
            assert!(Place::check("case-1", &draft(method, set, limit)).is_ok(), "{method}");
        }
        for (method, set, limit) in [
            ("chill", 0, 5_001),
            ("superchill", -5_000, -500),
            ("frozen", -20_000, -12_000),
            ("ambient", 10_000, 26_000),
            ("chill", 3_000, 2_000),
            ("warm", 0, 0),
        ] {
            assert!(Place::check("case-1", &draft(method, set, limit)).is_err(), "{method} {set} {limit}");
        }
    }
}
