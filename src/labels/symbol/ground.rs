//! What all symbols of one version have in common: functional patterns, format information and mask, and the module of each bit. It is
//! read off the canvas of the `qrcode` crate once for each version, so that a symbol costs only its own bits.

use std::sync::OnceLock;

use qrcode::canvas::{Canvas, MaskPattern, Module};
use qrcode::{EcLevel, Version};

use super::judge::{MOST_MODULES, Rows};

/// The level of every symbol (common practice for retail).
pub(super) const LEVEL: EcLevel = EcLevel::M;

const VERSIONS: usize = 11;

/// By their numbers in the format information.
const MASKS: [MaskPattern; 8] = [
    MaskPattern::Checkerboard,
    MaskPattern::HorizontalLines,
    MaskPattern::VerticalLines,
    MaskPattern::DiagonalLines,
    MaskPattern::LargeCheckerboard,
    MaskPattern::Fields,
    MaskPattern::Diamonds,
    MaskPattern::Meadow,
];

/// Enough binary digits to number every bit of version 11, which has 3,232.
const DIGITS: usize = 12;

/// Everything of a version but the data.
pub(super) struct Ground {
    pub(super) modules: usize,
    /// For each mask all that is not data, and the mask itself where the data goes.
    masked: [Rows; 8],
    /// Where the bits of each codeword stand, highest bit first.
    places: Vec<[Place; 8]>,
}

#[derive(Clone, Copy, Default)]
struct Place {
    row: u8,
    column: u8,
}

impl Ground {
    /// The ground of a version; `None` above version 11.
    pub(super) fn of(version: Version) -> Option<&'static Self> {
        static GROUNDS: [OnceLock<Ground>; VERSIONS] = [const { OnceLock::new() }; VERSIONS];
        let Version::Normal(number) = version else { return None };
        let index = usize::try_from(number).ok()?.checked_sub(1)?;
        Some(GROUNDS.get(index)?.get_or_init(|| Self::new(version)))
    }

    fn new(version: Version) -> Self {
        let mut canvas = Canvas::new(version, LEVEL);
        canvas.draw_all_functional_patterns();
        let side = version.width();
        let masked = MASKS.map(|mask| {
            let mut canvas = canvas.clone();
            canvas.apply_mask(mask);
            rows(&canvas, side)
        });
        let modules = usize::try_from(side).unwrap_or(0).min(MOST_MODULES);
        Self { modules, masked, places: places(&canvas, side) }
    }

    /// The codewords in their places, unmasked, and nothing else.
    pub(super) fn place(&self, codewords: impl Iterator<Item = u8>) -> Rows {
        let mut rows = [0; 64];
        for (codeword, places) in codewords.zip(&self.places) {
            let mut left = codeword;
            for place in places {
                let bit = u64::from(left >> 7);
                left <<= 1;
                if let Some(row) = rows.get_mut(usize::from(place.row)) {
                    *row |= bit << (place.column & 63);
                }
            }
        }
        rows
    }

    /// The finished symbol under each mask.
    pub(super) fn finished<'a>(&'a self, placed: &'a Rows) -> impl Iterator<Item = Rows> + 'a {
        self.masked.iter().map(move |masked| {
            let mut rows = *masked;
            rows.iter_mut().zip(placed).for_each(|(row, data)| *row ^= data);
            rows
        })
    }
}

fn rows(canvas: &Canvas, side: i16) -> Rows {
    let mut rows = [0; 64];
    for (row, y) in rows.iter_mut().zip(0..side) {
        *row = (0..side).rev().fold(0, |bits, x| (bits << 1) | u64::from(canvas.get(x, y).is_dark()));
    }
    rows
}

/// Asks the canvas where it draws each bit: codewords are drawn once for each binary digit of the bits' own numbers, and every module
/// then spells the number of its bit.
fn places(canvas: &Canvas, side: i16) -> Vec<[Place; 8]> {
    let modules = || (0..side).flat_map(|y| (0..side).map(move |x| (x, y)));
    let room = modules().filter(|(x, y)| canvas.get(*x, *y) == Module::Empty).count();
    let codewords = room / 8;
    let drawn: Vec<Canvas> = (0..DIGITS)
        .map(|digit| {
            let bits = |codeword: usize| {
                (0..8).fold(0, |byte, bit| (byte << 1) | u8::from((codeword * 8 + bit) >> digit & 1 == 1))
            };
            let spelling: Vec<u8> = (0..codewords).map(bits).collect();
            let mut canvas = canvas.clone();
            canvas.draw_data(&spelling, &[]);
            canvas
        })
        .collect();
    let mut places = vec![[Place::default(); 8]; codewords];
    for (x, y) in modules() {
        let spelt = drawn.iter().rev().try_fold(0_usize, |number, canvas| match canvas.get(x, y) {
            Module::Unmasked(color) => Some((number << 1) | usize::from(color == qrcode::Color::Dark)),
            Module::Masked(_) | Module::Empty => None,
        });
        let place = spelt.and_then(|number| places.get_mut(number / 8).and_then(|eight| eight.get_mut(number % 8)));
        if let (Some(place), Ok(row), Ok(column)) = (place, u8::try_from(y), u8::try_from(x)) {
            *place = Place { row, column };
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::Ground;
    use qrcode::Version;
    use std::collections::BTreeSet;

    /// Codewords of versions 1 to 11 (ISO/IEC 18004, table 1; from memory).
    #[test]
    fn every_bit_of_every_version_has_a_module_of_its_own() {
        for (number, codewords) in (1..).zip([26, 44, 70, 100, 134, 172, 196, 242, 292, 346, 404]) {
            let ground = Ground::of(Version::Normal(number)).unwrap();
            assert_eq!(ground.places.len(), codewords);
            let places: BTreeSet<_> = ground.places.iter().flatten().map(|place| (place.row, place.column)).collect();
            assert_eq!(places.len(), codewords * 8, "version {number}");
        }
        assert!(Ground::of(Version::Normal(12)).is_none() && Ground::of(Version::Micro(4)).is_none());
    }
}
