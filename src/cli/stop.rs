//! Why a command ends without having done its work, and the exit code that tells a script.

use super::speak::tell;
use crate::ops::failure::Failure;
use std::process::ExitCode;

/// The text goes to stderr, one line a finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stop {
    /// Exit code 1: the database, the disk or the network does not do what is needed, or an invariant is broken.
    Unusable(String),
    /// Exit code 2: what the person asked for is wrong: settings, options.
    Wrong(Vec<String>),
}

impl Stop {
    pub fn unusable(text: impl Into<String>) -> Stop {
        Stop::Unusable(text.into())
    }

    pub fn wrong(text: impl Into<String>) -> Stop {
        Stop::Wrong(vec![text.into()])
    }

    /// Says why, and gives the exit code.
    pub fn report(&self) -> ExitCode {
        match self {
            Stop::Unusable(text) => {
                tell(format_args!("sakudana: {text}"));
                ExitCode::from(1)
            }
            Stop::Wrong(lines) => {
                for line in lines {
                    tell(format_args!("sakudana: {line}"));
                }
                ExitCode::from(2)
            }
        }
    }
}

impl From<Failure> for Stop {
    fn from(failure: Failure) -> Stop {
        Stop::Unusable(failure.to_string())
    }
}
