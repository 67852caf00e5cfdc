//! The table `[following]`: who may follow what happens, and how patiently a follower is waited for.

use super::reader::Section;
use crate::web::api::events::FollowOptions;
use std::time::Duration;
use toml::Table;

/// Reads `[following]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> FollowOptions {
    let mut section = Section::take(file, "following", problems);
    let options = FollowOptions {
        streams: section.count("streams", 200, 0..=900),
        streams_per_client: section.count("streams_per_client", 10, 0..=900),
        stalled: Duration::from_secs(section.count("stalled_seconds", 30, 1..=600)),
        // A PostgreSQL server ends a transaction that rests for a minute.
        snapshot: Duration::from_secs(section.count("snapshot_seconds", 30, 1..=50)),
    };
    section.finish();
    options
}
