//! Time on the shelf: a thread that looks at each offer again at the moment when time alone changes it, and at what stands in a place when
//! the place was measured.

use super::worker::Worker;
use crate::ops::desk::Desk;
use crate::ops::failure::{Failure, Trouble};
use crate::ops::look;
use crate::ops::shelf::{catch_up, go_over, mark};
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

/// Acts of another process on the same database are found at least so often.
const EVERY: Duration = Duration::from_secs(1);
/// What nobody measured anew is gone over so often: a silence makes lives shorter too.
const ROUND_MICROS: i64 = MICROS_PER_MINUTE;

/// Starts it. What fails is logged and tried again a second later.
pub fn start(desk: Arc<Desk>, clock: fn() -> Instant) -> std::io::Result<Worker> {
    let mut seen = Seen::default();
    Worker::start("shelf", move || round(&desk, clock, &mut seen))
}

/// Gives how long to wait for the next.
fn round(desk: &Desk, clock: fn() -> Instant, seen: &mut Seen) -> Duration {
    let now = clock();
    // What hinders the one does not hinder the other: time is told whatever was measured.
    let round = seen.round(desk, now);
    let caught_up = catch_up(desk, now);
    for error in [round.err(), caught_up.as_ref().err().cloned()].into_iter().flatten() {
        // While the shop can only be read that was said once already.
        if !error.is_of_storage() {
            tracing::error!(%error, "the shelf could not be kept");
        }
    }
    let next = caught_up.ok().and_then(|(_, next)| next);
    next.map_or(EVERY, |next| EVERY.min(until(next, clock())))
}

fn until(next: Instant, now: Instant) -> Duration {
    Duration::from_micros(u64::try_from(next.since(now)).unwrap_or(0))
}

/// What is known of each place: how often it had been measured when it was gone over last, and when that was.
#[derive(Default)]
struct Seen(HashMap<String, (i64, Instant)>);

impl Seen {
    /// Goes over the places that were measured since, and over the measured ones whose turn it is.
    fn round(&mut self, desk: &Desk, now: Instant) -> Result<(), Failure> {
        for place in desk.look(|reading, _| look::all_places(reading))? {
            let known = self.0.get(&place.code);
            let same = known.is_some_and(|(generation, _)| *generation == place.generation);
            let lately = known.is_some_and(|(_, at)| now.since(*at).abs() < ROUND_MICROS);
            if same && (lately || place.generation == 0) {
                continue;
            }
            match go_over(desk, now, &place.code) {
                Err(error) if error.trouble() == Trouble::Defect => {
                    tracing::error!(place = place.code, %error, "a place could not be gone over: its trays are looked at one by one");
                    mark(desk, &place.code)?;
                }
                outcome => drop(outcome?),
            }
            self.0.insert(place.code, (place.generation, now));
        }
        Ok(())
    }
}
