//! Tables for people: printed, and kept as files where a directory is named.

use std::fmt::Write;
use std::path::Path;

/// A table in Markdown; the first column is words, the others are numbers.
pub fn table(name: &str, head: &[&str], rows: &[Vec<String>]) {
    let mut text = format!("| {} |\n| --- |{}\n", head.join(" | "), " ---: |".repeat(head.len() - 1));
    for row in rows {
        writeln!(text, "| {} |", row.join(" | ")).expect("room for a row");
    }
    println!("{name}\n\n{text}");
    keep(&format!("{name}.md"), text.as_bytes());
}

/// Kept as a file where somebody asks for files.
pub fn keep(name: &str, bytes: &[u8]) {
    if let Ok(folder) = std::env::var("SAKUDANA_READERS") {
        std::fs::write(Path::new(&folder).join(name), bytes).expect("room for a file");
    }
}

/// How many of each kind are asked for, or as many as are enough for every day.
pub fn count_or(few: usize) -> usize {
    std::env::var("SAKUDANA_READERS_TRAYS").map_or(few, |count| count.parse().expect("a number of trays"))
}
