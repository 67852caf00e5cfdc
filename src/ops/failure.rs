//! How an act can end without being done: refused by a rule, or stopped by the database. External text and internal context stay apart:
//! a refusal speaks to the caller, a store error to the log.

use super::fitness::Reason;
use crate::domain::refusal::{Code, Finding, Refusal};
use crate::labels::refusal::LabelRefusal;
use crate::store::error::{Fault, StoreError};
use std::fmt;

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failure {
    Refused(Refusal),
    Store(StoreError),
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Refused(refusal) => refusal.fmt(f),
            Failure::Store(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for Failure {}

impl Fault for Failure {
    fn store_error(&self) -> Option<&StoreError> {
        match self {
            Failure::Store(error) => Some(error),
            Failure::Refused(_) => None,
        }
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Failure {
        Failure::Refused(refusal)
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Failure {
        Failure::Store(error)
    }
}

impl From<LabelRefusal> for Failure {
    fn from(refusal: LabelRefusal) -> Failure {
        let field = format!("label/{}", refusal.code());
        Failure::Refused(Refusal {
            code: Code::LabelRefused,
            findings: vec![Finding { field, reason: refusal.to_string() }],
        })
    }
}

/// What kind of trouble a store error is, for whoever has to answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Busy, full or colliding: later it may do.
    Passing,
    /// The shop can only be read for a while. Nothing was done.
    ReadOnly(Reason),
    /// It may have been done or not.
    Unknown,
    /// A defect of ours or foreign hands in the database.
    Defect,
}

impl Failure {
    pub const fn trouble(&self) -> Trouble {
        match self {
            Failure::Store(StoreError::Busy(_) | StoreError::Collision(_) | StoreError::Storage(_)) => Trouble::Passing,
            Failure::Store(StoreError::ReadOnly(reason)) => Trouble::ReadOnly(*reason),
            Failure::Store(StoreError::OutcomeUnknown(_)) => Trouble::Unknown,
            _ => Trouble::Defect,
        }
    }

    /// Whether the disk or the server under the database is why it was not done, not the act.
    pub const fn is_of_storage(&self) -> bool {
        matches!(self.trouble(), Trouble::ReadOnly(_) | Trouble::Unknown)
    }

    /// The refusal seen from outside, every field under `prefix`.
    pub fn under(self, prefix: &str) -> Failure {
        match self {
            Failure::Refused(refusal) => Failure::Refused(refusal.under(prefix)),
            Failure::Store(error) => Failure::Store(error),
        }
    }
}

/// A refusal of one field.
pub fn refuse<T>(code: Code, field: impl Into<String>, reason: impl Into<String>) -> Result<T, Failure> {
    Err(Refusal::new(code, field, reason).into())
}
