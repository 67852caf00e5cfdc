//! The parts of a tray label, each made to the width of its column: the name, the use-by band, the prices. Where a
//! part goes is not known here.

use super::bitmap::{Ink, Rect};
use super::block::{Align, Block, Fit, Mark, Setting, Shape, lines, stack};
use super::flat::{Flat, field};
use super::steps::{self, Step};
use super::stock::Dpi;
use super::text::{Face, Fonts, Type};
use super::wrap::{CLAUSE, wrap};

/// A part, or the field whose text is too wide for its column.
pub type Made = Result<Block, &'static str>;

/// Most lines the cut's name may take.
const NAME_LINES: usize = 3;

/// Makes the parts of one label in one set of sizes.
#[derive(Debug, Clone, Copy)]
pub struct Parts<'a> {
    fonts: &'a Fonts,
    label: &'a Flat,
    step: &'a Step,
    dpi: Dpi,
}

impl<'a> Parts<'a> {
    /// Parts of a label at one step of sizes.
    pub const fn new(fonts: &'a Fonts, label: &'a Flat, step: &'a Step, dpi: Dpi) -> Self {
        Self { fonts, label, step, dpi }
    }

    /// The cut's name: one large line, or else a few smaller ones.
    pub fn name(&self, width: i32) -> Made {
        let text = &self.label.cut_name;
        let one_line_um = (self.step.name_um * 7 / 10).max(steps::SMALLEST_NAME_UM);
        if let Some(size) = self.largest(text, width, self.step.name_um, one_line_um) {
            return Ok(lines(
                self.fonts,
                field::CUT_NAME,
                self.setting(size, Align::Left),
                std::slice::from_ref(text),
                width,
            ));
        }
        let (from, to) = (self.dpi.dots_within(self.step.name_um * 8 / 10), self.smallest(steps::SMALLEST_NAME_UM));
        for x_height in (to..=from.max(to)).rev() {
            let size = Type { face: Face::Bold, x_height };
            if let Some(texts) = wrap(self.fonts, size, text, width).filter(|texts| texts.len() <= NAME_LINES) {
                return Ok(lines(self.fonts, field::CUT_NAME, self.setting(size, Align::Left), &texts, width));
            }
        }
        Err(field::CUT_NAME)
    }

    /// Species and origin, which belong to each other.
    pub fn fish(&self, width: i32) -> Made {
        let species = self.paragraph(field::SPECIES_LINE, self.body(Face::Regular), &self.label.species_line, width)?;
        let origin = self.paragraph(field::ORIGIN_LINE, self.body(Face::Regular), &self.label.origin_line, width)?;
        Ok(stack(vec![species, origin], self.leading()))
    }

    /// The use-by, white on black over the whole column, with the storage condition it depends on.
    pub fn use_by_band(&self, width: i32) -> Made {
        let (pad_x, pad_y) = (self.dots(900), self.dots(700));
        let inner = width - 2 * pad_x;
        let date = &self.label.use_by;
        let size = self.largest(date, inner, self.step.date_um, steps::SMALLEST_DATE_UM).ok_or(field::USE_BY)?;
        let white = |size, align| Setting { ink: Ink::White, ..self.setting(size, align) };
        let small = self.body(Face::Bold);
        let (caption, storage) = (&self.label.captions.use_by, &self.label.storage);
        let date = lines(self.fonts, field::USE_BY, white(size, Align::Left), std::slice::from_ref(date), inner);
        let mut heading =
            lines(self.fonts, field::CAPTIONS, white(small, Align::Left), std::slice::from_ref(caption), inner);
        let beside =
            self.fonts.measure(small, caption) + self.dots(1_500) + self.fonts.measure(small, storage) <= inner;
        let mut below = None;
        if beside {
            let storage =
                lines(self.fonts, field::STORAGE, white(small, Align::Right), std::slice::from_ref(storage), inner);
            heading = side_by_side(heading, storage);
        } else {
            let texts = wrap(self.fonts, small, storage, inner).ok_or(field::STORAGE)?;
            below = Some(lines(self.fonts, field::STORAGE, white(small, Align::Left), &texts, inner));
        }
        let rows: Vec<Block> = [Some(heading), Some(date), below].into_iter().flatten().collect();
        let rows = rows.into_iter().filter(|row| row.height > 0).collect();
        let content = stack(rows, self.leading() + self.dots(350));
        let rect = Rect { x: 0, y: 0, width, height: content.height + 2 * pad_y };
        let mut marks = vec![Mark { field: field::USE_BY, rect, shape: Shape::Bar }];
        marks.extend(content.moved(pad_x, pad_y));
        Ok(Block { height: rect.height, marks })
    }

    /// The reason for a markdown and the old price struck through, in a frame; nothing without a markdown.
    pub fn markdown(&self, width: i32) -> Result<Option<Block>, &'static str> {
        let Some((old, reason)) = self.label.old_price.as_ref().zip(self.label.markdown_reason.as_ref()) else {
            return Ok(None);
        };
        let (pad_x, pad_y, border) = (self.dots(900), self.dots(550), self.dots(250).max(2));
        let inner = width - 2 * pad_x;
        let (bold, regular) = (self.body(Face::Bold), self.body(Face::Regular));
        if self.fonts.measure(regular, old) > inner {
            return Err(field::OLD_PRICE);
        }
        let mut old_price =
            lines(self.fonts, field::OLD_PRICE, self.setting(regular, Align::Right), std::slice::from_ref(old), inner);
        for mark in &mut old_price.marks {
            strike(mark);
        }
        let beside = inner - self.fonts.measure(regular, old) - self.dots(1_500);
        let setting = self.setting(bold, Align::Left);
        let content = match wrap(self.fonts, bold, reason, beside).filter(|texts| texts.len() <= 2) {
            Some(texts) => side_by_side(lines(self.fonts, field::MARKDOWN_REASON, setting, &texts, inner), old_price),
            None => {
                let texts = wrap(self.fonts, bold, reason, inner).ok_or(field::MARKDOWN_REASON)?;
                stack(
                    vec![lines(self.fonts, field::MARKDOWN_REASON, setting, &texts, inner), old_price],
                    self.leading(),
                )
            }
        };
        let rect = Rect { x: 0, y: 0, width, height: content.height + 2 * pad_y };
        let mut marks = vec![Mark { field: field::MARKDOWN_REASON, rect, shape: Shape::Frame(border) }];
        marks.extend(content.moved(pad_x, pad_y));
        Ok(Some(Block { height: rect.height, marks }))
    }

    /// Net weight and unit price at the left, the price large at the right, on one baseline.
    pub fn prices(&self, width: i32) -> Made {
        let label = self.label;
        let (bold, regular) = (self.body(Face::Bold), self.body(Face::Regular));
        let weights = self.fonts.measure(bold, &label.net_weight).max(self.fonts.measure(regular, &label.unit_price));
        let room = width - weights - self.dots(1_500);
        let size = self.largest(&label.price, room, self.step.price_um, steps::SMALLEST_PRICE_UM).ok_or_else(|| {
            if self.fonts.measure(regular, &label.price) > width / 2 { field::PRICE } else { field::UNIT_PRICE }
        })?;
        let left = |name, size, text| {
            lines(self.fonts, name, self.setting(size, Align::Left), std::slice::from_ref(text), width)
        };
        let small = stack(
            vec![left(field::NET_WEIGHT, bold, &label.net_weight), left(field::UNIT_PRICE, regular, &label.unit_price)],
            self.leading() + self.dots(250),
        );
        let large = lines(
            self.fonts,
            field::PRICE,
            self.setting(size, Align::Right),
            std::slice::from_ref(&label.price),
            width,
        );
        let drop = last_baseline(&large) - last_baseline(&small);
        let (small_y, large_y) = (drop.max(0), (-drop).max(0));
        let height = (small.height + small_y).max(large.height + large_y);
        let mut marks = small.moved(0, small_y);
        marks.extend(large.moved(0, large_y));
        Ok(Block { height, marks })
    }

    /// The tray code, as large as the column allows.
    pub fn tray_code(&self, width: i32) -> Made {
        let text = &self.label.tray_code;
        let size =
            self.largest(text, width, self.step.tray_code_um, steps::SMALLEST_TRAY_CODE_UM).ok_or(field::TRAY_CODE)?;
        Ok(lines(self.fonts, field::TRAY_CODE, self.setting(size, Align::Centre), std::slice::from_ref(text), width))
    }

    /// Lot and day of cutting: on one line where they fit beside each other and the column is flush left.
    pub fn lot_and_cut(&self, width: i32, align: Align) -> Made {
        let fine = self.fine();
        let captions = &self.label.captions;
        let lot = captioned(&captions.lot, &self.label.lot_code);
        let cut = captioned(&captions.cut_on, &self.label.cut_on);
        if align == Align::Left
            && self.fonts.measure(fine, &lot) + self.dots(1_500) + self.fonts.measure(fine, &cut) <= width
        {
            let lot = lines(self.fonts, field::LOT_CODE, self.setting(fine, Align::Left), &[lot], width);
            let cut = lines(self.fonts, field::CUT_ON, self.setting(fine, Align::Right), &[cut], width);
            return Ok(side_by_side(lot, cut));
        }
        let lot = self.aligned(field::LOT_CODE, fine, &lot, width, align)?;
        let cut = self.aligned(field::CUT_ON, fine, &cut, width, align)?;
        Ok(stack(vec![lot, cut], self.leading()))
    }

    /// The shop.
    pub fn shop(&self, width: i32, align: Align) -> Made {
        self.aligned(field::SHOP_NAME, self.body(Face::Regular), &self.label.shop_name, width, align)
    }

    /// The notices, run together; nothing without any.
    pub fn notices(&self, width: i32) -> Result<Option<Block>, &'static str> {
        self.run_together(field::NOTICES, self.body(Face::Bold), &self.label.notices, width)
    }

    /// The small print, run together; nothing without any.
    pub fn cautions(&self, width: i32) -> Result<Option<Block>, &'static str> {
        self.run_together(field::CAUTIONS, self.fine(), &self.label.cautions, width)
    }

    fn run_together(
        &self,
        name: &'static str,
        size: Type,
        texts: &[String],
        width: i32,
    ) -> Result<Option<Block>, &'static str> {
        let mut whole = String::new();
        for text in texts {
            if !whole.is_empty() {
                whole.push_str(if whole.ends_with(['.', '!', '?']) { " " } else { CLAUSE });
            }
            whole.push_str(text.trim());
        }
        if whole.is_empty() { Ok(None) } else { self.paragraph(name, size, &whole, width).map(Some) }
    }

    fn paragraph(&self, name: &'static str, size: Type, text: &str, width: i32) -> Made {
        self.aligned(name, size, text, width, Align::Left)
    }

    fn aligned(&self, name: &'static str, size: Type, text: &str, width: i32, align: Align) -> Made {
        let texts = wrap(self.fonts, size, text, width).ok_or(name)?;
        Ok(lines(self.fonts, name, Setting { fit: Fit::Running, ..self.setting(size, align) }, &texts, width))
    }

    /// The largest bold size at which the text is one line of the width.
    fn largest(&self, text: &str, width: i32, most_um: u32, least_um: u32) -> Option<Type> {
        let (least, most) = (self.smallest(least_um), self.dpi.dots_within(most_um));
        let sizes = (least..=most.max(least)).rev().map(|x_height| Type { face: Face::Bold, x_height });
        sizes.into_iter().find(|size| self.fonts.measure(*size, text) <= width)
    }

    fn setting(&self, size: Type, align: Align) -> Setting {
        Setting { size, align, fit: Fit::Tight, leading: self.leading(), ink: Ink::Black }
    }

    fn body(&self, face: Face) -> Type {
        Type { face, x_height: self.smallest(self.step.body_um) }
    }

    fn fine(&self) -> Type {
        Type { face: Face::Regular, x_height: self.smallest(self.step.fine_um) }
    }

    fn leading(&self) -> i32 {
        self.dots(self.step.leading_um)
    }

    fn dots(&self, um: u32) -> i32 {
        self.dpi.dots_within(um)
    }

    fn smallest(&self, um: u32) -> i32 {
        self.dpi.dots_at_least(um)
    }
}

fn captioned(caption: &str, value: &str) -> String {
    if caption.trim().is_empty() { value.to_owned() } else { format!("{caption} {value}") }
}

/// Two blocks of one column on the same first baseline.
fn side_by_side(left: Block, right: Block) -> Block {
    let drop = first_baseline(&right) - first_baseline(&left);
    let (left_y, right_y) = (drop.max(0), (-drop).max(0));
    let height = (left.height + left_y).max(right.height + right_y);
    let mut marks = left.moved(0, left_y);
    marks.extend(right.moved(0, right_y));
    Block { height, marks }
}

fn strike(mark: &mut Mark) {
    if let Shape::Line { struck, .. } = &mut mark.shape {
        *struck = true;
    }
}

fn first_baseline(block: &Block) -> i32 {
    block.marks.iter().find_map(baseline).unwrap_or(block.height)
}

fn last_baseline(block: &Block) -> i32 {
    block.marks.iter().rev().find_map(baseline).unwrap_or(block.height)
}

fn baseline(mark: &Mark) -> Option<i32> {
    match mark.shape {
        Shape::Line { baseline, .. } => Some(mark.rect.y + baseline),
        Shape::Bar | Shape::Frame(_) => None,
    }
}
