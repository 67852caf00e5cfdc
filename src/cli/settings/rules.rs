//! The table `[shop.rules]`: where the shop's own rules differ from the profile of its jurisdiction. Which settings there are, and which
//! values are looser, is `domain::profile::own`'s.

use super::reader::Section;
use crate::domain::profile::Rules;
use crate::domain::profile::own::{Wish, Written};
use toml::{Table, Value};

/// The profile with the shop's settings over it; what is wrong with them goes to the section's problems.
pub fn read(shop: &mut Section<'_>, profile: Rules) -> Rules {
    let table = match shop.value("rules") {
        None => return profile,
        Some(Value::Table(table)) => table,
        Some(other) => {
            shop.wrong("rules", &other, "must be a table, [shop.rules]");
            return profile;
        }
    };
    let mut wishes = Vec::new();
    for (name, value) in &table {
        match wish(name, value) {
            Some(wish) => wishes.push(wish),
            None => shop.wrong(
                &format!("rules.{name}"),
                value,
                "must be a whole number, a word, or { value = …, validated = \"who and on what ground\" }",
            ),
        }
    }
    profile.clone().with_own(&wishes).unwrap_or_else(|refused| {
        for problem in refused {
            let found = table.get(&problem.name).cloned().unwrap_or(Value::Boolean(false));
            shop.wrong(&format!("rules.{}", problem.name), &found, &problem.must);
        }
        profile
    })
}

fn wish(name: &str, value: &Value) -> Option<Wish> {
    let (value, validated) = match value {
        Value::Table(table) => (written(table.get("value")?)?, Some(ground(table)?)),
        plain => (written(plain)?, None),
    };
    Some(Wish { name: name.to_owned(), value, validated })
}

fn written(value: &Value) -> Option<Written> {
    match value {
        Value::Integer(number) => Some(Written::Number(*number)),
        Value::String(word) => Some(Written::Word(word.clone())),
        _ => None,
    }
}

/// The note of a table of `value` and `validated` alone.
fn ground(table: &Table) -> Option<String> {
    let note = table.get("validated").and_then(Value::as_str)?;
    (table.len() == 2).then(|| note.to_owned())
}
