//! `sakudana backup`: a consistent copy of the embedded database. How the copy is made is the store's.

use super::settings::{self, Sources};
use super::speak::say;
use super::stop::Stop;
use super::{clock, database, logging};
use std::path::PathBuf;

/// Copy the database to a new file, while the server runs
///
/// The copy is consistent, checked and safely on disk before this command says so. A file that exists is never written over. A
/// PostgreSQL database is copied with the server's own pg_dump.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  sakudana backup copies/monday.db\n  sakudana backup --database /srv/fish/shop.db copies/monday.db\n\nEnvironment: SAKUDANA_SETTINGS, SAKUDANA_DATABASE"
)]
pub struct BackupArguments {
    /// The new file
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Settings file (TOML); all defaults when absent
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Database to copy: a file [default: sakudana.db]
    #[arg(long, value_name = "FILE-OR-URL")]
    database: Option<String>,
}

pub fn run(arguments: &BackupArguments) -> Result<(), Stop> {
    let sources = Sources { settings: arguments.settings.clone(), database: arguments.database.clone(), listen: None };
    let settings = settings::load(&sources)?;
    logging::start(&settings.log)?;
    if database::file_of(&settings.database).is_none() {
        return Err(Stop::unusable("this is a PostgreSQL database: copy it with pg_dump, restore it with pg_restore"));
    }
    if arguments.file.exists() {
        return Err(Stop::unusable(format!("{} exists already; it is not written over", arguments.file.display())));
    }
    let desk = database::open_existing(&settings)?;
    desk.copy_to(&arguments.file)?;
    // The copy is good without it.
    if let Err(error) = desk.note_copy(clock::now()) {
        tracing::warn!(%error, "cannot note that a copy was made: health will go on asking for one");
    }
    let size =
        std::fs::metadata(&arguments.file).map_err(|e| Stop::unusable(format!("{}: {e}", arguments.file.display())))?;
    let (from, to) = (database::shown(&settings.database), arguments.file.display());
    say(format_args!("copied {from} to {to}: {} bytes", size.len()));
    Ok(())
}
