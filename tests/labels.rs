//! Labels as a printer and a scanner see them: every template on every stock drawn, every symbol read back to the exact text, no two texts
//! on top of each other, and pictures kept to be compared dot for dot.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, reason = "tests stop at a surprise")]

#[path = "labels/fields.rs"]
mod fields;
#[path = "labels/ground.rs"]
mod ground;
#[path = "labels/pictures.rs"]
mod pictures;
#[path = "labels/places.rs"]
mod places;
#[path = "labels/random.rs"]
mod random;
#[path = "labels/refusals.rs"]
mod refusals;
