//! `sakudana verify`: asks the database every invariant and says what holds. The invariants are `ops::verify`'s.

use super::settings::{self, Sources};
use super::speak::say;
use super::stop::Stop;
use super::{database, logging};
use crate::ops::desk::Desk;
use crate::ops::verify;
use std::path::PathBuf;

/// Check the books: every gram, every life, every sale
///
/// Reads one consistent state; a server may go on working beside it. One line an invariant: `ok` or `WRONG`, how many things were
/// checked, and which invariant it is. Under a wrong one stand the first things that break it. Exit code 0 when all hold, 1 otherwise.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  sakudana verify\n  sakudana verify --database copies/monday.db\n\nEnvironment: SAKUDANA_SETTINGS, SAKUDANA_DATABASE"
)]
pub struct VerifyArguments {
    /// Settings file (TOML); all defaults when absent
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Database: a file, or a postgres:// address [default: sakudana.db]
    #[arg(long, value_name = "FILE-OR-URL")]
    database: Option<String>,
}

pub fn run(arguments: &VerifyArguments) -> Result<(), Stop> {
    let sources = Sources { settings: arguments.settings.clone(), database: arguments.database.clone(), listen: None };
    let settings = settings::load(&sources)?;
    logging::start(&settings.log)?;
    let desk = database::open_existing(&settings)?;
    report(&desk)
}

/// Prints what was found; ends well only when every invariant holds.
pub fn report(desk: &Desk) -> Result<(), Stop> {
    let findings = desk.look(|reading, _| verify::verify(reading))?;
    let mut broken = 0;
    for finding in &findings {
        let verdict = if finding.wrong.is_empty() { "ok   " } else { "WRONG" };
        say(format_args!("{verdict} {:>7} checked  {}", finding.checked, finding.name));
        for what in &finding.wrong {
            say(format_args!("        {what}"));
        }
        broken += usize::from(!finding.wrong.is_empty());
    }
    match broken {
        0 => {
            say(format_args!("all {} invariants hold", findings.len()));
            Ok(())
        }
        _ => Err(Stop::unusable(format!("{broken} of {} invariants are broken", findings.len()))),
    }
}
