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

fn read_values(binds: &str) -> Vec<Value> {
    let list = binds.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')).expect("binds in brackets");
    // No text that a sale binds holds a comma; one that did would not parse, and stop the run.
    list.split(", ").filter(|word| !word.is_empty()).map(read_value).collect()
}

fn read_value(word: &str) -> Value {
    let word = word.strip_prefix("Some(").and_then(|inner| inner.strip_suffix(')')).unwrap_or(word);
    if word == "None" {
        return Value::Null;
    }
    if let Some(text) = word.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')) {
        return Value::Text(text.to_owned());
    }
    Value::Integer(word.parse().unwrap_or_else(|_| panic!("neither a number nor a text: {word}")))
}
