//! Where the demo's files contradict themselves or the shop's rules: the file, the line, and why.

use std::fmt;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contradiction {
    pub file: &'static str,
    pub line: u64,
    pub what: String,
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "demo data {}, line {}: {}", self.file, self.line, self.what)
    }
}
