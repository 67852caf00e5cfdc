//! The table `[limits]`: how much one caller may take of the server.

use super::reader::Section;
use crate::web::limits::LimitOptions;
use crate::web::limits::quota::Rate;
use crate::web::pages::customer::CustomerPage;
use std::num::NonZeroU32;
use toml::Table;

/// Reads `[limits]`; whatever is wrong goes to `problems`. Callers behind a proxy are told apart as on the customers' page.
pub fn read(file: &mut Table, customers: &CustomerPage, problems: &mut Vec<String>) -> LimitOptions {
    let usual = LimitOptions::default();
    let mut section = Section::take(file, "limits", problems);
    let mut count = |key, usual: NonZeroU32| {
        NonZeroU32::new(section.count(key, usual.get(), 1..=1_000_000)).unwrap_or(NonZeroU32::MIN)
    };
    let client = Rate {
        a_second: count("requests_a_second", usual.client.a_second),
        at_once: count("requests_at_once", usual.client.at_once),
    };
    let address = Rate {
        a_second: count("requests_a_second_of_strangers", usual.address.a_second),
        at_once: count("requests_at_once_of_strangers", usual.address.at_once),
    };
    let connections = section.count("connections", usual.connections, 16..=20_000);
    let options = LimitOptions {
        client,
        address,
        connections,
        connections_of_one_address: section
            .count("connections_of_one_address", usual.connections_of_one_address.min(connections), 4..=20_000)
            .min(connections),
        calls_at_once: section.count("calls_at_once", usual.calls_at_once, 1..=4_096),
        trusted_proxy_header: customers.trusted_proxy_header.clone(),
    };
    section.finish();
    options
}
