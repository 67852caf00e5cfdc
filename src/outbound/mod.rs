//! Speaks to other machines: printers, and receivers of webhooks. What is asked of them, and what their answers mean for the shop, is decided by `jobs` and
//! `domain`; here stands what was sent, what came back, and what nobody can know.

pub mod attributes;
pub mod ipp;
pub mod webhook;
mod wire;
