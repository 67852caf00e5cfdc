//! Reads one table of a settings file key by key and collects everything that is wrong, so that a person mends it in one go. Which keys
//! there are is said in the files beside this one.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;
use toml::{Table, Value};

/// One table of the file. Every key that is read is taken out; what is left at the end is unknown.
pub struct Section<'a> {
    name: String,
    table: Table,
    known: BTreeSet<&'static str>,
    problems: &'a mut Vec<String>,
}

impl<'a> Section<'a> {
    /// Takes a table out of the file; an absent one is empty.
    pub fn take(file: &mut Table, name: &str, problems: &'a mut Vec<String>) -> Section<'a> {
        let table = match file.remove(name) {
            None => Table::new(),
            Some(Value::Table(table)) => table,
            Some(other) => {
                problems.push(format!("{name} = {other}: must be a table, [{name}]"));
                Table::new()
            }
        };
        Section::of(name, table, problems)
    }

    pub fn of(name: &str, table: Table, problems: &'a mut Vec<String>) -> Section<'a> {
        Section { name: name.to_owned(), table, known: BTreeSet::new(), problems }
    }

    /// Reads a table inside this one, with its own keys.
    pub fn inner<T>(&mut self, key: &str, table: Table, read: impl FnOnce(&mut Section<'_>) -> T) -> T {
        let name = format!("{}.{key}", self.name);
        let mut section = Section::of(&name, table, self.problems);
        let value = read(&mut section);
        section.finish();
        value
    }

    /// A value as it stands, for keys of more than one word.
    pub fn value(&mut self, key: &'static str) -> Option<Value> {
        self.known.insert(key);
        self.table.remove(key)
    }

    /// Notes what is wrong with a key.
    pub fn wrong(&mut self, key: &str, found: &Value, must: &str) {
        let name = &self.name;
        self.problems.push(format!("{name}.{key} = {found}: {must}"));
    }

    /// A whole number in a range.
    pub fn number(&mut self, key: &'static str, default: i64, range: RangeInclusive<i64>) -> i64 {
        match self.value(key) {
            None => default,
            Some(Value::Integer(number)) if range.contains(&number) => number,
            Some(other) => {
                let must = format!("must be a whole number from {} to {}", range.start(), range.end());
                self.wrong(key, &other, &must);
                default
            }
        }
    }

    /// A small number, for counts of things in this program. The range fits its type.
    pub fn count<T: TryFrom<i64>>(&mut self, key: &'static str, default: T, range: RangeInclusive<i64>) -> T {
        let marker = *range.start() - 1;
        let present = self.table.contains_key(key);
        let number = self.number(key, marker, range);
        if present { T::try_from(number).ok().filter(|_| number != marker).unwrap_or(default) } else { default }
    }

    pub fn flag(&mut self, key: &'static str, default: bool) -> bool {
        match self.value(key) {
            None => default,
            Some(Value::Boolean(flag)) => flag,
            Some(other) => {
                self.wrong(key, &other, "must be true or false");
                default
            }
        }
    }

    /// A text that `read` accepts; `must` says what it accepts.
    pub fn text<T>(&mut self, key: &'static str, default: T, must: &str, read: impl Fn(&str) -> Option<T>) -> T {
        match self.value(key) {
            None => default,
            Some(found) => match found.as_str().and_then(read) {
                Some(value) => value,
                None => {
                    self.wrong(key, &found, must);
                    default
                }
            },
        }
    }

    /// Whatever is left is a key nobody knows.
    pub fn finish(self) {
        let known: Vec<&str> = self.known.iter().copied().collect();
        for key in self.table.keys() {
            self.problems.push(format!("{}.{key}: unknown key; known are {}", self.name, known.join(", ")));
        }
    }
}
