//! The rooms of the house.

pub mod labels;
