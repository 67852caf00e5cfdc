//! A bitmap as a PWG raster file of one page (PWG 5102.4-2012): one bit a dot, black, what an IPP printer takes dot by dot.
//!
//! Written strictly: the groups of a line end exactly where the line ends and the group byte 128 is never used, since readers differ in what
//! they make of either.

use super::bitmap::Bitmap;

/// The paper a picture is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sheet<'a> {
    /// Dots per inch, across and along.
    pub dpi: u32,
    pub width_um: u32,
    pub height_um: u32,
    /// Its name as the printer lists it; at most 63 bytes are kept.
    pub media_name: &'a str,
}

const SYNC: &[u8; 4] = b"RaS2";
const HEADER_BYTES: usize = 1_796;
/// Equal lines that one coded line stands for at most.
const MOST_LINES: usize = 256;
/// Units of one group at most, equal or not.
const MOST_UNITS: usize = 128;
/// 25.4 mm / 72.
const MICROMETRES_72_PER_POINT: u32 = 25_400;
/// The header's number for a set bit is black.
const BLACK: u32 = 3;
const NORMAL_QUALITY: u32 = 4;

/// The whole file.
pub fn encode(bitmap: &Bitmap, sheet: &Sheet<'_>) -> Vec<u8> {
    let mut file = SYNC.to_vec();
    file.extend(header(bitmap, sheet));
    let rows: Vec<&[u8]> = bitmap.rows().collect();
    for equal in rows.chunk_by(|one, other| one == other) {
        for some in equal.chunks(MOST_LINES) {
            file.push(low_byte(some.len() - 1));
            if let Some(row) = some.first() {
                code_line(row, &mut file);
            }
        }
    }
    file
}

/// Header fields that are not zero, by their offset (PWG 5102.4, table 1; the names there are in comments).
fn header(bitmap: &Bitmap, sheet: &Sheet<'_>) -> Vec<u8> {
    let (width, height) = (bitmap.width(), bitmap.height());
    let mut header = vec![0; HEADER_BYTES];
    put(&mut header, 0, b"PwgRaster");
    put(&mut header, 128, b"labels"); // MediaType
    for (offset, value) in [
        (276, sheet.dpi), // HWResolution
        (280, sheet.dpi),
        (340, 1),                       // NumCopies: the job says how many
        (352, points(sheet.width_um)),  // PageSize
        (356, points(sheet.height_um)), //
        (372, width),
        (376, height),
        (384, 1), // BitsPerColor
        (388, 1), // BitsPerPixel
        (392, width.div_ceil(8)),
        (400, BLACK), // ColorSpace
        (420, 1),     // NumColors
        (452, 1),     // TotalPageCount
        (456, 1),     // CrossFeedTransform
        (460, 1),     // FeedTransform
        (472, width), // ImageBoxRight
        (476, height),
        (484, NORMAL_QUALITY),
    ] {
        put(&mut header, offset, &value.to_be_bytes());
    }
    put(&mut header, 1_732, cut(sheet.media_name, 63)); // PageSizeName
    header
}

fn put(header: &mut [u8], offset: usize, bytes: &[u8]) {
    for (at, byte) in header.iter_mut().skip(offset).zip(bytes) {
        *at = *byte;
    }
}

/// At most so many bytes of a text, ending between two characters.
fn cut(text: &str, most: usize) -> &[u8] {
    let end = (0..=text.len().min(most)).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    text.as_bytes().get(..end).unwrap_or_default()
}

fn points(um: u32) -> u32 {
    (um.saturating_mul(72) + MICROMETRES_72_PER_POINT / 2) / MICROMETRES_72_PER_POINT
}

fn low_byte(number: usize) -> u8 {
    u8::try_from(number).unwrap_or(u8::MAX)
}

/// One line as groups: so many times the same unit, or so many different ones. A single unit is a run of one: no group says one different.
fn code_line(line: &[u8], file: &mut Vec<u8>) {
    let mut rest = line;
    while let Some(first) = rest.first() {
        let run = run_length(rest);
        let taken = if run > 1 { run } else { different(rest) };
        let (group, after) = rest.split_at_checked(taken).unwrap_or((rest, &[]));
        if run > 1 || taken == 1 {
            file.extend([low_byte(taken - 1), *first]);
        } else {
            file.push(low_byte(257 - taken));
            file.extend(group);
        }
        rest = after;
    }
}

/// How many units from the first on are equal, at most what one group holds.
fn run_length(units: &[u8]) -> usize {
    units.iter().take(MOST_UNITS).take_while(|unit| Some(*unit) == units.first()).count()
}

/// How many units to write out one by one: up to where three equal ones begin, which are shorter as a run.
fn different(units: &[u8]) -> usize {
    let most = units.len().min(MOST_UNITS);
    let begins = |window: &[u8]| matches!(window, [a, b, c] if a == b && b == c);
    let until = units.windows(3).take(most).position(begins).unwrap_or(most);
    until.max(1)
}

#[cfg(test)]
mod tests {
    use super::{HEADER_BYTES, MOST_UNITS, Sheet, code_line, encode};
    use crate::labels::bitmap::{Bitmap, Ink, Rect};

    const LABEL: Sheet<'_> =
        Sheet { dpi: 203, width_um: 62_000, height_um: 40_000, media_name: "om_tray-62x40_62x40mm" };

    fn body(bitmap: &Bitmap) -> Vec<u8> {
        encode(bitmap, &LABEL).split_off(4 + HEADER_BYTES)
    }

    /// A picture of rows given as bytes.
    fn picture(rows: &[&[u8]]) -> Bitmap {
        let wide = i32::try_from(rows[0].len() * 8).unwrap();
        let mut picture = Bitmap::new(wide, i32::try_from(rows.len()).unwrap());
        for (y, row) in (0..).zip(rows) {
            for x in (0..wide).filter(|x| row[usize::try_from(x / 8).unwrap()] & (0x80 >> (x % 8)) != 0) {
                picture.set(x, y, Ink::Black);
            }
        }
        picture
    }

    /// Measured with libcups 2.4.2, which decodes each body to the picture: rows PWG-01 to PWG-07 of the peers' page.
    #[test]
    fn lines_are_coded_as_an_independent_reader_takes_them() {
        let blank = Bitmap::new(496, 320);
        assert_eq!(body(&blank), [0xFF, 0x3D, 0x00, 0x3F, 0x3D, 0x00]);
        let mut black = blank.clone();
        black.fill(Rect { x: 0, y: 0, width: 496, height: 320 }, Ink::Black);
        assert_eq!(body(&black), [0xFF, 0x3D, 0xFF, 0x3F, 0x3D, 0xFF]);
        assert_eq!(encode(&black, &LABEL).len(), 1_806);
        assert_eq!(body(&picture(&[&[1, 2, 3]])), [0x00, 0xFE, 1, 2, 3]);
        assert_eq!(body(&picture(&[&[0xAA]])), [0x00, 0x00, 0xAA]);
        assert_eq!(body(&picture(&[&[0xFF; 200]])), [0x00, 0x7F, 0xFF, 0x47, 0xFF]);
        let line: &[u8] = &[0, 0, 0, 0x11, 0x22, 0x33];
        assert_eq!(body(&picture(&[line, line])), [0x01, 0x02, 0x00, 0xFE, 0x11, 0x22, 0x33]);
        let literals: Vec<u8> = (0..128).collect();
        assert_eq!(body(&picture(&[&literals])), [&[0x00, 0x81], &literals[..]].concat());
    }

    /// PWG-08, and J4 of the standards' page, are of eight-bit pictures; a line is coded the same way.
    #[test]
    fn a_unit_is_a_byte_whatever_it_means() {
        let coded = |line: &[u8]| {
            let mut file = Vec::new();
            code_line(line, &mut file);
            file
        };
        assert_eq!(coded(&[0xFF, 0xFF, 0xFF, 0xFF, 0x80]), [0x03, 0xFF, 0x00, 0x80]);
        assert_eq!(coded(&[0, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]), [0x03, 0x00, 0x03, 0xFF]);
        assert!(coded(&[]).is_empty());
    }

    #[test]
    fn the_header_says_size_resolution_and_paper() {
        let file = encode(&Bitmap::new(495, 319), &LABEL);
        let number = |at: usize| u32::from_be_bytes(file[4 + at..8 + at].try_into().unwrap());
        assert_eq!(&file[..13], b"RaS2PwgRaster");
        let offsets = [276, 280, 340, 352, 356, 372, 376, 384, 388, 392, 396, 400, 420, 452, 472, 476, 484];
        let said = [203, 203, 1, 176, 113, 495, 319, 1, 1, 62, 0, 3, 1, 1, 495, 319, 4];
        assert_eq!(offsets.map(number), said);
        assert_eq!(&file[4 + 1_732..4 + 1_732 + 22], b"om_tray-62x40_62x40mm\0");
        let long = Sheet { media_name: &"札".repeat(40), ..LABEL };
        let file = encode(&Bitmap::new(8, 1), &long);
        assert_eq!(&file[4 + 1_732..4 + 1_795], "札".repeat(21).as_bytes());
        assert_eq!(file[4 + 1_795], 0, "a text of the header ends in zero");
    }

    /// What a group says, read back strictly: every line ends exactly where it should.
    fn decoded(mut body: &[u8], stride: usize) -> Vec<Vec<u8>> {
        let mut rows = Vec::new();
        while let [repeat, rest @ ..] = body {
            body = rest;
            let mut row = Vec::new();
            while row.len() < stride {
                let (count, after) = (body[0], &body[1..]);
                assert_ne!(count, 128);
                if count < 128 {
                    row.extend(vec![after[0]; usize::from(count) + 1]);
                    body = &after[1..];
                } else {
                    let literals = 257 - usize::from(count);
                    row.extend(&after[..literals]);
                    body = &after[literals..];
                }
            }
            assert_eq!(row.len(), stride, "a group runs over the end of its line");
            rows.extend(vec![row; usize::from(*repeat) + 1]);
        }
        rows
    }

    #[test]
    fn any_line_comes_back_and_ends_where_it_should() {
        // Few values, so that runs of every length and their borders occur.
        let mut state = 0x2545_F491_4F6C_DD1D_u64;
        let mut roll = |sides: u64| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state % sides
        };
        for _ in 0..2_000 {
            let length = usize::try_from(roll(400)).unwrap() + 1;
            let sides = roll(4) + 1;
            let line: Vec<u8> = (0..length).map(|_| u8::try_from(roll(sides)).unwrap()).collect();
            let mut file = vec![0];
            code_line(&line, &mut file);
            assert_eq!(decoded(&file, length), [line]);
            assert!(file.len() <= 1 + length + length.div_ceil(MOST_UNITS) + 1, "{length} became {}", file.len());
        }
    }

    #[test]
    fn more_equal_lines_than_one_count_holds_are_all_there() {
        for lines in [1, 2, 255, 256, 257, 512, 513] {
            let rows: Vec<&[u8]> = vec![&[0x81_u8][..]; lines];
            assert_eq!(decoded(&body(&picture(&rows)), 1).len(), lines);
        }
    }
}
