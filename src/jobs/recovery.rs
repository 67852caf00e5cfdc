//! Brings a shop back that could not be written to, on a thread of its own, also when nobody sells anything meanwhile.

use crate::ops::desk::Desk;
use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How often it looks whether it is time for a try; when a try is due is the shop's to know.
const EVERY: Duration = Duration::from_millis(500);

/// A running thread; dropping it ends it.
pub struct Recovery {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

pub fn start(desk: Arc<Desk>) -> std::io::Result<Recovery> {
    let (stop, stopped) = channel();
    let thread = std::thread::Builder::new().name("recovery".to_owned()).spawn(move || {
        while stopped.recv_timeout(EVERY) == Err(RecvTimeoutError::Timeout) {
            desk.try_to_recover();
        }
    })?;
    Ok(Recovery { stop: Some(stop), thread: Some(thread) })
}

impl Drop for Recovery {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the thread that brings the shop back had ended in a panic");
        }
    }
}
