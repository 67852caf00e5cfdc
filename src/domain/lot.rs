//! What arrived: one fish or a case, with its papers. Its mass lies on trays from the first moment; see `tray`.

use super::inspection::Inspection;
use super::language::Language;
use super::refusal::{Code, Refusal};
use super::text;
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::Cents;
use crate::units::zone::parse_day;
use chrono::{Datelike, NaiveDate};

/// Wild or farmed; the two words every label law knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Production {
    Wild,
    Farmed,
}

impl Production {
    pub const fn as_str(self) -> &'static str {
        match self {
            Production::Wild => "wild",
            Production::Farmed => "farmed",
        }
    }

    pub fn parse(text: &str) -> Option<Production> {
        [Production::Wild, Production::Farmed].into_iter().find(|p| p.as_str() == text)
    }
}

/// Where, how and when the fish was caught or harvested.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CatchFacts {
    pub production: Production,
    /// FAO major fishing area or a part of one, such as `71` or `27.8.c`.
    pub area: String,
    /// FAO ISSCFG gear abbreviation, such as LLD; none for farmed fish.
    pub gear: Option<String>,
    pub country: String,
    pub caught_from: NaiveDate,
    pub caught_to: NaiveDate,
}

#[derive(Debug, Clone)]
pub struct CatchDraft {
    pub production: String,
    pub area: String,
    pub gear: Option<String>,
    pub country: String,
    pub caught_from: String,
    pub caught_to: String,
}

/// FAO major fishing areas (FAO code list of major areas), with the words labels show.
pub const AREAS: [(&str, &str); 19] = [
    ("18", "Arctic Sea"),
    ("21", "Atlantic, Northwest"),
    ("27", "Atlantic, Northeast"),
    ("31", "Atlantic, Western Central"),
    ("34", "Atlantic, Eastern Central"),
    ("37", "Mediterranean and Black Sea"),
    ("41", "Atlantic, Southwest"),
    ("47", "Atlantic, Southeast"),
    ("48", "Atlantic, Antarctic"),
    ("51", "Indian Ocean, Western"),
    ("57", "Indian Ocean, Eastern"),
    ("58", "Indian Ocean, Antarctic"),
    ("61", "Pacific, Northwest"),
    ("67", "Pacific, Northeast"),
    ("71", "Pacific, Western Central"),
    ("77", "Pacific, Eastern Central"),
    ("81", "Pacific, Southwest"),
    ("87", "Pacific, Southeast"),
    ("88", "Pacific, Antarctic"),
];

/// The same areas in Japanese, as Japanese fishery statistics name them; from memory, no source at hand.
const AREAS_IN_JAPANESE: [(&str, &str); 19] = [
    ("18", "北極海"),
    ("21", "大西洋北西部"),
    ("27", "大西洋北東部"),
    ("31", "大西洋中西部"),
    ("34", "大西洋中東部"),
    ("37", "地中海・黒海"),
    ("41", "大西洋南西部"),
    ("47", "大西洋南東部"),
    ("48", "大西洋南極海域"),
    ("51", "インド洋西部"),
    ("57", "インド洋東部"),
    ("58", "インド洋南極海域"),
    ("61", "太平洋北西部"),
    ("67", "太平洋北東部"),
    ("71", "太平洋中西部"),
    ("77", "太平洋中東部"),
    ("81", "太平洋南西部"),
    ("87", "太平洋南東部"),
    ("88", "太平洋南極海域"),
];

/// FAO gear abbreviations (ISSCFG) we know a word for.
pub const GEARS: [(&str, &str); 14] = [
    ("PS", "purse seine"),
    ("LHP", "handline or pole-and-line"),
    ("LHM", "mechanized line or pole-and-line"),
    ("LLS", "set longline"),
    ("LLD", "drifting longline"),
    ("LL", "longline"),
    ("LTL", "trolling line"),
    ("GNS", "set gillnet"),
    ("GND", "drift gillnet"),
    ("OTB", "bottom trawl"),
    ("OTM", "midwater trawl"),
    ("FPO", "pot"),
    ("HAR", "harpoon"),
    ("MIS", "other gear"),
];

/// The same gears in Japanese; from memory, no source at hand.
const GEARS_IN_JAPANESE: [(&str, &str); 14] = [
    ("PS", "まき網"),
    ("LHP", "手釣り・一本釣り"),
    ("LHM", "機械釣り・一本釣り"),
    ("LLS", "底はえ縄"),
    ("LLD", "浮きはえ縄"),
    ("LL", "はえ縄"),
    ("LTL", "ひき縄釣り"),
    ("GNS", "固定式刺し網"),
    ("GND", "流し網"),
    ("OTB", "底びき網"),
    ("OTM", "中層トロール網"),
    ("FPO", "かご漁"),
    ("HAR", "突きん棒"),
    ("MIS", "その他の漁具"),
];

fn in_words<'a>(table: &[(&'a str, &'a str)], code: &str) -> Option<&'a str> {
    table.iter().find(|(known, _)| *known == code).map(|(_, words)| *words)
}

impl CatchFacts {
    pub fn check(draft: &CatchDraft) -> Result<CatchFacts, Refusal> {
        let invalid = |field: &str, reason: &str| Refusal::new(Code::InvalidValue, field, reason);
        let production =
            Production::parse(&draft.production).ok_or_else(|| invalid("production", "must be wild or farmed"))?;
        let major = draft.area.split('.').next().unwrap_or("");
        let part = draft.area.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'.') && draft.area.len() <= 12;
        if in_words(&AREAS, major).is_none() || !part {
            return Err(invalid(
                "area",
                "must be an FAO major fishing area (such as 71) or a part of one (such as 27.8.c)",
            ));
        }
        match (production, draft.gear.as_deref()) {
            (Production::Wild, None) => return Err(invalid("gear", "wild fish needs its FAO gear abbreviation")),
            (_, Some(gear)) if in_words(&GEARS, gear).is_none() => {
                return Err(invalid("gear", "must be an FAO gear abbreviation such as LLD"));
            }
            _ => {}
        }
        let read = |field: &str, text: &str| parse_day(text).map_err(|e| invalid(field, &e.to_string()));
        let caught_from = read("caught_from", &draft.caught_from)?;
        let caught_to = read("caught_to", &draft.caught_to)?;
        if caught_to < caught_from {
            return Err(invalid("caught_to", "must not be before caught_from"));
        }
        Ok(CatchFacts {
            production,
            area: draft.area.clone(),
            gear: draft.gear.clone(),
            country: text::name("country", &draft.country)?,
            caught_from,
            caught_to,
        })
    }

    /// The major fishing area in words.
    pub fn area_in(&self, language: Language) -> &'static str {
        let table = match language {
            Language::English => &AREAS,
            Language::Japanese => &AREAS_IN_JAPANESE,
        };
        in_words(table, self.area.split('.').next().unwrap_or("")).unwrap_or("")
    }

    /// The gear in words, if one is told.
    pub fn gear_in(&self, language: Language) -> Option<&'static str> {
        let table = match language {
            Language::English => &GEARS,
            Language::Japanese => &GEARS_IN_JAPANESE,
        };
        in_words(table, self.gear.as_deref()?)
    }

    /// `Wild, Pacific, Western Central (FAO 71), drifting longline`.
    pub fn in_words(&self) -> String {
        let method = match self.production {
            Production::Wild => "Wild",
            Production::Farmed => "Farmed",
        };
        let major = self.area.split('.').next().unwrap_or("");
        let area = in_words(&AREAS, major).unwrap_or("");
        let gear = self.gear.as_deref().and_then(|g| in_words(&GEARS, g)).map(|w| format!(", {w}")).unwrap_or_default();
        format!("{method}, {area} (FAO {}){gear}", self.area)
    }
}

/// A received lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    pub id: i64,
    pub code: String,
    pub species: String,
    pub supplier: String,
    /// The traceability lot code the supplier gave; ours is kept beside it, never instead of it.
    pub supplier_lot_code: Option<String>,
    pub supplier_use_by: Option<NaiveDate>,
    pub received_at: Instant,
    pub received: Grams,
    pub cost: Cents,
    pub pieces: i64,
    pub catch: CatchFacts,
    pub inspection: Inspection,
    /// Supplier's letter or the shop's record on freezing against parasites.
    pub parasite_freezing: Option<String>,
    pub previously_frozen: bool,
    /// The day it was frozen first, of fish that came frozen, where the papers say.
    pub frozen_on: Option<NaiveDate>,
}

/// Our own code of the n-th lot of a species on a day: `YFT-261125-03`. Fits an element string (AI 10) and a file name.
pub fn lot_code(species: &str, day: NaiveDate, number: i64) -> String {
    format!("{species}-{:02}{:02}{:02}-{number:02}", day.year().rem_euclid(100), day.month(), day.day())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draft() -> CatchDraft {
        CatchDraft {
            production: "wild".into(),
            area: "71".into(),
            gear: Some("LLD".into()),
            country: "Fiji".into(),
            caught_from: "2026-11-18".into(),
            caught_to: "2026-11-20".into(),
        }
    }

    #[test]
    fn catch_facts_are_said_in_words() {
        assert_eq!(
            CatchFacts::check(&draft()).map(|c| c.in_words()),
            Ok("Wild, Pacific, Western Central (FAO 71), drifting longline".into())
        );
    }

    #[test]
    fn every_area_and_gear_has_its_words_in_every_language() {
        let codes = |table: &[(&'static str, &'static str)]| table.iter().map(|row| row.0).collect::<Vec<_>>();
        assert_eq!(codes(&AREAS), codes(&AREAS_IN_JAPANESE));
        assert_eq!(codes(&GEARS), codes(&GEARS_IN_JAPANESE));
        let facts = CatchFacts::check(&CatchDraft { area: "71.5".into(), ..draft() }).unwrap();
        assert_eq!(
            (facts.area_in(Language::Japanese), facts.gear_in(Language::Japanese)),
            ("太平洋中西部", Some("浮きはえ縄"))
        );
        assert_eq!(facts.area_in(Language::English), "Pacific, Western Central");
    }

    #[test]
    fn catch_facts_are_checked() {
        let refusals: [fn(&mut CatchDraft); 6] = [
            |d| d.production = "ocean caught".into(),
            |d| d.area = "99".into(),
            |d| d.area = "71/x".into(),
            |d| d.gear = None,
            |d| d.gear = Some("NET".into()),
            |d| d.caught_to = "2026-11-17".into(),
        ];
        for change in refusals {
            let mut wrong = draft();
            change(&mut wrong);
            assert!(CatchFacts::check(&wrong).is_err(), "{wrong:?}");
        }
    }

    #[test]
    fn lot_codes_sort_by_day() {
        assert_eq!(lot_code("YFT", NaiveDate::from_ymd_opt(2026, 11, 25).unwrap_or_default(), 3), "YFT-261125-03");
    }
}
