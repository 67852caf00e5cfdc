//! Rules and clocks: published values, each with its source and how well it is known, and what must hold for every life.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "clocks/colour_and_frozen.rs"]
mod colour_and_frozen;
#[path = "clocks/dates.rs"]
mod dates;
#[path = "clocks/every_life.rs"]
mod every_life;
#[path = "clocks/exposure.rs"]
mod exposure;
#[path = "clocks/ground.rs"]
mod ground;
#[path = "clocks/own_settings.rs"]
mod own_settings;
#[path = "clocks/parasites.rs"]
mod parasites;
#[path = "clocks/raw_and_superchill.rs"]
mod raw_and_superchill;
