//! What the shop's own sales say of demand: published numbers, an invented shop whose truth comes back, and the acts of a shop on both
//! databases.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "demand/acts.rs"]
mod acts;
#[path = "model/dice.rs"]
mod dice;
#[path = "model/ground.rs"]
mod ground;
#[path = "demand/many.rs"]
mod many;
#[path = "demand/published.rs"]
mod published;
#[path = "demand/recovered.rs"]
mod recovered;
mod support;
