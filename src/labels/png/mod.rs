//! A bitmap as a PNG file (ISO/IEC 15948, W3C PNG): one bit per dot, greyscale, with the resolution in the `pHYs` chunk.
//!
//! The compression is our own because a label is a special picture: nearly all of it repeats the byte to the left or the row above, and
//! looking only there is as fast as the fastest level of a general compressor and makes smaller files than the slowest.

mod deflate;
mod huffman;
mod repeats;

use super::bitmap::Bitmap;
use super::stock::Dpi;

const SIGNATURE: [u8; 8] = [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1A, b'\n'];

/// One bit deep, greyscale, and the only methods of compression, filtering and interlacing that a reader may expect.
const KIND: [u8; 5] = [1, 0, 0, 0, 0];

/// In `pHYs`, the unit that is the metre.
const METRE: u8 = 1;

/// Encodes the picture, which has at least one dot.
pub(super) fn encode(bitmap: &Bitmap, dpi: Dpi) -> Vec<u8> {
    let stride = usize::try_from(bitmap.width().div_ceil(8)).unwrap_or(0);
    let rows = usize::try_from(bitmap.height()).unwrap_or(0);
    let mut lines = Vec::with_capacity((stride + 1) * rows);
    for row in bitmap.rows() {
        // Filtered rows compress worse: a difference of packed dots means nothing.
        lines.push(0);
        // In PNG's greyscale 1 is white.
        lines.extend(row.iter().map(|byte| !byte));
    }
    let size = [bitmap.width().to_be_bytes(), bitmap.height().to_be_bytes()].concat();
    let per_metre = dpi.per_metre().to_be_bytes();
    let mut file = Vec::with_capacity(lines.len() / 2 + 128);
    file.extend(SIGNATURE);
    chunk(&mut file, *b"IHDR", |file| file.extend(size.iter().chain(&KIND)));
    chunk(&mut file, *b"pHYs", |file| file.extend(per_metre.iter().chain(&per_metre).chain(&[METRE])));
    chunk(&mut file, *b"IDAT", |file| deflate::zlib(file, &lines, stride + 1));
    chunk(&mut file, *b"IEND", |_| {});
    file
}

/// Length, name, contents, check sum of name and contents.
fn chunk(file: &mut Vec<u8>, name: [u8; 4], contents: impl FnOnce(&mut Vec<u8>)) {
    let start = file.len();
    file.extend([0; 4]);
    file.extend(name);
    contents(file);
    let length = u32::try_from(file.len() - start - 8).unwrap_or(u32::MAX);
    let (told, checked) = file.split_at_mut(start + 4);
    let sum = crc32fast::hash(checked);
    if let Some(told) = told.get_mut(start..) {
        told.copy_from_slice(&length.to_be_bytes());
    }
    file.extend(sum.to_be_bytes());
}

#[cfg(test)]
mod tests {
    use super::encode;
    use crate::labels::bitmap::{Bitmap, Ink, Rect};
    use crate::labels::stock::Dpi;

    /// What an unrelated reader finds in the file: dots, black first, row by row without padding.
    fn read(file: &[u8]) -> (u32, u32, Vec<bool>) {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(file));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let pixels = reader.info().pixel_dims.unwrap();
        assert_eq!((pixels.xppu, pixels.yppu, pixels.unit), (7_992, 7_992, png::Unit::Meter));
        let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
        let frame = reader.next_frame(&mut bytes).unwrap();
        reader.finish().unwrap();
        (frame.width, frame.height, bytes.iter().map(|grey| *grey == 0).collect())
    }

    fn check(picture: &Bitmap) -> usize {
        let file = encode(picture, Dpi::D203);
        let (width, height) = (picture.width() as i32, picture.height() as i32);
        let dots: Vec<bool> = (0..height).flat_map(|y| (0..width).map(move |x| picture.is_black(x, y))).collect();
        assert_eq!(read(&file), (picture.width(), picture.height(), dots), "{width} x {height}");
        file.len()
    }

    #[test]
    fn an_unrelated_reader_finds_the_same_dots() {
        for (width, height) in [(1, 1), (8, 1), (9, 3), (1, 700), (2_400, 2), (495, 319), (300_000, 2)] {
            let mut picture = Bitmap::new(width, height);
            check(&picture);
            let mut state = 7_u32;
            for share in [4, 2, 1] {
                for (x, y) in (0..height.min(99)).flat_map(|y| (0..width.min(999)).map(move |x| (x, y))) {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    if (state >> 20) % 8 < share {
                        picture.set(x, y, Ink::Black);
                    }
                }
                check(&picture);
            }
            picture.fill(Rect { x: 0, y: 0, width, height }, Ink::Black);
            check(&picture);
        }
    }

    #[test]
    fn noise_grows_little_and_white_paper_is_small() {
        let mut picture = Bitmap::new(800, 500);
        assert!(check(&picture) < 450, "{}", check(&picture));
        let mut state = 1_u32;
        for (x, y) in (0..500).flat_map(|y| (0..800).map(move |x| (x, y))) {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            if state >> 31 == 0 {
                picture.set(x, y, Ink::Black);
            }
        }
        assert!(check(&picture) < 50_000 * 103 / 100, "{}", check(&picture));
    }
}
