//! Whether the shop can be written to: what stops it, since when, and when it is tried again. Here is the state alone; `write` enters
//! and leaves it, and what is asked of a database before it is trusted again stands in `recovery`.
//!
//! Reading goes on meanwhile. An act that finds the shop read-only is refused before it has begun, so nothing of it was done.

use super::error::StoreError;
use crate::units::instant::Instant;
use std::fmt;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// What keeps the shop from being written to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    DiskFull,
    DiskFailing,
    /// The file, or the file system under it, takes no changes.
    FileReadOnly,
    FileDamaged,
    ServerGone,
    /// The server follows another one, or was told to take no changes.
    ServerReadOnly,
}

impl Reason {
    /// The stable word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Reason::DiskFull => "disk_full",
            Reason::DiskFailing => "disk_failing",
            Reason::FileReadOnly => "file_read_only",
            Reason::FileDamaged => "file_damaged",
            Reason::ServerGone => "server_gone",
            Reason::ServerReadOnly => "server_read_only",
        }
    }

    /// For a person.
    pub const fn in_words(self) -> &'static str {
        match self {
            Reason::DiskFull => "the disk is full",
            Reason::DiskFailing => "the disk is failing",
            Reason::FileReadOnly => "the database file takes no changes",
            Reason::FileDamaged => "the database file is damaged",
            Reason::ServerGone => "the database server does not answer",
            Reason::ServerReadOnly => "the database server takes no changes",
        }
    }

    /// What an error says about the database as a whole; none when it concerns the act alone.
    pub fn of(error: &StoreError) -> Option<Reason> {
        let (StoreError::Storage(text)
        | StoreError::Database(text)
        | StoreError::Unusable(text)
        | StoreError::Busy(text)) = error
        else {
            return None;
        };
        // A full server is there: others are being served.
        if FULL.iter().any(|words| text.contains(words)) {
            return None;
        }
        WORDS.iter().find(|(words, _)| text.contains(words)).map(|(_, reason)| *reason)
    }

    /// Whether what this connection and its caches hold can still be believed. After a failed sync they hold what the disk may not.
    pub const fn shakes_trust(self) -> bool {
        !matches!(self, Reason::DiskFull | Reason::ServerReadOnly)
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.in_words())
    }
}

/// The fixed texts of both databases and of the system below; the tests of this file and of `tests/faults` hold them against the real ones.
const WORDS: [(&str, Reason); 20] = [
    ("disk is full", Reason::DiskFull),
    ("No space left", Reason::DiskFull),
    ("Disk quota exceeded", Reason::DiskFull),
    ("disk I/O error", Reason::DiskFailing),
    ("Input/output error", Reason::DiskFailing),
    ("readonly database", Reason::FileReadOnly),
    ("Read-only file system", Reason::FileReadOnly),
    ("unable to open database file", Reason::FileReadOnly),
    ("disk image is malformed", Reason::FileDamaged),
    ("file is not a database", Reason::FileDamaged),
    ("in a read-only transaction", Reason::ServerReadOnly),
    ("in a hot standby", Reason::ServerReadOnly),
    ("during recovery", Reason::ServerReadOnly),
    ("connection to server", Reason::ServerGone),
    ("could not translate host name", Reason::ServerGone),
    ("server closed the connection", Reason::ServerGone),
    ("terminating connection", Reason::ServerGone),
    ("the database system is", Reason::ServerGone),
    ("could not extend file", Reason::DiskFull),
    ("could not write to file", Reason::DiskFailing),
];

/// What PostgreSQL says when it has no connection left, for anybody, for this role or for this database.
const FULL: [&str; 3] = ["too many clients already", "connection slots are reserved", "too many connections for"];

/// The answer to whoever asks how the shop is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fitness {
    Writable,
    ReadOnly { since: Instant, reason: Reason },
}

/// A database that cannot be written to.
struct Illness {
    reason: Reason,
    began: std::time::Instant,
    next_try: std::time::Instant,
    pause: Duration,
    /// Someone is trying just now.
    tried: bool,
    /// The newest act when it began: what comes back must hold at least that.
    newest_act: Option<i64>,
}

/// A try to write again, granted to one at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attempt {
    pub reason: Reason,
    pub newest_act: Option<i64>,
}

const FIRST_PAUSE: Duration = Duration::from_secs(1);
const LONGEST_PAUSE: Duration = Duration::from_secs(30);

/// The state all writers of a store share.
#[derive(Default)]
pub struct Condition {
    /// Looked at before every act, so that the healthy case costs one load.
    ill: AtomicBool,
    illness: Mutex<Option<Illness>>,
}

impl Condition {
    fn illness(&self) -> MutexGuard<'_, Option<Illness>> {
        self.illness.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Refuses while the shop is read-only.
    pub fn check(&self) -> Result<(), StoreError> {
        if !self.ill.load(Ordering::Acquire) {
            return Ok(());
        }
        self.illness().as_ref().map_or(Ok(()), |illness| Err(StoreError::ReadOnly(illness.reason)))
    }

    /// As it is at `now`. How long it lasts is counted by a clock that nobody sets.
    pub fn fitness(&self, now: Instant) -> Fitness {
        match self.illness().as_ref() {
            None => Fitness::Writable,
            Some(illness) => {
                let lasted = i64::try_from(illness.began.elapsed().as_micros()).unwrap_or(i64::MAX);
                Fitness::ReadOnly { since: now.plus_micros(-lasted), reason: illness.reason }
            }
        }
    }

    /// From now on nothing is written. A state that has begun goes on, with the newer reason.
    pub fn enter(&self, reason: Reason, newest_act: Option<i64>) {
        let mut illness = self.illness();
        match illness.as_mut() {
            Some(known) => known.reason = reason,
            None => {
                tracing::error!(reason = reason.as_str(), "read-only from now on");
                let began = std::time::Instant::now();
                let (next_try, pause) = (began + FIRST_PAUSE, FIRST_PAUSE);
                *illness = Some(Illness { reason, began, next_try, pause, tried: false, newest_act });
            }
        }
        self.ill.store(true, Ordering::Release);
    }

    /// The right to try, when it is time and nobody else does.
    pub fn begin_attempt(&self) -> Option<Attempt> {
        if !self.ill.load(Ordering::Acquire) {
            return None;
        }
        let mut illness = self.illness();
        let illness = illness.as_mut()?;
        if illness.tried || std::time::Instant::now() < illness.next_try {
            return None;
        }
        illness.tried = true;
        Some(Attempt { reason: illness.reason, newest_act: illness.newest_act })
    }

    /// The try failed: the next one comes after twice the pause.
    pub fn attempt_failed(&self, error: &StoreError) {
        let mut illness = self.illness();
        let Some(illness) = illness.as_mut() else { return };
        illness.reason = Reason::of(error).unwrap_or(illness.reason);
        illness.pause = (illness.pause * 2).min(LONGEST_PAUSE);
        illness.next_try = std::time::Instant::now() + illness.pause;
        illness.tried = false;
        let (reason, seconds) = (illness.reason.as_str(), illness.pause.as_secs());
        tracing::warn!(%error, reason, seconds, "still read-only; tried again later");
    }

    /// Acts may be written again.
    pub fn recovered(&self) {
        let ended = self.illness().take();
        self.ill.store(false, Ordering::Release);
        if let Some(illness) = ended {
            tracing::warn!(
                reason = illness.reason.as_str(),
                seconds = illness.began.elapsed().as_secs(),
                "writable again"
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_of_the_act_alone_is_no_illness() {
        assert_eq!(Reason::of(&StoreError::Busy("database is locked".into())), None);
        assert_eq!(Reason::of(&StoreError::Database("no such table: trays".into())), None);
        assert_eq!(Reason::of(&StoreError::Collision("the disk is full of UNIQUE".into())), None);
        let full = StoreError::Storage("database or disk is full".into());
        assert_eq!(Reason::of(&full), Some(Reason::DiskFull));
        let standby = StoreError::Database("cannot execute INSERT in a read-only transaction".into());
        assert_eq!(Reason::of(&standby), Some(Reason::ServerReadOnly));
    }

    /// What PostgreSQL 15 and 16 and its client library say (from memory; `tests/faults` fills a real server).
    #[test]
    fn a_full_server_is_not_gone() {
        let failed =
            |why: &str| StoreError::Busy(format!("connection to server at \"127.0.0.1\", port 5432 failed: {why}"));
        for full in [
            "FATAL:  sorry, too many clients already",
            "FATAL:  remaining connection slots are reserved for roles with the SUPERUSER attribute",
            "FATAL:  remaining connection slots are reserved for non-replication superuser connections",
            "FATAL:  too many connections for role \"fish\"",
        ] {
            assert_eq!(Reason::of(&failed(full)), None, "{full}");
        }
        assert_eq!(Reason::of(&StoreError::Busy("timed out waiting for connection".into())), None);
        for gone in ["Connection refused", "FATAL:  the database system is shutting down"] {
            assert_eq!(Reason::of(&failed(gone)), Some(Reason::ServerGone), "{gone}");
        }
    }

    #[test]
    fn one_at_a_time_tries_and_the_pauses_grow() {
        let condition = Condition::default();
        assert_eq!((condition.check(), condition.begin_attempt()), (Ok(()), None));
        condition.enter(Reason::DiskFull, Some(7));
        assert_eq!(condition.check(), Err(StoreError::ReadOnly(Reason::DiskFull)));
        assert_eq!(condition.begin_attempt(), None, "the first pause is not over");
        let due = |condition: &Condition| condition.illness().as_mut().unwrap().next_try = std::time::Instant::now();
        due(&condition);
        assert_eq!(condition.begin_attempt(), Some(Attempt { reason: Reason::DiskFull, newest_act: Some(7) }));
        assert_eq!(condition.begin_attempt(), None, "another one is trying");
        let mut pauses = Vec::new();
        for _ in 0..6 {
            condition.attempt_failed(&StoreError::Storage("disk I/O error".into()));
            pauses.push(condition.illness().as_ref().unwrap().pause.as_secs());
        }
        assert_eq!(pauses, [2, 4, 8, 16, 30, 30]);
        assert_eq!(condition.check(), Err(StoreError::ReadOnly(Reason::DiskFailing)), "the newer reason is told");
        condition.recovered();
        let now = Instant::EPOCH;
        assert_eq!((condition.check(), condition.fitness(now)), (Ok(()), Fitness::Writable));
    }

    #[test]
    fn it_tells_since_when() {
        let (condition, now) = (Condition::default(), Instant::EPOCH.plus_micros(1_000_000_000));
        condition.enter(Reason::DiskFailing, None);
        let Fitness::ReadOnly { since, reason } = condition.fitness(now) else { panic!("it is ill") };
        assert!(since <= now && reason == Reason::DiskFailing);
        condition.enter(Reason::DiskFull, None);
        assert!(matches!(condition.fitness(now), Fitness::ReadOnly { reason: Reason::DiskFull, .. }));
    }
}
