//! The watch goes round once a minute, on a thread of its own, until it is dropped.

use super::worker::Worker;
use crate::ops::desk::Desk;
use crate::ops::watch::round;
use crate::units::instant::Instant;
use std::sync::Arc;
use std::time::Duration;

const EVERY: Duration = Duration::from_secs(60);

/// Starts the watch. A round that fails is logged and tried again at the next.
pub fn start(desk: Arc<Desk>, clock: fn() -> Instant) -> std::io::Result<Worker> {
    Worker::start("watch", move || {
        if let Err(error) = round(&desk, clock())
            && !error.is_of_storage()
        {
            tracing::error!(%error, "the watch could not go round");
        }
        EVERY
    })
}
