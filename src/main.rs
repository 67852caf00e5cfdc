//! Starts the program; everything it can do lives in `sakudana::cli`.

fn main() -> std::process::ExitCode {
    sakudana::cli::run()
}
