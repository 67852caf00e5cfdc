//! The codes of a label against the standards and against unrelated makers and readers: the mask against a judge that goes module by module,
//! the finished matrix against segno, the published vectors, the linear code against two readers.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "symbol/linear.rs"]
mod linear;
#[path = "symbol/masks.rs"]
mod masks;
#[path = "symbol/matrix.rs"]
mod matrix;
#[path = "symbol/plain.rs"]
mod plain;
#[path = "symbol/segno.rs"]
mod segno;
#[path = "symbol/vectors.rs"]
mod vectors;

mod support;
