//! The table `[shop]`: what rules and labels need to know of the shop.

use super::codes;
use super::hours;
use super::reader::Section;
use super::rules;
use super::terms;
use crate::domain::profile::Rules;
use crate::domain::review::{Ladder, Step};
use crate::domain::shop::{Jurisdiction, Shop};
use crate::domain::text;
use crate::units::currency::{Currency, DecimalMark, WeightUnit};
use crate::units::zone::Zone;
use toml::{Table, Value};

pub const UNNAMED: &str = "Raw-fish counter";
pub const NO_ADDRESS: &str = "address not set";

/// Reads `[shop]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> Shop {
    let mut section = Section::take(file, "shop", problems);
    let name = |text: &str| text::name("", text).ok();
    let short = "must be a text of 1 to 80 characters";
    let jurisdiction = section.text("jurisdiction", Jurisdiction::Eu, "must be \"us\" or \"eu\"", Jurisdiction::parse);
    let currency = currency(&mut section, jurisdiction);
    let codes = codes::read(&mut section, currency.decimals());
    let shop = Shop {
        name: section.text("name", UNNAMED.to_owned(), short, name),
        address: section.text("address", NO_ADDRESS.to_owned(), short, name),
        zone: section.text("time_zone", Zone::UTC, "must be an IANA time zone such as Europe/Lisbon", |text| {
            Zone::parse(text).ok()
        }),
        currency,
        weight_unit: section.text(
            "weight_unit",
            if jurisdiction == Jurisdiction::Us { WeightUnit::Pound } else { WeightUnit::Kilogram },
            "must be \"kg\" or \"lb\"",
            WeightUnit::parse,
        ),
        jurisdiction,
        rules: rules::read(&mut section, Rules::of(jurisdiction)),
        web_address: section.text(
            "web_address",
            "http://127.0.0.1:8080".to_owned(),
            "must be https://host or https://host:port (or http), lower case, without a path, at most 60 characters",
            web_address,
        ),
        codes,
        reversal_minutes: section.number("reversal_minutes", 15, 0..=240),
        drip_permille: section.number("drip_permille", 5, 0..=100),
        receiving_scale_g: section.number("receiving_scale_g", 20, 1..=500),
        bench_scale_g: section.number("bench_scale_g", 2, 1..=500),
        bench_minutes: section.number("bench_minutes", 20, 0..=480),
        ladder: ladder(&mut section),
        hours: hours::read(&mut section),
        terms: terms::read(&mut section),
    };
    section.finish();
    shop
}

fn currency(section: &mut Section<'_>, jurisdiction: Jurisdiction) -> Currency {
    let american = jurisdiction == Jurisdiction::Us;
    let (code, sign) = if american { ("USD", "$") } else { ("EUR", "€") };
    let code = section.text("currency", code.to_owned(), "must be three capital letters such as EUR", |text| {
        Currency::new(text, "", american, DecimalMark::Point).map(|_| text.to_owned())
    });
    let sign = section.text("currency_sign", sign.to_owned(), "must be a text of 1 to 4 characters", |text| {
        text::name("", text).ok().filter(|sign| sign.chars().count() <= 4)
    });
    let sign_first = section.flag("currency_sign_first", american);
    let mark = section.text("decimal_mark", DecimalMark::Point, "must be \".\" or \",\"", DecimalMark::parse);
    Currency { code, sign, sign_first, mark }
}

/// Scheme and host as they stand in the QR: nothing that would need escaping, nothing after the host.
fn web_address(text: &str) -> Option<String> {
    let rest = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://"))?;
    let (host, port) = rest.split_once(':').map_or((rest, None), |(host, port)| (host, Some(port)));
    let plain = |label: &str| {
        !label.is_empty()
            && label.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    let port_fits =
        port.is_none_or(|p| p.bytes().all(|b| b.is_ascii_digit()) && p.parse::<u16>().is_ok_and(|port| port > 0));
    (text.len() <= 60 && host.split('.').all(plain) && port_fits).then(|| text.to_owned())
}

fn ladder(section: &mut Section<'_>) -> Ladder {
    let standard = Ladder::default();
    let kitchen_within_hours = section.number("kitchen_within_hours", standard.kitchen_within_hours, 0..=240);
    let Some(found) = section.value("ladder") else {
        return check(
            section,
            &Value::Integer(kitchen_within_hours),
            "kitchen_within_hours",
            Ladder { kitchen_within_hours, ..standard },
        );
    };
    match found.as_array().and_then(|steps| steps.iter().map(step).collect::<Option<Vec<Step>>>()) {
        Some(steps) => check(section, &found, "ladder", Ladder { steps, kitchen_within_hours }),
        None => {
            section.wrong("ladder", &found, "each step is a [[shop.ladder]] of within_hours and off_permille alone");
            standard
        }
    }
}

fn step(value: &Value) -> Option<Step> {
    let table = value.as_table().filter(|table| table.len() == 2)?;
    let number = |key: &str| table.get(key).and_then(Value::as_integer);
    Some(Step { within_hours: number("within_hours")?, off_permille: number("off_permille")? })
}

fn check(section: &mut Section<'_>, found: &Value, key: &str, ladder: Ladder) -> Ladder {
    ladder.check().unwrap_or_else(|must| {
        section.wrong(key, found, &must);
        Ladder::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn web_addresses_are_scheme_and_host() {
        for good in ["https://fish.example", "http://127.0.0.1:8080", "https://a-b.example:65535"] {
            assert_eq!(web_address(good), Some(good.to_owned()));
        }
        let long = format!("https://{}.example", "a".repeat(60));
        for bad in [
            "",
            "fish.example",
            "ftp://fish.example",
            "https://",
            "https://fish.example/",
            "https://fish.example/shop",
            "https://Fish.example",
            "https://fish.example:0",
            "https://fish.example:65536",
            "https://fish.example:",
            "https://fish..example",
            "https://fish.example?x",
            "https://ann@fish.example",
            "https://-fish.example",
            long.as_str(),
        ] {
            assert_eq!(web_address(bad), None, "{bad}");
        }
    }
}
