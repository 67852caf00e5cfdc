//! On which terms a cut is sold: the shop's, and what was said differently of the cut, with who said it and when.

use super::desk::Actor;
use super::edit_catalogue::{Expected, next_version, record};
use super::failure::{Failure, refuse};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::terms::{CutTerms, Said, Terms};
use crate::store::catalogue::cut;
use crate::store::{self, Reading, Tx};
use crate::units::instant::Instant;
use std::collections::BTreeMap;

/// What holds for each cut of the catalogue.
pub fn of_cuts(reading: &mut Reading<'_>, shop: &Shop) -> Result<BTreeMap<String, Terms>, Failure> {
    let (own, none) = (store::terms::all(reading)?, CutTerms::default());
    let of = |cut: crate::domain::catalogue::Cut| {
        let said = own.get(&cut.code).map_or(&none, |said| &said.terms);
        let terms = shop.terms.of(said, cut.price);
        (cut.code, terms)
    };
    Ok(cut::list(reading)?.into_iter().map(of).collect())
}

/// What was said of cuts themselves; nothing of those for which the shop's word holds in everything.
pub fn said(reading: &mut Reading<'_>) -> Result<BTreeMap<String, CutTerms>, Failure> {
    Ok(store::terms::all(reading)?.into_iter().map(|(cut, said)| (cut, said.terms)).collect())
}

fn said_of(reading: &mut Reading<'_>, code: &str) -> Result<Option<Said>, Failure> {
    if cut::find(reading, code)?.is_none() {
        return refuse(Code::NotFound, "code", "there is no such cut");
    }
    Ok(store::terms::find(reading, code)?)
}

/// What was said of one cut, and what holds of it.
pub fn standing(reading: &mut Reading<'_>, shop: &Shop, code: &str) -> Result<(Option<Said>, Terms), Failure> {
    let Some(cut) = cut::find(reading, code)? else {
        return refuse(Code::NotFound, "code", "there is no such cut");
    };
    let said = store::terms::find(reading, code)?;
    let none = CutTerms::default();
    let terms = shop.terms.of(said.as_ref().map_or(&none, |said| &said.terms), cut.price);
    Ok((said, terms))
}

/// Says on which terms a cut is sold. Nothing said yet counts as version 0.
pub fn put(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    code: &str,
    terms: &CutTerms,
    expected: Expected,
) -> Result<Said, Failure> {
    let old = said_of(tx, code)?;
    terms.check()?;
    let version = match (&old, expected) {
        (None, Expected::Version(0)) => 1,
        _ => next_version(old.map(|old| old.version), expected)?,
    };
    record(tx, actor, now, "put_cut_terms", code)?;
    let said = Said { terms: terms.clone(), set_by: actor.name.clone(), set_at: now, version };
    if version == 1 {
        store::terms::insert(tx, code, &said)?;
    } else if !store::terms::replace(tx, code, &said)? {
        return refuse(Code::VersionMismatch, "If-Match", "changed meanwhile");
    }
    Ok(said)
}
