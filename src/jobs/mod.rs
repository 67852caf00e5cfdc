//! Acts without a request: what the shop does on its own as time passes. What is to be done is decided in `ops`.

pub mod watch;
