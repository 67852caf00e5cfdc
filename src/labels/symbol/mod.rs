//! The QR Code of a label: text to modules, modules to whole dots. Where it stands is the layout's business.
//!
//! Segments, error correction and placement are those of the `qrcode` crate; the mask is chosen here, a row of modules at a time.

mod ground;
pub mod judge;

use std::ops::Range;

use qrcode::bits::encode_auto;
use qrcode::ec::construct_codewords;

use super::bitmap::{Bitmap, Ink, Rect};
use super::refusal::LabelRefusal;
use super::stock::LabelStock;
use ground::{Ground, LEVEL};
use judge::{Rows, penalty};

/// The longest text a tray label carries, version 10 at level M at the most. Whether it fits is the stock's say.
pub const MAX_CHARACTERS: usize = 200;

/// Modules of white kept on each side (ISO/IEC 18004).
pub const QUIET_MODULES: i32 = 4;

/// An encoded symbol, error correction level M.
#[derive(Debug, Clone)]
pub struct Symbol {
    modules: i32,
    mask: u8,
    rows: Rows,
}

impl Symbol {
    /// Encodes the text as it stands.
    ///
    /// # Errors
    /// [`LabelRefusal::CodeTooLong`] above [`MAX_CHARACTERS`], [`LabelRefusal::CodeNotAscii`] for anything but
    /// printable ASCII.
    pub fn encode(text: &str) -> Result<Self, LabelRefusal> {
        if let Some(character) = text.chars().find(|character| !character.is_ascii_graphic()) {
            return Err(LabelRefusal::CodeNotAscii { character });
        }
        let too_long = || LabelRefusal::CodeTooLong { characters: text.len(), limit: MAX_CHARACTERS };
        if text.len() > MAX_CHARACTERS {
            return Err(too_long());
        }
        let bits = encode_auto(text.as_bytes(), LEVEL).map_err(|_| too_long())?;
        let version = bits.version();
        let (data, correction) = construct_codewords(&bits.into_bytes(), version, LEVEL).map_err(|_| too_long())?;
        let ground = Ground::of(version).ok_or_else(too_long)?;
        let placed = ground.place(data.into_iter().chain(correction));
        let judged =
            (0..).zip(ground.finished(&placed)).map(|(mask, rows)| (penalty(&rows, ground.modules), mask, rows));
        // Of equal masks the first: the standard does not say which.
        let (_, mask, rows) = judged.min_by_key(|(penalty, mask, _)| (*penalty, *mask)).ok_or_else(too_long)?;
        let modules = i32::try_from(ground.modules).map_err(|_| too_long())?;
        Ok(Self { modules, mask, rows })
    }

    /// Modules along one side, without the quiet zone.
    pub const fn modules(&self) -> i32 {
        self.modules
    }

    /// The number of the mask chosen, 0 to 7.
    pub const fn mask(&self) -> u8 {
        self.mask
    }

    /// Whether a module is dark; beyond the symbol none is.
    pub fn is_dark(&self, row: i32, column: i32) -> bool {
        let bits = usize::try_from(row).ok().and_then(|row| self.rows.get(row)).copied().unwrap_or(0);
        u32::try_from(column).ok().and_then(|column| bits.checked_shr(column)).is_some_and(|bits| bits & 1 == 1)
    }

    /// The runs of dark modules, row by row from the top left, without the quiet zone.
    pub fn spans(&self) -> impl Iterator<Item = (i32, Range<i32>)> {
        (0..self.modules).zip(&self.rows).flat_map(|(row, bits)| runs(*bits).map(move |run| (row, run)))
    }

    /// Dots along one side, quiet zone included.
    pub const fn side(&self, dots_per_module: i32) -> i32 {
        (self.modules + 2 * QUIET_MODULES) * dots_per_module
    }

    /// The module sizes worth trying on a stock, largest first. A module above the smallest is only taken while the
    /// symbol stays a modest part of the label; the smallest may take more, and beyond that there is no label.
    ///
    /// # Errors
    /// [`LabelRefusal::CodeDoesNotFit`] when even the smallest allowed module is too large.
    pub fn module_choices(&self, stock: &LabelStock) -> Result<Vec<i32>, LabelRefusal> {
        let allowed = stock.dpi().dots_per_module();
        let smallest = *allowed.start();
        let fits = |dots: i32| {
            let (of_height, of_width) = if dots == smallest { (80, 60) } else { (64, 45) };
            let side = self.side(dots);
            side * 100 <= stock.height_dots() * of_height && side * 100 <= stock.width_dots() * of_width
        };
        let choices: Vec<i32> = allowed.rev().filter(|dots| fits(*dots)).collect();
        if choices.is_empty() { Err(LabelRefusal::CodeDoesNotFit) } else { Ok(choices) }
    }

    /// Paints the symbol with the corner of its quiet zone at `x`, `y`.
    pub fn paint(&self, picture: &mut Bitmap, x: i32, y: i32, dots_per_module: i32) {
        let quiet = QUIET_MODULES * dots_per_module;
        let mut line = Bitmap::new(self.modules * dots_per_module, 1);
        for (row, bits) in (0..self.modules).zip(&self.rows) {
            // One line of dots is drawn and copied for the height of the module.
            line.clear();
            for run in runs(*bits) {
                let (x, width) = (run.start * dots_per_module, (run.end - run.start) * dots_per_module);
                line.fill(Rect { x, y: 0, width, height: 1 }, Ink::Black);
            }
            for dot in 0..dots_per_module {
                picture.blit(&line, x + quiet, y + quiet + row * dots_per_module + dot, Ink::Black);
            }
        }
    }
}

/// The runs of ones, from the lowest bit.
fn runs(bits: u64) -> impl Iterator<Item = Range<i32>> {
    let mut left = bits;
    let mut at = 0;
    std::iter::from_fn(move || {
        let skipped = left.trailing_zeros();
        // A shift by all of the word would be none.
        left = left.checked_shr(skipped)?;
        let length = left.trailing_ones();
        left = left.checked_shr(length).unwrap_or(0);
        let start = at + skipped;
        at = start + length;
        Some(i32::try_from(start).ok()?..i32::try_from(at).ok()?)
    })
}

#[cfg(test)]
mod tests {
    use super::{MAX_CHARACTERS, Symbol, runs};
    use crate::labels::refusal::LabelRefusal;
    use crate::labels::stock::{Dpi, LabelStock};

    fn text(characters: usize) -> String {
        "https://a.example/".chars().chain("aBc_9-".chars().cycle()).take(characters).collect()
    }

    #[test]
    fn the_longest_text_is_version_10_and_one_more_is_refused() {
        let longest = Symbol::encode(&text(MAX_CHARACTERS)).map(|symbol| symbol.modules());
        assert_eq!(longest, Ok(57));
        let refused = Symbol::encode(&text(MAX_CHARACTERS + 1)).err();
        assert_eq!(refused, Some(LabelRefusal::CodeTooLong { characters: 201, limit: 200 }));
    }

    #[test]
    fn only_printable_ascii_is_encoded() {
        for character in ['é', ' ', '\n', '鮪'] {
            let refused = Symbol::encode(&format!("https://a.example/{character}")).err();
            assert_eq!(refused, Some(LabelRefusal::CodeNotAscii { character }));
        }
    }

    #[test]
    fn spans_and_modules_are_the_same_matrix() {
        let symbol = Symbol::encode(&text(90)).unwrap();
        let spans: Vec<_> = symbol.spans().collect();
        for row in 0..symbol.modules() {
            for column in 0..symbol.modules() {
                let inside = spans.iter().filter(|(at, run)| *at == row && run.contains(&column)).count();
                assert_eq!(inside, usize::from(symbol.is_dark(row, column)), "{row} {column}");
            }
        }
        assert_eq!(spans.first(), Some(&(0, 0..7)));
        assert!(!symbol.is_dark(-1, 0) && !symbol.is_dark(0, -1) && !symbol.is_dark(0, 64) && !symbol.is_dark(64, 0));
        assert!(
            runs(0).next().is_none()
                && runs(u64::MAX).eq(std::iter::once(0..64))
                && runs(1 << 63 | 5).eq([0..1, 2..3, 63..64])
        );
    }

    #[test]
    fn a_symbol_too_large_for_its_stock_is_refused() {
        let symbol = Symbol::encode(&text(130)).ok();
        let choices = |width, height, dpi| {
            let stock = LabelStock::new(width, height, 1_000, dpi).ok();
            symbol.as_ref().zip(stock).map(|(symbol, stock)| symbol.module_choices(&stock))
        };
        assert_eq!(choices(62_000, 40_000, Dpi::D203), Some(Ok(vec![4])));
        assert_eq!(choices(62_000, 40_000, Dpi::D300), Some(Ok(vec![5])));
        assert_eq!(choices(62_000, 30_000, Dpi::D203), Some(Err(LabelRefusal::CodeDoesNotFit)));
    }
}
