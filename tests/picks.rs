//! Pick lists: the published instances and random cases against the plainest way (pure), and a shop in which lists are made, worked off, given
//! up and forgotten, on both databases. `SAKUDANA_PICKS_SEED` and `SAKUDANA_PICKS_CASES` roll other random cases and more of them.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/ground.rs"]
mod ground;
#[path = "picks/pages.rs"]
mod pages;
#[path = "picks/published.rs"]
mod published;
#[path = "picks/random.rs"]
mod random;
#[path = "picks/refills.rs"]
mod refills;
#[path = "picks/shop.rs"]
mod shop;
#[path = "picks/short.rs"]
mod short;
#[path = "picks/table.rs"]
mod table;
#[path = "picks/working.rs"]
mod working;

mod counter;
mod support;
