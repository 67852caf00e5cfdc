//! Remembers: all SQL, both databases, the one way to write and the one way to read. No rule of the shop is decided here.
//!
//! Reading functions take `&mut Reading`, writing functions `&mut Tx`; a `Tx` can be read through. Rows are private to their file.
//!
//! What a unique key finds is asked for with `get_result`, not `first`: `first` adds a bound `LIMIT`, and SQLite, which plans by the
//! value of a limit, would then parse and plan the statement again at every execution.

pub mod acts;
pub mod alarms;
pub mod breakdowns;
pub mod catalogue;
pub mod changes;
mod connection;
pub mod counters;
pub mod demand;
mod dialect;
pub mod error;
pub mod evidence;
pub mod exceptions;
pub mod fitness;
pub mod holds;
pub mod idempotency;
pub mod issued_labels;
pub mod keys;
pub mod lineage;
pub mod lives;
pub mod load;
pub mod lots;
mod migrate;
pub mod names;
pub mod parasite_freezings;
pub mod people;
mod prepared;
pub mod prints;
mod read;
pub mod readings;
mod recovery;
pub mod replays;
pub mod returns;
pub mod sales;
mod schema;
pub mod shelf;
pub mod snapshot;
pub mod stays;
pub mod terms;
pub mod till;
pub mod touched;
pub mod trays;
pub mod verify;
pub mod vitals;
pub mod webhooks;
mod write;

use crate::domain::profile::Rates;
use crate::units::instant::Instant;
use connection::Target;
use error::{Fault, StoreError};
use fitness::{Condition, Fitness};
use load::Load;
pub use read::{Reading, Window};
use std::sync::Arc;
use std::time::Duration;
pub use write::Tx;

/// How to open the shop's database.
#[derive(Debug, Clone)]
pub struct StoreOptions {
    /// A file path (SQLite) or a `postgres://` address.
    pub database: String,
    /// Connections kept for reading, 1 to 64.
    pub readers: u32,
}

/// Looks that last, at once.
const LONG_READERS: u32 = 4;

/// The opened database of one shop.
pub struct Store {
    target: Target,
    readers: read::Readers,
    /// For looks that last: apart from the others, so that a few slow ones cannot keep all the connections.
    long_readers: read::Readers,
    writer: write::Writer,
    load: Load,
}

impl Store {
    /// Opens the database, creates or migrates it, and checks that it is set up to keep what it acknowledges. Sums over temperatures follow
    /// `rates`.
    pub fn open(options: &StoreOptions, rates: Rates) -> Result<Store, StoreError> {
        let target = Target::read(&options.database);
        let mut first = connection::open_for_writing(&target)?;
        migrate::run(&mut first)?;
        dialect::count_on(&mut first)?;
        let evidence = Arc::new(evidence::Evidence::new(rates));
        let (condition, load) = (Arc::new(Condition::default()), Load::of(target.kind()));
        let open = |count, kept| {
            let (evidence, condition) = (Arc::clone(&evidence), Arc::clone(&condition));
            read::Readers::open(&target, count, kept, evidence, condition, load.clone())
        };
        let (readers, long_readers) = (open(options.readers, 1)?, open(LONG_READERS, 0)?);
        let writer = write::Writer::open(&target, first, evidence, condition, load.clone())?;
        Ok(Store { target, readers, long_readers, writer, load })
    }

    /// Runs `look` on one consistent snapshot. Never waits for the writer.
    pub fn read<T, E: From<StoreError>>(&self, look: impl FnOnce(&mut Reading<'_>) -> Result<T, E>) -> Result<T, E> {
        self.readers.read(look)
    }

    /// A view of its own for a thread that reads often. None where the database is a server: whoever waits for one holds his thread.
    pub fn window(&self) -> Result<Option<Window>, StoreError> {
        match self.target {
            Target::Sqlite(_) => self.readers.window(&self.target).map(Some),
            Target::Postgres(_) => Ok(None),
        }
    }

    /// So many looks that last go on at once; one more waits, and is refused after a while.
    pub const fn long_looks(&self) -> usize {
        LONG_READERS as usize
    }

    /// The same where `look` lasts, because someone is told of everything meanwhile.
    pub fn read_at_length<T, E: From<StoreError>>(
        &self,
        look: impl FnOnce(&mut Reading<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        self.long_readers.read(look)
    }

    /// How soon the writings of other processes are looked for, by someone who wants to hear of them. On a server that is their usual way;
    /// an embedded database has one process, and now and then a command beside it.
    pub const fn others_are_seen_within(&self) -> Duration {
        match self.target {
            Target::Sqlite(_) => Duration::from_secs(1),
            Target::Postgres(_) => Duration::from_millis(100),
        }
    }

    /// Runs `act` as one transaction and answers only after the commit is durable. A refusal leaves nothing behind. The act may
    /// run more than once, so everything it takes from the clock or from chance comes in with it.
    pub fn write<T, E, F>(&self, act: F) -> Result<T, E>
    where
        F: Fn(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
        T: Send + 'static,
        E: From<StoreError> + Fault + Send + 'static,
    {
        self.writer.write(act)
    }

    /// The same for a caller that has the store to itself, and therefore waits for nobody.
    pub fn write_alone<T, E, F>(&self, act: F) -> Result<T, E>
    where
        F: Fn(&mut Tx<'_>) -> Result<T, E>,
        E: From<StoreError> + Fault,
    {
        self.writer.write_alone(act)
    }

    /// Whether acts are taken, and if not, since when and why.
    pub fn fitness(&self, now: Instant) -> Fitness {
        self.writer.fitness(now)
    }

    /// Tries to come back when the store is read-only and it is time to: for a thread that looks after it. Otherwise it does nothing.
    pub fn try_to_recover(&self) {
        self.writer.try_to_recover();
    }

    /// How many groups of sales are worth writing at once.
    pub const fn groups_at_once(&self) -> usize {
        dialect::groups_at_once(&self.target)
    }

    /// For the end: leaves everything in the database file itself, the log beside it empty.
    pub fn settle(&self) -> Result<(), StoreError> {
        self.writer.settle()
    }

    /// What can be seen of the database's files and their disk.
    pub fn files(&self) -> vitals::Files {
        vitals::files(&self.target)
    }

    /// Leaves the note that a copy was made.
    pub fn note_copy(&self, now: Instant) -> Result<(), StoreError> {
        vitals::note_copy(&self.target, now)
    }

    /// What there is to do, as counted.
    pub const fn load(&self) -> &Load {
        &self.load
    }

    /// `sqlite` or `postgresql`.
    pub const fn kind(&self) -> &'static str {
        self.target.kind()
    }

    /// Writes a consistent copy of the database to a file that does not exist yet, while others read and write. Only for the
    /// embedded database; a server's own tools copy a server.
    pub fn copy_to(&self, file: &std::path::Path) -> Result<(), StoreError> {
        dialect::copy_to(&self.target, file)
    }
}

/// Checks a copy made by `copy_to`: the file is sound and holds the tables of this version.
pub fn check_copy(file: &std::path::Path) -> Result<(), StoreError> {
    dialect::check_copy(file)
}

/// What the migrations make of an empty database and how they come away again: for the test that keeps both folders in step.
pub fn migrate_down_and_up(options: &StoreOptions) -> Result<(), StoreError> {
    migrate::down_and_up(&mut connection::open_for_writing(&Target::read(&options.database))?)
}
