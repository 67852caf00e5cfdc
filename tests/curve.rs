//! The temperature curve of a place and the sums over it: published values, each with its source, and properties against a naive
//! integration.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "curve/frozen.rs"]
mod frozen;
#[path = "curve/ground.rs"]
mod ground;
#[path = "curve/naive.rs"]
mod naive;
#[path = "curve/properties.rs"]
mod properties;
#[path = "curve/published.rs"]
mod published;
#[path = "curve/rules.rs"]
mod rules;
