//! Whether the shop takes acts now: asked by pages, health and whoever signs in; and what a thread does to bring it back.

use super::desk::Desk;
use crate::store::fitness;
use crate::units::instant::Instant;

/// Writable, or read-only since when and why.
pub type Fitness = fitness::Fitness;
pub type Reason = fitness::Reason;

impl Desk {
    /// Whether acts are taken. Asks nobody and waits for nobody.
    pub fn fitness(&self, now: Instant) -> Fitness {
        self.store.fitness(now)
    }

    /// Tries to write again if the shop is read-only and it is time to; otherwise it returns at once.
    pub fn try_to_recover(&self) {
        self.store.try_to_recover();
    }
}
