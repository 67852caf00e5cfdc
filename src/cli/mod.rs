//! The command line: reads what was asked, and starts it. One file a command; no rule of the shop lives here.

pub mod backup;
pub mod clock;
pub mod database;
pub mod demo;
pub mod logging;
pub mod openapi;
mod press;
mod private_file;
pub mod serve;
pub mod settings;
pub mod speak;
pub mod stop;
pub mod tls;
pub mod verify;
mod webhooks;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

const EXAMPLES: &str = "\
Examples:
  sakudana demo                                  three invented weeks of a counter, to look around in
  sakudana serve --settings shop.toml            a shop of your own
  sakudana backup copies/monday.db               a copy, while the server runs
  sakudana verify                                check the books, while the server runs

Environment (an option on the command line wins over it, it wins over the settings file):
  SAKUDANA_SETTINGS   settings file, as --settings
  SAKUDANA_DATABASE   database, as --database
  SAKUDANA_LISTEN     address and port, as --listen
  SAKUDANA_LOG        what is logged: error, warn, info, debug, trace; or by room, such as info,sakudana::web=debug

Exit codes: 0 done; 1 the database, disk or network does not do, or an invariant is broken; 2 a wrong option or setting.";

/// Stock, remaining life and labels for a raw-fish counter.
#[derive(Debug, Parser)]
#[command(name = "sakudana", version, about, after_help = EXAMPLES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Serve(serve::ServeArguments),
    Demo(demo::DemoArguments),
    Backup(backup::BackupArguments),
    Verify(verify::VerifyArguments),
    Openapi(openapi::OpenapiArguments),
}

/// Runs the program on the arguments of this process.
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help that cannot be printed helps nobody; the exit code still tells.
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    let done = match cli.command {
        Command::Serve(arguments) => serve::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Backup(arguments) => backup::run(&arguments),
        Command::Verify(arguments) => verify::run(&arguments),
        Command::Openapi(arguments) => openapi::run(&arguments),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(stop) => stop.report(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }
}
