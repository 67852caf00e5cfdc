//! GS1 Digital Link addresses: read in every legal form, built in one (GS1 Digital Link URI syntax, grammar 1.4; ordered qualifiers in the
//! path, everything else in the query).

use super::fault::{Fault, What};
use super::message::{Element, Message};
use super::percent::{self, Part};
use super::rules;
use super::table;

/// Longest address that is looked at.
pub const LIMIT: usize = 2_000;

/// An address that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Host with its port, as written.
    pub authority: String,
    /// The key, its qualifiers, then the attributes as they stood.
    pub message: Message,
    /// Parts of the query that are none of GS1's: `linkType=…`, a word alone.
    pub ignored: Vec<String>,
}

/// Reads an address. Whatever GS1 rules refuse is refused, the associations of its elements among it.
pub fn read(text: &str) -> Result<Link, Fault> {
    if text.len() > LIMIT {
        return Err(Fault::new(What::TextTooLong));
    }
    if let Some(at) = text.bytes().position(|b| !is_of_addresses(b)) {
        return Err(Fault::at(What::Illegal, at));
    }
    let without_fragment = text.split('#').next().unwrap_or("");
    let (place, query) = without_fragment.split_once('?').unwrap_or((without_fragment, ""));
    let (authority, path) = authority_and_path(place)?;
    let mut message = Message::default();
    read_path(path, &mut message)?;
    let mut ignored = Vec::new();
    for part in query.split('&').filter(|part| !part.is_empty()) {
        read_attribute(part, &mut message, &mut ignored)?;
    }
    rules::check(&message)?;
    Ok(Link { authority: authority.to_owned(), message, ignored })
}

/// RFC 3986, section 2: unreserved, reserved, and the percent sign.
fn is_of_addresses(b: u8) -> bool {
    b.is_ascii_alphanumeric() || b"-._~:/?#[]@!$&'()*+,;=%".contains(&b)
}

fn authority_and_path(place: &str) -> Result<(&str, &str), Fault> {
    let (scheme, rest) = place.split_once("://").ok_or_else(|| Fault::new(What::Scheme))?;
    if !matches!(scheme, "http" | "https" | "HTTP" | "HTTPS") {
        return Err(Fault::new(What::Scheme));
    }
    let (authority, path) = rest.split_once('/').unwrap_or((rest, ""));
    if is_authority(authority) { Ok((authority, path)) } else { Err(Fault::at(What::Domain, scheme.len() + 3)) }
}

/// A host name, an IPv4 address or an IPv6 address in brackets, with or without a port. Nobody's name before it.
fn is_authority(text: &str) -> bool {
    let bracketed = text.strip_prefix('[').and_then(|rest| rest.split_once(']'));
    let (host_fits, port) = match bracketed {
        Some((address, port)) => {
            (address.bytes().all(|b| b.is_ascii_hexdigit() || b":.".contains(&b)) && address.contains(':'), port)
        }
        None => {
            let (host, port) = text.split_at(text.find(':').unwrap_or(text.len()));
            (!host.is_empty() && host.bytes().all(|b| b.is_ascii_alphanumeric() || b"-.".contains(&b)), port)
        }
    };
    let port_fits = port.is_empty()
        || port.strip_prefix(':').is_some_and(|digits| {
            digits.bytes().all(|b| b.is_ascii_digit()) && digits.parse::<u16>().is_ok_and(|number| number > 0)
        });
    host_fits && port_fits
}

/// Reads the rightmost key of the path with what follows it; what stands before belongs to the host's own paths.
fn read_path(path: &str, message: &mut Message) -> Result<(), Fault> {
    let segments: Vec<&str> = path.split('/').collect();
    if !path.is_empty() && segments.iter().any(|segment| segment.is_empty()) {
        return Err(Fault::new(What::EmptySegment));
    }
    let is_key = |pair: &[&str]| pair.first().and_then(|ai| table::find(ai)).is_some_and(|row| row.key.is_some());
    let pairs: Vec<&[&str]> = segments.rchunks_exact(2).collect();
    let depth = pairs.iter().position(|pair| is_key(pair)).ok_or_else(|| Fault::new(What::NoKey))?;
    for pair in pairs.iter().take(depth + 1).rev() {
        if let [ai, value] = pair {
            message.push(ai, &percent::decode(value, Part::Path).map_err(|fault| fault.in_value_of(ai))?)?;
        }
    }
    let (key, qualifiers) = message.elements().split_first().ok_or_else(|| Fault::new(What::NoKey))?;
    let names: Vec<&str> = qualifiers.iter().map(|element| element.ai.as_str()).collect();
    if alternatives(key).any(|alternative| is_ordered_choice(&names, alternative)) {
        return Ok(());
    }
    Err(Fault::of(What::QualifierOrder, &key.ai))
}

fn alternatives(key: &Element) -> impl Iterator<Item = &'static str> {
    key.row.key.unwrap_or("").split('|')
}

/// Whether names stand in `alternative` (`22,10,21`) in this order, each at most once.
fn is_ordered_choice(names: &[&str], alternative: &str) -> bool {
    let mut allowed = alternative.split(',');
    names.iter().all(|name| allowed.any(|qualifier| qualifier == *name))
}

fn read_attribute(part: &str, message: &mut Message, ignored: &mut Vec<String>) -> Result<(), Fault> {
    let Some((ai, value)) = part.split_once('=') else {
        ignored.push(part.to_owned());
        return Ok(());
    };
    if ai.is_empty() || !ai.bytes().all(|b| b.is_ascii_digit()) {
        ignored.push(part.to_owned());
        return Ok(());
    }
    let row = table::find(ai).ok_or_else(|| Fault::of(What::UnknownIdentifier, ai))?;
    if message.value(ai).is_some() {
        return Err(Fault::of(What::Twice, ai));
    }
    if !row.attribute || belongs_in_the_path(ai, message) {
        return Err(Fault::of(What::NotAnAttribute, ai));
    }
    message.push(ai, &percent::decode(value, Part::Query).map_err(|fault| fault.in_value_of(ai))?)
}

/// Whether an element could have stood in the path as it was chosen: then it may not stand in the query. Beside another alternative's
/// qualifier it is an attribute like any other.
fn belongs_in_the_path(ai: &str, message: &Message) -> bool {
    let Some((key, rest)) = message.elements().split_first() else { return false };
    let names = |alternative: &'static str| alternative.split(',').any(|qualifier| qualifier == ai);
    let chosen = |alternative: &'static str| {
        rest.iter().filter(|element| is_qualifier(key, &element.ai)).all(|element| is_named(alternative, &element.ai))
    };
    alternatives(key).any(|alternative| names(alternative) && chosen(alternative))
}

fn is_qualifier(key: &Element, ai: &str) -> bool {
    alternatives(key).any(|alternative| is_named(alternative, ai))
}

fn is_named(alternative: &str, ai: &str) -> bool {
    alternative.split(',').any(|qualifier| qualifier == ai)
}

/// Builds the address of a message on `base`: scheme, host and, if there is one, a path of the host's own.
pub fn build(base: &str, message: &Message) -> Result<String, Fault> {
    rules::check(message)?;
    let base = base.strip_suffix('/').unwrap_or(base);
    if let Some(at) = base.bytes().position(|b| !is_of_addresses(b) || b"?#".contains(&b)) {
        return Err(Fault::at(What::Illegal, at));
    }
    authority_and_path(base)?;
    let key = message.elements().iter().find(|element| element.row.key.is_some());
    let key = key.ok_or_else(|| Fault::new(What::NoKey))?;
    let others: Vec<&Element> = without_repeats(message).into_iter().filter(|element| element.ai != key.ai).collect();
    let named: Vec<&Element> = others.iter().copied().filter(|element| is_qualifier(key, &element.ai)).collect();
    let together = |alternative: &&str| named.iter().all(|element| is_named(alternative, &element.ai));
    let chosen = alternatives(key).find(together).ok_or_else(|| Fault::of(What::QualifierOrder, &key.ai))?;
    let mut address = format!("{base}/{}/{}", key.ai, percent::encode(&key.value));
    for element in chosen.split(',').filter_map(|ai| named.iter().find(|element| element.ai == ai)) {
        address.push_str(&format!("/{}/{}", element.ai, percent::encode(&element.value)));
    }
    let attributes = others.iter().filter(|element| !is_qualifier(key, &element.ai));
    let (separated, predefined): (Vec<&Element>, Vec<&Element>) = attributes.partition(|element| element.row.separated);
    for (place, element) in predefined.iter().chain(&separated).enumerate() {
        if !element.row.attribute {
            return Err(Fault::of(What::NotAnAttribute, &element.ai));
        }
        let mark = if place == 0 { '?' } else { '&' };
        address.push_str(&format!("{mark}{}={}", element.ai, percent::encode(&element.value)));
    }
    if address.len() > LIMIT { Err(Fault::new(What::TextTooLong)) } else { Ok(address) }
}

/// The elements in order, each identifier once: that repeats agree is a rule of every message.
fn without_repeats(message: &Message) -> Vec<&Element> {
    let elements = message.elements();
    let is_first =
        |(at, element): &(usize, &Element)| !elements.iter().take(*at).any(|earlier| earlier.ai == element.ai);
    elements.iter().enumerate().filter(is_first).map(|(_, element)| element).collect()
}
