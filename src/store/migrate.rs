//! Brings a database to the tables of this version. The migrations themselves are SQL, in the folder `migrations`.

use super::connection::AnyConnection;
use super::error::StoreError;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

const SQLITE: EmbeddedMigrations = embed_migrations!("migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("migrations/postgres");

fn failed(error: Box<dyn std::error::Error + Send + Sync>) -> StoreError {
    StoreError::Unusable(format!("migration: {error}"))
}

pub fn run(connection: &mut AnyConnection) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(sqlite) => sqlite.run_pending_migrations(SQLITE).map(drop).map_err(failed),
        AnyConnection::Postgres(postgres) => postgres.run_pending_migrations(POSTGRES).map(drop).map_err(failed),
    }
}

pub fn down_and_up(connection: &mut AnyConnection) -> Result<(), StoreError> {
    run(connection)?;
    match connection {
        AnyConnection::Sqlite(sqlite) => sqlite.revert_all_migrations(SQLITE).map(drop).map_err(failed)?,
        AnyConnection::Postgres(postgres) => postgres.revert_all_migrations(POSTGRES).map(drop).map_err(failed)?,
    }
    run(connection)
}
