//! Seats for answers that last: one at a time for each key or person, and few in all. Whoever waits for one holds no thread meanwhile.

use crate::web::problem::{Problem, Speech};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Instant, timeout_at};

/// Whoever has waited so long is told to come again.
const PATIENCE: Duration = Duration::from_secs(2);

pub struct Seats {
    all: Arc<Semaphore>,
    of_one: Mutex<HashMap<String, Arc<Semaphore>>>,
}

/// The seat of one answer; dropped, it is free again.
pub struct Seat {
    seats: Arc<Seats>,
    own: Option<OwnedSemaphorePermit>,
    _of_all: Option<OwnedSemaphorePermit>,
}

impl Seats {
    pub fn new(at_once: usize) -> Seats {
        Seats { all: Arc::new(Semaphore::new(at_once)), of_one: Mutex::default() }
    }

    /// A seat for this client. The own one comes first, so that a client that asks again and again waits for itself and not in the line
    /// of the others.
    pub async fn take(self: &Arc<Self>, client: &str) -> Result<Seat, Problem> {
        let end = Instant::now() + PATIENCE;
        // From here on, whatever becomes of it, what is kept of the client goes when the seat is dropped.
        let mut seat = Seat { seats: Arc::clone(self), own: None, _of_all: None };
        let line = {
            let mut of_one = self.of_one.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(of_one.entry(client.to_owned()).or_insert_with(|| Arc::new(Semaphore::new(1))))
        };
        let busy = |reason: &str| Problem::at(Speech::Busy, "", reason);
        let own = timeout_at(end, line.acquire_owned()).await.ok().and_then(Result::ok);
        seat.own = Some(own.ok_or_else(|| busy("you are still being told the live stock on another connection"))?);
        let place = timeout_at(end, Arc::clone(&self.all).acquire_owned()).await.ok().and_then(Result::ok);
        seat._of_all = Some(place.ok_or_else(|| busy("too many are being told the live stock"))?);
        Ok(seat)
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        drop(self.own.take());
        // Whoever waits or sits has a hold on his line beside the one kept here.
        let mut of_one = self.seats.of_one.lock().unwrap_or_else(PoisonError::into_inner);
        of_one.retain(|_, line| Arc::strong_count(line) > 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[actix_web::test]
    async fn one_client_has_one_seat_and_the_others_theirs() {
        let seats = Arc::new(Seats::new(2));
        let first = seats.take("key:a").await.unwrap();
        let refused = seats.take("key:a").await.err().unwrap();
        assert_eq!((refused.code, refused.status), ("busy", 503));
        let other = seats.take("key:b").await.unwrap();
        assert!(seats.take("key:c").await.is_err(), "two in all");
        // Whoever waits takes the seat as soon as it is free.
        let (again, ()) = tokio::join!(seats.take("key:a"), async { drop(first) });
        assert!(again.is_ok());
        drop((again, other));
        assert!(seats.of_one.lock().unwrap().is_empty(), "nothing is kept of who has left");
        assert_eq!(seats.all.available_permits(), 2);
    }
}
