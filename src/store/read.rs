//! The one way to read: a connection from the pool, one snapshot, no waiting for the writer.

use super::connection::{self, AnyConnection, Target};
use super::dialect;
use super::error::StoreError;
use super::evidence::{Curves, Evidence};
use super::fitness::{Condition, Reason};
use super::load::{Load, Timed};
use super::recovery;
use diesel::connection::SimpleConnection;
use std::sync::Arc;
use std::time::Duration;

/// A view of one consistent state.
pub struct Reading<'a> {
    pub(super) conn: &'a mut AnyConnection,
    pub(super) evidence: &'a Evidence,
    /// Curves brought up to date inside a transaction that may still be undone: not shared with others. None where all is settled.
    pub(super) unsettled: Option<Curves>,
}

struct Opener(Target);

impl r2d2::ManageConnection for Opener {
    type Connection = AnyConnection;
    type Error = StoreError;

    fn connect(&self) -> Result<AnyConnection, StoreError> {
        connection::open_for_reading(&self.0)
    }

    fn is_valid(&self, connection: &mut AnyConnection) -> Result<(), StoreError> {
        Ok(connection.batch_execute("SELECT 1")?)
    }

    fn has_broken(&self, _: &mut AnyConnection) -> bool {
        false
    }
}

pub struct Readers {
    pool: r2d2::Pool<Opener>,
    target: Target,
    evidence: Arc<Evidence>,
    condition: Arc<Condition>,
    load: Load,
}

impl Readers {
    /// At most `count` connections, of which `kept` are held open however little is asked.
    pub fn open(
        target: &Target,
        count: u32,
        kept: u32,
        evidence: Arc<Evidence>,
        condition: Arc<Condition>,
        load: Load,
    ) -> Result<Readers, StoreError> {
        let embedded = matches!(target, Target::Sqlite(_));
        r2d2::Pool::builder()
            .max_size(count.clamp(1, 64))
            .min_idle(Some(kept))
            // A file does not go away between two uses; a server may.
            .test_on_check_out(!embedded)
            .connection_timeout(Duration::from_secs(2))
            .build(Opener(target.clone()))
            .map(|pool| Readers { pool, target: target.clone(), evidence, condition, load })
            .map_err(|e| StoreError::Unusable(e.to_string()))
    }

    pub fn read<T, E: From<StoreError>>(&self, look: impl FnOnce(&mut Reading<'_>) -> Result<T, E>) -> Result<T, E> {
        let _timed = Timed::begin(&self.load.reads);
        let mut connection = self.pool.get().map_err(|e| self.unreachable(e.to_string()))?;
        snapshot(&mut connection, &self.evidence, look)
    }

    /// A server that cannot be read cannot be written to either; nobody needs to try to sell something to find out. The pool tells of the
    /// last connection that failed, which may be long ago or one of many.
    fn unreachable(&self, text: String) -> StoreError {
        let error = StoreError::Busy(text);
        if Reason::of(&error) == Some(Reason::ServerGone) && recovery::server_is_gone(&self.target) {
            self.condition.enter(Reason::ServerGone, None);
        }
        error
    }

    /// A view of its own beside the pool.
    pub fn window(&self, target: &Target) -> Result<Window, StoreError> {
        let connection = connection::open_for_reading(target)?;
        Ok(Window { connection, evidence: Arc::clone(&self.evidence), load: self.load.clone() })
    }
}

/// A connection for reading that one thread keeps to itself.
pub struct Window {
    connection: AnyConnection,
    evidence: Arc<Evidence>,
    load: Load,
}

impl Window {
    /// Looks at one consistent state.
    pub fn read<T, E: From<StoreError>>(
        &mut self,
        look: impl FnOnce(&mut Reading<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let _timed = Timed::begin(&self.load.reads);
        snapshot(&mut self.connection, &self.evidence, look)
    }
}

fn snapshot<T, E: From<StoreError>>(
    connection: &mut AnyConnection,
    evidence: &Evidence,
    look: impl FnOnce(&mut Reading<'_>) -> Result<T, E>,
) -> Result<T, E> {
    let begin = dialect::begin_read(connection);
    connection.batch_execute(begin).map_err(StoreError::from)?;
    let mut ending = Ending(connection);
    let outcome = look(&mut Reading { conn: ending.0, evidence, unsettled: None });
    ending.end();
    outcome
}

/// Ends the snapshot even when the look panics, so that the connection goes back clean.
struct Ending<'a>(&'a mut AnyConnection);

impl Ending<'_> {
    fn end(&mut self) {
        if let Err(error) = self.0.batch_execute("ROLLBACK") {
            tracing::debug!(%error, "the snapshot had ended already");
        }
    }
}

impl Drop for Ending<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.end();
        }
    }
}
