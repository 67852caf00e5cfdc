//! What the address in the QR says, as a phone may send it: parts percent-encoded or not, in either case, with anything in the query.

use crate::domain::language::Language;
use crate::ops::customer::{Address, Card};

/// Nothing printed here is longer than half of this.
const LONGEST_PATH: usize = 300;

/// Reads the path of a label's address: article, perhaps lot, tray. None for anything else.
pub fn read(path: &str, query: &str) -> Option<Address> {
    if path.len() > LONGEST_PATH {
        return None;
    }
    let parts: Vec<String> = path.strip_prefix('/')?.split('/').map(plain).collect::<Option<_>>()?;
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    let (article, lot, tray) = match parts.as_slice() {
        ["01", article, "10", lot, "21", tray] => (article, Some(lot), tray),
        ["01", article, "21", tray] => (article, None, tray),
        _ => return None,
    };
    Some(Address {
        article: (*article).to_owned(),
        lot: lot.map(|lot| (*lot).to_owned()),
        tray: (*tray).to_owned(),
        use_by: asked(query, "17"),
    })
}

/// The language the address asks for, over whatever the phone likes.
pub fn language(query: &str) -> Option<Language> {
    Language::parse(&asked(query, "lang")?)
}

/// The first value of a key of the query; keys that are not known say nothing.
fn asked(query: &str, key: &str) -> Option<String> {
    query.split('&').filter_map(|pair| pair.split_once('=')).find(|(name, _)| *name == key).and_then(|(_, v)| plain(v))
}

/// Percent-decoded; None where that fails, or where it is not visible ASCII, of which every code of ours is.
fn plain(text: &str) -> Option<String> {
    let mut decoded = String::with_capacity(text.len());
    let mut bytes = text.bytes();
    while let Some(byte) = bytes.next() {
        let byte = match byte {
            b'%' => {
                let digit = |byte: Option<u8>| char::from(byte?).to_digit(16);
                let (high, low) = (digit(bytes.next())?, digit(bytes.next())?);
                u8::try_from(high * 16 + low).ok()?
            }
            other => other,
        };
        decoded.push(char::from(byte).is_ascii_graphic().then_some(char::from(byte))?);
    }
    Some(decoded)
}

/// The address of a card without any attributes.
pub fn canonical(card: &Card) -> String {
    let lot = card.origins.first().map_or("", |origin| origin.lot_code.as_str());
    format!("/01/{}/10/{lot}/21/{}", card.article, card.tray_code)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(path: &str) -> Option<(String, Option<String>, String)> {
        read(path, "").map(|a| (a.article, a.lot, a.tray))
    }

    #[test]
    fn labels_are_read_in_every_legal_form() {
        let whole = Some(("02900000001015".to_owned(), Some("YFT-261125-01".to_owned()), "C4H7K9P".to_owned()));
        assert_eq!(parts("/01/02900000001015/10/YFT-261125-01/21/C4H7K9P"), whole);
        assert_eq!(parts("/01/02900000001015/10/YFT%2D261125%2d01/21/%434H7K9P"), whole);
        assert_eq!(parts("/%301/02900000001015/21/C4H7K9P").map(|p| p.1), Some(None));
        let said = read("/01/1/21/C", "linkType=gs1:pip&&x&3103=000268&17=261127&lang=JA&17=1").unwrap();
        assert_eq!(said.use_by.as_deref(), Some("261127"));
        assert_eq!(language("a=b&lang=JA"), Some(Language::Japanese));
        assert_eq!((language("lang=fr"), language("lang"), language("lang=%E3%81")), (None, None, None));
    }

    #[test]
    fn everything_else_is_none() {
        let long = format!("/01/{}/21/C4H7K9P", "0".repeat(LONGEST_PATH));
        for path in [
            "",
            "/",
            "01/1/21/C",
            "/01/1",
            "/01/1/21",
            "/01/1/21/C/",
            "/01//1/21/C",
            "//01/1/21/C",
            "/01/1/21/C/10/L",
            "/01/1/10/L",
            "/01/1/21/%",
            "/01/1/21/%4",
            "/01/1/21/%zz",
            "/01/1/21/%00",
            "/01/1/21/a%20b",
            "/01/1/21/%e9",
            "/01/1/21/é",
            "/02/1/21/C",
            long.as_str(),
        ] {
            assert!(read(path, "").is_none_or(|a| a.article.is_empty()), "{path}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_address_panics(path in "/01/.{0,40}", query in ".{0,40}") {
            let _ = (read(&path, &query), language(&query));
        }
    }
}
