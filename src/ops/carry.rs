//! Errands: what is carried to the kitchen or the freezer because of a decision. A scan of the tray does the act and ends the errand.

use super::board::{Judged, one};
use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::place_tray::{Way, take_to};
use super::resolve::tray_by_scan;
use super::take_out::{Whither, take_out};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::tray::Tray;
use crate::store::errands::{self, Errand};
use crate::store::error::StoreError;
use crate::store::{Reading, Tx, trays};
use crate::units::instant::Instant;

/// An open errand with its tray as it stands.
#[derive(Debug, Clone)]
pub struct Open {
    pub errand: Errand,
    pub judged: Judged,
}

/// Everything that is still to be carried, the oldest first.
pub fn open(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Open>, Failure> {
    let mut all = Vec::new();
    for errand in errands::open(reading)? {
        let code = trays::by_id(reading, errand.tray_id)?.code.to_string();
        let judged = one(reading, shop, now, &code)?;
        all.push(Open { errand, judged });
    }
    Ok(all)
}

/// How many errands are open.
pub fn count(reading: &mut Reading<'_>) -> Result<usize, Failure> {
    Ok(errands::open(reading)?.len())
}

/// What is still to be carried of it; of a tub that was sold from meanwhile, no more than is left.
pub fn grams_of(errand: &Errand, tray: &Tray) -> i64 {
    errand.grams.unwrap_or(tray.net.get()).min(tray.net.get())
}

/// The scanned tray arrived: it is in the kitchen, or in that frozen place, and its errand is over.
pub fn complete(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    scanned: &str,
    place: Option<&str>,
) -> Result<(Errand, Tray), Failure> {
    let tray = tray_by_scan(tx, shop, now, "scanned", scanned)?;
    let errand = errands::open(tx)?.into_iter().find(|errand| errand.tray_id == tray.id);
    let Some(errand) = errand else {
        return refuse(Code::NoErrand, "scanned", format!("nothing is to be carried with tray {}", tray.code));
    };
    let (code, reason) = (tray.code.to_string(), format!("review, as {} decided", errand.decided_by));
    let done = match (errand.kind.as_str(), place) {
        ("freeze", None) => refuse(Code::InvalidValue, "place_code", "say which frozen place it went to"),
        ("freeze", Some(place)) => take_to(tx, shop, actor, now, &code, place, Way::Freeze, Some(&reason)),
        // A kitchen is no place of the stock: what is said of one is for the trays that are frozen.
        _ => {
            let part = errand.grams.filter(|grams| *grams < tray.net.get());
            take_out(tx, shop, actor, now, &code, Whither::Kitchen, part, Some(&reason))
        }
    };
    let tray = done.map_err(as_scanned)?;
    let act = tx.last_act().ok_or_else(|| StoreError::impossible("act of errand", errand.id))?;
    errands::complete(tx, errand.id, now, &actor.name, act)?;
    Ok((errand, tray))
}

/// What the acts call the code of the tray was a scan here.
fn as_scanned(failure: Failure) -> Failure {
    match failure {
        Failure::Refused(mut refusal) => {
            for finding in refusal.findings.iter_mut().filter(|finding| finding.field == "tray_code") {
                "scanned".clone_into(&mut finding.field);
            }
            Failure::Refused(refusal)
        }
        other => other,
    }
}
