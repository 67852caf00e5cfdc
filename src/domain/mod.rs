//! Decides: the shop's rules as pure functions over plain values. No clock, no chance, no database, no JSON here;
//! `now`, identifiers and everything loaded are passed in.

pub mod alarm;
pub mod breakdown;
pub mod catalogue;
pub mod cost;
pub mod gs1;
pub mod holding;
pub mod inspection;
pub mod ledger;
pub mod life;
pub mod logger;
pub mod lot;
pub mod parasites;
pub mod permissions;
pub mod picking;
pub mod place;
pub mod printing;
pub mod profile;
pub mod refusal;
pub mod review;
pub mod scan_text;
pub mod shop;
pub mod text;
pub mod tray;
pub mod tray_code;
pub mod verdict;
