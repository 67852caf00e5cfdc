//! HTTPS by the program itself, asked by unrelated clients: curl and OpenSSL.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "tls/files.rs"]
mod files;
#[path = "tls/ground.rs"]
mod ground;
#[path = "tls/own_authority.rs"]
mod own_authority;
#[path = "tls/renewal.rs"]
mod renewal;
mod support;
