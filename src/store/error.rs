//! What can go wrong between us and the database. Nothing here is an answer to a caller: a database error never becomes "not found".

use super::fitness::Reason;
use diesel::result::{DatabaseErrorKind, Error};
use std::fmt;

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StoreError {
    /// The database could not be opened or is not what it should be.
    Unusable(String),
    /// Too busy: no connection or lock within the time allowed. Nothing was done.
    Busy(String),
    /// A concurrent transaction came first; the same act may succeed when tried again. Nothing was done.
    Collision(String),
    /// The disk is full, failing or read-only. Nothing was done.
    Storage(String),
    /// The shop can only be read now. Nothing was done.
    ReadOnly(Reason),
    /// A row that cannot be: the database was changed by other hands, or we have a defect.
    Inconsistent(String),
    /// The connection went while a commit was on its way: it may stand or not. The same idempotency key settles it.
    OutcomeUnknown(String),
    /// Anything else the database said.
    Database(String),
    /// The act itself panicked. Nothing was done.
    Panicked,
}

impl StoreError {
    /// A value in a row that no rule of ours would have written.
    pub fn impossible(what: &str, value: impl fmt::Display) -> StoreError {
        StoreError::Inconsistent(format!("{what}: {value}"))
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StoreError::Unusable(text) => write!(f, "the database cannot be used: {text}"),
            StoreError::Busy(text) => write!(f, "the database is busy: {text}"),
            StoreError::Collision(text) => write!(f, "another act came first: {text}"),
            StoreError::Storage(text) => write!(f, "the storage fails: {text}"),
            StoreError::ReadOnly(reason) => write!(f, "only reading goes on: {reason}"),
            StoreError::Inconsistent(text) => write!(f, "the database holds what cannot be: {text}"),
            StoreError::OutcomeUnknown(text) => write!(f, "nobody knows whether it was done: {text}"),
            StoreError::Database(text) => write!(f, "the database refused: {text}"),
            StoreError::Panicked => write!(f, "the act stopped by a defect"),
        }
    }
}

impl std::error::Error for StoreError {}

/// What both databases say when they would not wait any longer.
const BUSY: [&str; 4] = [
    "database is locked",
    "database table is locked",
    "canceling statement due to lock timeout",
    "canceling statement due to statement timeout",
];

/// An error of an act that may have been one of ours underneath: the writer has to know.
pub trait Fault {
    fn store_error(&self) -> Option<&StoreError>;
}

impl Fault for StoreError {
    fn store_error(&self) -> Option<&StoreError> {
        Some(self)
    }
}

impl From<Error> for StoreError {
    /// SQLite's busy, full and I/O errors come without a kind: they are told by their fixed texts.
    fn from(error: Error) -> StoreError {
        let text = error.to_string();
        match &error {
            Error::DatabaseError(DatabaseErrorKind::SerializationFailure | DatabaseErrorKind::UniqueViolation, _) => {
                StoreError::Collision(text)
            }
            // The server went while it was asked, or before: whoever sent a COMMIT looks first.
            Error::DatabaseError(DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand, _) => {
                StoreError::Busy(text)
            }
            Error::DatabaseError(_, _) if text.contains("deadlock detected") => StoreError::Collision(text),
            Error::DatabaseError(_, _) if BUSY.iter().any(|known| text.contains(known)) => StoreError::Busy(text),
            Error::DatabaseError(_, _)
                if [
                    "disk is full",
                    "disk I/O error",
                    "readonly database",
                    "unable to open database file",
                    "No space left",
                ]
                .iter()
                .any(|known| text.contains(known)) =>
            {
                StoreError::Storage(text)
            }
            _ => StoreError::Database(text),
        }
    }
}
