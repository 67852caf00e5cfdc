//! Small rules of order: first lines, lengths, names, one SQLite, no path of somebody's machine.

use std::collections::BTreeSet;
use std::fs;
use std::process::Command;

use crate::tokens::{Token, tokens};
use crate::{Source, files_below, hold, root, rust_files};

const CODE: [&str; 3] = ["src", "tests", "benches"];
const LONGEST: usize = 600;

/// Names that say nothing about what lives inside, so that everything moves in.
const EMPTY_NAMES: [&str; 7] = ["util", "common", "helpers", "misc", "core", "types", "manager"];

/// Put together here, so that this file does not hold them itself.
const MACHINE_PATHS: [&str; 3] = [concat!("/wo", "rk/"), concat!("/ro", "ot/"), concat!("/ho", "me/")];

#[test]
fn every_file_says_what_lives_in_it() {
    assert!(first_line(&Source::new("a.rs", "use std::fmt;\n//! late")).is_some());
    assert!(first_line(&Source::new("a.rs", "//!\nmod a;")).is_some());
    assert!(first_line(&Source::new("a.rs", "//! Counts trays.")).is_none());
    hold(rust_files(&CODE).iter().flat_map(first_line).collect());
}

fn first_line(source: &Source) -> Option<String> {
    let first = source.text.lines().next().unwrap_or_default();
    let says_something = first.strip_prefix("//!").is_some_and(|said| !said.trim().is_empty());
    (!says_something).then(|| format!("{}: does not open with `//!`", source.path))
}

#[test]
fn no_file_is_too_long_to_read() {
    assert!(length(&Source::new("a.rs", &"x\n".repeat(LONGEST + 1))).is_some());
    assert!(length(&Source::new("a.rs", &"x\n".repeat(LONGEST))).is_none());
    hold(rust_files(&CODE).iter().flat_map(length).collect());
}

fn length(source: &Source) -> Option<String> {
    let lines = source.text.lines().count();
    (lines > LONGEST).then(|| format!("{}: {lines} lines", source.path))
}

#[test]
fn nothing_of_the_crate_is_imported_by_a_star() {
    assert_eq!(stars(&Source::new("a.rs", "use crate::units::*;")).len(), 1);
    assert_eq!(stars(&Source::new("a.rs", "use crate::{units::{self, *}, ops};")).len(), 1);
    assert_eq!(stars(&Source::new("a.rs", "use sakudana::domain::*;")).len(), 1);
    assert_eq!(stars(&Source::new("a.rs", "use {std::fmt, crate::units::*};")).len(), 1);
    assert!(stars(&Source::new("a.rs", "use super::*; let a = crate::units::A * 2;")).is_empty());
    hold(rust_files(&CODE).iter().flat_map(stars).collect());
}

fn stars(source: &Source) -> Vec<String> {
    let found = tokens(&source.text);
    let statements = found.split(|token| token.text == ";");
    let imports = statements.filter_map(|statement| {
        // `use<'a>` in a signature imports nothing.
        let is_import = |pair: &[Token<'_>]| pair[0].text == "use" && pair[1].text != "<";
        let start = statement.windows(2).position(is_import)?;
        Some(&statement[start..])
    });
    imports
        .filter(|import| import.iter().any(|token| matches!(token.text, "crate" | "sakudana")))
        .filter_map(|import| import.iter().find(|token| token.text == "*"))
        .map(|star| format!("{}:{}: a glob import of the crate", source.path, star.line))
        .collect()
}

#[test]
fn no_module_has_an_empty_name() {
    assert_eq!(empty_names(&Source::new("src/util.rs", "")).len(), 1);
    assert_eq!(empty_names(&Source::new("src/web/common/mod.rs", "")).len(), 1);
    assert_eq!(empty_names(&Source::new("src/web.rs", "mod helpers { }")).len(), 1);
    assert!(empty_names(&Source::new("src/web/typesetting.rs", "mod life;")).is_empty());
    hold(rust_files(&CODE).iter().flat_map(empty_names).collect());
}

fn empty_names(source: &Source) -> Vec<String> {
    let parts = source.path.split('/').map(|part| part.strip_suffix(".rs").unwrap_or(part));
    let found = tokens(&source.text);
    let inside = found.windows(2).filter(|pair| pair[0].text == "mod").map(|pair| pair[1].text);
    parts
        .chain(inside)
        .filter(|name| EMPTY_NAMES.contains(name))
        .map(|name| format!("{}: the name {name} says nothing", source.path))
        .collect()
}

#[test]
fn one_sqlite_is_linked() {
    let one = "name = \"libsqlite3-sys\"\n";
    assert!(sqlites(one).is_none());
    assert!(sqlites(&one.repeat(2)).is_some());
    assert!(sqlites("name = \"diesel\"\n").is_some());
    hold(sqlites(&Source::read("Cargo.lock").text).into_iter().collect());
}

/// Two copies in one process lose each other's file locks ("How To Corrupt An SQLite Database
/// File", section 2.2.1, sqlite.org).
fn sqlites(lock: &str) -> Option<String> {
    let count = lock.lines().filter(|line| *line == "name = \"libsqlite3-sys\"").count();
    (count != 1).then(|| format!("Cargo.lock: libsqlite3-sys appears {count} times, not once"))
}

#[test]
fn no_tracked_file_knows_a_machine() {
    for path in MACHINE_PATHS {
        let text = format!("fine\nsee \"{path}notes\"");
        assert_eq!(machine_paths(&Source::new("a.md", &text)).len(), 1, "{path}");
        let address = format!("https://example.org{path}");
        assert!(machine_paths(&Source::new("a.md", &address)).is_empty(), "{path}");
    }
    let tracked = tracked_texts();
    assert!(tracked.iter().any(|source| source.path == "Cargo.toml"), "git lists no Cargo.toml");
    hold(tracked.iter().flat_map(machine_paths).collect());
}

fn machine_paths(source: &Source) -> Vec<String> {
    let mut found = Vec::new();
    for (at, line) in source.text.lines().enumerate() {
        for path in MACHINE_PATHS {
            // After a letter or a dot it is the middle of some other path or address.
            let is_a_root = line.match_indices(path).any(|(start, _)| {
                let before = line[..start].chars().next_back();
                !before.is_some_and(|before| before.is_alphanumeric() || "_-.".contains(before))
            });
            if is_a_root {
                found.push(format!("{}:{}: a path of one machine: {path}", source.path, at + 1));
            }
        }
    }
    found
}

/// Every tracked file that is text. A tracked file that is deleted just now is passed over.
fn tracked_texts() -> Vec<Source> {
    // The checkout may belong to another user than the one that runs the tests.
    let output = Command::new("git")
        .args(["-c", "safe.directory=*", "ls-files", "-z"])
        .current_dir(root())
        .output()
        .expect("git runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "git ls-files: {said}");
    let names = String::from_utf8(output.stdout).expect("file names are UTF-8");
    let paths = names.split('\0').filter(|path| !path.is_empty());
    paths
        .filter_map(|path| {
            let text = String::from_utf8(fs::read(root().join(path)).ok()?).ok()?;
            Some(Source::new(path, &text))
        })
        .collect()
}

#[test]
fn both_databases_have_the_same_migrations() {
    let names = |list: &[&str]| list.iter().map(|&name| name.to_owned()).collect();
    let one: BTreeSet<String> = names(&["1/up.sql"]);
    let two: BTreeSet<String> = names(&["1/up.sql", "2/up.sql"]);
    assert!(differences(&one, &one).is_empty());
    assert_eq!(differences(&one, &two).len(), 1);
    assert_eq!(differences(&two, &one).len(), 1);
    hold(differences(&migrations("sqlite"), &migrations("postgres")));
}

fn migrations(database: &str) -> BTreeSet<String> {
    let folder = format!("migrations/{database}");
    let files = files_below(&folder);
    files.iter().map(|path| path[folder.len() + 1..].to_owned()).collect()
}

fn differences(sqlite: &BTreeSet<String>, postgres: &BTreeSet<String>) -> Vec<String> {
    sqlite
        .symmetric_difference(postgres)
        .map(|name| format!("migrations: {name} is there for one database only"))
        .collect()
}
