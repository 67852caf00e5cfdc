//! The table `[events]`: who may follow what happens, and how patiently a follower is waited for.

use super::reader::Section;
use crate::web::api::events::EventOptions;
use std::time::Duration;
use toml::Table;

/// Reads `[events]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> EventOptions {
    let mut section = Section::take(file, "events", problems);
    let options = EventOptions {
        streams: section.count("streams", 200, 0..=900),
        streams_per_client: section.count("streams_per_client", 10, 0..=900),
        stalled: Duration::from_secs(section.count("stalled_seconds", 30, 1..=600)),
    };
    section.finish();
    options
}
