//! A bitmap as a PNG file (ISO/IEC 15948): one bit per dot, greyscale, with the resolution in the `pHYs` chunk.

use png::{BitDepth, ColorType, Compression, Encoder, EncodingError, Filter, PixelDimensions, Unit};

use super::bitmap::Bitmap;
use super::stock::Dpi;

/// Encodes the picture.
///
/// # Errors
/// Only what the encoder reports of a picture without dots; memory does not refuse bytes.
pub(super) fn encode(bitmap: &Bitmap, dpi: Dpi) -> Result<Vec<u8>, EncodingError> {
    let mut file = Vec::with_capacity(16 * 1_024);
    let mut encoder = Encoder::new(&mut file, bitmap.width(), bitmap.height());
    encoder.set_color(ColorType::Grayscale);
    encoder.set_depth(BitDepth::One);
    // Most rows of a label repeat the one above: its difference is nothing, and nothing packs fastest.
    encoder.set_compression(Compression::Fastest);
    encoder.set_filter(Filter::Up);
    let per_metre = dpi.per_metre();
    encoder.set_pixel_dims(Some(PixelDimensions { xppu: per_metre, yppu: per_metre, unit: Unit::Meter }));
    let mut writer = encoder.write_header()?;
    // In PNG's greyscale 1 is white.
    let bytes: Vec<u8> = bitmap.rows().flatten().map(|byte| !byte).collect();
    writer.write_image_data(&bytes)?;
    writer.finish()?;
    Ok(file)
}
