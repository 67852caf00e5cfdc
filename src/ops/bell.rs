//! A bell: rung when there is something new, heard by whoever waits for it.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

#[derive(Debug, Default)]
pub struct Bell {
    rings: Mutex<u64>,
    heard: Condvar,
}

impl Bell {
    fn count(&self) -> MutexGuard<'_, u64> {
        // A number: a panic elsewhere leaves nothing half done.
        self.rings.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn ring(&self) {
        *self.count() += 1;
        self.heard.notify_all();
    }

    /// How often it rang; to be asked before one looks for work, and told when one waits.
    pub fn rings(&self) -> u64 {
        *self.count()
    }

    /// Waits until the bell rings again, or so long.
    pub fn wait(&self, rings: u64, limit: Duration) {
        let waited = self.heard.wait_timeout_while(self.count(), limit, |now| *now == rings);
        drop(waited.unwrap_or_else(PoisonError::into_inner));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;

    /// A ring between looking and waiting is not missed.
    #[test]
    fn a_ring_before_the_wait_ends_it_at_once() {
        let bell = Bell::default();
        let rings = bell.rings();
        bell.ring();
        let begun = Instant::now();
        bell.wait(rings, Duration::from_secs(20));
        assert!(begun.elapsed() < Duration::from_secs(5));
        bell.wait(bell.rings(), Duration::from_millis(1));
    }
}
