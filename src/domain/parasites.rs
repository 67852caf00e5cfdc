//! Freezing against parasites before raw eating: which species need it, and whether a freezing, measured or told by a supplier, was enough.
//! Lists, temperatures and hours are the profile's; the times at -20 °C of the United States and of the EU differ sevenfold, so no record
//! of one serves the other.

use super::catalogue::ParasiteRule;
use super::profile::{CountsFrom, FreezingRule, ParasiteRules};
use super::refusal::{Code, Refusal};
use super::text;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::temperature::MilliCelsius;

/// Whether the profile itself exempts a species. Both names must agree: a code of one fish with the name of another exempts neither.
pub fn is_listed(rules: &ParasiteRules, fao_code: &str, scientific_name: &str) -> bool {
    let name = scientific_name.split_whitespace().collect::<Vec<_>>().join(" ");
    rules
        .exempt
        .iter()
        .any(|species| species.fao_code == fao_code && species.scientific_name.eq_ignore_ascii_case(&name))
}

/// Checks the shop's rule for a species. To exempt one that the profile does not list, the shop must say on what ground; the note comes
/// back as it is to be kept.
pub fn check_exemption(
    rules: &ParasiteRules,
    fao_code: &str,
    scientific_name: &str,
    rule: ParasiteRule,
    note: Option<&str>,
) -> Result<Option<String>, Refusal> {
    let note = text::optional_note("parasite_note", note)?;
    let listed = is_listed(rules, fao_code, scientific_name);
    if rule == ParasiteRule::Exempt && !listed && note.is_none() {
        let reason = format!(
            "the profile does not exempt this species: say on what ground the shop does, such as {}",
            rules.other_grounds
        );
        return Err(Refusal::new(Code::InvalidValue, "parasite_note", reason));
    }
    Ok(note)
}

/// A freezing in a place with readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Freezing {
    pub from: Instant,
    pub to: Instant,
    /// When a person found every part frozen solid and at the temperature; the logger measures the air and cannot see it.
    pub solid_since: Option<Instant>,
}

/// A freezing that was enough: by which rule, from when to when, at or below which temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Enough {
    pub rule: FreezingRule,
    pub from: Instant,
    pub to: Instant,
}

impl Enough {
    /// Whole hours it held; never fewer than the rule asks.
    pub fn hours(&self) -> i64 {
        self.to.since(self.from) / MICROS_PER_HOUR
    }
}

/// The longest stretch between two instants that was measured throughout and never above a temperature.
pub type ColdestSpell<'a> = &'a dyn Fn(Instant, Instant, MilliCelsius) -> Option<(Instant, Instant)>;

/// Judges a measured freezing by every rule of the profile; the first that it meets counts, else all that is missing is said.
pub fn judge(rules: &ParasiteRules, freezing: &Freezing, coldest_spell: ColdestSpell<'_>) -> Result<Enough, Refusal> {
    let mut missing = Vec::new();
    for rule in rules.freezing {
        match measured(rule, freezing, coldest_spell) {
            Ok((from, to)) => return Ok(Enough { rule: *rule, from, to }),
            Err(reason) => missing.push(Refusal::new(Code::InvalidValue, "", format!("{}: {reason}", rule.name))),
        }
    }
    Err(Refusal::join(missing).unwrap_or_else(no_rule))
}

fn measured(
    rule: &FreezingRule,
    freezing: &Freezing,
    coldest_spell: ColdestSpell<'_>,
) -> Result<(Instant, Instant), String> {
    let counted_from = match (rule.counts_from, freezing.solid_since) {
        (CountsFrom::InFreezer, _) => freezing.from,
        (CountsFrom::Solid | CountsFrom::AllParts, Some(since)) if (freezing.from..=freezing.to).contains(&since) => {
            since
        }
        (CountsFrom::Solid | CountsFrom::AllParts, Some(_)) => {
            return Err("solid_since must lie inside the freezing".into());
        }
        (CountsFrom::Solid, None) => return Err("needs solid_since, when the fish was found frozen solid".into()),
        (CountsFrom::AllParts, None) => {
            return Err("needs solid_since, when every part was found at the temperature".into());
        }
    };
    if let Some(limit) = rule.solid_at {
        let whole = Some((freezing.from, counted_from));
        if counted_from <= freezing.from || coldest_spell(freezing.from, counted_from, limit) != whole {
            return Err(format!("not measured at or below {limit} until the fish was solid"));
        }
    }
    let needed = rule.hold_hours * MICROS_PER_HOUR;
    match coldest_spell(counted_from, freezing.to, rule.hold_at) {
        Some((from, to)) if to.since(from) >= needed => Ok((from, to)),
        spell => {
            let held = spell.map_or(0, |(from, to)| to.since(from));
            Err(format!(
                "measured {} h in one stretch at or below {}, and {} h are needed",
                in_hours(held),
                rule.hold_at,
                rule.hold_hours
            ))
        }
    }
}

/// Hours to a tenth, rounded down: what is short by a minute must not look complete.
fn in_hours(micros: i64) -> String {
    let tenths = micros / (MICROS_PER_HOUR / 10);
    format!("{}.{}", tenths / 10, tenths % 10)
}

/// What a supplier's letter says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// FAO code or scientific name.
    pub species: String,
    pub temperature: MilliCelsius,
    pub hours: i64,
    /// The temperature at which it was frozen until solid, where the letter says it.
    pub solid_at: Option<MilliCelsius>,
}

/// Judges a supplier's letter for a species by the rules of the profile.
pub fn judge_letter(
    rules: &ParasiteRules,
    letter: &Letter,
    fao_code: &str,
    scientific_name: &str,
) -> Result<FreezingRule, Refusal> {
    let named = letter.species.split_whitespace().collect::<Vec<_>>().join(" ");
    if named != fao_code && !named.eq_ignore_ascii_case(scientific_name) {
        let reason = format!("the letter must be about {scientific_name} ({fao_code})");
        return Err(Refusal::new(Code::InvalidValue, "species", reason));
    }
    let enough = |rule: &&FreezingRule| {
        let held = letter.temperature <= rule.hold_at && letter.hours >= rule.hold_hours;
        // Fish kept at a temperature was frozen at it, unless the letter says otherwise.
        held && rule.solid_at.is_none_or(|limit| letter.solid_at.unwrap_or(letter.temperature) <= limit)
    };
    rules.freezing.iter().find(enough).copied().ok_or_else(|| {
        let ways: Vec<String> = rules.freezing.iter().map(way).collect();
        let reason = format!("the letter must tell of one of these: {}", ways.join("; "));
        Refusal::new(Code::InvalidValue, "hours", reason)
    })
}

/// A rule in words.
fn way(rule: &FreezingRule) -> String {
    let solid = rule.solid_at.map(|limit| format!("frozen solid at or below {limit}, then ")).unwrap_or_default();
    let parts = if rule.counts_from == CountsFrom::AllParts { " in all parts" } else { "" };
    format!("{solid}at or below {}{parts} for at least {} h", rule.hold_at, rule.hold_hours)
}

fn no_rule() -> Refusal {
    Refusal::new(Code::InvalidValue, "", "the profile knows no freezing that counts")
}
