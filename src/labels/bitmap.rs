//! A picture of black and white dots, packed eight to a byte. It knows rectangles, dots and other pictures; nothing
//! about text, symbols or files.

use std::ops::Range;

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

impl Ink {
    fn lay(self, byte: &mut u8, mask: u8) {
        match self {
            Self::Black => *byte |= mask,
            Self::White => *byte &= !mask,
        }
    }
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
            ink.lay(bits, mask);
        }
    }

    /// Makes every dot white again.
    pub fn clear(&mut self) {
        self.bits.fill(0);
    }

    /// Fills a rectangle, clipped to the picture.
    pub fn fill(&mut self, rect: Rect, ink: Ink) {
        let Some((first, last)) = clipped(rect.x, rect.right(), self.width) else { return };
        let Some((top, bottom)) = clipped(rect.y, rect.bottom(), self.height) else { return };
        let (from, to) = (first / 8, last / 8);
        let (head, tail) = (0xFF_u8 >> (first % 8), 0xFF_u8 << (7 - last % 8));
        for row in self.bits.chunks_exact_mut(self.stride.max(1)).take(bottom + 1).skip(top) {
            match row.get_mut(from..=to) {
                Some([one]) => ink.lay(one, head & tail),
                Some([one, between @ .., other]) => {
                    ink.lay(one, head);
                    between.fill(if ink == Ink::Black { 0xFF } else { 0 });
                    ink.lay(other, tail);
                }
                _ => {}
            }
        }
    }

    /// Lays the black dots of another picture over this one, its top left corner at `x`, `y`. Its white is
    /// transparent.
    pub fn blit(&mut self, other: &Self, x: i32, y: i32, ink: Ink) {
        let inside = usize::try_from(x).ok().filter(|_| i64::from(x) + i64::from(other.width) <= i64::from(self.width));
        let Some(column) = inside else { return self.blit_clipped(other, x, y, ink) };
        let hidden = usize::try_from(y.saturating_neg()).unwrap_or(0);
        let top = usize::try_from(y).unwrap_or(0);
        let from = other.bits.chunks_exact(other.stride.max(1)).skip(hidden);
        let to = self.bits.chunks_exact_mut(self.stride.max(1)).skip(top);
        for (to, from) in to.zip(from) {
            lay_row(to.get_mut(column / 8..).unwrap_or_default(), from, column % 8, ink);
        }
    }

    /// As [`Self::blit`] for a picture that hangs over the left or right edge.
    fn blit_clipped(&mut self, other: &Self, x: i32, y: i32, ink: Ink) {
        if i64::from(x) >= i64::from(self.width) || i64::from(y) >= i64::from(self.height) {
            return;
        }
        for (row, dy) in (0..i32::try_from(other.height).unwrap_or(0)).map(|dy| (y.saturating_add(dy), dy)) {
            for span in other.spans(dy) {
                self.fill(
                    Rect { x: x.saturating_add(span.start), y: row, width: span.end - span.start, height: 1 },
                    ink,
                );
            }
        }
    }

    /// The runs of black in one row, from the left.
    pub fn spans(&self, y: i32) -> Vec<Range<i32>> {
        let row = usize::try_from(y).ok().and_then(|y| self.rows().nth(y)).unwrap_or_default();
        let mut spans = Vec::new();
        let mut start = None;
        let mut before = 0;
        for (x, byte) in (0..).step_by(8).zip(row) {
            // Where a dot differs from its left neighbour a run begins or ends.
            let mut turns = byte ^ (byte >> 1 | before << 7);
            before = byte & 1;
            while turns != 0 {
                let place = turns.leading_zeros();
                turns &= !(0x80 >> place);
                let at = x + i32::try_from(place).unwrap_or(0);
                match start.take() {
                    None => start = Some(at),
                    Some(first) => spans.push(first..at),
                }
            }
        }
        spans.extend(start.map(|first| first..i32::try_from(self.width).unwrap_or(0)));
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

/// The first and the last place of a stretch that are inside; `None` when none is.
fn clipped(from: i32, end: i32, size: u32) -> Option<(usize, usize)> {
    let end = u32::try_from(end).unwrap_or(0).min(size);
    let from = u32::try_from(from.max(0)).ok()?;
    if from >= end { None } else { Some((usize::try_from(from).ok()?, usize::try_from(end - 1).ok()?)) }
}

/// Lays the ones of a row, moved `shift` dots to the right, over another row. What would be moved beyond its end is padding.
fn lay_row(to: &mut [u8], from: &[u8], shift: usize, ink: Ink) {
    let mut carried = 0;
    let mut to = to.iter_mut();
    for (byte, to) in from.iter().zip(&mut to) {
        let moved = (u16::from(*byte) << 8) >> shift;
        let [high, low] = moved.to_be_bytes();
        ink.lay(to, carried | high);
        carried = low;
    }
    if let Some(to) = to.next() {
        ink.lay(to, carried);
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

    /// Dots thrown by a small generator, so that every shift and edge is met.
    fn thrown(width: i32, height: i32, seed: u32) -> Bitmap {
        let mut picture = Bitmap::new(width, height);
        let mut state = seed;
        for (x, y) in (0..height).flat_map(|y| (0..width).map(move |x| (x, y))) {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            if state >> 30 == 0 {
                picture.set(x, y, Ink::Black);
            }
        }
        picture
    }

    #[test]
    fn fill_and_blit_do_what_setting_each_dot_does() {
        for (seed, x) in (1..).zip(-21..50) {
            let y = x % 7 - 3;
            let rect = Rect { x, y, width: x.rem_euclid(23), height: 5 };
            let stamp = thrown(1 + x.rem_euclid(19), 6, seed);
            for ink in [Ink::Black, Ink::White] {
                let ground = thrown(37, 9, seed + 100);
                let (mut filled, mut blitted) = (ground.clone(), ground.clone());
                filled.fill(rect, ink);
                blitted.blit(&stamp, x, y, ink);
                let (mut filled_by_dots, mut blitted_by_dots) = (ground.clone(), ground);
                for (dx, dy) in (0..24).flat_map(|dx| (0..6).map(move |dy| (dx, dy))) {
                    if dx < rect.width && dy < rect.height {
                        filled_by_dots.set(x + dx, y + dy, ink);
                    }
                    if stamp.is_black(dx, dy) {
                        blitted_by_dots.set(x + dx, y + dy, ink);
                    }
                }
                assert_eq!(filled, filled_by_dots, "{rect:?}");
                assert_eq!(blitted, blitted_by_dots, "{x} {y} {}", stamp.width());
            }
        }
    }

    #[test]
    fn spans_are_what_single_dots_say() {
        for (seed, width) in (1..).zip(1..70) {
            let picture = thrown(width, 3, seed);
            for y in 0..3 {
                let spans = picture.spans(y);
                assert!((0..width).all(|x| spans.iter().any(|span| span.contains(&x)) == picture.is_black(x, y)));
                assert!(
                    spans.windows(2).all(|two| two[0].end < two[1].start) && spans.iter().all(|span| !span.is_empty())
                );
            }
        }
    }

    #[test]
    fn far_away_nothing_happens() {
        let mut picture = Bitmap::new(9, 2);
        let stamp = thrown(8, 8, 7);
        for place in [i32::MIN, -9, 9, i32::MAX] {
            picture.blit(&stamp, place, 0, Ink::Black);
            picture.blit(&stamp, 0, place, Ink::Black);
        }
        assert_eq!(picture, Bitmap::new(9, 2));
    }
}
