//! How much may be under way in the shop at once. Threads that block are few; without a queue that is seen, requests would pile up before
//! them, each waiting longer than its caller does.

use crate::web::problem::{Problem, Speech};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Whoever has waited so long is told to come again.
const PATIENCE: Duration = Duration::from_secs(2);

pub struct Turns(Arc<Semaphore>);

impl Turns {
    pub fn new(at_once: usize) -> Turns {
        Turns(Arc::new(Semaphore::new(at_once)))
    }

    /// A turn, kept until it is dropped: by the work itself, which goes on when its caller has gone.
    pub async fn take(&self) -> Result<OwnedSemaphorePermit, Problem> {
        let turn = tokio::time::timeout(PATIENCE, Arc::clone(&self.0).acquire_owned()).await;
        turn.ok().and_then(Result::ok).ok_or_else(|| Problem::of(Speech::Busy))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[actix_web::test]
    async fn whoever_waits_too_long_is_told() {
        let turns = Turns::new(1);
        let first = turns.take().await.unwrap();
        assert_eq!(turns.take().await.unwrap_err().code, "busy");
        drop(first);
        assert!(turns.take().await.is_ok());
    }
}
