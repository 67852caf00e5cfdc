//! What is left of a tray's life and why, and how it came to that: what it took over, where it stood, what every hour cost. The same for
//! the trays of a lot. What happened in one place is `stretch`'s.

use super::failure::{Failure, refuse};
use super::judge::{facts, tray_by_code};
use super::repair;
use crate::domain::catalogue::{ParasiteRule, Species};
use crate::domain::life::budget::budget_hours;
use crate::domain::life::trace::{Hour, Trace, hours, trace};
use crate::domain::life::wear::Wear;
use crate::domain::lot::Lot;
use crate::domain::profile::OwnSetting;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::tray::Tray;
use crate::domain::verdict::Facts;
use crate::store::catalogue::{place, species_of};
use crate::store::error::StoreError;
use crate::store::{Reading, evidence, lineage, lots, stays, trays};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use std::collections::BTreeSet;

/// Points of the curve of one stay, about.
pub const POINTS_A_STAY: usize = 300;
/// Most hours a story tells one by one: ten days.
pub const HOURS_TOLD: i64 = 240;

/// A tray and its life, as of now or as of the moment it went.
#[derive(Debug, Clone)]
pub struct TrayLife {
    pub at: Instant,
    pub facts: Facts,
    /// Limits in force for it that are looser than the profile, with the shop's ground.
    pub validated: Vec<OwnSetting>,
}

/// What is left of a tray's life. That of a tray which has gone ended where it stood last.
pub fn tray_life(reading: &mut Reading<'_>, shop: &Shop, now: Instant, code: &str) -> Result<TrayLife, Failure> {
    let mut tray = tray_by_code(reading, "tray_code", code)?;
    let at = tray.gone_at.map_or(now, |gone| gone.min(now));
    if !tray.in_stock() {
        // Readings that come late move the anchors of what is in stock only.
        tray.lived.wear = repair::wear_at_anchor(reading, &tray)?;
        if let Some(last) = stays::of_tray(reading, tray.id)?.pop() {
            tray.place = last.place_code;
        }
    }
    let species = species(reading, &tray.species)?;
    let facts = facts(reading, shop, tray, at)?;
    let budget = own_budget(&facts, &species);
    let validated = shop.rules.validated().cloned().chain(budget).collect();
    Ok(TrayLife { at, facts, validated })
}

/// A raw budget longer than the published one is a looser setting too, of its cut.
fn own_budget(facts: &Facts, species: &Species) -> Option<OwnSetting> {
    let lived = &facts.tray.lived;
    lived.raw_budget_validated.then(|| OwnSetting {
        name: "raw_budget_hours",
        value: (lived.budgets.raw_micros / MICROS_PER_HOUR).to_string(),
        profile_value: budget_hours(species.group, facts.cut.form).to_string(),
        validated: facts.cut.raw_budget_validated.clone().or_else(|| Some("as it was cut".to_owned())),
    })
}

fn species(reading: &mut Reading<'_>, code: &str) -> Result<Species, Failure> {
    species_of::find(reading, code)?.ok_or_else(|| StoreError::impossible("species", code).into())
}

/// An act by which a tray took over from others.
#[derive(Debug, Clone)]
pub struct TakenOver {
    pub at: Instant,
    pub poured: bool,
    pub from_trays: Vec<String>,
    pub added: Wear,
}

/// A tray's time in one place.
#[derive(Debug, Clone)]
pub struct StayTold {
    pub place_code: String,
    pub place_name: String,
    /// The storage method of the place then.
    pub method: String,
    pub from: Instant,
    /// None while it lasts.
    pub to: Option<Instant>,
    pub cost: Wear,
    pub trace: Trace,
}

/// An hour of a tray's life, or the part of it that it spent in one place.
#[derive(Debug, Clone)]
pub struct HourTold {
    pub place_code: String,
    pub hour: Hour,
}

/// How a tray came to where it is. What it took over and the cost of its stays sum to all it lived through.
#[derive(Debug, Clone)]
pub struct Story {
    pub tray: Tray,
    /// Told up to here: now, or when it went.
    pub at: Instant,
    pub taken_over: Vec<TakenOver>,
    pub stays: Vec<StayTold>,
    /// Begins at the instant asked for, or with the last hours.
    pub hours: Vec<HourTold>,
}

/// Tells a tray's story, with the hours from an instant on.
pub fn of_tray(
    reading: &mut Reading<'_>,
    now: Instant,
    code: &str,
    hours_from: Option<Instant>,
) -> Result<Story, Failure> {
    let tray = tray_by_code(reading, "tray_code", code)?;
    let at = tray.gone_at.map_or(now, |gone| gone.min(now)).max(tray.lived.as_of);
    let mut taken_over = Vec::new();
    for act in repair::taken_over(reading, tray.id)? {
        let mut from_trays = Vec::with_capacity(act.sources.len());
        for source in act.sources {
            from_trays.push(trays::by_id(reading, source)?.code.to_string());
        }
        taken_over.push(TakenOver { at: act.at, poured: act.poured, from_trays, added: act.added });
    }
    let first_hour = hours_from.unwrap_or_else(|| hours_before(at));
    let last_hour = first_hour.plus_micros(HOURS_TOLD * MICROS_PER_HOUR);
    let (mut stays_told, mut hours_told) = (Vec::new(), Vec::new());
    for stay in stays::of_tray(reading, tray.id)? {
        let place =
            place::find(reading, &stay.place_code)?.ok_or_else(|| StoreError::impossible("place", &stay.place_code))?;
        let curve = evidence::curve(reading, &place)?;
        let end = stay.to.unwrap_or(at);
        let told = hours(&curve, stay.from.max(first_hour), end.min(last_hour));
        hours_told.extend(told.into_iter().map(|hour| HourTold { place_code: place.code.clone(), hour }));
        stays_told.push(StayTold {
            cost: curve.wear(stay.from, end),
            trace: trace(&curve, stay.from, end, POINTS_A_STAY),
            place_code: place.code,
            place_name: place.name,
            method: stay.method,
            from: stay.from,
            to: stay.to,
        });
    }
    Ok(Story { tray, at, taken_over, stays: stays_told, hours: hours_told })
}

/// The last whole hours before an instant, with the one it lies in.
fn hours_before(at: Instant) -> Instant {
    at.plus_micros(-(at.micros() % MICROS_PER_HOUR)).plus_micros(-(HOURS_TOLD - 1) * MICROS_PER_HOUR)
}

/// Whether the fish of a lot may be eaten raw as far as parasites go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parasites {
    NotNeeded,
    OnRecord,
    Missing,
}

impl Parasites {
    pub const fn as_str(self) -> &'static str {
        match self {
            Parasites::NotNeeded => "not_needed",
            Parasites::OnRecord => "on_record",
            Parasites::Missing => "missing",
        }
    }
}

/// The trays in stock that hold some of a lot.
#[derive(Debug, Clone)]
pub struct LotLife {
    pub lot: Lot,
    pub parasites: Parasites,
    /// The first to end first, those that stand still last.
    pub trays: Vec<Facts>,
}

/// What is left of every tray of a lot.
pub fn of_lot(reading: &mut Reading<'_>, shop: &Shop, now: Instant, code: &str) -> Result<LotLife, Failure> {
    let Some(lot) = lots::find(reading, code)? else {
        return refuse(Code::NotFound, "lot_code", "there is no such lot");
    };
    let rule = species(reading, &lot.species)?.parasite_rule;
    let with_lot: BTreeSet<i64> = trays::with_lot(reading, lot.id)?.into_iter().collect();
    let mut found = Vec::new();
    for id in lineage::in_stock(reading, &with_lot)? {
        let tray = trays::by_id(reading, id)?;
        found.push(facts(reading, shop, tray, now)?);
    }
    found.sort_by_key(|facts| (facts.life.ends_at.is_none(), facts.life.ends_at, facts.tray.id));
    let every_tray = !found.is_empty() && found.iter().all(|facts| facts.parasite_record);
    let parasites = match rule {
        ParasiteRule::FreezeBeforeRaw if lot.parasite_freezing.is_some() || every_tray => Parasites::OnRecord,
        ParasiteRule::FreezeBeforeRaw => Parasites::Missing,
        ParasiteRule::Exempt => Parasites::NotNeeded,
    };
    Ok(LotLife { lot, parasites, trays: found })
}
