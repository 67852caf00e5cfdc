//! What a label costs.

fn main() {}
