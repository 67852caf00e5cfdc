//! A picture of black and white dots, packed eight to a byte. It knows rectangles, dots and other pictures; nothing
//! about text, symbols or files.

/// A rectangle in dots; right and bottom edges are outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Rect {
    /// Left edge.
    pub x: i32,
    /// Top edge.
    pub y: i32,
    /// Width.
    pub width: i32,
    /// Height.
    pub height: i32,
}

impl Rect {
    /// First column to the right.
    pub const fn right(&self) -> i32 {
        self.x + self.width
    }

    /// First row below.
    pub const fn bottom(&self) -> i32 {
        self.y + self.height
    }

    /// Whether two rectangles share a dot.
    pub const fn overlaps(&self, other: &Self) -> bool {
        self.x < other.right() && other.x < self.right() && self.y < other.bottom() && other.y < self.bottom()
    }

    /// Whether another rectangle lies wholly inside.
    pub const fn contains(&self, other: &Self) -> bool {
        self.x <= other.x && self.y <= other.y && other.right() <= self.right() && other.bottom() <= self.bottom()
    }

    /// The same rectangle elsewhere.
    pub const fn moved(&self, dx: i32, dy: i32) -> Self {
        Self { x: self.x + dx, y: self.y + dy, width: self.width, height: self.height }
    }
}

/// What a dot becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// The dot is burnt.
    Black,
    /// The dot stays, or becomes again, the paper's white.
    White,
}

/// A black and white picture. Rows are packed from the top, leftmost dot in the highest bit, 1 is black; the unused
/// bits at the end of a row are 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bitmap {
    width: u32,
    height: u32,
    stride: usize,
    bits: Vec<u8>,
}

impl Bitmap {
    /// A white picture. Negative sizes count as 0.
    pub fn new(width: i32, height: i32) -> Self {
        let width = u32::try_from(width).unwrap_or(0);
        let height = u32::try_from(height).unwrap_or(0);
        let stride = usize::try_from(width.div_ceil(8)).unwrap_or(0);
        let rows = usize::try_from(height).unwrap_or(0);
        Self { width, height, stride, bits: vec![0; stride.saturating_mul(rows)] }
    }

    /// Width in dots.
    pub const fn width(&self) -> u32 {
        self.width
    }

    /// Height in dots.
    pub const fn height(&self) -> u32 {
        self.height
    }

    /// The packed rows from the top, each a whole number of bytes.
    pub fn rows(&self) -> impl Iterator<Item = &[u8]> {
        self.bits.chunks_exact(self.stride.max(1))
    }

    /// Whether a dot is black; outside the picture nothing is.
    pub fn is_black(&self, x: i32, y: i32) -> bool {
        self.place(x, y).and_then(|(byte, mask)| self.bits.get(byte).map(|bits| bits & mask != 0)).unwrap_or(false)
    }

    /// Sets one dot; outside the picture nothing happens.
    pub fn set(&mut self, x: i32, y: i32, ink: Ink) {
        let Some((byte, mask)) = self.place(x, y) else {
            return;
        };
        if let Some(bits) = self.bits.get_mut(byte) {
            match ink {
                Ink::Black => *bits |= mask,
                Ink::White => *bits &= !mask,
            }
        }
    }

    /// Fills a rectangle, clipped to the picture.
    pub fn fill(&mut self, rect: Rect, ink: Ink) {
        for y in rect.y..rect.bottom() {
            for x in rect.x..rect.right() {
                self.set(x, y, ink);
            }
        }
    }

    /// Draws the four sides of a rectangle inwards, each `thickness` dots.
    pub fn frame(&mut self, rect: Rect, thickness: i32, ink: Ink) {
        let Rect { x, y, width, height } = rect;
        self.fill(Rect { x, y, width, height: thickness }, ink);
        self.fill(Rect { x, y: rect.bottom() - thickness, width, height: thickness }, ink);
        self.fill(Rect { x, y, width: thickness, height }, ink);
        self.fill(Rect { x: rect.right() - thickness, y, width: thickness, height }, ink);
    }

    /// Lays the black dots of another picture over this one, its top left corner at `x`, `y`. Its white is
    /// transparent.
    pub fn blit(&mut self, other: &Self, x: i32, y: i32, ink: Ink) {
        for (row, dy) in (0..i32::try_from(other.height).unwrap_or(0)).map(|dy| (y + dy, dy)) {
            for span in other.spans(dy) {
                self.fill(Rect { x: x + span.start, y: row, width: span.end - span.start, height: 1 }, ink);
            }
        }
    }

    /// The runs of black in one row, from the left.
    pub fn spans(&self, y: i32) -> Vec<std::ops::Range<i32>> {
        let width = i32::try_from(self.width).unwrap_or(0);
        let mut spans = Vec::new();
        let mut start = None;
        for x in 0..=width {
            match (self.is_black(x, y), start) {
                (true, None) => start = Some(x),
                (false, Some(first)) => {
                    spans.push(first..x);
                    start = None;
                }
                _ => {}
            }
        }
        spans
    }

    fn place(&self, x: i32, y: i32) -> Option<(usize, u8)> {
        let (x, y) = (u32::try_from(x).ok()?, u32::try_from(y).ok()?);
        if x >= self.width || y >= self.height {
            return None;
        }
        let byte = usize::try_from(y).ok()? * self.stride + usize::try_from(x / 8).ok()?;
        Some((byte, 0x80 >> (x % 8)))
    }
}

#[cfg(test)]
mod tests {
    use super::{Bitmap, Ink, Rect};

    #[test]
    fn dots_are_packed_leftmost_in_the_highest_bit_and_padding_stays_clear() {
        let mut picture = Bitmap::new(11, 2);
        picture.fill(Rect { x: -3, y: 1, width: 40, height: 7 }, Ink::Black);
        picture.set(1, 1, Ink::White);
        let rows: Vec<&[u8]> = picture.rows().collect();
        assert_eq!(rows, [&[0b0000_0000, 0b0000_0000][..], &[0b1011_1111, 0b1110_0000][..]]);
    }

    #[test]
    fn spans_are_the_runs_of_black() {
        let mut picture = Bitmap::new(10, 1);
        for x in [0, 1, 4, 8, 9] {
            picture.set(x, 0, Ink::Black);
        }
        assert_eq!(picture.spans(0), [0..2, 4..5, 8..10]);
        assert!(picture.spans(1).is_empty());
    }

    #[test]
    fn a_blit_moves_black_only_and_is_clipped() {
        let mut stamp = Bitmap::new(3, 1);
        stamp.set(0, 0, Ink::Black);
        stamp.set(2, 0, Ink::Black);
        let mut picture = Bitmap::new(4, 1);
        picture.blit(&stamp, 2, 0, Ink::Black);
        assert_eq!(picture.spans(0), vec![2..3; 1]);
        picture.fill(Rect { x: 0, y: 0, width: 4, height: 1 }, Ink::Black);
        picture.blit(&stamp, 0, 0, Ink::White);
        assert_eq!(picture.spans(0), [1..2, 3..4]);
    }

    #[test]
    fn touching_rectangles_do_not_overlap() {
        let left = Rect { x: 0, y: 0, width: 5, height: 5 };
        assert!(!left.overlaps(&left.moved(5, 0)));
        assert!(left.overlaps(&left.moved(4, 4)));
    }
}
