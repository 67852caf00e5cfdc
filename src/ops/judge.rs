//! Loads what a judgement of one tray rests on. The judgement itself is `domain::verdict`.

use super::failure::{Failure, refuse};
use crate::domain::catalogue::Cut;
use crate::domain::life::budget::budget_micros;
use crate::domain::life::rate::{Pace, RawClock};
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::scan_text;
use crate::domain::shop::Shop;
use crate::domain::tray::Tray;
use crate::domain::tray_code::TrayCode;
use crate::domain::verdict::Facts;
use crate::store::catalogue::{around, cut, place, species_of};
use crate::store::error::StoreError;
use crate::store::snapshot::Snapshot;
use crate::store::{Reading, holds, lots, trays};
use crate::units::instant::Instant;

/// A tray that an address or an act names by its code.
pub fn tray_by_code(reading: &mut Reading<'_>, field: &str, code: &str) -> Result<Tray, Failure> {
    let code = TrayCode::parse(field, code)?;
    match trays::find(reading, &code)? {
        Some(tray) => Ok(tray),
        None => refuse(Code::NotFound, field, format!("there is no tray {code}")),
    }
}

/// A tray that a request refers to in its body, by anything a scanner may send.
pub fn tray_by_scan(reading: &mut Reading<'_>, shop: &Shop, field: &str, text: &str) -> Result<Tray, Failure> {
    let code = scan_text::read(text, &shop.web_address).map_err(|mut refusal| {
        for finding in &mut refusal.findings {
            field.clone_into(&mut finding.field);
        }
        refusal
    })?;
    match trays::find(reading, &code)? {
        Some(tray) => Ok(tray),
        None => refuse(Code::UnknownReference, field, format!("there is no tray {code}")),
    }
}

/// A place that a request refers to.
pub fn place_by_code(reading: &mut Reading<'_>, field: &str, code: &str) -> Result<Place, Failure> {
    match place::find(reading, code)? {
        Some(place) => Ok(place),
        None => refuse(Code::UnknownReference, field, "there is no such place"),
    }
}

/// A cut that a request refers to.
pub fn cut_by_code(reading: &mut Reading<'_>, field: &str, code: &str) -> Result<Cut, Failure> {
    match cut::find(reading, code)? {
        Some(cut) => Ok(cut),
        None => refuse(Code::UnknownReference, field, "there is no such cut"),
    }
}

/// The place a tray stands in: the database guarantees that it exists.
pub fn place_of(reading: &mut Reading<'_>, tray: &Tray) -> Result<Place, Failure> {
    place::find(reading, &tray.place)?.ok_or_else(|| StoreError::impossible("place", &tray.place).into())
}

/// Everything a judgement of this tray rests on.
pub fn facts(reading: &mut Reading<'_>, tray: Tray) -> Result<Facts, Failure> {
    let (place, cut, species) = around(reading, &tray)?
        .ok_or_else(|| StoreError::impossible("tray without its place, cut or species", tray.code))?;
    let parasite_record = lots::all_frozen_on_record(reading, tray.id)?;
    let holds = holds::on_tray(reading, &tray)?;
    let (pace, place_frozen) = (place.pace(), place.is_frozen());
    Ok(Facts { tray, cut, parasite_rule: species.parasite_rule, parasite_record, place_frozen, pace, holds })
}

/// The same for a tray of a loaded snapshot.
pub fn facts_in(snapshot: &Snapshot, tray: &Tray) -> Result<Facts, Failure> {
    let place = snapshot.places.get(&tray.place).ok_or_else(|| StoreError::impossible("place", &tray.place))?;
    let cut = snapshot.cuts.get(&tray.cut).ok_or_else(|| StoreError::impossible("cut", &tray.cut))?;
    let species =
        snapshot.species.get(&tray.species).ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let record = |lot: &i64| snapshot.lots.get(lot).is_some_and(|(_, record)| *record);
    Ok(Facts {
        tray: tray.clone(),
        cut: cut.clone(),
        parasite_rule: species.parasite_rule,
        parasite_record: snapshot.lots_on(tray).iter().all(record),
        place_frozen: place.is_frozen(),
        pace: place.pace(),
        holds: snapshot.holds_on(tray),
    })
}

/// A tray's clock anchored at `now`.
pub fn clock_now(tray: &Tray, pace: Pace, now: Instant) -> RawClock {
    tray.clock.run_to(now, pace)
}

/// The raw-eating budget of a cut of a species, in microseconds at 0 °C.
pub fn budget(reading: &mut Reading<'_>, species: &str, cut: &Cut) -> Result<i64, Failure> {
    let species = species_of::find(reading, species)?.ok_or_else(|| StoreError::impossible("species", species))?;
    Ok(budget_micros(species.group, cut.form, cut.own_budget()))
}

/// Refuses unless the tray is in stock.
pub fn require_in_stock(tray: &Tray, field: &str) -> Result<(), Failure> {
    match tray.fate {
        None => Ok(()),
        Some(fate) => {
            refuse(Code::TrayGone, field, format!("tray {} is no longer in stock: {}", tray.code, fate.as_str()))
        }
    }
}

/// Refuses a tray under a hold.
pub fn require_no_hold(reading: &mut Reading<'_>, tray: &Tray, field: &str) -> Result<(), Failure> {
    match holds::on_tray(reading, tray)?.into_iter().next() {
        None => Ok(()),
        Some(reason) => refuse(Code::OnHold, field, format!("tray {} is on hold: {reason}", tray.code)),
    }
}
