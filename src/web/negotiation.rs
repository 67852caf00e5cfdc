//! Which language and which form an answer takes where several are to be had: `Accept-Language` and `Accept` with their weights (RFC 9110,
//! 12.4.2, 12.5.1 and 12.5.4). Wishes that cannot be met are passed over, as the standard allows: an answer is better than none.

use crate::domain::language::Language;
use actix_web::http::header::{HeaderMap, HeaderName};

/// All lines of a list header as one; what is not ASCII is no wish.
pub fn joined(headers: &HeaderMap, name: HeaderName) -> String {
    headers.get_all(name).filter_map(|value| value.to_str().ok()).collect::<Vec<_>>().join(",")
}

/// The members of a list with their weights in thousandths. One whose weight cannot be read is left out.
fn weighted(list: &str) -> impl Iterator<Item = (&str, u16)> {
    list.split(',').filter_map(|member| {
        let mut parts = member.split(';').map(str::trim);
        let range = parts.next().filter(|range| !range.is_empty())?;
        let weight = parts.find_map(|part| {
            let (name, value) = part.split_once('=')?;
            name.trim_end().eq_ignore_ascii_case("q").then(|| weight(value.trim_start()))
        });
        Some((range, weight.unwrap_or(Some(1_000))?))
    })
}

/// `0.8` as 800: a digit 0 or 1, and up to three after the point; never above 1.
fn weight(text: &str) -> Option<u16> {
    let (whole, rest) = text.split_once('.').unwrap_or((text, ""));
    let plain = rest.len() <= 3 && rest.bytes().all(|b| b.is_ascii_digit());
    let thousandths = format!("{rest:0<3}").parse::<u16>().ok().filter(|_| plain)?;
    match whole {
        "0" => Some(thousandths),
        "1" if thousandths == 0 => Some(1_000),
        _ => None,
    }
}

/// The language of ours a reader likes best, if any is among the wishes. Regions are looked past, as in a lookup after RFC 4647, 3.4; of
/// equals the one named first is taken; `*` stands for all that are not named.
pub fn language(wishes: &str) -> Option<Language> {
    let primary = |range: &str| Language::parse(range.split('-').next().unwrap_or(""));
    let mut best: Option<(Language, u16)> = None;
    let named: Vec<Language> = weighted(wishes).filter_map(|(range, _)| primary(range)).collect();
    for (range, weight) in weighted(wishes) {
        let offers: Vec<Language> = match range {
            "*" => Language::ALL.into_iter().filter(|language| !named.contains(language)).collect(),
            range => primary(range).into_iter().collect(),
        };
        for offer in offers {
            if weight > best.map_or(0, |(_, weight)| weight) {
                best = Some((offer, weight));
            }
        }
    }
    best.map(|(language, _)| language)
}

/// Whether an answer may be sent in gzip (RFC 9110, 12.5.3). Who wishes nothing gets it as it is.
pub fn accepts_gzip(wishes: &str) -> bool {
    let mut any = 0;
    for (coding, weight) in weighted(wishes) {
        match coding {
            _ if coding.eq_ignore_ascii_case("gzip") || coding.eq_ignore_ascii_case("x-gzip") => return weight > 0,
            "*" => any = weight,
            _ => {}
        }
    }
    any > 0
}

/// The form that is liked best: the number of its media type in `offers`. Of equals the one that was named more exactly, then the earlier
/// offer; the first when nothing fits.
pub fn form(wishes: &str, offers: &[&str]) -> usize {
    let mut best = (0, 0, 0);
    for (number, offer) in offers.iter().enumerate() {
        let Some((exactness, weight)) = weighted(wishes)
            .filter_map(|(range, weight)| Some((exactness(range, offer)?, weight)))
            .max_by_key(|(exactness, _)| *exactness)
        else {
            continue;
        };
        if weight > 0 && (weight, exactness) > (best.0, best.1) {
            best = (weight, exactness, number);
        }
    }
    best.2
}

fn exactness(range: &str, offer: &str) -> Option<u8> {
    let (kind, _) = offer.split_once('/')?;
    match range.split_once('/')? {
        ("*", "*") => Some(1),
        (range_kind, "*") if range_kind.eq_ignore_ascii_case(kind) => Some(2),
        _ if range.eq_ignore_ascii_case(offer) => Some(3),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_language_follows_the_weights() {
        let (en, ja) = (Some(Language::English), Some(Language::Japanese));
        let rows = [
            ("ja", ja),
            ("ja-JP,ja;q=0.9,en;q=0.8", ja),
            ("en-GB, en;q=0.9, ja;q=0.8", en),
            ("fr-CH, fr;q=0.9, ja;q=0.3, en;q=0.2, *;q=0.5", ja),
            ("fr, *;q=0.1", en),
            ("en;q=0, *", ja),
            ("en;q=0", None),
            ("*;q=0", None),
            ("JA ; Q=0.5 , en ; q=0.499", ja),
            ("en;q=0.5,ja;q=0.5", en),
            ("ja;q=0.5,en;q=0.5", ja),
            // A weight that is none takes its member with it.
            ("ja;q=2, en;q=0.1", en),
            ("ja;q=1.001, en;q=0.1", en),
            ("ja;q=0.1234, en;q=0.1", en),
            ("ja;q=, en;q=0.1", en),
            ("ja;q=-1", None),
            ("", None),
            (",,;q=1, ;", None),
            ("japanese", None),
            ("zz", None),
        ];
        for (wishes, expected) in rows {
            assert_eq!(language(wishes), expected, "{wishes}");
        }
    }

    #[test]
    fn the_form_follows_the_weights_and_the_exactness() {
        let offers = ["text/html", "application/ld+json", "application/json"];
        let rows = [
            ("", 0),
            ("*/*", 0),
            // What browsers send, and what clients of scripts send.
            ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", 0),
            ("application/json, text/plain, */*", 2),
            ("application/ld+json", 1),
            ("APPLICATION/LD+JSON; profile=\"http://www.w3.org/ns/json-ld#expanded\"; q=0.9, text/html;q=0.5", 1),
            ("application/*", 1),
            ("application/*;q=0.4, text/html;q=0.3", 1),
            ("text/html;q=0.1, application/json;q=0.2", 2),
            ("application/json;q=0, */*", 0),
            ("text/html;q=0, */*;q=0.5", 1),
            // RFC 9110 12.5.1: the most specific range decides on each type.
            ("text/*;q=0.3, text/html;q=0.7, application/json;q=0.5", 0),
            ("image/png", 0),
            ("text/html;q=0", 0),
            ("nonsense", 0),
        ];
        for (wishes, expected) in rows {
            assert_eq!(form(wishes, &offers), expected, "{wishes}");
        }
    }

    #[test]
    fn gzip_is_taken_where_it_is_wished() {
        let rows = [
            ("gzip", true),
            ("GZIP;q=0.1", true),
            ("x-gzip", true),
            ("deflate, gzip;q=1.0, *;q=0.5", true),
            ("*", true),
            ("", false),
            ("gzip;q=0", false),
            ("*, gzip;q=0", false),
            ("*;q=0", false),
            ("br, identity", false),
        ];
        for (wishes, expected) in rows {
            assert_eq!(accepts_gzip(wishes), expected, "{wishes}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_wish_panics(wishes in ".{0,80}") {
            let _ = (language(&wishes), form(&wishes, &["text/html", "application/json"]));
        }
    }
}
