//! Loads what a judgement of one tray rests on. The judgement itself is `domain::verdict`.

use super::failure::{Failure, refuse};
use crate::domain::catalogue::Cut;
use crate::domain::life::budget;
use crate::domain::life::clocks::{Life, Standing, reckon};
use crate::domain::life::date_mark::Calendar;
use crate::domain::life::lived::Lived;
use crate::domain::life::wear::Budgets;
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::shop::{LABEL_STORAGE_LIMIT, Shop};
use crate::domain::tray::Tray;
use crate::domain::tray_code::TrayCode;
use crate::domain::verdict::Facts;
use crate::store::catalogue::{around, cut, place, species_of};
use crate::store::error::StoreError;
use crate::store::snapshot::Snapshot;
use crate::store::{Reading, evidence, holds, lots, trays};
use crate::units::instant::Instant;
use std::collections::HashMap;

/// A tray that an address or an act names by its code.
pub fn tray_by_code(reading: &mut Reading<'_>, field: &str, code: &str) -> Result<Tray, Failure> {
    let code = TrayCode::parse(field, code)?;
    match trays::find(reading, &code)? {
        Some(tray) => Ok(tray),
        None => refuse(Code::NotFound, field, format!("there is no tray {code}")),
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
pub fn facts(reading: &mut Reading<'_>, shop: &Shop, tray: Tray, now: Instant) -> Result<Facts, Failure> {
    let (place, cut, species) = around(reading, &tray)?
        .ok_or_else(|| StoreError::impossible("tray without its place, cut or species", tray.code))?;
    let parasite_record = tray.lived.parasites_frozen_at.is_some() || lots::all_frozen_on_record(reading, tray.id)?;
    let holds = holds::on_tray(reading, &tray)?;
    let life = life(reading, shop, &tray, &place, now)?;
    let place_frozen = place.is_frozen();
    Ok(Facts { tray, cut, parasite_rule: species.parasite_rule, parasite_record, place_frozen, life, holds })
}

/// How each place of a snapshot stands now.
pub fn standings<'a>(
    snapshot: &'a Snapshot,
    shop: &'a Shop,
    calendar: &'a Calendar,
    now: Instant,
) -> HashMap<&'a str, Standing<'a>> {
    let standing = |(code, place): (&'a String, &'a Place)| {
        let curve = snapshot.curves.get(code)?;
        Some((code.as_str(), Standing::new(&shop.rules, calendar, (curve, place.method), now)))
    };
    snapshot.places.iter().filter_map(standing).collect()
}

/// The same for a tray of a loaded snapshot.
pub fn facts_in(
    snapshot: &Snapshot,
    shop: &Shop,
    standings: &HashMap<&str, Standing<'_>>,
    tray: &Tray,
) -> Result<Facts, Failure> {
    let place = snapshot.places.get(&tray.place).ok_or_else(|| StoreError::impossible("place", &tray.place))?;
    let cut = snapshot.cuts.get(&tray.cut).ok_or_else(|| StoreError::impossible("cut", &tray.cut))?;
    let species =
        snapshot.species.get(&tray.species).ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let standing = standings.get(tray.place.as_str()).ok_or_else(|| StoreError::impossible("curve of", &tray.place))?;
    let record = |lot: &i64| snapshot.lots.get(lot).is_some_and(|(_, record)| *record);
    Ok(Facts {
        tray: tray.clone(),
        cut: cut.clone(),
        parasite_rule: species.parasite_rule,
        parasite_record: tray.lived.parasites_frozen_at.is_some() || snapshot.lots_on(tray).iter().all(record),
        place_frozen: place.is_frozen(),
        life: standing.life(&tray.subject(shop.zone)),
        holds: snapshot.holds_on(tray),
    })
}

/// The life of a tray in a place as of now: in the one it stands in, or as it would go on in another.
pub fn life(reading: &mut Reading<'_>, shop: &Shop, tray: &Tray, place: &Place, now: Instant) -> Result<Life, Failure> {
    let curve = evidence::curve(reading, place)?;
    Ok(reckon(&tray.subject(shop.zone), (&curve, place.method), &shop.rules, shop.zone, now))
}

/// The life of a tray as a label may promise it: kept from now on as the label says, or where it stands if that is warmer.
pub fn promise(
    reading: &mut Reading<'_>,
    shop: &Shop,
    tray: &Tray,
    place: &Place,
    now: Instant,
) -> Result<Life, Failure> {
    let curve = evidence::curve(reading, place)?;
    let calendar = Calendar::new(shop.zone);
    let standing = Standing::new(&shop.rules, &calendar, (&curve, place.method), now);
    Ok(standing.then_kept_at(LABEL_STORAGE_LIMIT).life(&tray.subject(shop.zone)))
}

/// A tray's life anchored at `now`, after its time in the place it stands in. An anchor never goes back.
pub fn lived_to(reading: &mut Reading<'_>, tray: &Tray, place: &Place, now: Instant) -> Result<Lived, Failure> {
    let stretch = evidence::curve(reading, place)?.wear(tray.lived.as_of, now);
    Ok(tray.lived.moved_to(now, stretch))
}

/// What a cut of a species may use up.
pub fn budgets(reading: &mut Reading<'_>, shop: &Shop, species: &str, cut: &Cut) -> Result<Budgets, Failure> {
    let species = species_of::find(reading, species)?.ok_or_else(|| StoreError::impossible("species", species))?;
    Ok(budget::budgets(&shop.rules, species.group, cut.form, cut.own_budget()))
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
