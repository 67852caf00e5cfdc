//! Starts the program; everything it can do lives in `sakudana::cli`.
#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    sakudana::cli::run()
}
