//! Did it pay: calibration against published and hand-worked values; what earlier advice expected and what came of it, and what was wasted, on
//! both databases, against the ledger.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "report/calibrated.rs"]
mod calibrated;
#[path = "report/followed.rs"]
mod followed;
#[path = "model/ground.rs"]
mod ground;
#[path = "report/scene.rs"]
mod scene;
mod support;
#[path = "report/wasted.rs"]
mod wasted;
