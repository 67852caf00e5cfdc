//! The watch goes round once a minute, on a thread of its own, until it is dropped.

use crate::ops::desk::Desk;
use crate::ops::watch::round;
use crate::units::instant::Instant;
use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

const EVERY: Duration = Duration::from_secs(60);

/// A running watch; dropping it ends it, after the round under way.
pub struct Watch {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// Starts the watch. A round that fails is logged and tried again at the next.
pub fn start(desk: Arc<Desk>, clock: fn() -> Instant) -> std::io::Result<Watch> {
    let (stop, stopped) = channel();
    let thread = std::thread::Builder::new().name("watch".to_owned()).spawn(move || {
        loop {
            if let Err(error) = round(&desk, clock())
                && !error.is_of_storage()
            {
                tracing::error!(%error, "the watch could not go round");
            }
            if stopped.recv_timeout(EVERY) != Err(RecvTimeoutError::Timeout) {
                return;
            }
        }
    })?;
    Ok(Watch { stop: Some(stop), thread: Some(thread) })
}

impl Drop for Watch {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the watch had ended in a panic");
        }
    }
}
