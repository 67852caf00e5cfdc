//! Fish on the cutting bench: the minutes between the cold and the cut are part of its life, as a stay on the bench.

use super::failure::{Failure, refuse};
use super::judge::lived_to;
use crate::domain::life::lived::Lived;
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::tray::Tray;
use crate::store::{Tx, evidence, stays};
use crate::units::instant::{Instant, MICROS_PER_MINUTE};

/// Longest a cutting may say that fish lay on the bench.
const LONGEST_MINUTES: i64 = 8 * 60;

/// How long fish lay on the bench before it was cut: as told, or what the shop reckons with.
pub fn minutes(shop: &Shop, told: Option<i64>) -> Result<i64, Failure> {
    let minutes = told.unwrap_or(shop.bench_minutes);
    if !(0..=LONGEST_MINUTES).contains(&minutes) {
        return refuse(Code::InvalidValue, "bench_minutes", format!("must be from 0 to {LONGEST_MINUTES}"));
    }
    Ok(minutes)
}

/// A tray's life up to a cut.
pub struct OnBench {
    /// Anchored when it came to the bench; none when it was cut where it stood.
    taken_out: Option<Lived>,
    /// Anchored at the cut.
    pub at_cut: Lived,
}

/// The life of a tray that is cut at `at`. It cannot have come to the bench before it came to its place.
pub fn until_cut(
    tx: &mut Tx<'_>,
    tray: &Tray,
    place: &Place,
    bench: &Place,
    minutes: i64,
    at: Instant,
) -> Result<OnBench, Failure> {
    if minutes == 0 || bench.code == place.code {
        return Ok(OnBench { taken_out: None, at_cut: lived_to(tx, tray, place, at)? });
    }
    let from = at.plus_micros(-minutes * MICROS_PER_MINUTE).max(tray.lived.as_of);
    let taken_out = lived_to(tx, tray, place, from)?;
    let stretch = evidence::curve(tx, bench)?.wear(from, at);
    Ok(OnBench { taken_out: Some(taken_out), at_cut: taken_out.moved_to(at, stretch) })
}

impl OnBench {
    /// Writes the stay on the bench. The tray is on it now, as far as its life goes.
    pub fn lay_down(&self, tx: &mut Tx<'_>, tray: &mut Tray, bench: &Place) -> Result<(), Failure> {
        if let Some(taken_out) = self.taken_out {
            tray.lived = taken_out;
            stays::end(tx, tray.id, taken_out.as_of)?;
            stays::begin(tx, tray.id, bench, taken_out.as_of)?;
        }
        Ok(())
    }

    /// What is left of the tray goes back to its place.
    pub fn put_back(&self, tx: &mut Tx<'_>, tray: &mut Tray, place: &Place) -> Result<(), Failure> {
        if self.taken_out.is_some() {
            tray.lived = self.at_cut;
            stays::end(tx, tray.id, self.at_cut.as_of)?;
            stays::begin(tx, tray.id, place, self.at_cut.as_of)?;
        }
        Ok(())
    }
}
