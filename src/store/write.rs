//! The one way to write.
//!
//! SQLite has one writing connection. A caller that finds it free runs its own act and commits, without a queue. Callers that come
//! meanwhile line up; when the commit is done the first of them takes all that wait into one transaction: one commit, one wait for the
//! disk, and only then every reply. Nobody is answered before the disk has it.
//!
//! An act that refuses before it has written leaves nothing to undo. One that fails after writing sends the whole group back: it is run
//! again, each act inside a savepoint of its own. PostgreSQL runs each act in a serializable transaction and tries again on a collision.

use super::connection::{self, AnyConnection, Target};
use super::dialect;
use super::error::{Fault, StoreError};
use super::evidence::{Curves, Evidence};
use super::fitness::{Attempt, Condition, Fitness, Reason};
use super::load::{Load, Timed};
use super::read::Reading;
use super::recovery;
use super::touched::Touched;
use crate::units::instant::Instant;
use diesel::connection::SimpleConnection;
use diesel::result::{DatabaseErrorKind, Error};
use std::collections::VecDeque;
use std::ops::{Deref, DerefMut};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// A transaction that may write. Reads go through it by `Deref`.
pub struct Tx<'a> {
    reading: Reading<'a>,
    wrote: bool,
    pub(super) touched: Touched,
}

impl<'a> Tx<'a> {
    fn new(conn: &'a mut AnyConnection, evidence: &'a Evidence) -> Tx<'a> {
        Tx {
            reading: Reading { conn, evidence, unsettled: Some(Curves::default()) },
            wrote: false,
            touched: Touched::default(),
        }
    }

    /// The act that was appended last.
    pub fn last_act(&self) -> Option<i64> {
        self.touched.last_act()
    }

    /// What was touched since this was asked last.
    pub fn take_touched(&mut self) -> Touched {
        std::mem::take(&mut self.touched)
    }

    /// The connection for a statement that changes something: from here on a failure has something to undo.
    pub(super) fn changing(&mut self) -> &mut AnyConnection {
        self.wrote = true;
        self.reading.conn
    }
}

impl<'a> Deref for Tx<'a> {
    type Target = Reading<'a>;

    fn deref(&self) -> &Reading<'a> {
        &self.reading
    }
}

impl<'a> DerefMut for Tx<'a> {
    fn deref_mut(&mut self) -> &mut Reading<'a> {
        &mut self.reading
    }
}

/// Most acts that share one commit: bounds the wait of the first.
const GROUP_LIMIT: usize = 256;
const ATTEMPTS: u32 = 30;

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // A panic inside an act is caught before it can poison; should one slip through, the state is still whole.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What a queued caller hears: its outcome, or that it is to lead the next group.
enum Signal<T, E> {
    Done(Result<T, E>),
    Lead,
}

/// How an act went inside a transaction.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Went {
    Kept,
    RefusedClean,
    FailedDirty,
}

/// A queued act, its types put away.
pub trait Queued: Send {
    fn run(&mut self, connection: &mut AnyConnection, evidence: &Evidence) -> Went;
    fn reply(self: Box<Self>, committed: &Result<(), StoreError>);
    fn lead(&self);
    /// The error of the act that concerns the whole database, if it met one.
    fn illness(&self) -> Option<&StoreError>;
}

struct Task<T, E, F> {
    act: F,
    outcome: Option<Result<T, E>>,
    caller: SyncSender<Signal<T, E>>,
}

fn run_act<T, E, F>(act: &F, connection: &mut AnyConnection, evidence: &Evidence) -> (Result<T, E>, Went)
where
    F: Fn(&mut Tx<'_>) -> Result<T, E>,
    E: From<StoreError> + Fault,
{
    let mut tx = Tx::new(connection, evidence);
    let outcome = catch_unwind(AssertUnwindSafe(|| act(&mut tx)));
    match outcome {
        Ok(Ok(value)) => (Ok(value), Went::Kept),
        // After an error of the database itself nobody knows what of the transaction still stands.
        Ok(Err(refusal)) if tx.wrote || refusal.store_error().is_some() => (Err(refusal), Went::FailedDirty),
        Ok(Err(refusal)) => (Err(refusal), Went::RefusedClean),
        Err(_) => (Err(StoreError::Panicked.into()), Went::FailedDirty),
    }
}

impl<T, E, F> Queued for Task<T, E, F>
where
    F: Fn(&mut Tx<'_>) -> Result<T, E> + Send,
    T: Send,
    E: From<StoreError> + Fault + Send,
{
    fn run(&mut self, connection: &mut AnyConnection, evidence: &Evidence) -> Went {
        let (outcome, went) = run_act(&self.act, connection, evidence);
        self.outcome = Some(outcome);
        went
    }

    fn reply(self: Box<Self>, committed: &Result<(), StoreError>) {
        let outcome = match (committed, self.outcome) {
            (Ok(()), Some(outcome)) => outcome,
            (Ok(()), None) => Err(StoreError::Panicked.into()),
            // A refusal may rest on what another act of the group wrote, which is gone with the commit.
            (Err(error), _) => Err(error.clone().into()),
        };
        // The caller may be gone; what was committed stays committed.
        let _ = self.caller.send(Signal::Done(outcome));
    }

    fn lead(&self) {
        let _ = self.caller.send(Signal::Lead);
    }

    fn illness(&self) -> Option<&StoreError> {
        self.outcome.as_ref().and_then(illness_of)
    }
}

fn illness_of<T, E: Fault>(outcome: &Result<T, E>) -> Option<&StoreError> {
    outcome.as_ref().err().and_then(Fault::store_error).filter(|error| Reason::of(error).is_some())
}

/// Who waits for the connection.
#[derive(Default)]
pub struct Line {
    /// Whether someone holds or is about to take the connection.
    led: bool,
    waiting: VecDeque<Box<dyn Queued>>,
}

pub struct Writer {
    way: Way,
    target: Target,
    shared: Shared,
}

/// What every transaction is handed beside its connection.
struct Shared {
    evidence: Arc<Evidence>,
    condition: Arc<Condition>,
    load: Load,
}

enum Way {
    Embedded { line: Mutex<Line>, connection: Mutex<AnyConnection> },
    Server(r2d2::Pool<ServerOpener>),
}

pub struct ServerOpener(Target);

impl r2d2::ManageConnection for ServerOpener {
    type Connection = AnyConnection;
    type Error = StoreError;

    fn connect(&self) -> Result<AnyConnection, StoreError> {
        connection::open_for_writing(&self.0)
    }

    fn is_valid(&self, connection: &mut AnyConnection) -> Result<(), StoreError> {
        Ok(connection.batch_execute("SELECT 1")?)
    }

    fn has_broken(&self, _: &mut AnyConnection) -> bool {
        false
    }
}

impl Writer {
    pub fn open(
        target: &Target,
        first: AnyConnection,
        evidence: Arc<Evidence>,
        condition: Arc<Condition>,
        load: Load,
    ) -> Result<Writer, StoreError> {
        let way = match target {
            Target::Sqlite(_) => Way::Embedded { line: Mutex::default(), connection: Mutex::new(first) },
            Target::Postgres(_) => r2d2::Pool::builder()
                .max_size(8)
                .min_idle(Some(1))
                .connection_timeout(Duration::from_secs(5))
                .build(ServerOpener(target.clone()))
                .map(Way::Server)
                .map_err(|e| StoreError::Unusable(e.to_string()))?,
        };
        Ok(Writer { way, target: target.clone(), shared: Shared { evidence, condition, load } })
    }

    pub fn write<T, E, F>(&self, act: F) -> Result<T, E>
    where
        F: Fn(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
        T: Send + 'static,
        E: From<StoreError> + Fault + Send + 'static,
    {
        let _timed = Timed::begin(&self.shared.load.writes);
        self.try_to_recover();
        self.shared.condition.check()?;
        match &self.way {
            Way::Embedded { line, connection } => write_embedded(line, connection, &self.shared, act),
            Way::Server(pool) => write_to_server(&self.target, pool, &self.shared, &act),
        }
    }

    /// Once nobody writes any more: what the write-ahead log of an embedded database holds goes into its file.
    pub fn settle(&self) -> Result<(), StoreError> {
        match &self.way {
            Way::Embedded { connection, .. } => dialect::empty_the_log(&mut locked(connection)),
            Way::Server(_) => Ok(()),
        }
    }

    pub fn fitness(&self, now: Instant) -> Fitness {
        self.shared.condition.fitness(now)
    }

    /// Whoever comes when it is time tries; the others are refused meanwhile, they do not wait.
    pub fn try_to_recover(&self) {
        if let Some(attempt) = self.shared.condition.begin_attempt()
            && let Err(error) = self.recover(attempt)
        {
            self.shared.condition.attempt_failed(&error);
        }
    }

    fn recover(&self, attempt: Attempt) -> Result<(), StoreError> {
        match &self.way {
            Way::Embedded { connection, .. } => {
                let fresh = recovery::reopen(&self.target, attempt)?;
                let mut connection = locked(connection);
                *connection = fresh;
                // Before the lock goes: whoever takes it next must find both.
                self.shared.condition.recovered();
            }
            Way::Server(_) => {
                recovery::ask_server(&self.target)?;
                self.shared.condition.recovered();
            }
        }
        Ok(())
    }

    /// The same for whoever has the writer to itself: nobody stands in line.
    pub fn write_alone<T, E, F>(&self, act: F) -> Result<T, E>
    where
        F: Fn(&mut Tx<'_>) -> Result<T, E>,
        E: From<StoreError> + Fault,
    {
        match &self.way {
            Way::Embedded { connection, .. } => commit_alone(&mut locked(connection), &self.shared, &act),
            Way::Server(pool) => write_to_server(&self.target, pool, &self.shared, &act),
        }
    }
}

fn write_embedded<T, E, F>(
    line: &Mutex<Line>,
    connection: &Mutex<AnyConnection>,
    shared: &Shared,
    act: F,
) -> Result<T, E>
where
    F: Fn(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
    T: Send + 'static,
    E: From<StoreError> + Fault + Send + 'static,
{
    let mut state = locked(line);
    if !state.led {
        state.led = true;
        drop(state);
        shared.load.group_size.observe(1.0);
        let outcome = commit_alone(&mut locked(connection), shared, &act);
        hand_on(line);
        return outcome;
    }
    let (caller, signals) = sync_channel(2);
    state.waiting.push_back(Box::new(Task { act, outcome: None, caller }));
    shared.load.waiting.inc();
    drop(state);
    wait(line, connection, shared, &signals)
}

fn wait<T, E: From<StoreError>>(
    line: &Mutex<Line>,
    connection: &Mutex<AnyConnection>,
    shared: &Shared,
    signals: &Receiver<Signal<T, E>>,
) -> Result<T, E> {
    loop {
        match signals.recv() {
            Ok(Signal::Done(outcome)) => return outcome,
            Ok(Signal::Lead) => {
                let group: Vec<Box<dyn Queued>> = {
                    let mut state = locked(line);
                    let count = state.waiting.len().min(GROUP_LIMIT);
                    state.waiting.drain(..count).collect()
                };
                let count = u16::try_from(group.len()).unwrap_or(u16::MAX);
                shared.load.waiting.dec_by(i64::from(count));
                shared.load.group_size.observe(f64::from(count));
                commit_group(&mut locked(connection), shared, group);
                hand_on(line);
            }
            Err(_) => return Err(StoreError::Panicked.into()),
        }
    }
}

/// Gives the lead to the first who waits, or marks the connection free.
fn hand_on(line: &Mutex<Line>) {
    let mut state = locked(line);
    match state.waiting.front() {
        Some(first) => first.lead(),
        None => state.led = false,
    }
}

fn commit_alone<T, E, F>(connection: &mut AnyConnection, shared: &Shared, act: &F) -> Result<T, E>
where
    F: Fn(&mut Tx<'_>) -> Result<T, E>,
    E: From<StoreError> + Fault,
{
    begin_fit(connection, shared)?;
    let (outcome, went) = run_act(act, connection, &shared.evidence);
    if went == Went::Kept {
        commit(connection, shared)?;
    } else {
        roll_back(connection);
    }
    match illness_of(&outcome) {
        Some(error) => Err(recovery::learn(&shared.condition, connection, error.clone()).into()),
        None => outcome,
    }
}

fn commit_group(connection: &mut AnyConnection, shared: &Shared, mut group: Vec<Box<dyn Queued>>) {
    let committed = begin_fit(connection, shared).and_then(|()| {
        let dirty = group.iter_mut().any(|task| task.run(connection, &shared.evidence) == Went::FailedDirty);
        if dirty {
            roll_back(connection);
            stop_if_ill(connection, shared, &group)?;
            begin_fit(connection, shared)?;
            for task in &mut group {
                run_in_savepoint(connection, shared, task.as_mut())?;
            }
            stop_if_ill(connection, shared, &group)?;
        }
        commit(connection, shared)
    });
    if committed.is_err() {
        roll_back(connection);
    }
    for task in group {
        task.reply(&committed);
    }
}

fn run_in_savepoint(connection: &mut AnyConnection, shared: &Shared, task: &mut dyn Queued) -> Result<(), StoreError> {
    connection.batch_execute("SAVEPOINT act")?;
    let end = if task.run(connection, &shared.evidence) == Went::Kept {
        "RELEASE act"
    } else {
        "ROLLBACK TO act; RELEASE act"
    };
    Ok(connection.batch_execute(end)?)
}

fn begin(connection: &mut AnyConnection) -> Result<(), StoreError> {
    let begin = dialect::begin_write(connection);
    Ok(connection.batch_execute(begin)?)
}

/// Begins unless the shop is read-only: looked at with the connection in hand, since the act that had it before may have found out.
fn begin_fit(connection: &mut AnyConnection, shared: &Shared) -> Result<(), StoreError> {
    shared.condition.check()?;
    begin(connection).map_err(|error| recovery::learn(&shared.condition, connection, error))
}

/// An act of the group met a failing disk: none of them is tried again.
fn stop_if_ill(connection: &mut AnyConnection, shared: &Shared, group: &[Box<dyn Queued>]) -> Result<(), StoreError> {
    match group.iter().find_map(|task| task.illness()) {
        Some(error) => {
            roll_back(connection);
            Err(recovery::learn(&shared.condition, connection, error.clone()))
        }
        None => Ok(()),
    }
}

fn commit(connection: &mut AnyConnection, shared: &Shared) -> Result<(), StoreError> {
    connection.batch_execute("COMMIT").map_err(|error| {
        roll_back(connection);
        recovery::learn_at_commit(&shared.condition, connection, error.into())
    })
}

fn roll_back(connection: &mut AnyConnection) {
    // Fails when the database has rolled back by itself (disk full, I/O error): that is what we wanted.
    if let Err(error) = connection.batch_execute("ROLLBACK") {
        tracing::debug!(%error, "nothing left to roll back");
    }
}

fn write_to_server<T, E, F>(target: &Target, pool: &r2d2::Pool<ServerOpener>, shared: &Shared, act: &F) -> Result<T, E>
where
    F: Fn(&mut Tx<'_>) -> Result<T, E>,
    E: From<StoreError> + Fault,
{
    let mut connection = pool.get().map_err(|e| learn_of_server(target, shared, StoreError::Busy(e.to_string())))?;
    let mut attempt = 1;
    loop {
        let outcome = attempt_on_server(&mut connection, shared, act);
        let collided =
            outcome.as_ref().err().and_then(Fault::store_error).is_some_and(|e| matches!(e, StoreError::Collision(_)));
        if !collided || attempt == ATTEMPTS {
            return match illness_of(&outcome) {
                Some(StoreError::Busy(_)) | None => outcome,
                Some(error) => Err(learn_of_server(target, shared, error.clone()).into()),
            };
        }
        std::thread::sleep(pause(attempt));
        attempt += 1;
    }
}

/// What an error of the server means for all others. A single connection that went (`Busy`) means nothing: the pool knows whether the next
/// one goes too, and a fresh one tells whether the server went or only that connection.
fn learn_of_server(target: &Target, shared: &Shared, error: StoreError) -> StoreError {
    match Reason::of(&error) {
        Some(Reason::ServerGone) if !recovery::server_is_gone(target) => StoreError::Busy(error.to_string()),
        Some(reason) => {
            tracing::error!(%error, "the server cannot be written to");
            shared.condition.enter(reason, None);
            StoreError::ReadOnly(reason)
        }
        None => error,
    }
}

fn attempt_on_server<T, E, F>(connection: &mut AnyConnection, shared: &Shared, act: &F) -> Result<T, E>
where
    F: Fn(&mut Tx<'_>) -> Result<T, E>,
    E: From<StoreError> + Fault,
{
    begin(connection)?;
    let (outcome, went) = run_act(act, connection, &shared.evidence);
    if went != Went::Kept {
        roll_back(connection);
        return outcome;
    }
    match connection.batch_execute("COMMIT") {
        Ok(()) => outcome,
        Err(error) => {
            let lost = matches!(
                &error,
                Error::DatabaseError(DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand, _)
            );
            roll_back(connection);
            let error = if lost { StoreError::OutcomeUnknown(error.to_string()) } else { error.into() };
            Err(error.into())
        }
    }
}

/// 1 to 2 ms at first, doubling to at most 64 to 128 ms, with jitter so that colliding acts part.
fn pause(attempt: u32) -> Duration {
    let mut byte = [0_u8; 1];
    // Without randomness the pause is merely less spread.
    let _ = getrandom::fill(&mut byte);
    let base = 1_000_u64 << attempt.min(6);
    let [jitter] = byte;
    Duration::from_micros(base + base * u64::from(jitter) / 256)
}
