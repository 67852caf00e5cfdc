//! The code of a tray: seven characters that can be read from a wet label and typed by hand. What a scanner sends around it
//! is read in `scan_text`.
//!
//! Six characters from an alphabet without look-alikes (no 0 O 1 I L, no 2/Z, 5/S, 8/B, 6/G, U/V pairs, no vowels, so no
//! words), the first a letter, then the check character of ISO/IEC 7064 MOD 37-2 over the standard's full alphabet. Numbers
//! whose check character would fall outside our alphabet are never issued. MOD 37-2 catches every single wrong character
//! and every swap of two neighbours.

use super::refusal::{Code, Refusal};
use std::fmt;

const ALPHABET: &[u8; 22] = b"23456789CFHJKMNPRTVWXY";
const FIRST: &[u8; 14] = b"CFHJKMNPRTVWXY";
/// 14 x 22^5 bodies.
const BODIES: u64 = 14 * 22_u64.pow(5);
/// Coprime with `BODIES` (2^6 x 7 x 11^5): spreads consecutive numbers, so that neighbours on a shelf differ in several characters.
const SPREAD: u64 = 40_503_013;
pub const LENGTH: usize = 7;

/// A tray code whose check character fits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TrayCode([u8; LENGTH]);

fn value(character: u8) -> Option<u32> {
    match character {
        b'0'..=b'9' => Some(u32::from(character - b'0')),
        b'A'..=b'Z' => Some(u32::from(character - b'A') + 10),
        _ => None,
    }
}

/// The check character of ISO/IEC 7064 MOD 37-2 for a body of `0-9A-Z`; none when the body holds anything else.
pub fn mod_37_2(body: &[u8]) -> Option<u8> {
    let product = body.iter().try_fold(0_u32, |product, c| Some((product + value(*c)?) * 2 % 37))?;
    let check = (38 - product) % 37;
    u8::try_from(check).ok().map(|c| match c {
        0..=9 => b'0' + c,
        10..=35 => b'A' + c - 10,
        _ => b'*',
    })
}

impl TrayCode {
    /// The code of the n-th number, or none when this number is not issued (then try the next one).
    pub fn from_number(number: u64) -> Option<TrayCode> {
        let mut rest = number % BODIES * SPREAD % BODIES;
        let mut code = [0_u8; LENGTH];
        let (body, check) = code.split_at_mut(LENGTH - 1);
        let (first, others) = body.split_first_mut()?;
        for slot in others.iter_mut().rev() {
            *slot = *ALPHABET.get(usize::try_from(rest % 22).ok()?)?;
            rest /= 22;
        }
        *first = *FIRST.get(usize::try_from(rest).ok()?)?;
        let check_character = mod_37_2(body)?;
        *check.first_mut()? = check_character;
        ALPHABET.contains(&check_character).then_some(TrayCode(code))
    }

    /// Reads a code as typed: either case, spaces and hyphens ignored.
    pub fn parse(field: &str, text: &str) -> Result<TrayCode, Refusal> {
        let not_a_code = || {
            Refusal::new(
                Code::NotACode,
                field,
                "a tray code has seven characters out of 2-9 and C F H J K M N P R T V W X Y",
            )
        };
        if text.len() > 40 {
            return Err(not_a_code());
        }
        let characters: Vec<u8> =
            text.bytes().filter(|b| !matches!(b, b' ' | b'-')).map(|b| b.to_ascii_uppercase()).collect();
        let code: [u8; LENGTH] = characters.try_into().map_err(|_| not_a_code())?;
        if !code.iter().all(u8::is_ascii_alphanumeric) {
            return Err(not_a_code());
        }
        let (body, check) = code.split_at(LENGTH - 1);
        // The check comes before the alphabet: a typing slip outside the alphabet is a slip, not a foreign code.
        if mod_37_2(body).as_ref() != check.first() {
            return Err(Refusal::new(
                Code::WrongCheckCharacter,
                field,
                "a character is wrong or two are swapped; read the label again",
            ));
        }
        if !body.first().is_some_and(|c| FIRST.contains(c)) || !code.iter().all(|c| ALPHABET.contains(c)) {
            return Err(not_a_code());
        }
        Ok(TrayCode(code))
    }

    /// The code in two groups, as labels and pages show it.
    pub fn grouped(&self) -> String {
        let text = self.to_string();
        text.split_at_checked(3).map_or(text.clone(), |(head, tail)| format!("{head} {tail}"))
    }
}

impl fmt::Display for TrayCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|c| write!(f, "{}", char::from(*c)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(count: u64) -> Vec<TrayCode> {
        (1..).filter_map(TrayCode::from_number).take(usize::try_from(count).unwrap_or(0)).collect()
    }

    /// ISO/IEC 7064, pure systems: the characters weighted by powers of the radix sum to 1 modulo the modulus. An independent
    /// implementation is asked in tests/vectors.rs.
    #[test]
    fn the_check_makes_the_weighted_sum_one() {
        for code in codes(500) {
            let sum = code.0.iter().rev().enumerate().map(|(i, c)| value(*c).unwrap_or(0) * (1 << i)).sum::<u32>();
            assert_eq!(sum % 37, 1, "{code}");
        }
    }

    #[test]
    fn every_single_slip_and_every_swap_is_caught() {
        let everything = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
        for code in codes(200) {
            for position in 0..LENGTH {
                for wrong in everything {
                    let mut typed = code.0;
                    if typed[position] == *wrong {
                        continue;
                    }
                    typed[position] = *wrong;
                    let text = String::from_utf8_lossy(&typed).into_owned();
                    assert!(TrayCode::parse("code", &text).is_err(), "{code} typed as {text}");
                }
                if position + 1 < LENGTH && code.0[position] != code.0[position + 1] {
                    let mut typed = code.0;
                    typed.swap(position, position + 1);
                    let text = String::from_utf8_lossy(&typed).into_owned();
                    assert_eq!(
                        TrayCode::parse("code", &text).map_err(|r| r.code),
                        Err(Code::WrongCheckCharacter),
                        "{code} typed as {text}"
                    );
                }
            }
        }
    }

    #[test]
    fn numbers_never_collide_and_read_back() {
        let issued = codes(20_000);
        let distinct: std::collections::BTreeSet<_> = issued.iter().collect();
        assert_eq!(distinct.len(), issued.len());
        for code in issued {
            assert_eq!(TrayCode::parse("code", &code.grouped().to_lowercase()), Ok(code));
        }
    }

    #[test]
    fn other_texts_are_not_codes() {
        for text in ["", "1234567", "CCCCCC", "C C C C C C C C", "ÄCCCCCC", "12345670", "CFH-JKM*", &"C".repeat(5_000)]
        {
            assert!(TrayCode::parse("code", text).is_err(), "{text:?}");
        }
    }
}
