//! Remaining life: what fish lived through (`curve`, `rate`), what that has used of its budgets (`wear`, `budget`), and which clock ends
//! it when (`clocks`); and how a stretch of it looks to a reader (`trace`). Pure: temperatures, instants and rules come in, a life comes out.
//!
//! All spans are microseconds. Time used is rounded up and budgets are rounded down, so that no rounding ever lengthens a life.

pub mod budget;
pub mod clocks;
pub mod curve;
pub mod date_mark;
pub mod lived;
pub mod rate;
pub mod trace;
pub mod warnings;
pub mod wear;
