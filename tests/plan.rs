//! The plan of the next days: the rows of the reference on par levels, each with its class; the best number against every other by another
//! way of reckoning; and what the plan of a real shop says, on both databases.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/ground.rs"]
mod ground;
#[path = "plan/newsvendor.rs"]
mod newsvendor;
#[path = "plan/projection.rs"]
mod projection;
#[path = "plan/shop.rs"]
mod shop;
mod support;
