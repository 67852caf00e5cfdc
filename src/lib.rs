//! Sakudana: stock, remaining life and labels for a raw-fish counter. The rooms of the house, by floor; `tests/house.rs` holds who may
//! see whom.
#![forbid(unsafe_code)]

pub mod cli;
pub mod domain;
pub mod jobs;
pub mod labels;
pub mod ops;
pub mod outbound;
pub mod store;
pub mod units;
pub mod web;
