//! The groups of a label, each made to the width of a column: the name, the use-by band, the prices. Where a group goes is not known here.

use super::bitmap::{Ink, Rect};
use super::block::{Align, Block, Fit, Mark, Mode, Setting, Shape, boxed, lines, side_by_side, stack};
use super::linear::{Ean13, GUARD_DEPTH, QUIET_LEFT};
use super::passages::{Measures, Part, Passages};
use super::steps::Step;
use super::stock::Dpi;
use super::text::{Face, Type};
use crate::domain::label_fields::Template;
use std::sync::Arc;

/// A group, or the part of it whose text is too wide for the column.
pub type Made = Result<Block, Part>;

/// Parts that always stand together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// What a label that is not for sale is for.
    Heading,
    /// The cut's name.
    Name,
    /// Defrosted, notices, the allergen.
    Statements,
    /// Species and origin.
    Fish,
    /// Lots and days.
    Lot,
    /// The use-by with its storage condition.
    Band,
    /// Weight and prices, with the markdown around them.
    Prices,
    /// The tray code.
    Code,
    /// The shop.
    Shop,
    /// Advice and cautions.
    SmallPrint,
    /// The linear code.
    Linear,
}

/// How many groups there are.
pub const GROUPS: usize = 11;

/// Most lines the cut's name may take.
const NAME_LINES: usize = 3;

/// A price beside the weight is at least this share of its step's size, in percent; else it goes below.
const LEAST_PRICE_PERCENT: u32 = 75;

/// White above the bars of a linear code, more than between texts.
const ABOVE_BARS_UM: u32 = 500;

/// The bars of a linear code are at least this high, and higher where the type is large (our choice: a hand scanner is held askew).
const LEAST_BARS_UM: u32 = 8_000;
const MOST_BARS_UM: u32 = 12_000;

/// Makes the groups of one label in one set of sizes.
pub struct Parts<'a> {
    measures: &'a Measures<'a>,
    passages: &'a Passages,
    linear: Option<&'a Linear>,
    step: &'a Step,
    dpi: Dpi,
    mode: Mode,
}

/// A linear code at the size it is printed in.
#[derive(Debug, Clone)]
pub struct Linear {
    /// Its bars.
    pub code: Arc<Ean13>,
    /// Dots along a module.
    pub dots: i32,
}

impl<'a> Parts<'a> {
    /// Groups of a label at one step of sizes.
    pub const fn new(
        measures: &'a Measures<'a>,
        linear: Option<&'a Linear>,
        step: &'a Step,
        dpi: Dpi,
        mode: Mode,
    ) -> Self {
        Self { measures, passages: measures.passages(), linear, step, dpi, mode }
    }

    /// Whether the label says anything of a group.
    pub fn says(&self, group: Group) -> bool {
        let has = |part| self.passages.has(part);
        match group {
            Group::Heading => has(Part::Heading),
            Group::Name => has(Part::Name),
            Group::Statements => has(Part::Statements),
            Group::Fish => has(Part::Species) || has(Part::Origin),
            Group::Lot => has(Part::Lot) || has(Part::Cut) || has(Part::Received),
            Group::Band => has(Part::UseBy),
            Group::Prices => has(Part::Price) || has(Part::UnitPrice) || has(Part::NetWeight),
            Group::Code => has(Part::TrayCode),
            Group::Shop => has(Part::Shop),
            Group::SmallPrint => has(Part::SmallPrint),
            Group::Linear => self.linear.is_some(),
        }
    }

    /// A group in a column; without height where the label does not say it.
    pub fn make(&self, group: Group, width: i32, align: Align) -> Made {
        match group {
            Group::Heading => self.heading(width),
            Group::Name => {
                let name = self.headline(Part::Name, width, self.step.name_um, align, NAME_LINES)?;
                // What follows is small: without some white of its own the name would sit on it.
                let height = name.height + self.leading().max(self.dots(self.step.gap_um / 3));
                Ok(Block { height, ..name })
            }
            Group::Statements => self.running(Part::Statements, width, align),
            Group::Fish => {
                let species = self.running(Part::Species, width, align)?;
                let origin = self.running(Part::Origin, width, align)?;
                Ok(stack([species, origin], self.leading()))
            }
            Group::Lot => self.lot_and_days(width, align),
            Group::Band => self.use_by_band(width),
            Group::Prices => self.prices(width),
            Group::Code => self.code(width, align),
            Group::Shop => self.running(Part::Shop, width, align),
            Group::SmallPrint => self.running(Part::SmallPrint, width, align),
            Group::Linear => self.linear(width),
        }
    }

    /// What it is for, white on black, where it is not for sale.
    fn heading(&self, width: i32) -> Made {
        if !self.passages.has(Part::Heading) {
            return Ok(Block::default());
        }
        let pad = (self.dots(700), self.dots(500));
        let inner = width - 2 * pad.0;
        let size = self.largest(Part::Heading, inner, self.step.date_um)?;
        let content = self.one(Part::Heading, Setting { ink: Ink::White, ..self.setting(size, Align::Left) }, inner)?;
        Ok(boxed(self.mode, Part::Heading, Shape::Bar, content, width, pad))
    }

    /// The use-by over the whole column with the storage condition it depends on: white on black for the customer, framed for the house.
    fn use_by_band(&self, width: i32) -> Made {
        let for_sale = self.passages.template().is_for_sale();
        let border = self.border();
        let pad = if for_sale {
            (self.dots(900), self.dots(650))
        } else {
            (border + self.dots(600), border + self.dots(450))
        };
        let (shape, ink) = if for_sale { (Shape::Bar, Ink::White) } else { (Shape::Frame(border), Ink::Black) };
        let inner = width - 2 * pad.0;
        let inked = |size, align| Setting { ink, ..self.setting(size, align) };
        let (caption, storage) = (self.body(Part::Caption, Face::Bold), self.body(Part::Storage, Face::Bold));
        let heading = self.one(Part::Caption, inked(caption, Align::Left), inner)?;
        // A date is never broken: half of one is read as another.
        let size = self.largest(Part::UseBy, inner, self.step.date_um)?;
        let date = self.one(Part::UseBy, inked(size, Align::Left), inner)?;
        let beside = self.wide(Part::Caption, caption) + self.dots(1_500) + self.wide(Part::Storage, storage) <= inner;
        let gap = self.leading() + self.dots(350);
        let content = if beside {
            let storage = self.one(Part::Storage, inked(storage, Align::Right), inner)?;
            stack([side_by_side(heading, storage, |block| block.first_baseline), date], gap)
        } else {
            stack([heading, date, self.one(Part::Storage, inked(storage, Align::Left), inner)?], gap)
        };
        Ok(boxed(self.mode, Part::UseBy, shape, content, width, pad))
    }

    /// Weights and prices; after a markdown in a frame under its reason and the old price.
    fn prices(&self, width: i32) -> Made {
        if self.passages.template() != Template::Markdown {
            return self.weight_and_price(width);
        }
        let border = self.border();
        let pad = (border + self.dots(650), border + self.dots(500));
        let inner = width - 2 * pad.0;
        let (bold, regular) = (self.body(Part::Reason, Face::Bold), self.body(Part::OldPrice, Face::Regular));
        let struck = Setting { struck: true, ..self.setting(regular, Align::Right) };
        let old = self.one(Part::OldPrice, struck, inner)?;
        let beside = inner - self.wide(Part::OldPrice, regular) - self.dots(1_500);
        let reason = self.setting(bold, Align::Left);
        let head = match self.one(Part::Reason, reason, beside) {
            Ok(reason) => side_by_side(reason, old, |block| block.first_baseline),
            Err(_) => stack([self.one(Part::Reason, reason, inner)?, old], self.leading()),
        };
        let content = stack([head, self.weight_and_price(inner)?], self.leading() + self.dots(500));
        Ok(boxed(self.mode, Part::Reason, Shape::Frame(border), content, width, pad))
    }

    /// Net weight and unit price at the left, the price large at the right, the last lines on one baseline; below each other where they
    /// do not fit so. What is sold by weight has its unit price large; what is not sold, its weight.
    fn weight_and_price(&self, width: i32) -> Made {
        let (large, small) = if self.passages.has(Part::Price) {
            (Part::Price, [(Part::NetWeight, Face::Bold), (Part::UnitPrice, Face::Regular)])
        } else if self.passages.has(Part::UnitPrice) {
            (Part::UnitPrice, [(Part::NetWeight, Face::Bold), (Part::ByWeight, Face::Regular)])
        } else {
            return self.headline(Part::NetWeight, width, self.step.date_um, Align::Left, 1);
        };
        let gap = self.leading() + self.dots(250);
        let [(first, first_face), (second, second_face)] = small;
        let (first_size, second_size) = (self.body(first, first_face), self.body(second, second_face));
        let first_line = self.one(first, self.setting(first_size, Align::Left), width)?;
        let second_line = self.one(second, self.setting(second_size, Align::Left), width)?;
        let priced = |size| self.one(large, self.setting(size, Align::Right), width);
        let beside = |taken: i32| self.largest(large, width - taken - self.dots(1_500), self.step.price_um).ok();
        let (first_wide, second_wide) = (self.wide(first, first_size), self.wide(second, second_size));
        let wanted = self.dpi.dots_within(self.step.price_um * LEAST_PRICE_PERCENT / 100);
        let both = beside(first_wide.max(second_wide));
        if let Some(size) = both.filter(|size| size.x_height >= wanted || first_wide <= second_wide) {
            let small = stack([first_line, second_line], gap);
            return Ok(side_by_side(small, priced(size)?, |block| block.last_baseline));
        }
        // A long first line would squeeze the price, which is read from further away: it goes above.
        let below = match beside(second_wide) {
            Some(size) => side_by_side(second_line, priced(size)?, |block| block.last_baseline),
            None => stack([second_line, priced(self.largest(large, width, self.step.price_um)?)?], gap),
        };
        Ok(stack([first_line, below], gap))
    }

    /// The tray code, as large as the column allows; of a tub larger, since it is typed at every sale out of it.
    fn code(&self, width: i32, align: Align) -> Made {
        let most = match self.passages.template() {
            Template::Tub => self.step.tray_code_um * 5 / 4,
            _ => self.step.tray_code_um,
        };
        self.headline(Part::TrayCode, width, most, align, 1)
    }

    /// Lots and days: on one line where they fit beside each other and the column is flush left.
    fn lot_and_days(&self, width: i32, align: Align) -> Made {
        let days = [Part::Cut, Part::Received].map(|part| (part, self.fine(part)));
        let fine = self.fine(Part::Lot);
        let day_width = days.iter().map(|(part, size)| self.wide(*part, *size)).sum::<i32>();
        let said = days.iter().filter(|(part, _)| self.passages.has(*part)).count();
        if align == Align::Left && said == 1 && self.wide(Part::Lot, fine) + self.dots(1_500) + day_width <= width {
            let lot = self.one(Part::Lot, self.setting(fine, Align::Left), width)?;
            let [cut, received] = days.map(|(part, size)| self.one(part, self.setting(size, Align::Right), width));
            let day = stack([cut?, received?], 0);
            return Ok(side_by_side(lot, day, |block| block.first_baseline));
        }
        let lot = self.running(Part::Lot, width, align)?;
        let [cut, received] = days.map(|(part, _)| self.running(part, width, align));
        Ok(stack([lot, cut?, received?], self.leading()))
    }

    /// The linear code with its digits under it; nothing without one.
    fn linear(&self, width: i32) -> Made {
        let Some(Linear { code, dots }) = self.linear else { return Ok(Block::default()) };
        let across = code.width(*dots);
        if across > width {
            return Err(Part::Linear);
        }
        let bars = self.dpi.dots_at_least((self.step.body_um * 6).clamp(LEAST_BARS_UM, MOST_BARS_UM));
        // A digit is as wide as its modules at most: figures are a little wider than the letter x is high.
        let size = Type { face: Face::Regular, x_height: (7 * dots * 9 / 11).max(1) };
        let fonts = self.measures.fonts();
        let digit = fonts.extent(size, "0123456789");
        let above = self.dots(ABOVE_BARS_UM);
        let baseline = above + bars + dots + digit.ascent;
        let height = (baseline + digit.descent).max(above + bars + GUARD_DEPTH * dots);
        let mut block = Block { height, first_baseline: baseline, last_baseline: baseline, marks: Vec::new() };
        if self.mode == Mode::Heights {
            return Ok(block);
        }
        let rect = Rect { x: 0, y: above, width: across, height: height - above };
        let shape = Shape::Linear(Arc::clone(code), *dots, bars + GUARD_DEPTH * dots);
        block.marks.push(Mark { part: Part::Linear, rect, shape });
        for (figure, place) in code.places_of_digits() {
            let text = figure.to_string();
            let extent = fonts.extent(size, &text);
            let room = (place.end - place.start) * dots;
            let x = (QUIET_LEFT + place.start) * dots + (room - (extent.right - extent.left)) / 2;
            let rect = Rect {
                x,
                y: above + bars + dots,
                width: extent.right - extent.left,
                height: digit.ascent + digit.descent,
            };
            let (pen, baseline) = (-extent.left, digit.ascent);
            let shape = Shape::Line { size, text, pen, baseline, ink: Ink::Black, struck: false };
            block.marks.push(Mark { part: Part::Linear, rect, shape });
        }
        Ok(block)
    }

    /// One bold line as large as the width allows, or else, where the part may have more lines, a few smaller ones.
    fn headline(&self, part: Part, width: i32, most_um: u32, align: Align, most_lines: usize) -> Made {
        if !self.passages.has(part) {
            return Ok(Block::default());
        }
        let setting = |size| self.setting(size, align);
        let one_line = self.largest(part, width, most_um);
        let least = self.dpi.dots_within(most_um * 7 / 10);
        match one_line {
            Ok(size) if most_lines == 1 || size.x_height >= least => self.one(part, setting(size), width),
            _ => {
                let size = self.largest_in(part, width, most_um * 8 / 10, most_lines).ok_or(part)?;
                let leading = self.leading().max(size.x_height / 4);
                self.one(part, Setting { leading, ..setting(size) }, width)
            }
        }
    }

    /// Running text of its own size; nothing where the label does not say it.
    fn running(&self, part: Part, width: i32, align: Align) -> Made {
        let size = self.running_size(part);
        self.one(part, Setting { fit: Fit::Running, ..self.setting(size, align) }, width)
    }

    fn running_size(&self, part: Part) -> Type {
        match part {
            Part::Statements => self.body(part, Face::Bold),
            Part::Lot | Part::Cut | Part::Received | Part::SmallPrint => self.fine(part),
            _ => self.body(part, Face::Regular),
        }
    }

    fn one(&self, part: Part, setting: Setting, width: i32) -> Made {
        let text = &self.passages.get(part).text;
        if text.is_empty() {
            return Ok(Block::default());
        }
        let measured = self.measures.at(part, setting.size);
        lines(self.measures.fonts(), self.mode, part, setting, (text, &measured), width).ok_or(part)
    }

    /// The largest bold size at which the text is one line of the width.
    fn largest(&self, part: Part, width: i32, most_um: u32) -> Result<Type, Part> {
        let (least, most) = self.range(part, most_um);
        let bold = |x_height| Type { face: Face::Bold, x_height };
        let wide = |x_height| self.wide(part, bold(x_height));
        let all = wide(most);
        if all <= width {
            return Ok(bold(most));
        }
        if most == least {
            return Err(part);
        }
        // A text is nearly as much wider as it is larger: the guess is off by a dot or two at most.
        let guess = i64::from(most) * i64::from(width.max(0)) / i64::from(all.max(1));
        let mut size = i32::try_from(guess).unwrap_or(least).clamp(least, most - 1);
        while size + 1 < most && wide(size + 1) <= width {
            size += 1;
        }
        while size > least && wide(size) > width {
            size -= 1;
        }
        if wide(size) <= width { Ok(bold(size)) } else { Err(part) }
    }

    /// The largest bold size at which the text has few enough lines, by halving.
    fn largest_in(&self, part: Part, width: i32, most_um: u32, most_lines: usize) -> Option<Type> {
        let (least, most) = self.range(part, most_um);
        let bold = |x_height| Type { face: Face::Bold, x_height };
        let fits = |x_height| {
            let count = self.measures.at(part, bold(x_height)).count(width);
            count.is_some_and(|count| count <= most_lines)
        };
        if fits(most) {
            return Some(bold(most));
        }
        if !fits(least) {
            return None;
        }
        let (mut fitting, mut too_large) = (least, most);
        while too_large - fitting > 1 {
            let middle = fitting + (too_large - fitting) / 2;
            *(if fits(middle) { &mut fitting } else { &mut too_large }) = middle;
        }
        Some(bold(fitting))
    }

    /// From the least the rules allow up to the most the step gives, in dots.
    fn range(&self, part: Part, most_um: u32) -> (i32, i32) {
        let least = self.least(self.passages.get(part).least_um).max(1);
        (least, self.dpi.dots_within(most_um).max(least))
    }

    /// Dots one line of the text takes; 0 where the label does not say it.
    fn wide(&self, part: Part, size: Type) -> i32 {
        if self.passages.has(part) { self.measures.at(part, size).wide() } else { 0 }
    }

    fn setting(&self, size: Type, align: Align) -> Setting {
        Setting { size, align, fit: Fit::Tight, leading: self.leading(), ink: Ink::Black, struck: false }
    }

    fn body(&self, part: Part, face: Face) -> Type {
        Type { face, x_height: self.least(self.step.body_um.max(self.passages.get(part).least_um)) }
    }

    fn fine(&self, part: Part) -> Type {
        let x_height = self.least(self.step.fine_um.max(self.passages.get(part).least_um));
        Type { face: Face::Regular, x_height }
    }

    fn border(&self) -> i32 {
        self.dots(250).max(2)
    }

    fn leading(&self) -> i32 {
        self.dots(self.step.leading_um)
    }

    fn dots(&self, um: u32) -> i32 {
        self.dpi.dots_within(um)
    }

    fn least(&self, um: u32) -> i32 {
        self.dpi.dots_at_least(um)
    }
}
