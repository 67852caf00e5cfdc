//! What a scanner or a hand sends, read to a tray code: our own address in any case, with the noise scanners add, or the bare code.
//! What the code then means for a sale is `verdict`'s.

use super::refusal::{Code, Refusal};
use super::tray_code::TrayCode;

/// Longest text that is looked at.
pub const LIMIT: usize = 400;

/// Strips symbology identifiers (`]Q1`, ISO/IEC 15424), control characters and blanks around a scan.
fn without_noise(text: &str) -> &str {
    let trimmed = text.trim_matches(|c: char| c.is_control() || c.is_whitespace());
    match trimmed.strip_prefix(']') {
        Some(rest) => rest.get(2..).unwrap_or(""),
        None => trimmed,
    }
}

/// Reads a scan. `base` is the shop's own address (`https://fish.example`): the address of another shop is refused as such, even if
/// it carries a code of ours.
pub fn read(text: &str, base: &str) -> Result<TrayCode, Refusal> {
    let not_a_code = |reason: &str| Refusal::new(Code::NotACode, "text", reason);
    if text.len() > LIMIT {
        return Err(not_a_code("longer than any code this shop reads"));
    }
    let scan = without_noise(text);
    if scan.is_empty() {
        return Err(not_a_code("nothing was scanned"));
    }
    let Some((scheme, rest)) = scan.split_once("://") else {
        return TrayCode::parse("text", scan);
    };
    if !scheme.eq_ignore_ascii_case("https") && !scheme.eq_ignore_ascii_case("http") {
        return Err(not_a_code("an address begins with http or https"));
    }
    let (host, path) = rest.split_once('/').ok_or_else(|| not_a_code("the address names no tray"))?;
    let own_host = base.split_once("://").map_or(base, |(_, host)| host);
    let path = path.split(['?', '#']).next().unwrap_or("");
    let segments: Vec<&str> = path.split('/').collect();
    let after = |key: &str| {
        segments.iter().step_by(2).zip(segments.iter().skip(1).step_by(2)).find(|(k, _)| **k == key).map(|(_, v)| *v)
    };
    let (article, serial) = (after("01"), after("21"));
    if article.is_none() {
        return Err(not_a_code("the address is not that of an article"));
    }
    if !host.eq_ignore_ascii_case(own_host) {
        return Err(Refusal::new(
            Code::OtherShop,
            "text",
            format!("the label was printed for {}", host.chars().take(60).collect::<String>()),
        ));
    }
    TrayCode::parse("text", serial.ok_or_else(|| not_a_code("the address names no tray"))?)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BASE: &str = "https://fish.example";

    fn code() -> TrayCode {
        (1..).find_map(TrayCode::from_number).unwrap_or_else(|| panic!("codes exist"))
    }

    #[test]
    fn every_legal_form_reads_to_the_same_tray() {
        let c = code();
        let forms = [
            c.to_string(),
            c.grouped(),
            c.to_string().to_lowercase(),
            format!("\u{2}{c}\r\n"),
            format!(
                "]Q1https://fish.example/01/02900000001011/10/YFT-261125-01/21/{c}?3103=000268&17=261127&3922=1997"
            ),
            format!("HTTPS://FISH.EXAMPLE/01/02900000001011/21/{c}"),
            format!("http://fish.example/01/02900000001011/21/{c}#x"),
        ];
        for form in forms {
            assert_eq!(read(&form, BASE), Ok(c), "{form}");
        }
    }

    #[test]
    fn everything_else_has_its_own_reason() {
        let c = code();
        let rows = [
            (format!("https://other.example/01/02900000001011/21/{c}"), Code::OtherShop),
            (format!("https://fish.example.evil/01/02900000001011/21/{c}"), Code::OtherShop),
            ("https://fish.example/01/02900000001011".into(), Code::NotACode),
            ("https://fish.example".into(), Code::NotACode),
            (format!("ftp://fish.example/01/1/21/{c}"), Code::NotACode),
            (format!("https://fish.example/tray/{c}"), Code::NotACode),
            ("4006381333931".into(), Code::NotACode),
            ("]Q".into(), Code::NotACode),
            ("C".repeat(401), Code::NotACode),
            ("é".into(), Code::NotACode),
        ];
        for (text, expected) in rows {
            assert_eq!(read(&text, BASE).map_err(|r| r.code), Err(expected), "{text}");
        }
        let swapped: String = c.to_string().chars().rev().collect();
        assert!(read(&swapped, BASE).is_err());
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text in ".{0,60}") {
            let _ = read(&text, BASE);
        }

        #[test]
        fn a_changed_character_never_names_another_tray(number in 1_u64..1_000_000, position in 0_usize..7, wrong in "[0-9A-Z]") {
            if let Some(c) = TrayCode::from_number(number) {
                let mut text: Vec<char> = c.to_string().chars().collect();
                text[position] = wrong.chars().next().unwrap_or('C');
                let text: String = text.into_iter().collect();
                if let Ok(read_back) = read(&text, BASE) {
                    proptest::prop_assert_eq!(read_back, c);
                }
            }
        }
    }
}
