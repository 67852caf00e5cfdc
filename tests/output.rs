//! Labels as PDF and SVG, drawn by programs that know nothing of ours (poppler, Chromium), held against our own picture dot by dot and read
//! by two decoders; and the page that shows a label before it is printed.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test that meets what it did not expect should stop right there"
)]

mod counter;
#[path = "output/ground.rs"]
mod ground;
#[path = "labels/ground.rs"]
#[allow(dead_code, reason = "labels to draw; these tests use some of them")]
mod labels;
#[path = "output/pages.rs"]
mod pages;
#[path = "output/pdf.rs"]
mod pdf;
#[path = "output/preview.rs"]
mod preview;
#[path = "output/sheets.rs"]
mod sheets;
mod support;
#[path = "output/svg.rs"]
mod svg;
