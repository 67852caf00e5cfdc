//! The table `[customer_page]`: what the page behind the QR does for whoever scans it.

use super::reader::Section;
use crate::domain::language::Language;
use crate::web::pages::customer::CustomerPage;
use std::num::NonZeroU32;
use toml::Table;

/// Reads `[customer_page]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> CustomerPage {
    let mut section = Section::take(file, "customer_page", problems);
    let page = CustomerPage {
        language: section.text("language", Language::English, "must be \"en\" or \"ja\"", |text| {
            Language::ALL.into_iter().find(|language| language.tag() == text)
        }),
        cache_seconds: section.count("cache_seconds", 60, 0..=120),
        requests_a_minute: NonZeroU32::new(section.count("requests_a_minute", 60, 1..=6_000))
            .unwrap_or(NonZeroU32::MIN),
        trusted_proxy_header: section.text(
            "trusted_proxy_header",
            None,
            "must be the name of a header, such as x-forwarded-for, or empty",
            header_name,
        ),
    };
    section.finish();
    page
}

/// None for no header at all; what is no name of a header is not read.
fn header_name(text: &str) -> Option<Option<String>> {
    let token = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
    match text {
        "" => Some(None),
        name if name.len() <= 60 && name.bytes().all(token) => Some(Some(name.to_ascii_lowercase())),
        _ => None,
    }
}
