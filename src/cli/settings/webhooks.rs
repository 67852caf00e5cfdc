//! The table `[webhooks]`: which receivers of the shop's own network there may be, and what sending needs.

use super::reader::Section;
use crate::domain::webhook::address::{AddressRules, HostPort};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::time::Duration;
use toml::{Table, Value};

/// More receivers than this in one shop are a mistake.
const MOST: usize = 50;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookSettings {
    pub rules: AddressRules,
    /// PEM certificates of the shop's own authority.
    pub authority_file: Option<PathBuf>,
    /// The key that seals the secrets; beside the database when absent.
    pub key_file: Option<PathBuf>,
    pub timeout: Duration,
}

/// Reads `[webhooks]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> WebhookSettings {
    let mut section = Section::take(file, "webhooks", problems);
    let rules = AddressRules { allow: hosts(&mut section, "allow"), this_machine: hosts(&mut section, "this_machine") };
    let path = |text: &str| match text {
        "" => Some(None),
        text if text.chars().any(char::is_control) => None,
        text => Some(Some(PathBuf::from(text))),
    };
    let authority_file = section.text("authority_file", None, "must be the path of a PEM file, or empty", path);
    let key_file = section.text("key_file", None, "must be the path of a file, or empty", path);
    let seconds: u64 = section.count("timeout_seconds", 15, 1..=30);
    section.finish();
    WebhookSettings { rules, authority_file, key_file, timeout: Duration::from_secs(seconds) }
}

fn hosts(section: &mut Section<'_>, key: &'static str) -> BTreeSet<HostPort> {
    const MUST: &str = "must be a list of host:port, such as [\"192.0.2.7:8443\"], at most 50";
    match section.value(key) {
        None => BTreeSet::new(),
        Some(Value::Array(list)) if list.len() <= MOST => {
            let read: Option<BTreeSet<HostPort>> = list.iter().map(|one| HostPort::parse(one.as_str()?)).collect();
            read.unwrap_or_else(|| {
                section.wrong(key, &Value::Array(list), MUST);
                BTreeSet::new()
            })
        }
        Some(other) => {
            section.wrong(key, &other, MUST);
            BTreeSet::new()
        }
    }
}
