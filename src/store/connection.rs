//! One connection to either database, and how it is opened. What differs in SQL stands in `dialect`.

use super::dialect;
use super::error::StoreError;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use std::path::{Path, PathBuf};

/// A connection to either database; diesel queries run on it unchanged.
#[derive(diesel::MultiConnection)]
pub enum AnyConnection {
    Sqlite(SqliteConnection),
    Postgres(PgConnection),
}

/// Which database, and where.
#[derive(Debug, Clone)]
pub enum Target {
    Sqlite(PathBuf),
    Postgres(String),
}

impl Target {
    pub fn read(database: &str) -> Target {
        if database.starts_with("postgres://") || database.starts_with("postgresql://") {
            Target::Postgres(database.to_owned())
        } else {
            Target::Sqlite(PathBuf::from(
                database.strip_prefix("sqlite:").map_or(database, |path| path.strip_prefix("//").unwrap_or(path)),
            ))
        }
    }

    pub const fn kind(&self) -> &'static str {
        match self {
            Target::Sqlite(_) => "sqlite",
            Target::Postgres(_) => "postgresql",
        }
    }
}

pub(super) fn open_sqlite(file: &Path) -> Result<SqliteConnection, StoreError> {
    let text = file.to_str().ok_or_else(|| StoreError::Unusable("the path is not valid text".into()))?;
    SqliteConnection::establish(text).map_err(|e| StoreError::Unusable(format!("{text}: {e}")))
}

fn establish(target: &Target) -> Result<AnyConnection, StoreError> {
    match target {
        Target::Sqlite(file) => {
            dialect::create_private(file)?;
            open_sqlite(file).map(AnyConnection::Sqlite)
        }
        Target::Postgres(url) => PgConnection::establish(url)
            .map(AnyConnection::Postgres)
            // The address may hold a password: it is left out of the message.
            .map_err(|e| StoreError::Unusable(e.to_string().replace(url, "the server"))),
    }
}

/// A connection that may write, set up and checked.
pub fn open_for_writing(target: &Target) -> Result<AnyConnection, StoreError> {
    let mut connection = establish(target)?;
    dialect::set_up(&mut connection)?;
    dialect::check(&mut connection)?;
    Ok(connection)
}

/// A connection that only reads.
pub fn open_for_reading(target: &Target) -> Result<AnyConnection, StoreError> {
    let mut connection = open_for_writing(target)?;
    dialect::forbid_writing(&mut connection)?;
    Ok(connection)
}
