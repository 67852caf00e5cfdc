//! Printing, against real parts: an IPP printer that keeps what it receives, a spooler in front of it, an independent reader of the raster, and
//! stubs for what real parts do too seldom. Each check of what arrives has its counterpart that must fail.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "prints/client.rs"]
mod client;
mod counter;
#[path = "model/ground.rs"]
mod ground;
#[path = "prints/killed.rs"]
mod killed;
#[path = "prints/page.rs"]
mod page;
#[path = "prints/queue.rs"]
mod queue;
#[path = "prints/served.rs"]
mod served;
#[path = "prints/shop.rs"]
mod shop;
#[path = "prints/spooled.rs"]
mod spooled;
#[path = "prints/stub.rs"]
mod stub;
mod support;
