//! What is looked at when a fish arrives, and what follows from it. Weight and papers belong to `lot`.

use super::refusal::{Code, Refusal};
use super::text;
use crate::units::temperature::MilliCelsius;

/// Cooked-looking, pale flesh of a fish that struggled or warmed: the trade's yake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Burn {
    None,
    Slight,
    Marked,
}

impl Burn {
    pub const ALL: [(Burn, &'static str); 3] =
        [(Burn::None, "none"), (Burn::Slight, "slight"), (Burn::Marked, "marked")];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(burn, _)| *burn == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Burn> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(burn, _)| *burn)
    }
}

/// How the flesh was looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sample {
    None,
    TailCut,
    Core,
}

impl Sample {
    pub const ALL: [(Sample, &'static str); 3] =
        [(Sample::None, "none"), (Sample::TailCut, "tail_cut"), (Sample::Core, "core_sample")];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(sample, _)| *sample == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Sample> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(sample, _)| *sample)
    }
}

/// The record of one inspection. Grades run from 1 (best) to 5; which words a shop uses for them is its own affair.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inspection {
    pub core_temperature: MilliCelsius,
    pub grade: i64,
    pub colour: i64,
    pub fat: i64,
    pub burn: Burn,
    pub sample: Sample,
    pub note: Option<String>,
}

#[derive(Debug, Clone)]
pub struct InspectionDraft {
    pub core_temperature_mc: i64,
    pub grade: i64,
    pub colour: i64,
    pub fat: i64,
    pub burn: String,
    pub sample: String,
    pub note: Option<String>,
}

/// The warmest core at which fish is taken in without a hold: 40 °F, 4.444 °C (FDA Fish and Fishery Products Hazards and
/// Controls Guidance, ch. 7, receiving from another processor; from memory).
pub const WARMEST_CORE_MC: i64 = 4_444;

impl Inspection {
    pub fn check(draft: &InspectionDraft) -> Result<Inspection, Refusal> {
        let invalid = |field: &str, reason: &str| Refusal::new(Code::InvalidValue, field, reason);
        for (field, value) in [("grade", draft.grade), ("colour", draft.colour), ("fat", draft.fat)] {
            if !(1..=5).contains(&value) {
                return Err(invalid(field, "must be from 1 (best) to 5"));
            }
        }
        let core_temperature =
            MilliCelsius::new(draft.core_temperature_mc).map_err(|e| invalid("core_temperature_mc", &e.to_string()))?;
        if !(-70_000..=40_000).contains(&draft.core_temperature_mc) {
            return Err(invalid(
                "core_temperature_mc",
                "no fish arrives colder than -70 °C or warmer than 40 °C; check the probe",
            ));
        }
        Ok(Inspection {
            core_temperature,
            grade: draft.grade,
            colour: draft.colour,
            fat: draft.fat,
            burn: Burn::parse(&draft.burn).ok_or_else(|| invalid("burn", "must be none, slight or marked"))?,
            sample: Sample::parse(&draft.sample)
                .ok_or_else(|| invalid("sample", "must be none, tail_cut or core_sample"))?,
            note: text::optional_note("note", draft.note.as_deref())?,
        })
    }

    /// Why fish that arrived like this goes on hold until a manager has looked, if it does.
    pub fn hold_reason(&self) -> Option<String> {
        (self.core_temperature.get() > WARMEST_CORE_MC).then(|| {
            format!(
                "core at receiving {}: above the receiving limit of 4.4 °C; check the time above it",
                self.core_temperature
            )
        })
    }
}
