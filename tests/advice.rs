//! The review's program against published and computed rows, against brute force over all policies, against the textbook's algorithm,
//! against the closed form of continuous time, and against chance. Rows are of `operations.md`, the project's reference; `computed` there
//! means: arithmetic from the formula named beside the row, by a program that is not this one.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]
#![allow(
    clippy::approx_constant,
    clippy::needless_range_loop,
    clippy::type_complexity,
    reason = "rows are written as the reference prints them, and tables walked by their index as the textbook does"
)]

#[path = "advice/brute.rs"]
mod brute;
#[path = "advice/chance.rs"]
mod chance;
#[path = "advice/continuous.rs"]
mod continuous;
#[path = "advice/criteria.rs"]
mod criteria;
#[path = "advice/ground.rs"]
mod ground;
#[path = "advice/ladder.rs"]
mod ladder;
#[path = "advice/limits.rs"]
mod limits;
#[path = "advice/properties.rs"]
mod properties;
#[path = "advice/question.rs"]
mod question;
#[path = "advice/textbook.rs"]
mod textbook;
