//! A freezing against parasites is put on record: measured in a freezer of the shop, or told by the supplier's letter.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::judge::place_of;
use super::resolve::tray_by_scan;
use super::watch::watchman;
use crate::domain::catalogue::Species;
use crate::domain::lot::Lot;
use crate::domain::parasites::{Freezing, Letter, judge, judge_letter};
use crate::domain::place::Place;
use crate::domain::profile::FreezingRule;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::Tray;
use crate::store::acts::{self, NewAct};
use crate::store::catalogue::species_of;
use crate::store::error::StoreError;
use crate::store::parasite_freezings::{self, NewRecord, Record};
use crate::store::{Reading, Tx, evidence, holds, lineage, lots, trays};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::temperature::MilliCelsius;
use std::collections::BTreeSet;

/// A record for whoever shows it.
pub type RecordRow = Record;

/// What a supplier's letter says.
#[derive(Debug, Clone)]
pub struct LetterDraft {
    /// Number, date and writer of the letter.
    pub reference: String,
    pub temperature_mc: i64,
    pub hours: i64,
    /// At or below which it was frozen until solid, where the letter says it.
    pub solid_at_mc: Option<i64>,
}

/// A letter that was judged enough.
#[derive(Debug, Clone)]
pub struct LetterRecord {
    reference: String,
    temperature: MilliCelsius,
    hours: i64,
    rule: FreezingRule,
}

impl LetterDraft {
    /// Whether what the letter says is enough under the profile in use.
    pub fn judge(&self, shop: &Shop, species: &Species) -> Result<LetterRecord, Refusal> {
        let reference = text::note("reference", &self.reference)?;
        let read = |field: &'static str, mc| {
            MilliCelsius::new(mc).map_err(|e| Refusal::new(Code::InvalidValue, field, e.to_string()))
        };
        let temperature = read("temperature_mc", self.temperature_mc)?;
        let letter = Letter {
            species: species.code.clone(),
            temperature,
            hours: self.hours,
            solid_at: self.solid_at_mc.map(|mc| read("solid_at_mc", mc)).transpose()?,
        };
        let rule = judge_letter(&shop.rules.parasites, &letter, &species.code, &species.scientific_name)?;
        Ok(LetterRecord { reference, temperature, hours: self.hours, rule })
    }
}

impl LetterRecord {
    /// As it stands on the lot.
    pub fn in_words(&self) -> String {
        format!("{}: {} h at {} or colder", self.reference, self.hours, self.temperature)
    }

    /// Keeps the record for a lot.
    pub fn keep(&self, tx: &mut Tx<'_>, actor: &Actor, act_id: i64, lot_id: i64, now: Instant) -> Result<i64, Failure> {
        let record = NewRecord {
            act_id,
            scope: "lot",
            target_id: lot_id,
            evidence: "supplier_letter",
            rule: self.rule.name,
            place: None,
            span: None,
            temperature_mc: self.temperature.get(),
            hours: self.hours,
            note: Some(&self.reference),
            recorded_at: now,
            recorded_by: &actor.name,
        };
        Ok(parasite_freezings::insert(tx, &record)?)
    }
}

/// What is to be put on record.
#[derive(Debug, Clone)]
pub struct FreezingDraft {
    /// `lot` by its code, or `batch` by the code of one of its trays.
    pub scope: String,
    pub code: String,
    /// The supplier's letter; what the shop measured itself, when absent.
    pub letter: Option<LetterDraft>,
    /// When every part was found frozen solid and at the temperature: the logger measures the air.
    pub solid_since: Option<Instant>,
    pub note: Option<String>,
}

/// Puts a freezing on record. Measured, it counts for what is in stock of the lot or batch, and all of it must have been cold enough, long
/// enough, without a gap in the readings.
pub fn record(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    draft: &FreezingDraft,
) -> Result<Record, Failure> {
    let note = text::optional_note("note", draft.note.as_deref())?;
    let target = target(tx, shop, now, draft)?;
    let id = match &draft.letter {
        Some(letter) => keep_letter(tx, shop, actor, now, &target, letter)?,
        None => keep_measured(tx, shop, actor, now, &target, draft.solid_since, note.as_deref())?,
    };
    parasite_freezings::find(tx, id)?.ok_or_else(|| StoreError::impossible("record of freezing", id).into())
}

/// What a record is about.
enum Target {
    Lot(Box<Lot>),
    Batch { id: i64, trays: Vec<i64> },
}

fn target(tx: &mut Tx<'_>, shop: &Shop, now: Instant, draft: &FreezingDraft) -> Result<Target, Failure> {
    match draft.scope.as_str() {
        "lot" => match lots::find(tx, &draft.code)? {
            Some(lot) => Ok(Target::Lot(Box::new(lot))),
            None => refuse(Code::UnknownReference, "code", "there is no such lot"),
        },
        "batch" => match tray_by_scan(tx, shop, now, "code", &draft.code)?.batch_id {
            Some(id) => Ok(Target::Batch { id, trays: lineage::of_batch(tx, id)? }),
            None => refuse(Code::UnknownReference, "code", "this tray came from no breakdown; name its lot"),
        },
        _ => refuse(Code::InvalidValue, "scope", "must be lot or batch"),
    }
}

fn append(tx: &mut Tx<'_>, actor: &Actor, now: Instant, reason: Option<&str>) -> Result<i64, Failure> {
    let kind = "parasite_freezing";
    Ok(acts::append(tx, &NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason, reverses: None })?)
}

fn keep_letter(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    target: &Target,
    letter: &LetterDraft,
) -> Result<i64, Failure> {
    let Target::Lot(lot) = target else {
        return refuse(Code::InvalidValue, "scope", "a supplier's letter is about a lot");
    };
    let species = species_of::find(tx, &lot.species)?.ok_or_else(|| StoreError::impossible("species", &lot.species))?;
    let judged = letter.judge(shop, &species).map_err(|refusal| refusal.under("letter"))?;
    let act_id = append(tx, actor, now, Some(&judged.reference))?;
    parasite_freezings::mark_lot(tx, lot.id, &judged.in_words())?;
    judged.keep(tx, actor, act_id, lot.id, now)
}

fn keep_measured(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    target: &Target,
    solid_since: Option<Instant>,
    note: Option<&str>,
) -> Result<i64, Failure> {
    let (scope, target_id, ids) = match target {
        Target::Lot(lot) => ("lot", lot.id, trays::with_lot(tx, lot.id)?),
        Target::Batch { id, trays } => ("batch", *id, trays.clone()),
    };
    let here = lineage::in_stock(tx, &ids.into_iter().collect::<BTreeSet<i64>>())?;
    if here.is_empty() {
        return refuse(Code::TrayGone, "code", "nothing of it is in stock");
    }
    let mut kept: Option<(FreezingRule, Instant, Instant)> = None;
    let mut freezer: Option<String> = None;
    let mut frozen: Vec<(Tray, Instant)> = Vec::with_capacity(here.len());
    for id in here {
        let tray = trays::by_id(tx, id)?;
        if freezer.get_or_insert_with(|| tray.place.clone()) != &tray.place {
            return refuse(Code::InvalidValue, "code", "it stands in several freezers: record it batch by batch");
        }
        let (rule, from, to) = measured(tx, shop, &tray, now, solid_since)?;
        kept = Some(kept.map_or((rule, from, to), |(first, a, b)| (first, a.max(from), b.min(to))));
        frozen.push((tray, to));
    }
    let Some((rule, from, to)) = kept else { return refuse(Code::TrayGone, "code", "nothing of it is in stock") };
    let act_id = append(tx, actor, now, note)?;
    for (mut tray, at) in frozen {
        tray.lived.parasites_frozen_at = Some(at);
        trays::save_with_life(tx, &mut tray)?;
    }
    let record = NewRecord {
        act_id,
        scope,
        target_id,
        evidence: "measured",
        rule: rule.name,
        place: freezer.as_deref(),
        span: Some((from, to)),
        temperature_mc: rule.hold_at.get(),
        hours: rule.hold_hours,
        note,
        recorded_at: now,
        recorded_by: &actor.name,
    };
    Ok(parasite_freezings::insert(tx, &record)?)
}

/// Judges the freezing a tray is in.
fn measured(
    tx: &mut Tx<'_>,
    shop: &Shop,
    tray: &Tray,
    now: Instant,
    solid_since: Option<Instant>,
) -> Result<(FreezingRule, Instant, Instant), Failure> {
    let place = place_of(tx, tray)?;
    if !place.is_frozen() {
        return refuse(
            Code::NotFrozen,
            "code",
            format!("tray {} is not in a freezer: record it before thawing", tray.code),
        );
    }
    let curve = evidence::curve(tx, &place)?;
    let freezing = Freezing { from: tray.lived.as_of, to: now, solid_since };
    let enough = judge(&shop.rules.parasites, &freezing, &|from, to, limit| curve.coldest_spell(from, to, limit));
    let enough = enough.map_err(|mut refusal| {
        for finding in &mut refusal.findings {
            finding.field = "code".to_owned();
            finding.reason = format!("tray {}: {}", tray.code, finding.reason);
        }
        refusal.code = Code::FreezingTooShort;
        refusal
    })?;
    Ok((enough.rule, enough.from, enough.to))
}

/// Looks again at the records of a freezer whose readings have changed. One that no longer holds is refuted: what it stood for loses it, and
/// is on hold until a manager has seen to it. Gives how many were.
pub fn after_readings(
    tx: &mut Tx<'_>,
    shop: &Shop,
    place: &Place,
    from: Instant,
    to: Option<Instant>,
    now: Instant,
) -> Result<usize, Failure> {
    let mut refuted = 0;
    for record in parasite_freezings::measured_in(tx, &place.code, from, to)? {
        if !holds_still(tx, shop, place, &record)? {
            refute(tx, &record, now)?;
            refuted += 1;
        }
    }
    Ok(refuted)
}

fn holds_still(tx: &mut Tx<'_>, shop: &Shop, place: &Place, record: &Record) -> Result<bool, Failure> {
    let rule = shop.rules.parasites.freezing.iter().find(|rule| rule.name == record.rule);
    let (Some(rule), Some(from), Some(to)) = (rule, record.from_at, record.to_at) else { return Ok(false) };
    let read = |micros| Instant::from_micros(micros).map_err(|e| StoreError::impossible("instant", e));
    let spell = evidence::curve(tx, place)?.coldest_spell(read(from)?, read(to)?, rule.hold_at);
    Ok(spell.is_some_and(|(from, to)| to.since(from) >= rule.hold_hours * MICROS_PER_HOUR))
}

fn refute(tx: &mut Tx<'_>, record: &Record, now: Instant) -> Result<(), Failure> {
    let reason = format!("late readings refute the freezing against parasites on record {}", record.id);
    let watch = watchman();
    let act_id = append(tx, &watch, now, Some(&reason))?;
    parasite_freezings::refute(tx, record.id, now)?;
    let scope = if record.scope == "lot" { "lot" } else { "batch" };
    let hold = holds::place(tx, act_id, scope, record.target_id, now, &watch.name, &reason)?;
    let concerned: BTreeSet<i64> = if scope == "lot" {
        trays::with_lot(tx, record.target_id)?.into_iter().collect()
    } else {
        let reached = acts::trays_from_batch(tx, record.target_id)?;
        holds::reach(tx, hold, &reached)?;
        reached
    };
    for id in lineage::in_stock(tx, &concerned)? {
        let mut tray = trays::by_id(tx, id)?;
        if tray.lived.parasites_frozen_at.take().is_some() {
            trays::save_with_life(tx, &mut tray)?;
        }
    }
    Ok(())
}

/// Records, the newest first.
pub fn page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Record>, Failure> {
    Ok(parasite_freezings::page(reading, below, limit)?)
}
