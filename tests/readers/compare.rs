//! What was read held against what was put in.

use crate::reader::Answer;
use crate::trays::Tray;
use serde_json::Value;

/// A QR Code without FNC1 that may hold any text (ISO/IEC 15424: from memory).
const PLAIN_QR: &str = "]Q1";
/// EAN-13 (ISO/IEC 15424: from memory).
const EAN_13: &str = "]E0";

/// What is wrong where not all readers found all of the tray and nothing else. Linear codes that zxing-cpp sees where none is (in type, in the
/// rows of a symbol, across part of another) are [`phantoms`] and told apart: they are its own, and our scan refuses them.
pub fn compare(tray: &Tray, answer: &Answer) -> Result<(), String> {
    let others = zxing(tray, answer).or_else(|| zbar(tray, answer)).or_else(|| biip(tray, answer));
    others.map_or(Ok(()), |wrong| Err(format!("{wrong}\nof {}\nread {answer:?}", tray.address)))
}

fn zxing(tray: &Tray, answer: &Answer) -> Option<String> {
    let mut expected = vec![(PLAIN_QR, tray.address.as_str())];
    expected.extend(tray.linear.as_deref().map(|digits| (EAN_13, digits)));
    let mut found: Vec<(&str, &str)> = answer.zxing.iter().map(|(id, _, text)| (id.as_str(), text.as_str())).collect();
    let phantoms = phantoms(tray, answer);
    found.retain(|(id, text)| *id != EAN_13 || !phantoms.contains(text));
    // The symbol first.
    found.sort_by_key(|(id, _)| *id != PLAIN_QR);
    if found != expected {
        return Some(format!("zxing-cpp: not {expected:?}"));
    }
    let level = answer.zxing.iter().find(|(id, ..)| id == PLAIN_QR).map_or("", |(_, level, _)| level);
    (!["M", "Q", "H"].contains(&level)).then(|| format!("zxing-cpp: level {level:?}"))
}

/// Thirteen digits with a right check digit that nobody printed.
pub fn phantoms<'a>(tray: &Tray, answer: &'a Answer) -> Vec<&'a str> {
    let linear = answer.zxing.iter().filter(|(id, ..)| id == EAN_13).map(|(.., text)| text.as_str());
    linear.filter(|text| Some(*text) != tray.linear.as_deref()).collect()
}

fn zbar(tray: &Tray, answer: &Answer) -> Option<String> {
    let mut expected = vec![("QRCODE", tray.address.as_str())];
    expected.extend(tray.linear.as_deref().map(|digits| ("EAN13", digits)));
    let mut found: Vec<(&str, &str)> = answer.zbar.iter().map(|(kind, text)| (kind.as_str(), text.as_str())).collect();
    found.sort_by_key(|(kind, _)| *kind != "QRCODE");
    (found != expected).then(|| format!("zbar: not {expected:?}"))
}

fn biip(tray: &Tray, answer: &Answer) -> Option<String> {
    let expected = Value::Array(tray.elements.clone());
    (answer.biip != expected).then(|| format!("BIIP: not {expected}"))
}
