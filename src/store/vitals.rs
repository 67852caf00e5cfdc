//! How the database and the disk under it do, in plain numbers, and the note that a copy was made. What is too little or too old is not
//! judged here.

use super::connection::Target;
use super::dialect;
use super::error::StoreError;
use super::read::Reading;
use super::schema::acts;
use crate::units::instant::Instant;
use diesel::prelude::*;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

/// What can be seen from beside the database. None where nothing can be: a server looks after its own files and copies.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Files {
    /// Bytes that may still be written on the disk of the database.
    pub free_bytes: Option<u64>,
    pub database_bytes: Option<u64>,
    /// Bytes of the write-ahead log.
    pub log_bytes: Option<u64>,
    /// When `backup` last made a copy; the epoch when it never did.
    pub copied_at: Option<Instant>,
}

fn beside(file: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(ending);
    PathBuf::from(name)
}

fn note_of(file: &Path) -> PathBuf {
    beside(file, ".last-backup")
}

pub fn files(target: &Target) -> Files {
    let Target::Sqlite(file) = target else { return Files::default() };
    let size = |path: &Path| fs::metadata(path).map(|found| found.len()).ok();
    let free = rustix::fs::statvfs(file).ok().map(|disk| disk.f_bavail.saturating_mul(disk.f_frsize));
    let note = fs::read_to_string(note_of(file)).ok();
    let copied_at = note.and_then(|text| Instant::from_micros(text.trim().parse().ok()?).ok());
    Files {
        free_bytes: free,
        database_bytes: size(file),
        log_bytes: Some(size(&beside(file, "-wal")).unwrap_or(0)),
        copied_at: Some(copied_at.unwrap_or(Instant::EPOCH)),
    }
}

/// Leaves the note that a copy was made, in microseconds since 1970, in a file beside the database: a copy needs no right to write into it.
pub fn note_copy(target: &Target, now: Instant) -> Result<(), StoreError> {
    let Target::Sqlite(file) = target else { return Ok(()) };
    let note = note_of(file);
    fs::write(&note, format!("{}\n", now.micros())).map_err(|e| StoreError::Storage(format!("{}: {e}", note.display())))
}

/// When the newest act was recorded, if there is one: also shows that the database answers.
pub fn newest_act_at(reading: &mut Reading<'_>) -> Result<Option<Instant>, StoreError> {
    let newest = acts::table.order(acts::id.desc()).select(acts::recorded_at).first::<i64>(reading.conn).optional()?;
    Ok(newest.and_then(|micros| Instant::from_micros(micros).ok()))
}

/// How this database was told to keep what it acknowledges, in its own words.
pub fn durability(reading: &mut Reading<'_>) -> Result<String, StoreError> {
    dialect::durability(reading.conn)
}
