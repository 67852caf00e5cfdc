//! Acts without a request: what the shop does on its own as time passes, and what it does with other machines. What is to be done is decided in
//! `ops`.

pub mod feed;
mod paper;
pub mod printing;
pub mod recovery;
pub mod shelf;
pub mod watch;
pub mod webhooks;
mod worker;
