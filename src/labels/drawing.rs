//! A label as a list of strokes in dots, from which it is painted: as a picture here, as lines and curves elsewhere. Order matters: later
//! strokes lie over earlier ones.

use super::bitmap::{Bitmap, Ink, Rect};
use super::linear::Ean13;
use super::stock::Dpi;
use super::symbol::Symbol;
use super::text::{Fonts, Type};
use std::sync::Arc;

/// Something laid down at a place.
#[derive(Debug, Clone)]
pub enum Stroke {
    /// A filled rectangle.
    Rect {
        /// Where.
        rect: Rect,
        /// Black or white.
        ink: Ink,
    },
    /// A line of text.
    Text {
        /// Typeface and size.
        size: Type,
        /// What is set.
        text: String,
        /// Where the pen starts.
        x: i32,
        /// The row it stands on.
        baseline: i32,
        /// Black or white.
        ink: Ink,
    },
    /// The QR Code with its quiet zone.
    Symbol {
        /// Its modules.
        symbol: Arc<Symbol>,
        /// Left edge of the quiet zone.
        x: i32,
        /// Top edge of the quiet zone.
        y: i32,
        /// Dots along one side of a module.
        dots_per_module: i32,
    },
    /// The bars of a linear code with their quiet zones; its digits are text.
    Linear {
        /// Its bars.
        code: Arc<Ean13>,
        /// Left edge of the left quiet zone.
        x: i32,
        /// Top edge of the bars.
        y: i32,
        /// Dots along a module.
        dots_per_module: i32,
        /// Dots from the top to the end of the guard bars.
        height: i32,
    },
}

/// One label, laid out on paper of its size.
#[derive(Debug, Clone)]
pub struct Drawing {
    /// Width in dots.
    pub width: i32,
    /// Height in dots.
    pub height: i32,
    /// What a dot is.
    pub dpi: Dpi,
    /// What is laid down, in this order.
    pub strokes: Vec<Stroke>,
}

impl Drawing {
    /// The picture, one bit a dot.
    pub fn paint(&self, fonts: &Fonts) -> Bitmap {
        let mut picture = Bitmap::new(self.width, self.height);
        for stroke in &self.strokes {
            match stroke {
                Stroke::Rect { rect, ink } => picture.fill(*rect, *ink),
                Stroke::Text { size, text, x, baseline, ink } => {
                    fonts.paint(&mut picture, *size, text, *x, *baseline, *ink)
                }
                Stroke::Symbol { symbol, x, y, dots_per_module } => {
                    symbol.paint(&mut picture, *x, *y, *dots_per_module)
                }
                Stroke::Linear { code, x, y, dots_per_module, height } => {
                    code.paint(&mut picture, *x, *y, *dots_per_module, *height)
                }
            }
        }
        picture
    }
}
