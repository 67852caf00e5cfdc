//! What advice rests on, and whether it was decided already: what was decided today is not asked again unless something changed.

use super::{Advised, Course, Proposal};
use crate::ops::secret::digest;
use crate::store::decisions::{DecidedTray, Decision};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::zone::Zone;
use std::fmt::Write;

/// So far an end may move without anything being asked again.
const MOVED_MICROS: i64 = MICROS_PER_HOUR;
/// Letters of a basis.
const BASIS_LENGTH: usize = 16;

/// A decision of today that stands, with its trays.
#[derive(Debug, Clone)]
pub struct Standing {
    pub decision: Decision,
    pub trays: Vec<DecidedTray>,
}

/// The basis of advice: a short hash of its trays, their weights, ends to the hour and prices, and of what is advised.
pub fn basis(cut: &str, advised: &[Advised]) -> String {
    let mut text = cut.to_owned();
    for a in advised {
        let (tray, hour) = (&a.on.tray, a.on.end.micros().div_euclid(MICROS_PER_HOUR));
        let advice = (a.course.as_str(), a.price.get(), a.kitchen_g);
        // Writing to a text cannot fail.
        let _ = write!(text, "|{},{},{},{hour},{},{advice:?}", tray.id, tray.net.get(), a.on.free_g, tray.price.get());
    }
    digest(&text).chars().take(BASIS_LENGTH).collect()
}

/// Why a proposal is asked although its cut was decided today; `Ok` when it is not asked again.
pub fn settled(proposal: &Proposal, standing: &Standing, zone: Zone) -> Result<(), String> {
    let at = zone.time_of(standing.decision.at).format("%H:%M");
    let mut new = 0;
    for advised in &proposal.trays {
        match standing.trays.iter().find(|decided| decided.tray_id == advised.on.tray.id) {
            None => new += 1,
            Some(decided) => {
                let end = advised.on.end;
                let moved = Instant::from_micros(decided.ends_at).map_or(i64::MAX, |before| end.since(before).abs());
                if moved > MOVED_MICROS {
                    return Err(format!("Since {at} the end of {} has moved.", advised.on.tray.code));
                }
                if advised.on.free_g > decided.net_g {
                    return Err(format!("Since {at} there is more of {}.", advised.on.tray.code));
                }
                if !same(advised, decided) {
                    return Err(format!("Decided at {at}; since then other advice is better."));
                }
            }
        }
    }
    match new {
        0 => Ok(()),
        1 => Err(format!("Decided at {at}; since then a tray was added.")),
        new => Err(format!("Decided at {at}; since then {new} trays were added.")),
    }
}

/// Whether a tray gets the same advice as it got then, or none. Of what is advised for the kitchen, no more than was advised then and not
/// done: what was done is no longer in the question.
fn same(advised: &Advised, decided: &DecidedTray) -> bool {
    if advised.kitchen_g > (decided.advised_kitchen_g - decided.kitchen_g).max(0) {
        return false;
    }
    match advised.course {
        Course::Keep | Course::Kitchen => true,
        Course::MarkDown => decided.advised_price == Some(advised.price.get()),
        Course::Freeze => decided.advised_course == Course::Freeze.as_str(),
    }
}
