//! Errands: what is carried to the kitchen or the freezer because of a decision. A scan of the tray does the act and ends the errand.

use super::board::{Judged, one};
use super::desk::Actor;
use super::failure::{Failure, refuse};
use super::place_tray::{Way, take_to};
use super::resolve::tray_by_scan;
use super::take_out::{Whither, carry_out};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::text;
use crate::domain::tray::Tray;
use crate::store::acts::{self, NewAct};
use crate::store::errands::{self, Errand, State};
use crate::store::{Reading, Tx, trays};
use crate::units::instant::Instant;

/// Whether an errand is of this business day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Since {
    Today,
    Earlier,
}

impl Since {
    /// An errand of an earlier day was forgotten: it keeps its tray out of no review any more.
    pub fn of(shop: &Shop, now: Instant, errand: &Errand) -> Since {
        let earlier = shop.zone.day_of(errand.created_at) < shop.zone.day_of(now);
        if earlier { Since::Earlier } else { Since::Today }
    }
}

/// An open errand with its tray as it stands.
#[derive(Debug, Clone)]
pub struct Open {
    pub since: Since,
    pub errand: Errand,
    pub judged: Judged,
}

/// Everything that is still to be carried, the oldest first.
pub fn open(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Open>, Failure> {
    let mut all = Vec::new();
    for errand in errands::open(reading)? {
        let code = trays::by_id(reading, errand.tray_id)?.code.to_string();
        let judged = one(reading, shop, now, &code)?;
        all.push(Open { since: Since::of(shop, now, &errand), errand, judged });
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

/// A scan at the end of an errand.
#[derive(Debug, Clone, Copy)]
pub struct Arrival<'a> {
    pub scanned: &'a str,
    /// The frozen place it stands in now; nothing in the kitchen, which is no place of the stock.
    pub place: Option<&'a str>,
    /// Which errand of the tray it is, where it has several.
    pub errand: Option<i64>,
}

/// The scanned tray arrived: it is in the kitchen, or in that frozen place, and its errand is over.
pub fn complete(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    arrival: Arrival<'_>,
) -> Result<(Errand, Tray), Failure> {
    let tray = tray_by_scan(tx, shop, now, "scanned", arrival.scanned)?;
    let mut of_tray = errands::open(tx)?;
    of_tray.retain(|errand| errand.tray_id == tray.id);
    let errand = meant(of_tray, &tray, arrival)?;
    let (code, reason) = (tray.code.to_string(), format!("review, as {} decided", errand.decided_by));
    // The acts themselves close what they do.
    let done = match (errand.kind.as_str(), arrival.place) {
        ("freeze", None) => refuse(Code::InvalidValue, "place_code", "say which frozen place it went to"),
        ("freeze", Some(place)) => take_to(tx, shop, actor, now, &code, place, Way::Freeze, Some(&reason)),
        (_, Some(_)) => refuse(Code::InvalidValue, "place_code", "is for what goes to the freezer"),
        (_, None) => {
            let part = errand.grams.filter(|grams| *grams < tray.net.get());
            carry_out(tx, shop, actor, now, &code, Whither::Kitchen, part, Some(&reason), Some(errand.id))
        }
    };
    Ok((errand, done.map_err(as_scanned)?))
}

/// Which errand of the tray is meant: the one that is named, or the oldest that ends in such a place. Whoever stands at the freezer does
/// nothing for the kitchen.
fn meant(of_tray: Vec<Errand>, tray: &Tray, arrival: Arrival<'_>) -> Result<Errand, Failure> {
    let ends_here = |errand: &&Errand| (errand.kind == "freeze") == arrival.place.is_some();
    let found = match arrival.errand {
        Some(id) => of_tray.iter().find(|errand| errand.id == id),
        None if arrival.place.is_some() => of_tray.iter().find(ends_here),
        // A place that is missing is asked for.
        None => of_tray.iter().find(ends_here).or(of_tray.first()),
    };
    match (found, arrival.errand) {
        (Some(errand), _) => Ok(errand.clone()),
        (None, Some(_)) => refuse(Code::NoErrand, "errand_id", format!("is no open errand of tray {}", tray.code)),
        (None, None) if of_tray.is_empty() => {
            refuse(Code::NoErrand, "scanned", format!("nothing is to be carried with tray {}", tray.code))
        }
        (None, None) => refuse(Code::NoErrand, "scanned", format!("tray {} goes to the kitchen", tray.code)),
    }
}

/// A manager drops an errand: its tray stays where it is, and a review may speak of it again.
pub fn drop_one(tx: &mut Tx<'_>, actor: &Actor, now: Instant, id: i64, note: Option<&str>) -> Result<(), Failure> {
    let note = text::optional_note("note", note)?;
    match errands::state(tx, id)? {
        None => return refuse(Code::NotFound, "id", "there is no such errand"),
        Some(State::Done) => return refuse(Code::NoErrand, "id", "it was carried already"),
        Some(State::Dropped) => return refuse(Code::NoErrand, "id", "it was dropped already"),
        Some(State::Open) => {}
    }
    let act = NewAct {
        kind: "drop_errand",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: note.as_deref(),
        reverses: None,
    };
    let act_id = acts::append(tx, &act)?;
    Ok(errands::drop_one(tx, id, now, act_id)?)
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
