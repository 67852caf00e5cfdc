//! Brings a shop back that could not be written to, on a thread of its own, also when nobody sells anything meanwhile.

use super::worker::Worker;
use crate::ops::desk::Desk;
use std::sync::Arc;
use std::time::Duration;

/// How often it looks whether it is time for a try; when a try is due is the shop's to know.
const EVERY: Duration = Duration::from_millis(500);

pub fn start(desk: Arc<Desk>) -> std::io::Result<Worker> {
    Worker::start("recovery", move || {
        desk.try_to_recover();
        EVERY
    })
}
