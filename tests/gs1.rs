//! GS1 speech against published rows, each with a row id and its source, against an independent reader, and under mutation.
//!
//! Sources by their short names: DICT, GS1 Barcode Syntax Dictionary (GS1 AISBL, commit ff2eb4b of 2026-07-27, and its linters' tests); ENG,
//! GS1 Barcode Syntax Engine 1.4.1 (commit 50657db of 2026-06-23, tests in src/c-lib, or its verdict on the input); BIIP, S. M. Jodal, biip
//! 5.2.0; GENSPECS, GS1 General Specifications; AIDC, AIDC Toolkit gs1 1.0.49; DLT, GS1 Digital Link Toolkit (commit 52dc9ce).
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "gs1/elements.rs"]
mod elements;
#[path = "gs1/independent.rs"]
mod independent;
#[path = "gs1/links.rs"]
mod links;
#[path = "gs1/mutations.rs"]
mod mutations;
#[path = "gs1/numbers.rs"]
mod numbers;
#[path = "gs1/restricted.rs"]
mod restricted;
#[path = "gs1/rules.rs"]
mod rules;
#[path = "gs1/shelf.rs"]
mod shelf;
#[path = "gs1/shop.rs"]
mod shop;
#[path = "gs1/table.rs"]
mod table;

mod counter;
mod support;
