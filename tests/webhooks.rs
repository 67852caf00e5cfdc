//! Webhooks, against real receivers: every event once or more and in order, whatever breaks; signed as an unrelated library reads it; nothing to
//! an address that it must not reach.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "webhooks/addresses.rs"]
mod addresses;
#[path = "webhooks/authority.rs"]
mod authority;
#[path = "webhooks/dead.rs"]
mod dead;
#[path = "webhooks/delivered.rs"]
mod delivered;
#[path = "model/ground.rs"]
mod ground;
#[path = "webhooks/killed.rs"]
mod killed;
#[path = "webhooks/receiver.rs"]
mod receiver;
#[path = "webhooks/served.rs"]
mod served;
mod support;
#[path = "webhooks/vectors.rs"]
mod vectors;
