//! Holds the house together: which room may import which, and the tidy rules no compiler checks.
//! Each rule is a function from text to complaints, shown here to complain before it is used.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "house/imports.rs"]
mod imports;
#[path = "house/tidy.rs"]
mod tidy;
#[path = "house/tokens.rs"]
mod tokens;

use std::fs;
use std::path::{Path, PathBuf};

/// One text file of the repository; the path is relative to its root, with forward slashes.
struct Source {
    path: String,
    text: String,
}

impl Source {
    fn new(path: &str, text: &str) -> Self {
        Self { path: path.to_owned(), text: text.to_owned() }
    }

    fn read(path: &str) -> Self {
        let text = fs::read_to_string(root().join(path));
        Self::new(path, &text.unwrap_or_else(|error| panic!("{path}: {error}")))
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The paths of all files below `folder`, sorted; none when there is no such folder.
fn files_below(folder: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(next) = folders.pop() {
        let Ok(entries) = fs::read_dir(&next) else {
            continue;
        };
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.push(relative(&path));
            }
        }
    }
    found.sort();
    found
}

fn relative(path: &Path) -> String {
    let inside = path.strip_prefix(root()).unwrap();
    inside.to_str().expect("file names are UTF-8").replace('\\', "/")
}

/// Every Rust file below these folders.
///
/// # Panics
/// When there is none: a rule that reads nothing would hold for ever.
fn rust_files(folders: &[&str]) -> Vec<Source> {
    let found: Vec<Source> = folders
        .iter()
        .flat_map(|folder| files_below(folder))
        .filter(|path| path.ends_with(".rs"))
        .map(|path| Source::read(&path))
        .collect();
    assert!(!found.is_empty(), "no Rust file below {folders:?}");
    found
}

/// Fails with every complaint at once.
#[track_caller]
fn hold(complaints: Vec<String>) {
    assert!(complaints.is_empty(), "\n{}\n", complaints.join("\n"));
}
