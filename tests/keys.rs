//! Keys of machines over HTTP, on both databases: what they open, how they are rotated, how they end, and how often they may ask.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "keys/quota.rs"]
mod quota;
#[path = "keys/rights.rs"]
mod rights;
#[path = "keys/rotation.rs"]
mod rotation;
#[path = "keys/shop.rs"]
mod shop;
mod support;
