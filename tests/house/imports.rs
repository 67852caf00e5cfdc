//! The import table of the house: facts go up, decisions come down, nobody looks sideways.

use crate::tokens::{Token, tokens};
use crate::{Source, hold, rust_files};

/// Each room and the rooms it may see. A new edge is the change to be reviewed hardest.
const TABLE: [(&str, &[&str]); 11] = [
    ("main", &["cli"]),
    ("cli", &["web", "jobs", "ops", "store", "outbound", "units", "domain", "labels"]),
    ("web", &["ops", "domain", "units"]),
    ("jobs", &["ops", "outbound", "domain", "units"]),
    ("ops", &["store", "labels", "domain", "units"]),
    ("store", &["domain", "units"]),
    ("labels", &["domain", "units"]),
    ("outbound", &["units"]),
    ("domain", &["units"]),
    ("units", &[]),
    // The crate's front page lists the rooms and uses none.
    ("lib", &[]),
];

/// The names under which a file can reach the top of our crate.
const TOPS: [&str; 2] = ["crate", "sakudana"];

#[test]
fn every_room_sees_only_what_the_table_allows() {
    hold(rust_files(&["src"]).iter().flat_map(complaints).collect());
}

#[test]
fn the_table_names_only_rooms_of_the_table_and_has_no_cycle() {
    for (room, seen) in TABLE {
        for other in seen {
            assert!(allowed(other).is_some(), "{room} sees {other}, which is no room");
            assert!(!reaches(other, room), "{room} and {other} see each other");
        }
    }
}

fn allowed(room: &str) -> Option<&'static [&'static str]> {
    TABLE.iter().find(|(name, _)| *name == room).map(|(_, seen)| *seen)
}

fn reaches(from: &str, to: &str) -> bool {
    let seen = allowed(from).unwrap_or(&[]);
    seen.iter().any(|next| *next == to || reaches(next, to))
}

/// `src/store/trays.rs` and `src/store.rs` are both of the room `store`.
fn room_of(path: &str) -> &str {
    let inside = path.strip_prefix("src/").unwrap_or(path);
    let end = inside.find(['/', '.']).unwrap_or(inside.len());
    &inside[..end]
}

fn complaints(source: &Source) -> Vec<String> {
    let room = room_of(&source.path);
    let Some(seen) = allowed(room) else {
        return vec![format!("{}: the house has no room {room}", source.path)];
    };
    let found = tokens(&source.text);
    let mut complaints: Vec<String> = uses(&found)
        .filter(|used| used.text != room && !seen.contains(&used.text))
        .map(|used| format!("{}:{}: {room} may not see {}", source.path, used.line, used.text))
        .collect();
    complaints.extend(
        ways_over_the_top(&found, depth_of(&source.path))
            .map(|line| format!("{}:{line}: super:: leaves the room; say crate::", source.path)),
    );
    complaints
}

/// The first name after each `crate::`, or the first name of each member of its group.
fn uses<'a>(found: &'a [Token<'a>]) -> impl Iterator<Item = Token<'a>> {
    let tops = found.iter().enumerate().filter(|(at, token)| {
        let inside_a_path = *at > 0 && found[at - 1].text == "::";
        TOPS.contains(&token.text) && (!inside_a_path || starts_a_global_path(found, *at))
    });
    tops.flat_map(|(at, top)| {
        let after: Vec<&str> = found[at + 1..].iter().take(2).map(|token| token.text).collect();
        match after.as_slice() {
            ["::", "{"] => members(&found[at + 3..]),
            ["::", _] => vec![found[at + 2]],
            // The whole crate under another name would hide every later use.
            ["as", _] => vec![*top],
            _ => Vec::new(),
        }
    })
}

/// `::sakudana::x` is a path from outside, `other::sakudana` is somebody else's name.
fn starts_a_global_path(found: &[Token<'_>], at: usize) -> bool {
    at < 2 || !found[at - 2].is_word() || found[at - 2].text == "use"
}

/// The first name of each member of the group whose opening brace has just passed.
fn members<'a>(after: &[Token<'a>]) -> Vec<Token<'a>> {
    let mut depth = 1;
    let mut first = true;
    let mut found = Vec::new();
    for token in after {
        match token.text {
            "{" => depth += 1,
            "}" => depth -= 1,
            "," if depth == 1 => first = true,
            _ if depth == 1 && first => {
                found.push(*token);
                first = false;
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    found
}

/// How many `super` lead from this file to the top of the crate.
fn depth_of(path: &str) -> usize {
    let inside = path.strip_prefix("src/").unwrap_or(path);
    let names: Vec<&str> = inside.split('/').collect();
    let stands_for_its_folder = matches!(names.last(), Some(&("mod.rs" | "lib.rs" | "main.rs")));
    names.len() - usize::from(stands_for_its_folder)
}

/// The lines on which a row of `super` reaches the top of the crate. Modules written in the file
/// itself lie deeper.
fn ways_over_the_top(found: &[Token<'_>], depth: usize) -> impl Iterator<Item = usize> {
    let mut braces = Vec::new();
    let mut lines = Vec::new();
    let mut row = 0;
    for (at, token) in found.iter().enumerate() {
        match token.text {
            "{" => braces.push(at >= 2 && found[at - 2].text == "mod"),
            "}" => {
                braces.pop();
            }
            _ => {}
        }
        if token.text == "super" {
            row += 1;
            let inner = braces.iter().filter(|is_module| **is_module).count();
            // `pub(super)` sets a view and leads nowhere.
            let leads_on = found.get(at + 1).is_some_and(|next| next.text == "::");
            if row >= depth + inner && leads_on {
                lines.push(token.line);
            }
        } else if token.text != "::" {
            row = 0;
        }
    }
    lines.into_iter()
}

#[cfg(test)]
mod proof {
    use super::{Source, complaints};

    fn in_file(path: &str, text: &str) -> Vec<String> {
        complaints(&Source::new(path, text))
    }

    #[test]
    fn an_edge_that_is_not_in_the_table_is_seen() {
        let found = in_file("src/domain/picking.rs", "use crate::units::Grams;\nuse crate::store::Row;");
        assert_eq!(found, ["src/domain/picking.rs:2: domain may not see store"]);
        assert_eq!(in_file("src/web/api/labels.rs", "use crate::labels::draw;").len(), 1);
        assert_eq!(in_file("src/web.rs", "fn f() { crate::store::open() }").len(), 1);
        assert_eq!(in_file("src/units/mod.rs", "use crate::domain;").len(), 1);
    }

    #[test]
    fn groups_are_opened() {
        let text = "use crate::{domain::{a, store}, units, store::{ops}, labels};";
        let found = in_file("src/store/trays.rs", text);
        assert_eq!(found, ["src/store/trays.rs:1: store may not see labels"]);
        assert_eq!(in_file("src/web.rs", "use {crate::store, std::fmt};").len(), 1);
    }

    #[test]
    fn an_unknown_room_is_seen_from_both_sides() {
        assert_eq!(in_file("src/attic.rs", ""), ["src/attic.rs: the house has no room attic"]);
        assert_eq!(in_file("src/ops/pick.rs", "use crate::attic::Box;").len(), 1);
        assert_eq!(in_file("src/ops/pick.rs", "use crate::*;").len(), 1);
        assert_eq!(in_file("src/ops/pick.rs", "use crate as house;").len(), 1);
        assert_eq!(in_file("src/ops/pick.rs", "use crate::{self};").len(), 1);
    }

    #[test]
    fn the_program_sees_only_the_command_line() {
        assert!(in_file("src/main.rs", "fn main() { sakudana::cli::run() }").is_empty());
        assert_eq!(in_file("src/main.rs", "fn main() { sakudana::store::open() }").len(), 1);
        assert_eq!(in_file("src/main.rs", "use ::sakudana::store;").len(), 1);
        assert_eq!(in_file("src/lib.rs", "pub use crate::store::Row;").len(), 1);
    }

    #[test]
    fn a_room_sees_itself_and_what_is_allowed() {
        let text = "use crate::web::api; use crate::{ops, domain, units}; // crate::store\n\
                    const S: &str = \"crate::store\"; pub(crate) fn f() {}";
        assert!(in_file("src/web/pages/day.rs", text).is_empty());
    }

    #[test]
    fn super_does_not_lead_out_of_a_room() {
        assert_eq!(in_file("src/domain.rs", "use super::store;").len(), 1);
        assert_eq!(in_file("src/domain/mod.rs", "use super::store;").len(), 1);
        assert_eq!(in_file("src/domain/life.rs", "use super::super::store;").len(), 1);
        assert!(in_file("src/domain/life.rs", "use super::picking;").is_empty());
        assert!(in_file("src/domain/life.rs", "pub(super) fn f() {}").is_empty());
        assert!(in_file("src/domain.rs", "mod tests { use super::*; }").is_empty());
        assert_eq!(in_file("src/domain.rs", "mod tests { use super::super::x; }").len(), 1);
    }
}
