//! The linear code, read back by two unrelated readers.

use crate::support::decoders::{zbar, zxing};
use sakudana::labels;
use sakudana::labels::bitmap::Bitmap;
use sakudana::labels::linear::{Ean13, dot_choices};
use sakudana::labels::stock::Dpi;
use std::collections::BTreeSet;

/// One code for each first digit, for that is said by parity alone; together they hold every digit on both sides.
fn codes() -> Vec<String> {
    let rest = ["98765432106", "12345678901", "61234500268", "00000000000", "99999999999"];
    let starts = (0..10).map(|first| format!("{first}{}", rest[first % rest.len()]));
    starts.map(|digits| with_check_digit(&digits)).collect()
}

fn with_check_digit(digits: &str) -> String {
    let whole = (0..10).map(|check| format!("{digits}{check}")).find(|text| Ean13::encode(text).is_ok());
    whole.expect("one of ten check digits is right")
}

/// All codes below each other with much white between.
fn sheet(codes: &[String], dots: i32) -> Bitmap {
    let height = 60 * dots;
    let rows = i32::try_from(codes.len()).unwrap();
    let width = Ean13::encode(&codes[0]).unwrap().width(dots);
    let mut picture = Bitmap::new(width, rows * height + 20);
    for (row, code) in (0..).zip(codes) {
        Ean13::encode(code).unwrap().paint(&mut picture, 0, row * height + 20, dots, height - 30);
    }
    picture
}

#[test]
fn every_width_of_module_is_read_by_both_readers() {
    let codes = codes();
    let expected: BTreeSet<&str> = codes.iter().map(String::as_str).collect();
    for dpi in Dpi::ALL {
        for dots in dot_choices(dpi) {
            let png = labels::png(&sheet(&codes, dots), dpi);
            let (zxing, zbar) = (zxing(&png), zbar(&png));
            assert_eq!(zxing.iter().map(String::as_str).collect::<BTreeSet<_>>(), expected, "zxing-cpp, {dots} dots");
            assert_eq!(zbar.iter().map(String::as_str).collect::<BTreeSet<_>>(), expected, "zbar, {dots} dots");
            assert_eq!((zxing.len(), zbar.len()), (codes.len(), codes.len()));
        }
    }
}
