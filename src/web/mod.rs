//! Speaks HTTP: the JSON interface in `api`, the pages in `pages`, and what both need to hear and answer. Nothing is decided here; a handler
//! extracts, makes one call into `ops`, and wraps.

pub mod answer;
pub mod api;
pub mod assets;
pub mod body;
pub mod call;
pub mod clock;
pub mod health;
pub mod limits;
pub mod listen;
pub mod metrics;
pub mod negotiation;
pub mod openapi;
pub mod outflow;
pub mod pages;
mod pane;
pub mod permit;
pub mod problem;
pub mod route;
pub mod server;
pub mod session;
pub mod stopping;
pub mod stream;
pub mod tls;
