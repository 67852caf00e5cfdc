//! Draws labels: finished facts in, a picture out. Nothing here reads a clock, a file or a database, and nothing here
//! decides what a label says; a label that cannot be drawn whole is refused.

pub mod bitmap;
pub mod block;
pub mod facts;
pub mod layout;
mod parts;
mod png;
pub mod pwg;
pub mod refusal;
pub mod steps;
pub mod stock;
pub mod symbol;
pub mod text;
mod wrap;

use bitmap::Bitmap;
use facts::TrayLabel;
use refusal::LabelRefusal;
use stock::{Dpi, LabelStock};

/// Draws a tray label.
///
/// # Errors
/// See [`LabelRefusal`]; the order of precedence is that of [`layout::lay_out`].
pub fn draw(label: &TrayLabel, stock: &LabelStock) -> Result<Bitmap, LabelRefusal> {
    layout::lay_out(label, stock).map(|layout| layout.paint())
}

/// A drawn label as a PNG file: greyscale, one bit per dot, resolution included.
#[expect(clippy::expect_used, reason = "a drawn label has dots, and writing to memory does not fail")]
pub fn png(bitmap: &Bitmap, dpi: Dpi) -> Vec<u8> {
    png::encode(bitmap, dpi).expect("a picture with dots encodes")
}
