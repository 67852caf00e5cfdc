//! A thread that works until it is told to stop: what the jobs that need no more than that have in common.

use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// A running thread; dropping it ends it, after the round under way.
pub struct Worker {
    name: &'static str,
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Worker {
    /// Starts it; `round` is done again and again, each time after the pause that the last one asked for.
    pub fn start(name: &'static str, mut round: impl FnMut() -> Duration + Send + 'static) -> std::io::Result<Worker> {
        let (stop, stopped) = channel();
        let thread =
            std::thread::Builder::new().name(name.to_owned()).spawn(move || while goes_on(&stopped, round()) {})?;
        Ok(Worker { name, stop: Some(stop), thread: Some(thread) })
    }
}

fn goes_on(stopped: &Receiver<()>, pause: Duration) -> bool {
    stopped.recv_timeout(pause) == Err(RecvTimeoutError::Timeout)
}

impl Drop for Worker {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!(name = self.name, "a thread had ended in a panic");
        }
    }
}
