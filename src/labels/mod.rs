//! Draws labels: finished facts in, a picture out. Nothing here reads a clock, a file or a database, and nothing here
//! decides what a label says; a label that cannot be drawn whole is refused.

pub mod bitmap;
mod block;
mod cast;
mod columns;
pub mod drawing;
pub mod facts;
pub mod layout;
pub mod linear;
mod outline;
mod parts;
mod passages;
pub mod pdf;
mod png;
pub mod pwg;
mod read_stocks;
pub mod refusal;
mod steps;
pub mod stock;
pub mod stocks;
pub mod svg;
pub mod symbol;
pub mod text;
mod wrap;

use bitmap::Bitmap;
use facts::TrayLabel;
use refusal::LabelRefusal;
use stock::{Dpi, LabelStock};
use text::Fonts;

/// Draws a tray label.
///
/// # Errors
/// See [`LabelRefusal`]; the order of precedence is that of [`layout::lay_out`].
pub fn draw(fonts: &Fonts, label: &TrayLabel, stock: &LabelStock) -> Result<Bitmap, LabelRefusal> {
    layout::lay_out(fonts, label, stock).map(|layout| layout.paint(fonts))
}

/// A drawn label as a PNG file: greyscale, one bit per dot, resolution included.
#[expect(clippy::expect_used, reason = "a drawn label has dots, and writing to memory does not fail")]
pub fn png(bitmap: &Bitmap, dpi: Dpi) -> Vec<u8> {
    png::encode(bitmap, dpi).expect("a picture with dots encodes")
}
