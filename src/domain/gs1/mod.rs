//! GS1 speech: application identifiers with their rules, element strings, Digital Link addresses and restricted numbers, read and built by
//! one set of rules. What a scan means for the shop is `scan_text`'s; pictures of symbols are drawn elsewhere.
//!
//! The rules are those of the GS1 Barcode Syntax Dictionary (GS1 AISBL, commit ff2eb4b of 2026-07-27) and of its reference engine (GS1
//! Barcode Syntax Engine 1.4.1), with the guards that neither makes; tests/gs1 holds the published rows.

pub mod check;
pub mod codes;
pub mod dates;
pub mod elements;
pub mod fault;
pub mod link;
pub mod message;
pub mod numbers;
pub mod own;
pub mod percent;
pub mod restricted;
pub mod rules;
pub mod table;
pub mod tray_link;
pub mod values;
