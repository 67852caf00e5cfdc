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
    if let Ok(folder) = std::env::var("SAKUDANA_READERS") {
        std::fs::write(Path::new(&folder).join(format!("{name}.md")), text).expect("room for a table");
    }
}

/// How many of each kind are asked for, or as many as are enough for every day.
pub fn count_or(few: usize) -> usize {
    std::env::var("SAKUDANA_READERS_TRAYS").map_or(few, |count| count.parse().expect("a number of trays"))
}
