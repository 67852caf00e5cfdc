//! The one reader of the change sequence in a process: reads on when an act of this process rings the bell, and looks for acts of others.

use crate::ops::desk::Desk;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

/// After a ring. What an act told may be held back by another transaction for a moment, so that one look is not enough.
const AT_FIRST: Duration = Duration::from_millis(2);
/// After a failure.
const REST: Duration = Duration::from_secs(1);

/// The running thread; dropping it ends it.
pub struct Feeding {
    desk: Arc<Desk>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// Starts it. What fails is logged and tried again a second later.
pub fn start(desk: &Arc<Desk>) -> std::io::Result<Feeding> {
    let (desk, stop) = (Arc::clone(desk), Arc::new(AtomicBool::new(false)));
    let (its_desk, its_stop) = (Arc::clone(&desk), Arc::clone(&stop));
    let thread = std::thread::Builder::new().name("feed".to_owned()).spawn(move || read_on(&its_desk, &its_stop))?;
    Ok(Feeding { desk, stop, thread: Some(thread) })
}

fn read_on(desk: &Desk, stop: &AtomicBool) {
    let longest = desk.others_are_seen_within();
    let mut pause = AT_FIRST;
    while !stop.load(Ordering::SeqCst) {
        let rings = desk.bell().rings();
        match desk.feed().read_on(desk) {
            Ok(0) => pause = (pause * 2).min(longest),
            Ok(_) => pause = AT_FIRST,
            Err(error) => {
                tracing::error!(%error, "the changes could not be read");
                pause = REST;
            }
        }
        desk.bell().wait(rings, pause);
        if desk.bell().rings() != rings {
            pause = AT_FIRST;
        }
    }
}

impl Drop for Feeding {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        self.desk.bell().ring();
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the thread of the feed had ended in a panic");
        }
    }
}
