//! Marks and blocks: a line of text, a bar or a frame at a place, and groups of them that move together. It knows how to stand text in a
//! column, not which text a label has. A block may be made for its height alone, which costs no marks.

use super::bitmap::{Ink, Rect};
use super::drawing::Stroke;
use super::linear::Ean13;
use super::passages::Part;
use super::text::{Fonts, Type};
use super::wrap::{Breakable, Measured};
use std::sync::Arc;

/// Something to be painted at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// The part of the label it shows or belongs to.
    pub part: Part,
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
    /// A linear code: so many dots a module, and from the top to the end of the guard bars.
    Linear(Arc<Ean13>, i32, i32),
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

/// Whether a block is made to know its height, or to be laid down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// Without marks.
    Heights,
    /// With marks.
    Marks,
}

/// Marks that belong together, placed from the top left corner of the block.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Block {
    /// Height in dots; 0 of a block with nothing in it.
    pub height: i32,
    /// The baseline of its first line, from the top.
    pub first_baseline: i32,
    /// The baseline of its last line, from the top.
    pub last_baseline: i32,
    /// The marks, where it was made with them.
    pub marks: Vec<Mark>,
}

impl Block {
    /// The block's marks somewhere else.
    pub fn moved(self, dx: i32, dy: i32) -> impl Iterator<Item = Mark> {
        self.marks.into_iter().map(move |mark| mark.moved(dx, dy))
    }
}

impl Mark {
    /// The same mark elsewhere.
    pub fn moved(mut self, dx: i32, dy: i32) -> Self {
        self.rect = self.rect.moved(dx, dy);
        self
    }

    /// What is laid down for the mark, in this order.
    pub fn strokes(self, strokes: &mut Vec<Stroke>) {
        let Rect { x, y, width, height } = self.rect;
        let black = |rect| Stroke::Rect { rect, ink: Ink::Black };
        match self.shape {
            Shape::Bar => strokes.push(black(self.rect)),
            Shape::Frame(thickness) => {
                let (right, bottom) = (self.rect.right() - thickness, self.rect.bottom() - thickness);
                strokes.extend([
                    black(Rect { x, y, width, height: thickness }),
                    black(Rect { x, y: bottom, width, height: thickness }),
                    black(Rect { x, y, width: thickness, height }),
                    black(Rect { x: right, y, width: thickness, height }),
                ]);
            }
            Shape::Linear(code, dots_per_module, height) => {
                strokes.push(Stroke::Linear { code, x, y, dots_per_module, height });
            }
            Shape::Line { size, text, pen, baseline, ink, struck } => {
                let (x, baseline) = (x + pen, y + baseline);
                strokes.push(Stroke::Text { size, text, x, baseline, ink });
                if struck {
                    let height = (size.x_height / 6).max(2);
                    let y = baseline - size.x_height * 2 / 3 - height / 2;
                    strokes.push(Stroke::Rect { rect: Rect { y, height, ..self.rect }, ink });
                }
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
    /// Whether a line is drawn through it.
    pub struck: bool,
}

/// A text broken into lines of a column; `None` when a word is too wide. Every line is as high as the highest and as deep as the deepest
/// glyph among them, so baselines are evenly spaced and nothing can touch.
pub fn lines(
    fonts: &Fonts,
    mode: Mode,
    part: Part,
    setting: Setting,
    (text, measured): (&Breakable, &Measured),
    column: i32,
) -> Option<Block> {
    let count = i32::try_from(measured.count(column)?).unwrap_or(0);
    if count == 0 {
        return Some(Block::default());
    }
    let (up, down) = match setting.fit {
        Fit::Running => fonts.running_room(setting.size),
        Fit::Tight => fonts.capital_room(setting.size),
    };
    let (ascent, descent) = measured.rows();
    let (ascent, descent) = (ascent.max(up), descent.max(down));
    let pitch = ascent + descent + setting.leading;
    let height = count * pitch - setting.leading;
    let mut block = Block { height, first_baseline: ascent, last_baseline: height - descent, marks: Vec::new() };
    if mode == Mode::Heights {
        return Some(block);
    }
    for (line, index) in text.lines(measured, column)?.iter().zip(0..) {
        let text = text.line(line);
        let extent = fonts.extent(setting.size, text);
        let width = extent.right - extent.left;
        let x = match setting.align {
            Align::Left => 0,
            Align::Centre => (column - width) / 2,
            Align::Right => column - width,
        };
        let rect = Rect { x, y: index * pitch, width, height: ascent + descent };
        let Setting { size, ink, struck, .. } = setting;
        let shape = Shape::Line { size, text: text.to_owned(), pen: -extent.left, baseline: ascent, ink, struck };
        block.marks.push(Mark { part, rect, shape });
    }
    Some(block)
}

/// Blocks under each other, `gap` dots apart; those with nothing in them leave no gap.
pub fn stack<const N: usize>(blocks: [Block; N], gap: i32) -> Block {
    let mut stacked = Block::default();
    for block in blocks.into_iter().filter(|block| block.height > 0) {
        let is_first = stacked.height == 0;
        let y = if is_first { 0 } else { stacked.height + gap };
        stacked.height = y + block.height;
        stacked.last_baseline = y + block.last_baseline;
        if is_first {
            stacked.first_baseline = block.first_baseline;
        }
        stacked.marks.extend(block.moved(0, y));
    }
    stacked
}

/// Two blocks of one column whose baselines meet, the first ones or the last ones.
pub fn side_by_side(left: Block, right: Block, by: impl Fn(&Block) -> i32) -> Block {
    let drop = by(&right) - by(&left);
    let (left_y, right_y) = (drop.max(0), (-drop).max(0));
    let mut both = Block {
        height: (left.height + left_y).max(right.height + right_y),
        first_baseline: (left.first_baseline + left_y).min(right.first_baseline + right_y),
        last_baseline: (left.last_baseline + left_y).max(right.last_baseline + right_y),
        marks: Vec::new(),
    };
    both.marks.extend(left.moved(0, left_y));
    both.marks.extend(right.moved(0, right_y));
    both
}

/// A block in a bar or a frame as wide as the column.
pub fn boxed(mode: Mode, part: Part, shape: Shape, content: Block, width: i32, (pad_x, pad_y): (i32, i32)) -> Block {
    let mut block = Block {
        height: content.height + 2 * pad_y,
        first_baseline: content.first_baseline + pad_y,
        last_baseline: content.last_baseline + pad_y,
        marks: Vec::new(),
    };
    if mode == Mode::Marks {
        let rect = Rect { x: 0, y: 0, width, height: block.height };
        block.marks.push(Mark { part, rect, shape });
        block.marks.extend(content.moved(pad_x, pad_y));
    }
    block
}

/// Blocks under each other with what height is left over shared between the gaps, none wider than `widest_gap`.
pub fn spread(blocks: Vec<Block>, height: i32, gap: i32, widest_gap: i32) -> Vec<Mark> {
    let blocks: Vec<Block> = blocks.into_iter().filter(|block| block.height > 0).collect();
    let gaps = i32::try_from(blocks.len()).unwrap_or(0) - 1;
    let least = blocks.iter().map(|block| block.height).sum::<i32>() + gap * gaps.max(0);
    let spare = (height - least).clamp(0, (widest_gap - gap).max(0) * gaps.max(0));
    let mut marks = Vec::new();
    let mut y = 0;
    for (index, block) in (0..).zip(blocks) {
        let top = y + spare * index / gaps.max(1);
        y += block.height + gap;
        marks.extend(block.moved(0, top));
    }
    marks
}
