//! Numbers that rooms count while they work, kept with the desk so that all of them can be read in one place. Whoever has the desk has them:
//! a stream of events raises `event_streams` while it is open, the sender of webhooks sets `webhooks_waiting`. How they are called and
//! published is the web's.

use super::desk::Desk;
use super::failure::Failure;
use crate::store::load::Load;
use crate::store::shelf;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::gauge::Gauge;

/// Clones count together.
#[derive(Debug, Clone)]
pub struct Figures {
    /// Sales recorded by this process, each once.
    pub sales: Counter,
    pub event_streams: Gauge,
    pub webhooks_waiting: Gauge,
    /// What the database has to do.
    pub load: Load,
}

impl Figures {
    pub fn of(load: Load) -> Figures {
        let (event_streams, webhooks_waiting) = (Gauge::default(), Gauge::default());
        Figures { sales: Counter::default(), event_streams, webhooks_waiting, load }
    }
}

impl Desk {
    pub const fn figures(&self) -> &Figures {
        &self.figures
    }

    /// How many trays on the shelf have each verdict. Reads all of the shelf: not for every request.
    pub fn shelf_by_verdict(&self, verdicts: [&'static str; 3]) -> Result<[i64; 3], Failure> {
        self.look(|reading, _| Ok(shelf::count_by_verdict(reading, verdicts)?))
    }
}
