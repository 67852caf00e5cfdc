//! What breaks around the shop: a disk that fails or is full, at every call of a sale; a line that is cut after every byte; a clock that is
//! set; a database server that goes. Never is something acknowledged that is not there, and the same key settles what was not.
//!
//! `SAKUDANA_FAULTS_STEP=1` tries every call of a checkpoint too (otherwise one in so many).
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "faults/clock.rs"]
mod clock;
#[path = "faults/cluster.rs"]
mod cluster;
#[path = "faults/database_server.rs"]
mod database_server;
#[path = "model/dice.rs"]
mod dice;
#[path = "power/disk.rs"]
mod disk;
#[path = "model/ground.rs"]
mod ground;
#[path = "faults/line.rs"]
mod line;
#[path = "power/load.rs"]
mod load;
#[path = "faults/real_disk.rs"]
mod real_disk;
#[path = "http/setting.rs"]
mod setting;
#[path = "faults/storage.rs"]
mod storage;
#[path = "prints/stub.rs"]
mod stub;
mod support;
#[path = "faults/sweep.rs"]
mod sweep;
#[path = "faults/till.rs"]
mod till;
#[path = "power/vfs.rs"]
mod vfs;
