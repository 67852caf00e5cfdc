//! Writes down what the shop's own connection executes, statement by statement with its values, so that the floor repeats exactly that
//! and cannot drift from it.

use crate::bare::Value;
use diesel::connection::{Instrumentation, InstrumentationEvent, set_default_instrumentation};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

static SAID: Mutex<Vec<String>> = Mutex::new(Vec::new());
static LISTENING: AtomicBool = AtomicBool::new(false);

/// One statement and the values bound to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    pub sql: String,
    pub values: Vec<Value>,
}

fn note(event: InstrumentationEvent<'_>) {
    if let InstrumentationEvent::StartQuery { query, .. } = event {
        SAID.lock().expect("no panic while noting").push(query.to_string());
    }
}

/// Only the first connection listens: the one that writes is opened first.
fn listener() -> Option<Box<dyn Instrumentation>> {
    LISTENING.swap(false, Ordering::SeqCst).then(|| Box::new(note) as Box<dyn Instrumentation>)
}

/// The next connection that is opened is listened to.
pub fn listen_to_the_next() {
    LISTENING.store(true, Ordering::SeqCst);
    set_default_instrumentation(listener).expect("nobody panicked over the instrumentation");
}

/// Everything said since the last call.
pub fn take() -> Vec<Step> {
    let said = std::mem::take(&mut *SAID.lock().expect("no panic while noting"));
    said.iter().map(|line| read(line)).collect()
}

/// Reads `SQL -- binds: [1, "text", None]`, as diesel shows a query.
fn read(line: &str) -> Step {
    match line.rsplit_once(" -- binds: ") {
        None => Step { sql: line.to_owned(), values: Vec::new() },
        Some((sql, binds)) => Step { sql: sql.to_owned(), values: read_values(binds) },
    }
}

/// Reads `[1, "text", None]`: texts as Rust writes them, with their escapes.
fn read_values(binds: &str) -> Vec<Value> {
    let mut rest = binds.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')).expect("binds in brackets");
    let mut values = Vec::new();
    while !rest.is_empty() {
        let (value, after) = read_value(rest.strip_prefix("Some(").unwrap_or(rest));
        values.push(value);
        let after = after.strip_prefix(')').unwrap_or(after);
        rest = after.strip_prefix(", ").unwrap_or(after);
    }
    values
}

fn read_value(text: &str) -> (Value, &str) {
    if let Some(rest) = text.strip_prefix("None") {
        return (Value::Null, rest);
    }
    if let Some(inside) = text.strip_prefix('"') {
        let (mut said, mut letters) = (String::new(), inside.char_indices());
        loop {
            match letters.next().expect("a text ends") {
                (at, '"') => return (Value::Text(said), &inside[at + 1..]),
                (_, '\\') => match letters.next().expect("an escape ends").1 {
                    plain @ ('"' | '\\' | '\'') => said.push(plain),
                    other => panic!("an escape that no sale binds: {other}"),
                },
                (_, letter) => said.push(letter),
            }
        }
    }
    let end = text.find([',', ')']).unwrap_or(text.len());
    (
        Value::Integer(text[..end].parse().unwrap_or_else(|_| panic!("neither a number nor a text: {text}"))),
        &text[end..],
    )
}
