//! The words a label uses because a law names them: how fish was produced, gear categories, catch areas, allergens.

use super::lot::{AREAS, GEARS, Production};
use super::shop::Jurisdiction;

/// How the fish was produced, in the words of the law: Reg. (EU) 1379/2013 art. 35(1)(b) or 7 CFR 60.300(a). The area tells fresh water,
/// FAO inland areas 01 to 08.
pub fn production_method(jurisdiction: Jurisdiction, production: Production, area: &str) -> &'static str {
    match (jurisdiction, production) {
        (Jurisdiction::Eu, Production::Farmed) => "farmed",
        (Jurisdiction::Eu, Production::Wild) if is_inland(area) => "caught in freshwater",
        (Jurisdiction::Eu, Production::Wild) => "caught",
        (Jurisdiction::Us, Production::Wild) => "wild caught",
        (Jurisdiction::Us, Production::Farmed) => "farm-raised",
    }
}

fn is_inland(area: &str) -> bool {
    matches!(area.split('.').next(), Some("01" | "02" | "03" | "04" | "05" | "06" | "07" | "08"))
}

/// Gear codes by category, the first column of Annex III of Reg. (EU) 1379/2013 (codes: source, Dutch text; English words: memory).
const GEAR_CATEGORIES: [(&str, &[&str]); 7] = [
    ("seines", &["SB", "SDN", "SSC", "SPR"]),
    ("trawls", &["TBB", "OTB", "PTB", "OTM", "PTM", "OTT"]),
    ("gillnets and similar nets", &["GNS", "GND", "GNC", "GTR", "GTN"]),
    ("surrounding nets and lift nets", &["PS", "LA", "LNB", "LNS"]),
    // LL and LX are no codes of Annex III; as longlines and lines not further known they can be nothing else.
    ("hooks and lines", &["LHP", "LHM", "LLS", "LLD", "LTL", "LL", "LX"]),
    ("dredges", &["DRB", "DRH", "HMD"]),
    ("pots and traps", &["FPO"]),
];

/// The gear category a label in the European Union names; none for gear Annex III does not know, such as harpoons.
pub fn gear_category(code: &str) -> Option<&'static str> {
    GEAR_CATEGORIES.iter().find(|(_, codes)| codes.contains(&code)).map(|(category, _)| *category)
}

/// The words for a gear code on a label: its category, and for gear without one what it is.
pub fn gear(code: &str) -> &'static str {
    let itself = || GEARS.iter().find(|(known, _)| *known == code).map_or("", |(_, words)| *words);
    gear_category(code).unwrap_or_else(itself)
}

/// Parts of areas 27 and 37, which a label names in words too (Reg. (EU) 1379/2013 art. 38: secondary; names: memory, but 37.1.1).
const PARTS: [(&str, &str); 24] = [
    ("27.1", "Barents Sea"),
    ("27.2", "Norwegian Sea"),
    ("27.3", "Skagerrak, Kattegat and Baltic"),
    ("27.4", "North Sea"),
    ("27.5", "Iceland and Faroes"),
    ("27.6", "West of Scotland"),
    ("27.7", "Irish Sea and Channel"),
    ("27.8", "Bay of Biscay"),
    ("27.9", "Portuguese Waters"),
    ("27.10", "Azores"),
    ("27.12", "North of Azores"),
    ("27.14", "East Greenland"),
    ("37.1", "Western Mediterranean"),
    ("37.1.1", "Balearic"),
    ("37.1.2", "Gulf of Lions"),
    ("37.1.3", "Sardinia"),
    ("37.2", "Central Mediterranean"),
    ("37.2.1", "Adriatic"),
    ("37.2.2", "Ionian"),
    ("37.3", "Eastern Mediterranean"),
    ("37.3.1", "Aegean"),
    ("37.3.2", "Levant"),
    ("37.4", "Black Sea"),
    ("37.4.2", "Black Sea"),
];

/// A catch area in words: `Pacific, Western Central (FAO 71)`, `Atlantic, Northeast, Bay of Biscay (FAO 27.8.c)`.
pub fn catch_area(area: &str) -> String {
    let major = area.split('.').next().unwrap_or("");
    let name = AREAS.iter().find(|(code, _)| *code == major).map_or("", |(_, name)| *name);
    // The longest known beginning of the code names the smallest part.
    let inside = |code: &str| area == code || area.strip_prefix(code).is_some_and(|rest| rest.starts_with('.'));
    let part = PARTS.iter().filter(|(code, _)| inside(code)).max_by_key(|(code, _)| code.len());
    let words = [Some(name).filter(|name| !name.is_empty()), part.map(|(_, name)| *name)];
    let words: Vec<&str> = words.into_iter().flatten().collect();
    if words.is_empty() { format!("FAO {area}") } else { format!("{} (FAO {area})", words.join(", ")) }
}

/// The allergen statement: in the United States with the species (FD&C Act 403(w), 201(qq): memory).
pub fn allergen(jurisdiction: Jurisdiction, market_name: &str) -> String {
    match jurisdiction {
        Jurisdiction::Us => format!("Contains: Fish ({market_name})"),
        Jurisdiction::Eu => "Contains fish".to_owned(),
    }
}
