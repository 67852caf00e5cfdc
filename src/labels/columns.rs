//! The columns a label has around its symbol, and which group stands in which. Arrangements are tried in a stated order by their heights
//! alone; the first that fits is laid down.

use super::bitmap::Rect;
use super::block::{Align, Block, Mark, Shape, spread};
use super::parts::{GROUPS, Group, Linear, Parts};
use super::passages::Part;
use super::stock::LabelStock;
use super::symbol::QUIET_MODULES;
use std::cell::OnceCell;

/// Where a group stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Left of the symbol.
    Left,
    /// Under the symbol.
    Right,
    /// Along the foot, over the whole width.
    Foot,
    /// Beside a linear code that stands along the foot.
    Beside,
}

const SIDES: usize = 4;

/// Where the groups stand that have no fixed place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arrangement {
    band: Side,
    statements: Side,
    linear: Side,
    code: Side,
    lot: Side,
    shop: Side,
}

impl Arrangement {
    fn side(&self, group: Group) -> Side {
        match group {
            Group::Heading | Group::Name | Group::Fish | Group::Prices => Side::Left,
            Group::SmallPrint => Side::Foot,
            Group::Band => self.band,
            Group::Statements => self.statements,
            Group::Linear => self.linear,
            Group::Code => self.code,
            Group::Lot => self.lot,
            Group::Shop => self.shop,
        }
    }
}

/// What stands in a column, from the top.
const fn order(side: Side) -> &'static [Group] {
    match side {
        Side::Left => &[
            Group::Shop,
            Group::Heading,
            Group::Name,
            Group::Statements,
            Group::Fish,
            Group::Lot,
            Group::Band,
            Group::Prices,
            Group::Code,
            Group::Linear,
        ],
        Side::Right | Side::Beside => &[Group::Code, Group::Lot, Group::Shop],
        Side::Foot => {
            &[Group::Band, Group::Statements, Group::SmallPrint, Group::Code, Group::Lot, Group::Shop, Group::Linear]
        }
    }
}

/// One stock with a symbol of one size on it, and the columns that leaves.
#[derive(Debug, Clone, Copy)]
pub struct Columns {
    /// The symbol with its quiet zone.
    pub symbol_box: Rect,
    /// From the margin down.
    left: Rect,
    /// From under the symbol down.
    right: Rect,
    /// All inside the margins.
    whole: Rect,
    /// Width beside a linear code; none without one.
    beside: Option<Rect>,
}

impl Columns {
    /// The columns around a symbol of so many dots along its side and a module.
    pub fn new(stock: &LabelStock, side: i32, dots: i32, linear: Option<&Linear>) -> Self {
        let (dpi, margins) = (stock.dpi(), stock.margins());
        let [left, top, right, bottom] = [margins.left_um, margins.top_um, margins.right_um, margins.bottom_um]
            .map(|margin| dpi.dots_at_least(margin));
        let (width, height) = (stock.width_dots(), stock.height_dots());
        let whole = Rect { x: left, y: top, width: width - left - right, height: height - top - bottom };
        // The quiet zone may lie in the margin, since both want white.
        let quiet = QUIET_MODULES * dots;
        let symbol_box =
            Rect { x: width - (right - quiet).max(0) - side, y: (top - quiet).max(0), width: side, height: side };
        let edge = whole.right().min(symbol_box.right());
        let under = symbol_box.bottom();
        let beside = linear.map(|linear| {
            let taken = linear.code.width(linear.dots) + dpi.dots_within(800);
            Rect { x: whole.x + taken, width: whole.width - taken, ..whole }
        });
        Self {
            symbol_box,
            left: Rect { width: symbol_box.x - whole.x, ..whole },
            right: Rect {
                x: symbol_box.x + (symbol_box.right() - edge),
                y: under,
                width: 2 * edge - symbol_box.x - symbol_box.right(),
                height: whole.bottom() - under,
            },
            whole,
            beside,
        }
    }

    fn rect(&self, side: Side) -> Rect {
        match side {
            Side::Left => self.left,
            Side::Right => self.right,
            Side::Foot => self.whole,
            Side::Beside => self.beside.unwrap_or_default(),
        }
    }
}

const fn align(side: Side) -> Align {
    match side {
        Side::Right => Align::Centre,
        Side::Left | Side::Foot | Side::Beside => Align::Left,
    }
}

/// White between groups, in dots.
#[derive(Debug, Clone, Copy)]
pub struct Gaps {
    /// Between groups of the left column, and above the foot.
    pub wide: i32,
    /// Thickness of the line above the foot.
    pub rule: i32,
}

impl Gaps {
    const fn of(&self, side: Side) -> i32 {
        match side {
            Side::Left => self.wide,
            Side::Right | Side::Beside => self.wide / 2,
            Side::Foot => self.wide * 2 / 3,
        }
    }
}

/// What a group adds to the columns where it may stand.
struct Added {
    side: Side,
    left: i32,
    right: i32,
    foot: i32,
}

/// Heights under each other.
#[derive(Debug, Clone, Copy)]
struct Pile {
    height: i32,
    gap: i32,
}

impl Pile {
    fn add(&mut self, height: i32) {
        if height > 0 {
            self.height += height + if self.height > 0 { self.gap } else { 0 };
        }
    }
}

/// Tries one set of sizes in the columns around one symbol.
pub struct Filling<'a> {
    parts: &'a Parts<'a>,
    columns: &'a Columns,
    gaps: Gaps,
    /// Of each group in each column; none where it is too wide.
    heights: [[OnceCell<Option<i32>>; SIDES]; GROUPS],
}

impl<'a> Filling<'a> {
    /// Nothing is tried yet.
    pub fn new(parts: &'a Parts<'a>, columns: &'a Columns, gaps: Gaps) -> Self {
        Self { parts, columns, gaps, heights: [const { [const { OnceCell::new() }; SIDES] }; GROUPS] }
    }

    fn height(&self, group: Group, side: Side) -> Option<i32> {
        if !self.parts.says(group) {
            return Some(0);
        }
        let place = self.heights.get(group as usize).and_then(|sides| sides.get(side as usize))?;
        let width = self.columns.rect(side).width;
        *place.get_or_init(|| self.parts.make(group, width, align(side)).ok().map(|block| block.height))
    }

    /// The first arrangement in which everything fits.
    pub fn arrange(&self) -> Option<Arrangement> {
        let has_linear = self.parts.says(Group::Linear);
        let linears: &[Side] = if has_linear { &[Side::Left, Side::Foot] } else { &[Side::Foot] };
        for band in [Side::Left, Side::Foot] {
            for statements in [Side::Foot, Side::Left] {
                for linear in linears.iter().copied() {
                    let [code, lot, shop] = [Side::Right; 3];
                    let arrangement = Arrangement { band, statements, linear, code, lot, shop };
                    // What cannot stand even without the rest is not tried with it.
                    if self.columns_hold(&arrangement) == Some(true) {
                        let found = self.arrange_rest(arrangement, has_linear && linear == Side::Foot);
                        if found.is_some() {
                            return found;
                        }
                    }
                }
            }
        }
        None
    }

    /// Finds a place for the groups that belong under the symbol if they can. What a group adds to a column is known beforehand, so that
    /// most ways of placing them are dismissed by a sum.
    fn arrange_rest(&self, base: Arrangement, has_beside: bool) -> Option<Arrangement> {
        let beside: &[Side] = if has_beside { &[Side::Beside] } else { &[] };
        let ways = |group, after: [Side; 2]| {
            let sides = [Side::Right].iter().chain(beside).copied().chain(after);
            let sides = sides.take(if self.parts.says(group) { SIDES } else { 1 });
            sides.filter_map(|side| self.added(group, side)).collect::<Vec<Added>>()
        };
        let codes = ways(Group::Code, [Side::Left, Side::Foot]);
        let lots = ways(Group::Lot, [Side::Foot, Side::Left]);
        let shops = ways(Group::Shop, [Side::Left, Side::Foot]);
        let (left, foot) = (self.pile(Side::Left, &base)?, self.foot_height(&base)?);
        let under = self.columns.right.y - self.columns.whole.y;
        for code in &codes {
            for lot in &lots {
                for shop in &shops {
                    let sum = |of: fn(&Added) -> i32| of(code) + of(lot) + of(shop);
                    let room = self.room_above(foot + sum(|added| added.foot));
                    let right = sum(|added| added.right) - self.gaps.of(Side::Right);
                    if left + sum(|added| added.left) > room || right > 0 && right > room - under {
                        continue;
                    }
                    let arrangement = Arrangement { code: code.side, lot: lot.side, shop: shop.side, ..base };
                    if self.fits(&arrangement) == Some(true) {
                        return Some(arrangement);
                    }
                }
            }
        }
        None
    }

    /// What a group adds to a column, with the gap before it, at the least; `None` where it is too wide.
    fn added(&self, group: Group, side: Side) -> Option<Added> {
        let height = self.height(group, side)?;
        let cost = if height > 0 { height + self.gaps.of(side) } else { 0 };
        let mut added = Added { side, left: 0, right: 0, foot: 0 };
        match side {
            Side::Left => added.left = cost,
            Side::Right => added.right = cost,
            // The first in the foot has no gap before it.
            Side::Foot => added.foot = height,
            Side::Beside => {}
        }
        Some(added)
    }

    /// Whether the left column and the foot have room; `None` where a group is too wide for its column.
    fn columns_hold(&self, arrangement: &Arrangement) -> Option<bool> {
        let left = self.pile(Side::Left, arrangement)?;
        let foot = self.foot_height(arrangement)?;
        Some(left <= self.room_above(foot))
    }

    /// The height above a foot.
    const fn room_above(&self, foot: i32) -> i32 {
        self.columns.whole.height - if foot > 0 { foot + self.gaps.wide } else { 0 }
    }

    /// Whether everything fits; `None` as above.
    fn fits(&self, arrangement: &Arrangement) -> Option<bool> {
        if !self.columns_hold(arrangement)? {
            return Some(false);
        }
        let foot = self.foot_height(arrangement)?;
        let room = self.room_above(foot) - (self.columns.right.y - self.columns.whole.y);
        let right = self.pile(Side::Right, arrangement)?;
        Some(right <= room || right == 0 && self.symbol_is_clear(foot))
    }

    /// Whether the symbol with its quiet zone ends above the foot.
    fn symbol_is_clear(&self, foot: i32) -> bool {
        self.columns.symbol_box.bottom() + foot <= self.columns.whole.bottom()
    }

    fn pile(&self, side: Side, arrangement: &Arrangement) -> Option<i32> {
        let mut pile = Pile { height: 0, gap: self.gaps.of(side) };
        for group in order(side).iter().filter(|group| arrangement.side(**group) == side) {
            pile.add(self.height(*group, side)?);
        }
        Some(pile.height)
    }

    /// Everything along the foot with the line above it.
    fn foot_height(&self, arrangement: &Arrangement) -> Option<i32> {
        let mut pile = Pile { height: 0, gap: self.gaps.of(Side::Foot) };
        if self.has_rule(arrangement) {
            pile.add(self.gaps.rule);
        }
        for group in order(Side::Foot).iter().filter(|group| arrangement.side(**group) == Side::Foot) {
            let height = self.height(*group, Side::Foot)?;
            let beside = if *group == Group::Linear && height > 0 { self.pile(Side::Beside, arrangement)? } else { 0 };
            pile.add(height.max(beside));
        }
        Some(pile.height)
    }

    /// A line parts the foot from the columns, unless the band does.
    fn has_rule(&self, arrangement: &Arrangement) -> bool {
        let in_foot = |group: &&Group| arrangement.side(**group) == Side::Foot && self.parts.says(**group);
        arrangement.band != Side::Foot && order(Side::Foot).iter().any(|group| in_foot(&group))
    }

    /// Parts that fit none of the columns their group may stand in.
    pub fn too_wide(&self) -> Vec<Part> {
        let sides = |group| match group {
            Group::Heading | Group::Name | Group::Fish | Group::Prices => [Side::Left].as_slice(),
            Group::SmallPrint => &[Side::Foot],
            Group::Statements | Group::Band | Group::Linear => &[Side::Left, Side::Foot],
            Group::Code | Group::Lot | Group::Shop => &[Side::Left, Side::Right, Side::Foot],
        };
        let mut parts = Vec::new();
        for group in order(Side::Left).iter().chain(&[Group::SmallPrint]) {
            if sides(*group).iter().all(|side| self.height(*group, *side).is_none()) {
                let width = self.columns.rect(Side::Left).width;
                parts.extend(self.parts.make(*group, width, Align::Left).err());
            }
        }
        parts
    }

    /// Lays an arrangement down that fits. The parts must be made with marks.
    pub fn lay(&self, arrangement: &Arrangement) -> Option<Vec<Mark>> {
        let foot = self.foot_height(arrangement)?;
        let whole = self.columns.whole;
        let foot_top = whole.bottom() - foot;
        let bottom = if foot > 0 { foot_top - self.gaps.wide } else { whole.bottom() };
        let mut marks = self.lay_foot(arrangement, foot_top)?;
        for side in [Side::Left, Side::Right] {
            let column = self.columns.rect(side);
            let gap = self.gaps.of(side);
            let blocks = self.blocks(side, arrangement)?;
            let spread = spread(blocks, bottom - column.y, gap, 3 * gap);
            marks.extend(spread.into_iter().map(|mark| mark.moved(column.x, column.y)));
        }
        Some(marks)
    }

    fn blocks(&self, side: Side, arrangement: &Arrangement) -> Option<Vec<Block>> {
        let width = self.columns.rect(side).width;
        let groups = order(side).iter().filter(|group| arrangement.side(**group) == side);
        groups.map(|group| self.parts.make(*group, width, align(side)).ok()).collect()
    }

    fn lay_foot(&self, arrangement: &Arrangement, top: i32) -> Option<Vec<Mark>> {
        let whole = self.columns.whole;
        let gap = self.gaps.of(Side::Foot);
        let mut marks = Vec::new();
        let mut y = top;
        if self.has_rule(arrangement) {
            let rect = Rect { x: whole.x, y, width: whole.width, height: self.gaps.rule };
            marks.push(Mark { part: Part::SmallPrint, rect, shape: Shape::Bar });
            y += self.gaps.rule + gap;
        }
        let groups = order(Side::Foot).iter().filter(|group| arrangement.side(**group) == Side::Foot);
        for (group, block) in groups.zip(self.blocks(Side::Foot, arrangement)?) {
            if block.height == 0 {
                continue;
            }
            let height = block.height;
            marks.extend(block.moved(whole.x, y));
            if *group == Group::Linear {
                let beside = self.columns.rect(Side::Beside);
                let blocks = self.blocks(Side::Beside, arrangement)?;
                let gap = self.gaps.of(Side::Beside);
                let spread = spread(blocks, height, gap, 2 * gap);
                marks.extend(spread.into_iter().map(|mark| mark.moved(beside.x, y)));
            }
            y += height + gap;
        }
        Some(marks)
    }
}
