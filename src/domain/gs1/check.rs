//! Check digits: of GS1 numbers, and of the price or measure inside a restricted number.

/// The check digit of a GS1 number given without it (GS1 General Specifications 7.9.1: weights 3, 1, 3, 1 from the right);
/// none when there is a character that is not a digit, or nothing.
pub fn check_digit(digits: &str) -> Option<u8> {
    if digits.is_empty() {
        return None;
    }
    let weight = |place: usize| if place.is_multiple_of(2) { 3 } else { 1 };
    let sum = digits.bytes().rev().enumerate().try_fold(0_u32, |sum, (place, b)| {
        b.is_ascii_digit().then(|| (sum + u32::from(b - b'0') * weight(place)) % 10)
    })?;
    u8::try_from((10 - sum) % 10).ok()
}

/// The digits with their check digit behind.
pub fn with_check_digit(digits: &str) -> Option<String> {
    check_digit(digits).map(|check| format!("{digits}{check}"))
}

/// Whether the last digit of a whole number is its check digit.
pub fn fits(number: &str) -> bool {
    let Some((body, last)) = number.len().checked_sub(1).and_then(|at| number.split_at_checked(at)) else {
        return false;
    };
    check_digit(body).is_some_and(|check| last.bytes().eq([b'0' + check]))
}

/// Weighted products of a digit (GS1 General Specifications 7.9.2): tens and units of a multiple, added or taken away.
const TWO_MINUS: [u8; 10] = [0, 2, 4, 6, 8, 9, 1, 3, 5, 7];
const THREE: [u8; 10] = [0, 3, 6, 9, 2, 5, 8, 1, 4, 7];
const FIVE_PLUS: [u8; 10] = [0, 5, 1, 6, 2, 7, 3, 8, 4, 9];
const FIVE_MINUS: [u8; 10] = [0, 5, 9, 4, 8, 3, 7, 2, 6, 1];

/// The verifier of a price or measure of four or five digits (GS1 General Specifications 7.9.3 and 7.9.4); none for anything else.
pub fn verifier(digits: &str) -> Option<u8> {
    let sum = |weights: &[&[u8; 10]]| {
        digits.bytes().zip(weights).try_fold(0_u8, |sum, (digit, weight)| {
            let product = weight.get(usize::from(digit.checked_sub(b'0')?))?;
            Some((sum + product) % 10)
        })
    };
    match digits.len() {
        4 => sum(&[&TWO_MINUS, &TWO_MINUS, &THREE, &FIVE_MINUS]).map(|sum| sum * 3 % 10),
        5 => {
            let wanted = (10 - sum(&[&FIVE_PLUS, &TWO_MINUS, &FIVE_MINUS, &FIVE_PLUS, &TWO_MINUS])?) % 10;
            FIVE_MINUS.iter().position(|product| *product == wanted).and_then(|digit| u8::try_from(digit).ok())
        }
        _ => None,
    }
}
