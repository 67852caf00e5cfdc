//! Keeps the certificate that is shown: the one of the files as they are now, or one of the shop's own authority that does not end soon.

use super::authority::{Authority, CERTIFICATE_DAYS};
use super::files::{Files, Stamp, validity};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_SECOND};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

/// A certificate of ours is renewed when a third of its life is left.
const RENEW_DAYS: i64 = CERTIFICATE_DAYS / 3;
/// The end of a certificate from files is told so long before.
const WARN_DAYS: i64 = 14;

const fn whole_days(micros: i64) -> i64 {
    micros.div_euclid(24 * MICROS_PER_HOUR)
}

pub enum Source {
    Files(Files),
    Authority(Box<Authority>, Vec<String>),
}

pub struct Keeper {
    source: Source,
    shown: RwLock<Arc<CertifiedKey>>,
    stamp: Mutex<Option<Stamp>>,
}

impl std::fmt::Debug for Keeper {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Keeper")
    }
}

impl Keeper {
    /// Loads or issues the first certificate.
    pub fn new(source: Source, now: Instant) -> Result<Keeper, String> {
        let (first, stamp) = match &source {
            Source::Files(files) => (files.load(now)?, Some(files.stamp())),
            Source::Authority(authority, names) => (authority.issue(names, now)?, None),
        };
        let keeper = Keeper { source, shown: RwLock::new(Arc::new(first)), stamp: Mutex::new(stamp) };
        keeper.warn(now);
        Ok(keeper)
    }

    /// The certificate in use.
    pub fn shown(&self) -> Arc<CertifiedKey> {
        Arc::clone(&self.shown.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Takes over changed files, or renews what ends soon. What does not do is told and not taken: the old one stays.
    pub fn refresh(&self, now: Instant) {
        let next = match &self.source {
            Source::Files(files) => self.changed(files).then(|| files.load(now)),
            Source::Authority(authority, names) => {
                // No certificate outlives its authority: near that end another would be no better.
                let most = whole_days(authority.ends().since(now));
                (self.days_left(now) < RENEW_DAYS.min(most)).then(|| authority.issue(names, now))
            }
        };
        match next {
            None => {}
            Some(Ok(next)) => {
                *self.shown.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(next);
                tracing::info!("the certificate was renewed");
                self.warn(now);
            }
            Some(Err(why)) => tracing::error!("the certificate stays as it was: {why}"),
        }
    }

    /// Whether the files are others than were looked at last.
    fn changed(&self, files: &Files) -> bool {
        let now = Some(files.stamp());
        let mut stamp = self.stamp.lock().unwrap_or_else(PoisonError::into_inner);
        let changed = *stamp != now;
        *stamp = now;
        changed
    }

    fn days_left(&self, now: Instant) -> i64 {
        let ends = self.shown().cert.first().and_then(validity).map_or(0, |(_, ends)| ends);
        whole_days(ends.saturating_mul(MICROS_PER_SECOND) - now.micros())
    }

    fn warn(&self, now: Instant) {
        let days = self.days_left(now);
        if days < WARN_DAYS {
            tracing::warn!(days, "the certificate ends soon");
        }
    }
}

impl ResolvesServerCert for Keeper {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(self.shown())
    }
}
