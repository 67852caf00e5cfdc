//! Where the log goes: stderr, as text for people or as JSON for machines. What is logged is each room's own choice.

use super::settings::{LogFormat, LogSettings};
use super::stop::Stop;
use std::io::IsTerminal;
use tracing_subscriber::EnvFilter;

/// Starts the log of this process.
pub fn start(settings: &LogSettings) -> Result<(), Stop> {
    let filter = EnvFilter::try_new(&settings.level).map_err(|e| Stop::wrong(format!("log.level: {e}")))?;
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    let started = match settings.format {
        LogFormat::Text => log.try_init(),
        LogFormat::Json => log.json().try_init(),
    };
    started.map_err(|e| Stop::unusable(format!("the log cannot start: {e}")))
}
