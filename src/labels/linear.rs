//! The linear code beside the symbol, for tills that read no QR Code: EAN-13 (ISO/IEC 15420; GS1 General Specifications 5.2). Thirteen
//! digits to bars, bars to whole dots. What the digits say, and where the code stands, is decided elsewhere.
//!
//! The tables are from memory of the standard; the tests have two unrelated readers read them back.

use std::ops::{Range, RangeInclusive};

use super::bitmap::{Bitmap, Ink, Rect};
use super::refusal::LabelRefusal;
use super::stock::Dpi;

/// Modules from the first bar to the last.
pub const MODULES: i32 = 95;

/// Modules of white kept to the left and to the right.
pub const QUIET_LEFT: i32 = 11;
/// See [`QUIET_LEFT`].
pub const QUIET_RIGHT: i32 = 7;

/// Modules by which guard bars are longer than the others, so that the digits stand between them.
pub const GUARD_DEPTH: i32 = 5;

/// The module's width that may be printed, 80 to 200 % of 0.33 mm, in micrometres.
const MODULE_UM: RangeInclusive<u64> = 264..=660;

/// Digits of odd parity in the left half, 1 is dark, the first module in the highest bit of seven.
const ODD: [u8; 10] = [
    0b000_1101, 0b001_1001, 0b001_0011, 0b011_1101, 0b010_0011, 0b011_0001, 0b010_1111, 0b011_1011, 0b011_0111,
    0b000_1011,
];

/// Which of the six digits of the left half are of even parity, the first in the highest bit: that says the first of the thirteen.
const EVEN: [u8; 10] =
    [0b00_0000, 0b00_1011, 0b00_1101, 0b00_1110, 0b01_0011, 0b01_1001, 0b01_1100, 0b01_0101, 0b01_0110, 0b01_1010];

/// Which bars go deeper.
const GUARDS: [Range<i32>; 3] = [0..3, 45..50, 92..95];

/// An encoded EAN-13.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ean13 {
    digits: [u8; 13],
    /// Module 0 in the lowest bit, 1 is dark.
    bars: u128,
}

/// A dark bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bar {
    /// The modules it covers.
    pub modules: Range<i32>,
    /// How far down it goes.
    pub depth: Depth,
}

/// How far down a bar goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// To the top of the digits.
    Digit,
    /// [`GUARD_DEPTH`] modules further.
    Guard,
}

impl Ean13 {
    /// Encodes thirteen digits, the last of which is their check digit.
    ///
    /// # Errors
    /// [`LabelRefusal::LinearNotDigits`] for anything but thirteen digits, [`LabelRefusal::LinearCheckDigit`] when the last is not the
    /// one that follows from the others.
    pub fn encode(text: &str) -> Result<Self, LabelRefusal> {
        let digits: Option<Vec<u8>> = text.bytes().map(|byte| byte.is_ascii_digit().then(|| byte - b'0')).collect();
        let digits = digits.and_then(|digits| <[u8; 13]>::try_from(digits).ok());
        let digits = digits.ok_or(LabelRefusal::LinearNotDigits { characters: text.chars().count() })?;
        let [others @ .., given] = digits;
        let expected = check_digit(others);
        if given != expected {
            return Err(LabelRefusal::LinearCheckDigit { given, expected });
        }
        Ok(Self { digits, bars: bars(digits) })
    }

    /// The dark bars from the left, in modules from the first.
    pub fn spans(&self) -> impl Iterator<Item = Bar> {
        let mut from = 0;
        let bars = self.bars;
        std::iter::from_fn(move || {
            let first = (from..MODULES).find(|module| bars >> module & 1 == 1)?;
            let end = (first..MODULES).find(|module| bars >> module & 1 == 0).unwrap_or(MODULES);
            from = end;
            let guard = GUARDS.iter().any(|guard| guard.contains(&first));
            Some(Bar { modules: first..end, depth: if guard { Depth::Guard } else { Depth::Digit } })
        })
    }

    /// The digits as they are printed under the bars, each with the modules it may cover, counted from the first bar: the first stands in
    /// the quiet zone, six under each half.
    pub fn places_of_digits(&self) -> impl Iterator<Item = (char, Range<i32>)> {
        let starts =
            std::iter::once(-9).chain((0..6).map(|digit| 3 + 7 * digit)).chain((0..6).map(|digit| 50 + 7 * digit));
        self.digits.iter().zip(starts).map(|(digit, start)| (char::from(b'0' + digit), start..start + 7))
    }

    /// Dots from edge to edge, quiet zones included.
    pub const fn width(&self, dots_per_module: i32) -> i32 {
        (QUIET_LEFT + MODULES + QUIET_RIGHT) * dots_per_module
    }

    /// The bars in dots, the corner of the left quiet zone at `x`, `y`; `height` dots from the top to the end of the guard bars.
    pub fn rects(&self, x: i32, y: i32, dots_per_module: i32, height: i32) -> impl Iterator<Item = Rect> {
        self.spans().map(move |bar| {
            let shorter = if bar.depth == Depth::Guard { 0 } else { GUARD_DEPTH * dots_per_module };
            let left = x + (QUIET_LEFT + bar.modules.start) * dots_per_module;
            let width = (bar.modules.end - bar.modules.start) * dots_per_module;
            Rect { x: left, y, width, height: height - shorter }
        })
    }

    /// Paints the bars. The digits are text, and the layout's.
    pub fn paint(&self, picture: &mut Bitmap, x: i32, y: i32, dots_per_module: i32, height: i32) {
        self.rects(x, y, dots_per_module, height).for_each(|bar| picture.fill(bar, Ink::Black));
    }
}

/// The whole dots a module may have on a printer, smallest first.
pub fn dot_choices(dpi: Dpi) -> RangeInclusive<i32> {
    let per_inch = u64::from(dpi.per_inch());
    let least = (MODULE_UM.start() * per_inch).div_ceil(25_400);
    let most = MODULE_UM.end() * per_inch / 25_400;
    i32::try_from(least).unwrap_or(i32::MAX)..=i32::try_from(most).unwrap_or(0)
}

/// Weights 1 and 3 in turn from the left, up to the next ten (GS1 General Specifications 7.9.1).
fn check_digit(digits: [u8; 12]) -> u8 {
    let sum: u32 =
        digits.iter().zip([1, 3].into_iter().cycle()).map(|(digit, weight)| u32::from(*digit) * weight).sum();
    u8::try_from((10 - sum % 10) % 10).unwrap_or(0)
}

fn bars(digits: [u8; 13]) -> u128 {
    let [first, left @ .., a, b, c, d, e, f] = digits;
    let of = |table: &[u8; 10], digit: u8| table.get(usize::from(digit)).copied().unwrap_or(0);
    let parity = of(&EVEN, first);
    let mut row = Row::default();
    row.add(0b101, 3);
    for (digit, place) in left.into_iter().zip((0..6).rev()) {
        let odd = of(&ODD, digit);
        // Even parity is the right half's code, which is the inverse, seen in a mirror.
        let even = (!odd & 0x7F).reverse_bits() >> 1;
        row.add(if parity >> place & 1 == 1 { even } else { odd }, 7);
    }
    row.add(0b0_1010, 5);
    for digit in [a, b, c, d, e, f] {
        row.add(!of(&ODD, digit) & 0x7F, 7);
    }
    row.add(0b101, 3);
    row.bars
}

#[derive(Default)]
struct Row {
    bars: u128,
    modules: u32,
}

impl Row {
    /// Adds so many modules, the first in the highest bit.
    fn add(&mut self, bits: u8, count: u32) {
        self.bars |= u128::from(bits.reverse_bits() >> (8 - count)) << self.modules;
        self.modules += count;
    }
}

#[cfg(test)]
mod tests {
    use super::{Bar, Depth, Ean13, MODULES, dot_choices};
    use crate::labels::bitmap::Bitmap;
    use crate::labels::refusal::LabelRefusal;
    use crate::labels::stock::Dpi;

    #[test]
    fn wrong_digits_are_refused() {
        let refusal = |text| Ean13::encode(text).err();
        assert_eq!(refusal("629104150021"), Some(LabelRefusal::LinearNotDigits { characters: 12 }));
        assert_eq!(refusal("62910415002130"), Some(LabelRefusal::LinearNotDigits { characters: 14 }));
        assert_eq!(refusal("629104150021x"), Some(LabelRefusal::LinearNotDigits { characters: 13 }));
        assert_eq!(refusal("62910415002\u{FF11}3"), Some(LabelRefusal::LinearNotDigits { characters: 13 }));
        assert_eq!(refusal(""), Some(LabelRefusal::LinearNotDigits { characters: 0 }));
        assert_eq!(refusal("6291041500214"), Some(LabelRefusal::LinearCheckDigit { given: 4, expected: 3 }));
    }

    /// GS1, "How to calculate a check digit manually" (6291041500213); GS1 UK, check-digit sheet (5012345678900); BIIP docstring
    /// (9501101531000).
    #[test]
    fn published_check_digits_are_accepted() {
        for text in ["6291041500213", "5012345678900", "9501101531000"] {
            assert!(Ean13::encode(text).is_ok(), "{text}");
        }
    }

    #[test]
    fn every_code_has_thirty_bars_and_the_guards_go_deeper() {
        for first in 0..10_u64 {
            let digits = format!("{first}12345678901");
            let code = (0..10).find_map(|check| Ean13::encode(&format!("{digits}{check}")).ok()).unwrap();
            let bars: Vec<Bar> = code.spans().collect();
            assert_eq!(bars.len(), 30);
            let guards: Vec<_> =
                bars.iter().filter(|bar| bar.depth == Depth::Guard).map(|bar| bar.modules.start).collect();
            assert_eq!(guards, [0, 2, 46, 48, 92, 94]);
            assert!(bars.iter().all(|bar| (1..=4).contains(&(bar.modules.end - bar.modules.start))));
            assert_eq!(bars.last().map(|bar| bar.modules.end), Some(MODULES));
        }
    }

    #[test]
    fn bars_fill_whole_dots_and_the_quiet_zones_stay_white() {
        let code = Ean13::encode("9501101531000").unwrap();
        let mut picture = Bitmap::new(code.width(3), 100);
        code.paint(&mut picture, 0, 0, 3, 100);
        let (top, foot) = (picture.spans(84), picture.spans(99));
        assert_eq!((top.len(), foot.len()), (30, 6));
        assert_eq!(picture.spans(85), foot);
        assert!(top.iter().all(|span| span.start % 3 == 0 && span.end % 3 == 0));
        assert_eq!((top[0].start, top[29].end), (33, 339 - 21));
    }

    #[test]
    fn the_digits_stand_under_their_halves() {
        let code = Ean13::encode("9501101531000").unwrap();
        let text: String = code.places_of_digits().map(|(digit, _)| digit).collect();
        assert_eq!(text, "9501101531000");
        let starts: Vec<i32> = code.places_of_digits().map(|(_, modules)| modules.start).collect();
        assert_eq!(starts, [-9, 3, 10, 17, 24, 31, 38, 50, 57, 64, 71, 78, 85]);
    }

    /// 0.264 to 0.660 mm: 3 dots at 203 dpi are 0.375 mm, 6 are 0.751; 4 at 300 dpi are 0.339 mm, 8 are 0.677; 7 at 600 dpi are 0.296 mm,
    /// 16 are 0.677.
    #[test]
    fn modules_are_within_what_may_be_printed() {
        assert_eq!(Dpi::ALL.map(dot_choices), [3..=5, 4..=7, 7..=15]);
    }
}
