//! The QR Code of a label: text to modules, modules to whole dots. Where it stands is the layout's business.

use qrcode::{Color, EcLevel, QrCode};

use super::bitmap::{Bitmap, Ink, Rect};
use super::refusal::LabelRefusal;
use super::stock::LabelStock;

/// The longest text a tray label carries: version 8 at level M at the most, so that it still fits the standard stock.
pub const MAX_CHARACTERS: usize = 130;

/// Modules of white kept on each side (ISO/IEC 18004).
pub const QUIET_MODULES: i32 = 4;

/// An encoded symbol, error correction level M.
#[derive(Debug, Clone)]
pub struct Symbol {
    modules: i32,
    dark: Vec<bool>,
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
        let too_long = || LabelRefusal::CodeTooLong { characters: text.chars().count(), limit: MAX_CHARACTERS };
        if text.len() > MAX_CHARACTERS {
            return Err(too_long());
        }
        let code = QrCode::with_error_correction_level(text, EcLevel::M).map_err(|_| too_long())?;
        let modules = i32::try_from(code.width()).map_err(|_| too_long())?;
        let dark = code.to_colors().into_iter().map(|color| color == Color::Dark).collect();
        Ok(Self { modules, dark })
    }

    /// Modules along one side, without the quiet zone.
    pub const fn modules(&self) -> i32 {
        self.modules
    }

    /// The runs of dark modules, row by row from the top: the row, and the columns from first to one past the last.
    pub fn spans(&self) -> impl Iterator<Item = (i32, std::ops::Range<i32>)> {
        let width = usize::try_from(self.modules).unwrap_or(0).max(1);
        (0..).zip(self.dark.chunks(width)).flat_map(|(row, dark)| {
            let mut spans: Vec<(i32, std::ops::Range<i32>)> = Vec::new();
            for (column, _) in (0..).zip(dark).filter(|(_, dark)| **dark) {
                match spans.last_mut() {
                    Some((_, span)) if span.end == column => span.end += 1,
                    _ => spans.push((row, column..column + 1)),
                }
            }
            spans
        })
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
        let places = (0..self.modules).flat_map(|row| (0..self.modules).map(move |column| (row, column)));
        for ((row, column), dark) in places.zip(&self.dark) {
            if *dark {
                let x = x + (column + QUIET_MODULES) * dots_per_module;
                let y = y + (row + QUIET_MODULES) * dots_per_module;
                picture.fill(Rect { x, y, width: dots_per_module, height: dots_per_module }, Ink::Black);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{MAX_CHARACTERS, Symbol};
    use crate::labels::refusal::LabelRefusal;
    use crate::labels::stock::{Dpi, LabelStock};

    fn text(characters: usize) -> String {
        "https://a.example/".chars().chain("aBc_9-".chars().cycle()).take(characters).collect()
    }

    #[test]
    fn the_longest_text_is_version_8_and_one_more_is_refused() {
        let longest = Symbol::encode(&text(MAX_CHARACTERS)).map(|symbol| symbol.modules());
        assert_eq!(longest, Ok(49));
        let refused = Symbol::encode(&text(MAX_CHARACTERS + 1)).err();
        assert_eq!(refused, Some(LabelRefusal::CodeTooLong { characters: 131, limit: 130 }));
    }

    #[test]
    fn only_printable_ascii_is_encoded() {
        for character in ['é', ' ', '\n', '鮪'] {
            let refused = Symbol::encode(&format!("https://a.example/{character}")).err();
            assert_eq!(refused, Some(LabelRefusal::CodeNotAscii { character }));
        }
    }

    #[test]
    fn a_symbol_too_large_for_its_stock_is_refused() {
        let symbol = Symbol::encode(&text(MAX_CHARACTERS)).ok();
        let choices = |width, height, dpi| {
            let stock = LabelStock::new(width, height, 1_000, dpi).ok();
            symbol.as_ref().zip(stock).map(|(symbol, stock)| symbol.module_choices(&stock))
        };
        assert_eq!(choices(62_000, 40_000, Dpi::D203), Some(Ok(vec![4])));
        assert_eq!(choices(62_000, 40_000, Dpi::D300), Some(Ok(vec![5])));
        assert_eq!(choices(62_000, 30_000, Dpi::D203), Some(Err(LabelRefusal::CodeDoesNotFit)));
    }
}
