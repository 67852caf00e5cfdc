//! Lines for people on stdout and stderr. A reader that went away (`| head`) ends no command: what cannot be said is left unsaid.

use std::fmt::Display;
use std::io::Write;

/// One line on stdout, at once even when stdout is a pipe.
pub fn say(line: impl Display) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

/// One line on stderr.
pub fn tell(line: impl Display) {
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}
