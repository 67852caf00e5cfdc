//! Everything that differs between the two databases: set-up, checks, how a transaction begins, the copy. The only place where code
//! asks which database it is. How the change sequence is read, which differs most, has a file of its own.

pub mod sequence;

use super::connection::{AnyConnection, Target, open_sqlite};
use super::error::StoreError;
use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Text};
use std::fmt::Write;
use std::fs::{File, OpenOptions};
use std::path::Path;

#[derive(QueryableByName)]
struct TextAnswer {
    #[diesel(sql_type = Text)]
    answer: String,
}

#[derive(QueryableByName)]
struct NumberAnswer {
    #[diesel(sql_type = BigInt)]
    answer: i64,
}

fn text(connection: &mut AnyConnection, query: &str) -> Result<String, StoreError> {
    Ok(diesel::sql_query(query).get_result::<TextAnswer>(connection)?.answer)
}

fn number(connection: &mut SqliteConnection, query: &str) -> Result<i64, StoreError> {
    Ok(diesel::sql_query(query).get_result::<NumberAnswer>(connection)?.answer)
}

/// Creates the database file readable by its owner alone, if it is not there; the files SQLite adds take over its rights.
pub fn create_private(file: &Path) -> Result<(), StoreError> {
    use std::os::unix::fs::OpenOptionsExt;
    if file.exists() {
        return Ok(());
    }
    let unusable = |e: std::io::Error| StoreError::Unusable(format!("{}: {e}", file.display()));
    OpenOptions::new().write(true).create_new(true).mode(0o600).open(file).map(drop).or_else(|e| {
        // Another connection of ours may have been faster.
        if e.kind() == std::io::ErrorKind::AlreadyExists { Ok(()) } else { Err(unusable(e)) }
    })
}

/// Each setting in a statement of its own, the waiting time first, so that none of the others fails on a lock.
pub fn set_up(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(sqlite) => {
            for pragma in [
                "busy_timeout = 5000",
                "journal_mode = WAL",
                "synchronous = FULL",
                "foreign_keys = ON",
                "trusted_schema = OFF",
                "wal_autocheckpoint = 1000",
                "cache_size = -16000",
            ] {
                sqlite.batch_execute(&format!("PRAGMA {pragma};"))?;
            }
        }
        AnyConnection::Postgres(postgres) => {
            // A role may have been told not to wait for the disk; an acknowledged act does. A stricter setting stays.
            postgres.batch_execute("SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'")?;
            postgres.batch_execute("SET TIME ZONE 'UTC'; SET lock_timeout = '5s'; SET statement_timeout = '30s'; SET idle_in_transaction_session_timeout = '60s';")?;
        }
    }
    Ok(())
}

/// Refuses a database that would not keep what it acknowledges.
pub fn check(connection: &mut AnyConnection) -> Result<(), StoreError> {
    let wrong = |what: &str, found: String| Err(StoreError::Unusable(format!("{what} is {found}")));
    match connection {
        AnyConnection::Sqlite(sqlite) => {
            let synchronous = number(sqlite, "SELECT synchronous AS answer FROM pragma_synchronous")?;
            let foreign_keys = number(sqlite, "SELECT foreign_keys AS answer FROM pragma_foreign_keys")?;
            let version = text(connection, "SELECT sqlite_version() AS answer")?;
            let mode = text(connection, "SELECT journal_mode AS answer FROM pragma_journal_mode")?;
            if synchronous < 2 {
                return wrong("synchronous", synchronous.to_string());
            }
            if foreign_keys != 1 {
                return wrong("foreign_keys", foreign_keys.to_string());
            }
            if mode != "wal" {
                return wrong("journal_mode (a network file system cannot hold the database)", mode);
            }
            // 3.51.3 mends a race that could corrupt the write-ahead log (SQLite release notes).
            let numbers: Vec<u32> = version.split('.').filter_map(|part| part.parse().ok()).collect();
            if numbers.as_slice() < [3, 51, 3].as_slice() {
                return wrong("the SQLite version, older than 3.51.3,", version);
            }
        }
        AnyConnection::Postgres(_) => {
            for setting in ["fsync", "full_page_writes"] {
                let value = text(connection, &format!("SELECT current_setting('{setting}') AS answer"))?;
                if value != "on" {
                    return wrong(setting, value);
                }
            }
            let commit = text(connection, "SELECT current_setting('synchronous_commit') AS answer")?;
            if commit == "off" {
                return wrong("synchronous_commit", commit);
            }
            let version = text(connection, "SELECT current_setting('server_version_num') AS answer")?;
            if version.parse::<i64>().unwrap_or(0) < 150_000 {
                return wrong("the PostgreSQL version, older than 15,", version);
            }
        }
    }
    Ok(())
}

pub fn forbid_writing(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(sqlite) => sqlite.batch_execute("PRAGMA query_only = ON;")?,
        AnyConnection::Postgres(postgres) => postgres.batch_execute("SET default_transaction_read_only = on;")?,
    }
    Ok(())
}

/// Lets the statements of this transaction take as long as they need: for checks over everything there is.
pub fn be_patient(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(_) => Ok(()),
        AnyConnection::Postgres(postgres) => Ok(postgres.batch_execute("SET LOCAL statement_timeout = 0")?),
    }
}

/// Begins a transaction that will write. SQLite takes the write lock at once: a deferred one fails later without waiting.
pub const fn begin_write(connection: &AnyConnection) -> &'static str {
    match connection {
        AnyConnection::Sqlite(_) => "BEGIN IMMEDIATE",
        AnyConnection::Postgres(_) => "BEGIN ISOLATION LEVEL SERIALIZABLE",
    }
}

/// How many groups of sales are worth writing at once: SQLite has one writer; a server works on one group while another is decided.
pub const fn groups_at_once(target: &Target) -> usize {
    match target {
        Target::Sqlite(_) => 1,
        Target::Postgres(_) => 2,
    }
}

/// Begins a transaction that sees one state throughout.
pub const fn begin_read(connection: &AnyConnection) -> &'static str {
    match connection {
        AnyConnection::Sqlite(_) => "BEGIN DEFERRED",
        AnyConnection::Postgres(_) => "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
    }
}

/// A shop restored on another server brings transaction numbers that this one may not have reached: from now on it counts above them, or
/// new changes would stand before old ones. Where that is not so it does nothing.
pub fn count_on(connection: &mut AnyConnection) -> Result<(), StoreError> {
    let AnyConnection::Postgres(postgres) = connection else { return Ok(()) };
    // The lock: of two programs that start together, the second finds it done. The key is any number that nobody else here uses.
    Ok(postgres.batch_execute(
        "DO $$ DECLARE ahead bigint; BEGIN \
         PERFORM pg_advisory_xact_lock(20261125); \
         SELECT MAX(xact) + 1 - pg_snapshot_xmax(pg_current_snapshot())::text::bigint INTO ahead FROM changes; \
         IF ahead > xact_offset() THEN \
           EXECUTE format('CREATE OR REPLACE FUNCTION xact_offset() RETURNS BIGINT LANGUAGE sql IMMUTABLE AS ''SELECT %s::bigint''', ahead); \
         END IF; END $$",
    )?)
}

/// A consistent copy beside running writers. SQLite does not sync the copy itself, so we do, file and folder.
pub fn copy_to(target: &Target, file: &Path) -> Result<(), StoreError> {
    let Target::Sqlite(source) = target else {
        return Err(StoreError::Unusable("a PostgreSQL database is copied with the server's own pg_dump".into()));
    };
    let storage = |e: std::io::Error| StoreError::Storage(format!("{}: {e}", file.display()));
    if file.exists() {
        return Err(StoreError::Unusable(format!("{} exists already", file.display())));
    }
    let name = file
        .file_name()
        .and_then(|n| n.to_str())
        .ok_or_else(|| StoreError::Unusable("the copy needs a file name".into()))?;
    let unfinished = file.with_file_name(format!("{name}.unfinished"));
    create_private(&unfinished)?;
    let mut connection = open_sqlite(source)?;
    connection.batch_execute("PRAGMA busy_timeout = 5000;")?;
    let path = unfinished.to_str().ok_or_else(|| StoreError::Unusable("the path is not valid text".into()))?;
    let copied =
        diesel::sql_query("VACUUM INTO ?").bind::<Text, _>(path).execute(&mut connection).map_err(StoreError::from);
    let finished = copied.and_then(|_| {
        File::open(&unfinished).and_then(|f| f.sync_all()).map_err(storage)?;
        check_copy(&unfinished)?;
        std::fs::rename(&unfinished, file).map_err(storage)?;
        let folder = file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or_else(|| Path::new("."));
        File::open(folder).and_then(|f| f.sync_all()).map_err(storage)
    });
    if finished.is_err() {
        // Best effort: the unfinished copy is worthless, and the error that matters is already in hand.
        let _ = std::fs::remove_file(&unfinished);
    }
    finished
}

/// How the database was told to keep what it acknowledges.
pub fn durability(connection: &mut AnyConnection) -> Result<String, StoreError> {
    let query = match connection {
        AnyConnection::Sqlite(_) => "SELECT 'synchronous=' || synchronous AS answer FROM pragma_synchronous",
        AnyConnection::Postgres(_) => "SELECT 'synchronous_commit=' || current_setting('synchronous_commit') AS answer",
    };
    text(connection, query)
}

/// Moves all of the write-ahead log into the file and cuts the log to nothing. Somebody who still reads keeps some of it back: that is
/// no fault, it is found at the next start.
pub fn empty_the_log(connection: &mut AnyConnection) -> Result<(), StoreError> {
    let AnyConnection::Sqlite(sqlite) = connection else { return Ok(()) };
    Ok(sqlite.batch_execute("PRAGMA wal_checkpoint(TRUNCATE);")?)
}

pub fn check_copy(file: &Path) -> Result<(), StoreError> {
    let mut connection = AnyConnection::Sqlite(open_sqlite(file)?);
    let verdict = text(&mut connection, "SELECT integrity_check AS answer FROM pragma_integrity_check LIMIT 1")?;
    let AnyConnection::Sqlite(sqlite) = &mut connection else { return Ok(()) };
    let tables = number(
        sqlite,
        "SELECT COUNT(*) AS answer FROM sqlite_master WHERE type = 'table' AND name IN ('acts', 'entries', 'trays')",
    )?;
    if verdict != "ok" || tables != 3 {
        return Err(StoreError::Unusable(format!("the copy is not sound: {verdict}, {tables} of 3 tables")));
    }
    Ok(())
}

/// The number of the newest act that is committed, where it can still be read.
pub fn newest_act(connection: &mut AnyConnection) -> Option<i64> {
    let newest =
        diesel::sql_query("SELECT COALESCE(MAX(id), 0) AS answer FROM acts").get_result::<NumberAnswer>(connection);
    newest.map(|row| row.answer).ok()
}

/// What stands in the place of a connection that was closed: an empty database that nobody keeps.
pub fn nothing_open() -> Option<AnyConnection> {
    SqliteConnection::establish(":memory:").map(AnyConnection::Sqlite).ok()
}

/// Reads the whole file, and copies what is only in the log to where it belongs. A server looks after its own files.
pub fn check_soundness(connection: &mut AnyConnection) -> Result<(), StoreError> {
    if matches!(connection, AnyConnection::Postgres(_)) {
        return Ok(());
    }
    let verdict = text(connection, "SELECT quick_check AS answer FROM pragma_quick_check LIMIT 1")?;
    if verdict != "ok" {
        return Err(StoreError::Storage(format!("disk image is malformed: {verdict}")));
    }
    Ok(connection.batch_execute("PRAGMA wal_checkpoint(PASSIVE);")?)
}

/// Makes a transaction durable that changes nothing of the shop. On SQLite the number that programs may leave in the head of the file is
/// written once more, on PostgreSQL a row is locked: both reach the disk as any act does.
pub fn prove_writable(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(sqlite) => {
            let version = number(sqlite, "SELECT user_version AS answer FROM pragma_user_version")?;
            Ok(sqlite.batch_execute(&format!("PRAGMA user_version = {version};"))?)
        }
        AnyConnection::Postgres(postgres) => {
            Ok(postgres.batch_execute("BEGIN; SELECT id FROM people ORDER BY id LIMIT 1 FOR KEY SHARE; COMMIT;")?)
        }
    }
}

/// A reading as it goes into a statement and comes out of one: the instant in microseconds, the temperature in milli-degrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, QueryableByName)]
pub struct ReadingRow {
    #[diesel(sql_type = BigInt)]
    pub at: i64,
    #[diesel(sql_type = BigInt)]
    pub temperature_mc: i64,
}

/// What is written of many readings of a place in one statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadingsChange {
    Insert,
    /// They are there; a warmer temperature counts from now on.
    Raise,
    /// Values that do not count, with when we were told of them.
    SetAside {
        recorded_at: i64,
    },
}

impl ReadingsChange {
    /// The statement: `place` stands for the place, `n` reads what comes after it.
    fn sql(self, place: &str, n: &str) -> String {
        match self {
            ReadingsChange::Insert => {
                format!(
                    "INSERT INTO readings (place_code, at, temperature_mc) SELECT {place}, n.at, n.temperature_mc FROM {n}"
                )
            }
            // As an insertion that meets what is there: SQLite would join an update to the list of values by reading all of it for every
            // reading of the place.
            ReadingsChange::Raise => format!(
                "INSERT INTO readings (place_code, at, temperature_mc) SELECT {place}, n.at, n.temperature_mc FROM {n} WHERE TRUE \
                 ON CONFLICT (place_code, at) DO UPDATE SET temperature_mc = excluded.temperature_mc"
            ),
            ReadingsChange::SetAside { recorded_at } => format!(
                "INSERT INTO reading_contradictions (place_code, at, temperature_mc, recorded_at) \
                 SELECT {place}, n.at, n.temperature_mc, {recorded_at} FROM {n}"
            ),
        }
    }
}

/// All rows travel as one value: a value for each would be bound one by one, and both databases limit how many there may be.
fn as_json_object(rows: &[ReadingRow]) -> String {
    let mut text = String::with_capacity(rows.len() * 32 + 2);
    text.push('{');
    for row in rows {
        if text.len() > 1 {
            text.push(',');
        }
        // Writing to a String does not fail.
        let _ = write!(text, "\"{}\":{}", row.at, row.temperature_mc);
    }
    text.push('}');
    text
}

pub fn change_readings(
    connection: &mut AnyConnection,
    place: &str,
    change: ReadingsChange,
    rows: &[ReadingRow],
) -> Result<usize, StoreError> {
    if rows.is_empty() {
        return Ok(0);
    }
    let count = match connection {
        AnyConnection::Sqlite(sqlite) => {
            let n = "(SELECT CAST(key AS INTEGER) AS at, value AS temperature_mc FROM json_each(?2)) AS n";
            diesel::sql_query(change.sql("?1", n))
                .bind::<Text, _>(place)
                .bind::<Text, _>(as_json_object(rows))
                .execute(sqlite)?
        }
        AnyConnection::Postgres(postgres) => {
            let n = "unnest($2, $3) AS n (at, temperature_mc)";
            let (at, temperature): (Vec<i64>, Vec<i64>) = rows.iter().map(|row| (row.at, row.temperature_mc)).unzip();
            let query = diesel::sql_query(change.sql("$1", n)).bind::<Text, _>(place);
            query.bind::<Array<BigInt>, _>(at).bind::<Array<BigInt>, _>(temperature).execute(postgres)?
        }
    };
    Ok(count)
}

/// Which of a table's readings of a place are at these instants. One search for each: what lies between them is not read.
pub fn readings_at(
    connection: &mut AnyConnection,
    table: ReadingsTable,
    place: &str,
    instants: &[i64],
) -> Result<Vec<ReadingRow>, StoreError> {
    let table = table.name();
    let rows = match connection {
        AnyConnection::Sqlite(sqlite) => {
            let text = serde_json::to_string(instants).unwrap_or_default();
            // CROSS keeps the list of instants on the outside.
            let sql = format!(
                "SELECT r.at AS at, r.temperature_mc AS temperature_mc FROM json_each(?2) AS j \
                 CROSS JOIN {table} AS r WHERE r.place_code = ?1 AND r.at = j.value"
            );
            diesel::sql_query(sql).bind::<Text, _>(place).bind::<Text, _>(text).load(sqlite)?
        }
        AnyConnection::Postgres(postgres) => {
            let sql = format!("SELECT at, temperature_mc FROM {table} WHERE place_code = $1 AND at = ANY($2)");
            diesel::sql_query(sql).bind::<Text, _>(place).bind::<Array<BigInt>, _>(instants).load(postgres)?
        }
    };
    Ok(rows)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadingsTable {
    Readings,
    Contradictions,
}

impl ReadingsTable {
    const fn name(self) -> &'static str {
        match self {
            ReadingsTable::Readings => "readings",
            ReadingsTable::Contradictions => "reading_contradictions",
        }
    }
}
