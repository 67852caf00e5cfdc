//! Where everything stands. The symbol is at the top right with the tray code under it, the name, the use-by and the
//! price at the left, the small print along the foot. It tries sizes and arrangements in a stated order and takes the
//! first in which everything fits; what never fits is refused.

use super::bitmap::{Bitmap, Rect};
use super::block::{Align, Block, Mark, Shape, least_height, spread, stack};
use super::drawing::{Drawing, Stroke};
use super::facts::{FieldCheck, TrayLabel};
use super::flat::{Flat, field};
use super::parts::Parts;
use super::refusal::LabelRefusal;
use super::steps::{STEPS, Step};
use super::stock::{Dpi, LabelStock};
use super::symbol::{QUIET_MODULES, Symbol};
use super::text::Fonts;
use std::sync::Arc;

/// How many steps more generous than the running text the headlines may be.
const HEADLINE_STEPS: usize = 3;

/// The module to aim at, 0.495 mm (GS1 General Specifications, target for retail; from memory).
const AIM_MODULE_UM: u32 = 495;

/// The length of a symbol's text that cannot well be undercut: a shorter one is not asked for.
const SHORT_CODE_CHARACTERS: usize = 60;

/// A label with everything in its place.
#[derive(Debug, Clone)]
pub struct Layout {
    width: i32,
    height: i32,
    marks: Vec<Mark>,
    dpi: Dpi,
    symbol: Arc<Symbol>,
    symbol_box: Rect,
    dots_per_module: i32,
    step: usize,
    checks: Vec<FieldCheck>,
}

/// A line of text in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlacedText {
    /// The field it shows.
    pub field: &'static str,
    /// The text.
    pub text: String,
    /// All the dots it may touch.
    pub rect: Rect,
    /// Its x-height in dots.
    pub x_height: i32,
}

impl Layout {
    /// All lines of text.
    pub fn texts(&self) -> Vec<PlacedText> {
        let placed = self.marks.iter().filter_map(|mark| match &mark.shape {
            Shape::Line { size, text, .. } => {
                Some(PlacedText { field: mark.field, text: text.clone(), rect: mark.rect, x_height: size.x_height })
            }
            Shape::Bar | Shape::Frame(_) => None,
        });
        placed.collect()
    }

    /// Bars and frames.
    pub fn ornaments(&self) -> Vec<Rect> {
        let shapes = self.marks.iter().filter(|mark| !matches!(mark.shape, Shape::Line { .. }));
        shapes.map(|mark| mark.rect).collect()
    }

    /// The symbol with its quiet zone.
    pub const fn symbol_box(&self) -> Rect {
        self.symbol_box
    }

    /// Dots along one side of a module.
    pub const fn dots_per_module(&self) -> i32 {
        self.dots_per_module
    }

    /// Which of [`STEPS`] was taken.
    pub const fn step(&self) -> usize {
        self.step
    }

    /// The check list: what the label must say, how large, and who asks for it.
    pub fn checks(&self) -> Vec<FieldCheck> {
        self.checks.clone()
    }

    /// What is laid down for it.
    pub fn drawing(&self) -> Drawing {
        let mut strokes: Vec<Stroke> = self.marks.iter().flat_map(Mark::strokes).collect();
        let (Rect { x, y, .. }, dots_per_module) = (self.symbol_box, self.dots_per_module);
        strokes.push(Stroke::Symbol { symbol: Arc::clone(&self.symbol), x, y, dots_per_module });
        Drawing { width: self.width, height: self.height, dpi: self.dpi, strokes }
    }

    /// The picture.
    pub fn paint(&self, fonts: &Fonts) -> Bitmap {
        self.drawing().paint(fonts)
    }
}

/// Finds a place for everything.
///
/// # Errors
/// In this order: missing fields, characters without a glyph, the symbol's own refusals, text that does not fit.
pub fn lay_out(fonts: &Fonts, label: &TrayLabel, stock: &LabelStock) -> Result<Layout, LabelRefusal> {
    label.check_complete()?;
    let label = &Flat::of(label);
    for (field, text) in label.printed() {
        if let Some(character) = text.chars().find(|character| !fonts.can_set(*character)) {
            return Err(LabelRefusal::NoGlyph { character, field });
        }
    }
    let symbol = Symbol::encode(&label.qr_text)?;
    let choices = symbol.module_choices(stock)?;
    // The symbol is what the till, the staff and the customer rely on: type shrinks before modules go below the size
    // to aim at.
    let aim = stock.dpi().dots_at_least(AIM_MODULE_UM);
    let (aimed, below): (Vec<i32>, Vec<i32>) = choices.iter().partition(|dots| **dots >= aim);
    for dots_choices in [aimed, below] {
        for (index, step) in STEPS.iter().enumerate() {
            for dots_per_module in dots_choices.iter().copied() {
                let sheet = Sheet::new(fonts, stock, &symbol, dots_per_module);
                if let Some(marks) = sheet.fill_well(label, step, index) {
                    let (width, height) = (stock.width_dots(), stock.height_dots());
                    let symbol_box = sheet.symbol_box;
                    let (dpi, symbol) = (stock.dpi(), Arc::new(symbol));
                    return Ok(Layout {
                        width,
                        height,
                        dpi,
                        marks,
                        symbol,
                        symbol_box,
                        dots_per_module,
                        step: index,
                        checks: Vec::new(),
                    });
                }
            }
        }
    }
    Err(LabelRefusal::DoesNotFit { fields: too_long(fonts, label, stock, &symbol) })
}

/// The fields to blame when not even the smallest sizes fit.
fn too_long(fonts: &Fonts, label: &Flat, stock: &LabelStock, symbol: &Symbol) -> Vec<&'static str> {
    let Some(step) = STEPS.last() else { return Vec::new() };
    let smallest = *stock.dpi().dots_per_module().start();
    let sheet = Sheet::new(fonts, stock, symbol, smallest);
    let mut names: Vec<&'static str> = label.printed().into_iter().map(|(name, _)| name).collect();
    names.dedup();
    let helps = |name: &&'static str| sheet.fill(&label.shortened(name), step).is_ok();
    let mut alone: Vec<&'static str> = names.iter().copied().filter(helps).collect();
    let short: String = label.qr_text.chars().take(SHORT_CODE_CHARACTERS).collect();
    let with_short_code = Symbol::encode(&short).map(|symbol| Sheet::new(fonts, stock, &symbol, smallest));
    if with_short_code.is_ok_and(|sheet| sheet.fill(label, step).is_ok()) {
        alone.push(field::QR_TEXT);
    }
    if !alone.is_empty() {
        return alone;
    }
    let too_wide = sheet.fill(label, step).err().unwrap_or_default();
    if too_wide.is_empty() { names } else { too_wide }
}

/// Where the parts stand that have no fixed place.
#[derive(Debug, Clone, Copy)]
struct Arrangement {
    lot_and_cut: Side,
    shop: Side,
    notices: Side,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Right,
    Foot,
}

/// The order in which arrangements are tried: what identifies the tray under its code first.
fn arrangements() -> impl Iterator<Item = Arrangement> {
    let shops = [Side::Right, Side::Left, Side::Foot];
    let lots = [Side::Right, Side::Foot, Side::Left];
    let notices = [Side::Foot, Side::Left];
    notices.into_iter().flat_map(move |notices| {
        lots.into_iter()
            .flat_map(move |lot_and_cut| shops.into_iter().map(move |shop| Arrangement { lot_and_cut, shop, notices }))
    })
}

/// One stock with one symbol on it, and the three columns that leaves.
struct Sheet<'a> {
    fonts: &'a Fonts,
    stock: &'a LabelStock,
    symbol_box: Rect,
    /// Left column, from the margin down.
    left: Rect,
    /// Right column, from under the symbol down.
    right: Rect,
    /// The whole width inside the margins.
    whole: Rect,
}

impl<'a> Sheet<'a> {
    fn new(fonts: &'a Fonts, stock: &'a LabelStock, symbol: &Symbol, dots: i32) -> Self {
        let (width, height) = (stock.width_dots(), stock.height_dots());
        let margin = stock.dpi().dots_at_least(stock.margins().left_um);
        let side = symbol.side(dots);
        // The quiet zone may lie in the margin, since both want white.
        let inset = (margin - QUIET_MODULES * dots).max(0);
        let symbol_box = Rect { x: width - inset - side, y: inset, width: side, height: side };
        let whole = Rect { x: margin, y: margin, width: width - 2 * margin, height: height - 2 * margin };
        let left = Rect { width: symbol_box.x - margin, ..whole };
        let edge = margin - inset;
        let top = symbol_box.bottom();
        let right = Rect { x: symbol_box.x + edge, y: top, width: side - 2 * edge, height: whole.bottom() - top };
        Self { fonts, stock, symbol_box, left, right, whole }
    }

    /// Places all parts at one step of sizes and then gives height left over to the headlines.
    fn fill_well(&self, label: &Flat, step: &Step, index: usize) -> Option<Vec<Mark>> {
        let marks = self.fill(label, step).ok()?;
        let larger = STEPS.iter().take(index).skip(index.saturating_sub(HEADLINE_STEPS));
        let better = larger.filter_map(|larger| self.fill(label, &step.with_headlines_of(larger)).ok()).next();
        Some(better.unwrap_or(marks))
    }

    /// Places all parts at one step of sizes, or names the fields too wide for their columns; none named means the
    /// parts are too high together.
    fn fill(&self, label: &Flat, step: &Step) -> Result<Vec<Mark>, Vec<&'static str>> {
        let parts = Parts::new(self.fonts, label, step, self.stock.dpi());
        let made = MadeParts::make(&parts, self)?;
        let dots = |um| self.stock.dpi().dots_within(um);
        let (gap, widest) = (dots(step.gap_um), dots(2_600));
        arrangements().find_map(|arrangement| self.arrange(&made, arrangement, gap, widest)).ok_or_else(Vec::new)
    }

    fn arrange(&self, made: &MadeParts, arrangement: Arrangement, gap: i32, widest: i32) -> Option<Vec<Mark>> {
        let foot = self.foot(made.foot(arrangement)?, gap);
        let (left, right) = (made.left(arrangement)?, made.right(arrangement)?);
        let foot_room = if foot.height > 0 { foot.height + gap } else { 0 };
        let bottom = self.whole.bottom() - foot_room;
        let (left_room, right_room) = (bottom - self.left.y, bottom - self.right.y);
        if least_height(&left, gap) > left_room || least_height(&right, gap / 2) > right_room {
            return None;
        }
        let mut marks = spread(left, left_room, gap, widest).moved(self.left.x, self.left.y);
        marks.extend(spread(right, right_room, gap / 2, widest / 2).moved(self.right.x, self.right.y));
        let foot_y = self.whole.bottom() - foot.height;
        marks.extend(foot.moved(self.whole.x, foot_y));
        Some(marks)
    }

    /// The foot under a thin rule.
    fn foot(&self, blocks: Vec<Block>, gap: i32) -> Block {
        if blocks.is_empty() {
            return Block::default();
        }
        let rule = self.stock.dpi().dots_at_least(180);
        let rect = Rect { x: 0, y: 0, width: self.whole.width, height: rule };
        let rule = Block { height: rule, marks: vec![Mark { field: field::CAUTIONS, rect, shape: Shape::Bar }] };
        stack(vec![rule, stack(blocks, gap * 2 / 3)], gap * 2 / 3)
    }
}

/// All parts at one size; the movable ones in every column they may stand in. A movable part that is too wide for a
/// column is missing there.
struct MadeParts {
    name: Block,
    fish: Block,
    band: Block,
    markdown: Option<Block>,
    prices: Block,
    tray_code: Block,
    cautions: Option<Block>,
    notices: [Option<Option<Block>>; 2],
    lot_and_cut: [Option<Block>; 3],
    shop: [Option<Block>; 3],
}

impl MadeParts {
    fn make(parts: &Parts<'_>, sheet: &Sheet<'_>) -> Result<Self, Vec<&'static str>> {
        let (left, right, whole) = (sheet.left.width, sheet.right.width, sheet.whole.width);
        let fixed =
            [parts.name(left), parts.fish(left), parts.use_by_band(left), parts.prices(left), parts.tray_code(right)];
        let (markdown, cautions) = (parts.markdown(left), parts.cautions(whole));
        let notices = [parts.notices(left), parts.notices(whole)];
        let shop = [parts.shop(left, Align::Left), parts.shop(right, Align::Centre), parts.shop(whole, Align::Left)];
        let lot_and_cut = [
            parts.lot_and_cut(left, Align::Left),
            parts.lot_and_cut(right, Align::Centre),
            parts.lot_and_cut(whole, Align::Left),
        ];
        let mut too_wide: Vec<&'static str> = fixed.iter().filter_map(|made| made.clone().err()).collect();
        too_wide.extend(markdown.clone().err());
        too_wide.extend(cautions.clone().err());
        too_wide.extend(nowhere(&notices));
        too_wide.extend(nowhere(&shop));
        too_wide.extend(nowhere(&lot_and_cut));
        if !too_wide.is_empty() {
            return Err(too_wide);
        }
        let [name, fish, band, prices, tray_code] = fixed.map(Result::unwrap_or_default);
        Ok(Self {
            name,
            fish,
            band,
            markdown: markdown.unwrap_or_default(),
            prices,
            tray_code,
            cautions: cautions.unwrap_or_default(),
            notices: notices.map(Result::ok),
            lot_and_cut: lot_and_cut.map(Result::ok),
            shop: shop.map(Result::ok),
        })
    }

    /// Blocks of the left column from the top; `None` when one of them cannot stand there.
    fn left(&self, arrangement: Arrangement) -> Option<Vec<Block>> {
        let [left_notices, _] = &self.notices;
        let [left_lot, _, _] = &self.lot_and_cut;
        let [left_shop, _, _] = &self.shop;
        let mut blocks = Vec::new();
        if arrangement.shop == Side::Left {
            blocks.push(left_shop.clone()?);
        }
        blocks.push(self.name.clone());
        if arrangement.notices == Side::Left {
            blocks.extend(left_notices.clone()?);
        }
        blocks.push(self.fish.clone());
        if arrangement.lot_and_cut == Side::Left {
            blocks.push(left_lot.clone()?);
        }
        blocks.push(self.band.clone());
        blocks.extend(self.markdown.clone());
        blocks.push(self.prices.clone());
        Some(blocks)
    }

    /// Blocks under the symbol.
    fn right(&self, arrangement: Arrangement) -> Option<Vec<Block>> {
        let [_, right_lot, _] = &self.lot_and_cut;
        let [_, right_shop, _] = &self.shop;
        let mut blocks = vec![self.tray_code.clone()];
        if arrangement.lot_and_cut == Side::Right {
            blocks.push(right_lot.clone()?);
        }
        if arrangement.shop == Side::Right {
            blocks.push(right_shop.clone()?);
        }
        Some(blocks)
    }

    /// Blocks along the foot.
    fn foot(&self, arrangement: Arrangement) -> Option<Vec<Block>> {
        let [_, foot_notices] = &self.notices;
        let [_, _, foot_lot] = &self.lot_and_cut;
        let [_, _, foot_shop] = &self.shop;
        let mut blocks = Vec::new();
        if arrangement.notices == Side::Foot {
            blocks.extend(foot_notices.clone()?);
        }
        blocks.extend(self.cautions.clone());
        if arrangement.lot_and_cut == Side::Foot {
            blocks.push(foot_lot.clone()?);
        }
        if arrangement.shop == Side::Foot {
            blocks.push(foot_shop.clone()?);
        }
        Some(blocks)
    }
}

/// The field that fits into no column at all.
fn nowhere<T, const N: usize>(made: &[Result<T, &'static str>; N]) -> Option<&'static str> {
    if made.iter().any(Result::is_ok) { None } else { made.iter().find_map(|made| made.as_ref().err().copied()) }
}
