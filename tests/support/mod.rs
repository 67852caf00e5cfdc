//! The ground the tests stand on: a database of their own, the running server, a client, a browser
//! and unrelated decoders. Knows nothing of fish: a helper that speaks of trays belongs to its test.
//!
//! A missing peer is a panic, never a skipped test; `tests/run` starts them all.
#![allow(dead_code, reason = "each integration test is a crate of its own and uses only part of this")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

pub mod browser;
pub mod child;
pub mod decoders;
pub mod http;
pub mod postgres;
pub mod printer;
pub mod python;
pub mod raster;
pub mod server;
pub mod spooler;

/// The value of a variable that `tests/run` exports.
///
/// # Panics
/// When it is not set: a test without its peer must fail, not pass unseen.
pub fn from_tests_run(variable: &str) -> String {
    std::env::var(variable)
        .unwrap_or_else(|_| panic!("{variable} is not set: start the tests with `bash tests/run`, which sets it"))
}
