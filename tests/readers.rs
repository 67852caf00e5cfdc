//! Labels read by programs that have nothing to do with ours (zxing-cpp, zbar, BIIP): every template on every stock at every resolution, also
//! from spoiled pictures. A reading counts only when it is the text that was put in.
//!
//! `SAKUDANA_READERS_TRAYS` labels of each kind instead of few, optimised, with the tables kept in a directory:
//! `SAKUDANA_READERS=DIR SAKUDANA_READERS_TRAYS=300 bash tests/run --config profile.dev.package.sakudana.opt-level=2 --test readers`.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test that meets what it did not expect should stop right there; its tables are printed"
)]

#[path = "readers/compare.rs"]
mod compare;
#[path = "readers/controls.rs"]
mod controls;
#[path = "readers/degraded.rs"]
mod degraded;
#[path = "readers/every_label.rs"]
mod every_label;
#[path = "readers/reader.rs"]
mod reader;
#[path = "readers/report.rs"]
mod report;
mod support;
#[path = "readers/trays.rs"]
mod trays;
