//! Whether a value has the format of its identifier: lengths, character sets, and the checks that the table names.
//!
//! Not made, since no fish tray carries them and their lists are not at hand: the checks `iban`, `csumalpha`, `couponcode`,
//! `couponposoffer` and `packagetype`; of `iso3166alpha2` only the shape. Such a value passes by its character set and length.

use super::dates::{self, DayZero};
use super::fault::{Fault, What};
use super::{check, codes};

/// Checks a value against a format such as `N3,iso4217 N..15`.
pub fn check(format: &str, value: &str) -> Result<(), Fault> {
    if value.is_empty() {
        return Err(Fault::new(What::ValueEmpty));
    }
    if let Some(at) = value.bytes().position(|b| !b.is_ascii()) {
        return Err(Fault::at(What::CharacterSet, at));
    }
    let mut start = 0;
    for component in format.split(' ').map(Component::of) {
        let rest = value.get(start..).unwrap_or("");
        if rest.is_empty() && component.optional {
            return Ok(());
        }
        if rest.len() < component.least {
            return Err(Fault::at(What::ValueTooShort, value.len()));
        }
        let part = rest.get(..component.most.min(rest.len())).unwrap_or("");
        component.check(part).map_err(|fault| Fault::at(fault.what, start + fault.at))?;
        start += part.len();
    }
    if start < value.len() { Err(Fault::at(What::ValueTooLong, start)) } else { Ok(()) }
}

/// How long a value of this format always is; none when its length varies.
pub fn fixed_length(format: &str) -> Option<usize> {
    format.split(' ').map(Component::of).try_fold(0, |sum, component| {
        (component.least == component.most && !component.optional).then_some(sum + component.most)
    })
}

/// One part of a format.
struct Component<'a> {
    set: u8,
    least: usize,
    most: usize,
    optional: bool,
    checks: &'a str,
}

impl Component<'_> {
    fn of(text: &str) -> Component<'_> {
        let (shape, checks) = text.split_once(',').unwrap_or((text, ""));
        let bare = shape.trim_matches(['[', ']']);
        let (set, length) = bare.split_at_checked(1).unwrap_or((bare, ""));
        let open = length.strip_prefix("..");
        let most = open.unwrap_or(length).parse().unwrap_or(0);
        Component {
            set: set.bytes().next().unwrap_or(b'X'),
            least: if open.is_some() { 1 } else { most },
            most,
            optional: shape.starts_with('['),
            checks,
        }
    }

    fn check(&self, part: &str) -> Result<(), Fault> {
        let wrong = match self.set {
            b'N' => What::NotADigit,
            _ => What::CharacterSet,
        };
        let in_set = |b: u8| match self.set {
            b'N' => b.is_ascii_digit(),
            b'Y' => b.is_ascii_digit() || b.is_ascii_uppercase() || b"#-/".contains(&b),
            b'Z' => b.is_ascii_alphanumeric() || b"-_=".contains(&b),
            _ => is_of_set_82(b),
        };
        if let Some(at) = part.bytes().position(|b| !in_set(b)) {
            return Err(Fault::at(wrong, at));
        }
        self.checks.split(',').filter(|name| !name.is_empty()).try_for_each(|name| by_name(name, part))
    }
}

/// Character set 82 of the GS1 General Specifications (the invariant part of ISO/IEC 646).
pub fn is_of_set_82(b: u8) -> bool {
    b.is_ascii_alphanumeric() || b"!\"%&'()*+,-./:;<=>?_".contains(&b)
}

fn by_name(name: &str, part: &str) -> Result<(), Fault> {
    let content = |fits: bool| if fits { Ok(()) } else { Err(Fault::new(What::Content)) };
    match name {
        "csum" if !check::fits(part) => Err(Fault::at(What::CheckDigit, part.len().saturating_sub(1))),
        "gcppos1" => company_prefix(part, 0),
        "gcppos2" => company_prefix(part, 1),
        "yymmd0" => dates::check_day(part, DayZero::LastOfMonth),
        "yymmdd" => dates::check_day(part, DayZero::Refused),
        "yyyymmdd" => dates::check_long_day(part),
        "hhmi" => dates::check_hour_and_minute(part),
        "hh" => dates::check_clock(part, 24),
        "mi" | "ss" => dates::check_clock(part, 60),
        "iso3166" if !codes::is_country(part) => Err(Fault::new(What::Country)),
        "iso3166999" if part != "999" && !codes::is_country(part) => Err(Fault::new(What::Country)),
        "iso3166alpha2" if !part.bytes().all(|b| b.is_ascii_uppercase()) => Err(Fault::new(What::Country)),
        "iso4217" if !codes::is_currency(part) => Err(Fault::new(What::Currency)),
        "zero" => content(part.bytes().all(|b| b == b'0')),
        "nonzero" => content(part.bytes().any(|b| b != b'0')),
        "nozeroprefix" => content(part == "0" || !part.starts_with('0')),
        "hasnondigit" => content(part.bytes().any(|b| !b.is_ascii_digit())),
        "hyphen" => content(part == "-"),
        "yesno" => content(matches!(part, "0" | "1")),
        "winding" => content(matches!(part, "0" | "1" | "9")),
        "iso5218" => content(matches!(part, "0" | "1" | "2" | "9")),
        "pcenc" => percent_encoded(part),
        "pieceoftotal" => {
            content(part.split_at_checked(2).is_some_and(|(piece, total)| piece != "00" && piece <= total))
        }
        "posinseqslash" => content(part.split_once('/').is_some_and(|(place, of)| position(place, of))),
        // From memory: tenths of microdegrees counted from the south pole and the antimeridian; ISO media types; importer indices.
        "latitude" => content(part <= "1800000000"),
        "longitude" => content(part <= "3600000000"),
        "mediatype" => content(("01"..="10").contains(&part) || ("80"..="99").contains(&part)),
        "importeridx" => content(part.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b))),
        _ => Ok(()),
    }
}

fn company_prefix(part: &str, at: usize) -> Result<(), Fault> {
    let prefix = part.as_bytes().get(at..at + 4);
    if prefix.is_some_and(|digits| digits.iter().all(u8::is_ascii_digit)) {
        return Ok(());
    }
    Err(Fault::at(What::CompanyPrefix, at))
}

fn position(place: &str, of: &str) -> bool {
    let digit = |text: &str| text.len() == 1 && matches!(text.as_bytes(), [b'1'..=b'9']);
    digit(place) && digit(of) && place <= of
}

fn percent_encoded(part: &str) -> Result<(), Fault> {
    let hex = |b: Option<&u8>| b.is_some_and(u8::is_ascii_hexdigit);
    let bytes = part.as_bytes();
    let broken = |(at, _): &(usize, &u8)| !hex(bytes.get(at + 1)) || !hex(bytes.get(at + 2));
    match bytes.iter().enumerate().filter(|(_, b)| **b == b'%').find(broken) {
        Some((at, _)) => Err(Fault::at(What::Content, at)),
        None => Ok(()),
    }
}
