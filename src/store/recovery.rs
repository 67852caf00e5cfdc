//! How a store comes to take no writes, and what a database must show before it is written to again.
//!
//! After a failed sync the system may have forgotten what it could not write, and says of the next sync that all is well. So nothing is
//! tried again on what was open: the connection is closed, another one is opened, the file is checked, the newest act is looked for, what
//! the log holds is copied and synced, and a small transaction has to become durable. Only then is an act taken.

use super::connection::{self, AnyConnection, Target};
use super::dialect;
use super::error::StoreError;
use super::fitness::{Attempt, Condition, Reason};
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

/// What a failed statement or commit of the embedded database means for all others. The connection is in the hands of whoever calls.
/// An error of the act alone comes back as it is.
pub fn learn(condition: &Condition, connection: &mut AnyConnection, error: StoreError) -> StoreError {
    let Some(reason) = Reason::of(&error) else { return error };
    tracing::error!(%error, "the database cannot be written to");
    close(condition, connection, reason);
    StoreError::ReadOnly(reason)
}

/// The same for a commit. A transaction that found no room was not written to its end. One whose sync failed may stand in the log, and
/// would be found there if the machine stopped now: whether it was done only the next try of the same request can say.
pub fn learn_at_commit(condition: &Condition, connection: &mut AnyConnection, error: StoreError) -> StoreError {
    let text = error.to_string();
    match learn(condition, connection, error) {
        StoreError::ReadOnly(reason) if reason != Reason::DiskFull => StoreError::OutcomeUnknown(text),
        other => other,
    }
}

fn close(condition: &Condition, connection: &mut AnyConnection, reason: Reason) {
    condition.enter(reason, dialect::newest_act(connection));
    if reason.shakes_trust()
        && let Some(nothing) = dialect::nothing_open()
    {
        *connection = nothing;
    }
}

/// A connection to an embedded database that has shown that it keeps what it is told.
pub fn reopen(target: &Target, attempt: Attempt) -> Result<AnyConnection, StoreError> {
    let mut fresh = connection::open_for_writing(target)?;
    if let Some(file) = file_of(target) {
        make_room(file).map_err(|error| StoreError::Storage(error.to_string()))?;
    }
    if attempt.reason.shakes_trust() {
        dialect::check_soundness(&mut fresh)?;
    }
    let found = dialect::newest_act(&mut fresh);
    if found < attempt.newest_act {
        let text = format!("disk image is malformed: act {:?} was there and is not", attempt.newest_act);
        return Err(StoreError::Storage(text));
    }
    dialect::prove_writable(&mut fresh)?;
    Ok(fresh)
}

/// A server is writable when it says so and does it.
pub fn ask_server(target: &Target) -> Result<(), StoreError> {
    let mut fresh = connection::open_for_writing(target)?;
    dialect::prove_writable(&mut fresh)
}

/// Whether a server is gone for all, and not one connection to it alone: asked by a fresh one, which a server that is gone refuses at once.
pub fn server_is_gone(target: &Target) -> bool {
    let gone = |error: StoreError| Reason::of(&error) == Some(Reason::ServerGone);
    connection::open_for_reading(target).err().is_some_and(gone)
}

const fn file_of(target: &Target) -> Option<&PathBuf> {
    match target {
        Target::Sqlite(file) => Some(file),
        Target::Postgres(_) => None,
    }
}

/// Acts of one moment take up some hundred kilobytes: less free room than that would let the shop come and go with every sale.
const ROOM: usize = 512 * 1024;

/// Writes a file of that size beside the database, durably, and takes it away again.
fn make_room(database: &Path) -> std::io::Result<()> {
    let mut name = database.file_name().unwrap_or_default().to_owned();
    name.push("-room");
    let file = database.with_file_name(name);
    let written = OpenOptions::new().write(true).create(true).truncate(true).open(&file).and_then(|file| fill(&file));
    // Whether it was written is the answer; a file left behind is written over the next time.
    let removed = std::fs::remove_file(&file);
    written.and(removed)
}

fn fill(mut file: &File) -> std::io::Result<()> {
    file.write_all(&vec![0x5a; ROOM])?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_that_asks_for_room_does_not_stay() {
        let folder = std::env::temp_dir().join(format!("sakudana-room-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        make_room(&folder.join("shop.db")).unwrap();
        assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 0);
        std::fs::remove_dir(&folder).unwrap();
        let error = make_room(&folder.join("shop.db")).unwrap_err();
        assert_eq!(error.kind(), std::io::ErrorKind::NotFound);
    }
}
