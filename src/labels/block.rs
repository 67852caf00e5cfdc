//! Marks and blocks: a line of text, a bar or a frame at a place, and groups of them that move together. It knows how
//! to stand text in a column, not which text a label has.

use super::bitmap::{Ink, Rect};
use super::drawing::Stroke;
use super::text::{Extent, Fonts, Type};

/// Something to be painted at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// The field of the label it shows; bars and frames carry the field they belong to.
    pub field: &'static str,
    /// All it covers.
    pub rect: Rect,
    /// What it is.
    pub shape: Shape,
}

/// The kinds of marks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shape {
    /// A line of text.
    Line {
        /// Typeface and size.
        size: Type,
        /// The text.
        text: String,
        /// Pen start, dots from the left edge of `rect`.
        pen: i32,
        /// Baseline, dots below the top edge of `rect`.
        baseline: i32,
        /// White on a bar, else black.
        ink: Ink,
        /// Whether a line is drawn through it.
        struck: bool,
    },
    /// A black rectangle.
    Bar,
    /// An empty rectangle with a border of so many dots.
    Frame(i32),
}

/// Where a line stands in its column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// At the left edge.
    Left,
    /// In the middle.
    Centre,
    /// At the right edge.
    Right,
}

/// Marks that belong together, placed from the top left corner of the block.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Block {
    /// Height in dots.
    pub height: i32,
    /// The marks.
    pub marks: Vec<Mark>,
}

impl Block {
    /// The block's marks somewhere else.
    pub fn moved(self, dx: i32, dy: i32) -> Vec<Mark> {
        self.marks.into_iter().map(|mark| mark.moved(dx, dy)).collect()
    }
}

impl Mark {
    /// The same mark elsewhere.
    pub fn moved(mut self, dx: i32, dy: i32) -> Self {
        self.rect = self.rect.moved(dx, dy);
        self
    }

    /// What is laid down for the mark.
    pub fn strokes(&self) -> Vec<Stroke> {
        let Rect { x, y, width, height } = self.rect;
        let black = |rect| Stroke::Rect { rect, ink: Ink::Black };
        match &self.shape {
            Shape::Bar => vec![black(self.rect)],
            Shape::Frame(thickness) => {
                let thickness = *thickness;
                let (right, bottom) = (self.rect.right() - thickness, self.rect.bottom() - thickness);
                vec![
                    black(Rect { x, y, width, height: thickness }),
                    black(Rect { x, y: bottom, width, height: thickness }),
                    black(Rect { x, y, width: thickness, height }),
                    black(Rect { x: right, y, width: thickness, height }),
                ]
            }
            Shape::Line { size, text, pen, baseline, ink, struck } => {
                let (x, baseline) = (x + pen, y + baseline);
                let mut strokes = vec![Stroke::Text { size: *size, text: text.clone(), x, baseline, ink: *ink }];
                if *struck {
                    let height = (size.x_height / 6).max(2);
                    let y = baseline - size.x_height * 2 / 3 - height / 2;
                    strokes.push(Stroke::Rect { rect: Rect { y, height, ..self.rect }, ink: *ink });
                }
                strokes
            }
        }
    }
}

/// How much height a line reserves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fit {
    /// Room for ascenders and descenders whether it has any or not, so that running text keeps one rhythm.
    Running,
    /// Capitals and what the text really has: for headlines and figures.
    Tight,
}

/// A paragraph's look.
#[derive(Debug, Clone, Copy)]
pub struct Setting {
    /// Typeface and size.
    pub size: Type,
    /// Where its lines stand.
    pub align: Align,
    /// How much height its lines reserve.
    pub fit: Fit,
    /// White between its lines, in dots.
    pub leading: i32,
    /// Black or white.
    pub ink: Ink,
}

/// Lines of text under each other in a column. Every line is as high as the highest and as deep as the deepest glyph
/// among them, so baselines are evenly spaced and nothing can touch.
pub fn lines(fonts: &Fonts, field: &'static str, setting: Setting, texts: &[String], column: i32) -> Block {
    let extents: Vec<Extent> = texts.iter().map(|text| fonts.extent(setting.size, text)).collect();
    let usual = fonts.extent(setting.size, if setting.fit == Fit::Running { "lg" } else { "H" });
    let ascent = extents.iter().map(|extent| extent.ascent).fold(usual.ascent, i32::max);
    let descent = extents.iter().map(|extent| extent.descent).fold(usual.descent, i32::max);
    let pitch = ascent + descent + setting.leading;
    let mut marks = Vec::new();
    let mut y = 0;
    for (text, extent) in texts.iter().zip(&extents) {
        let width = extent.right - extent.left;
        let x = match setting.align {
            Align::Left => 0,
            Align::Centre => (column - width) / 2,
            Align::Right => column - width,
        };
        let rect = Rect { x, y, width, height: ascent + descent };
        let shape = Shape::Line {
            size: setting.size,
            text: text.clone(),
            pen: -extent.left,
            baseline: ascent,
            ink: setting.ink,
            struck: false,
        };
        marks.push(Mark { field, rect, shape });
        y += pitch;
    }
    Block { height: (y - setting.leading).max(0), marks }
}

/// Blocks under each other, `gap` dots apart.
pub fn stack(blocks: Vec<Block>, gap: i32) -> Block {
    let mut stacked = Block::default();
    for block in blocks {
        let y = if stacked.marks.is_empty() { 0 } else { stacked.height + gap };
        stacked.height = y + block.height;
        stacked.marks.extend(block.moved(0, y));
    }
    stacked
}

/// Height of blocks under each other at the least distance.
pub fn least_height(blocks: &[Block], gap: i32) -> i32 {
    let count = i32::try_from(blocks.len()).unwrap_or(0);
    blocks.iter().map(|block| block.height).sum::<i32>() + gap * (count - 1).max(0)
}

/// Blocks under each other with what height is left over shared between the gaps, none wider than `widest_gap`.
pub fn spread(blocks: Vec<Block>, height: i32, gap: i32, widest_gap: i32) -> Block {
    let gaps = i32::try_from(blocks.len()).unwrap_or(0) - 1;
    if gaps < 1 {
        return stack(blocks, gap);
    }
    let spare = (height - least_height(&blocks, gap)).max(0).min((widest_gap - gap).max(0) * gaps);
    let mut spreaded = Block::default();
    let mut y = 0;
    for (index, block) in (0..).zip(blocks) {
        let top = y + spare * index / gaps;
        y += block.height + gap;
        spreaded.height = top + block.height;
        spreaded.marks.extend(block.moved(0, top));
    }
    spreaded
}
