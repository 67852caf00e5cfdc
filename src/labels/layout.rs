//! Where everything stands. The symbol is at the top right with the tray code under it, the name, the use-by and the price at the left, the
//! small print along the foot. It tries sizes and arrangements in a stated order and takes the first in which everything fits; what never
//! fits is refused.

use super::bitmap::{Bitmap, Rect};
use super::block::{Mark, Mode, Shape};
use super::columns::{Arrangement, Columns, Filling, Gaps};
use super::drawing::{Drawing, Stroke};
use super::facts::{FieldCheck, TrayLabel};
use super::linear::{Ean13, dot_choices};
use super::parts::{Linear, Parts};
use super::passages::{Measures, Part, Passages};
use super::refusal::LabelRefusal;
use super::steps::{STEPS, Step};
use super::stock::LabelStock;
use super::symbol::Symbol;
use super::text::Fonts;
use crate::domain::label_fields::{Field, FieldRule};
use std::cmp::Reverse;
use std::sync::Arc;

/// How many steps more generous than the running text the headlines may be.
const HEADLINE_STEPS: usize = 3;

/// The module of the symbol to aim at, 0.495 mm (GS1 General Specifications, target for retail; from memory).
const AIM_MODULE_UM: u32 = 495;

/// The module of the linear code to aim at, 0.330 mm: 100 % (GS1 General Specifications 5.2; from memory).
const AIM_LINEAR_UM: u32 = 330;

/// The length of a symbol's text that cannot well be undercut: a shorter one is not asked for.
const SHORT_CODE_CHARACTERS: usize = 60;

/// A label with everything in its place.
#[derive(Debug, Clone)]
pub struct Layout {
    drawing: Drawing,
    placed: Vec<Placed>,
    symbol_box: Rect,
    dots_per_module: i32,
    step: usize,
    checks: Vec<FieldCheck>,
}

/// What stands where, without saying what it is again: a line of text is told by its stroke.
#[derive(Debug, Clone, Copy)]
struct Placed {
    part: Part,
    rect: Rect,
    kind: Kind,
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    Line { stroke: usize, x_height: i32 },
    Ornament,
    Linear,
}

/// A line of text in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlacedText {
    /// The fields it shows, or shows a line of.
    pub fields: &'static [Field],
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
        let text = |placed: &Placed| {
            let Kind::Line { stroke, x_height } = placed.kind else { return None };
            let Some(Stroke::Text { text, .. }) = self.drawing.strokes.get(stroke) else { return None };
            Some(PlacedText { fields: placed.part.fields(), text: text.clone(), rect: placed.rect, x_height })
        };
        self.placed.iter().filter_map(text).collect()
    }

    /// Bars and frames.
    pub fn ornaments(&self) -> Vec<Rect> {
        self.placed.iter().filter(|placed| matches!(placed.kind, Kind::Ornament)).map(|placed| placed.rect).collect()
    }

    /// The symbol with its quiet zone.
    pub const fn symbol_box(&self) -> Rect {
        self.symbol_box
    }

    /// The linear code with its quiet zones and digits, if the label has one.
    pub fn linear_box(&self) -> Option<Rect> {
        self.placed.iter().find(|placed| matches!(placed.kind, Kind::Linear)).map(|placed| placed.rect)
    }

    /// Dots along one side of a module.
    pub const fn dots_per_module(&self) -> i32 {
        self.dots_per_module
    }

    /// Which of [`STEPS`] was taken.
    pub const fn step(&self) -> usize {
        self.step
    }

    /// The check list: what the label must and may say, how large, and who asks for it, in the order of its rules.
    pub fn checks(&self) -> &[FieldCheck] {
        &self.checks
    }

    /// What is laid down for it.
    pub const fn drawing(&self) -> &Drawing {
        &self.drawing
    }

    /// The picture.
    pub fn paint(&self, fonts: &Fonts) -> Bitmap {
        self.drawing.paint(fonts)
    }
}

/// Finds a place for everything.
///
/// # Errors
/// In this order: missing fields, characters without a glyph, the codes' own refusals, what does not fit.
pub fn lay_out(fonts: &Fonts, label: &TrayLabel, stock: &LabelStock) -> Result<Layout, LabelRefusal> {
    label.check_complete()?;
    check_glyphs(fonts, label)?;
    let symbol = Symbol::encode(label.shown(Field::QrText))?;
    let choices = symbol.module_choices(stock)?;
    let code = match label.shown(Field::Linear) {
        "" => None,
        digits => Some(Arc::new(Ean13::encode(digits)?)),
    };
    let bench = Bench { fonts, stock, modules: symbol.side(1) };
    let passages = Passages::of(label);
    let measures = Measures::new(fonts, &passages);
    // The codes are what the till, the staff and the customer rely on: type shrinks before modules go below the size to aim at.
    let aim = stock.dpi().dots_at_least(AIM_MODULE_UM);
    let (aimed, below): (Vec<i32>, Vec<i32>) = choices.iter().partition(|dots| **dots >= aim);
    for linear in bench.linear_choices(code.as_ref()) {
        for dots_choices in [&aimed, &below] {
            let plan = bench.plan(&measures, linear.as_ref(), dots_choices);
            let laid = plan.and_then(|plan| Some((bench.lay(&measures, linear.as_ref(), &plan)?, plan)));
            if let Some((marks, plan)) = laid {
                return Ok(bench.finish(label, symbol, &plan, marks));
            }
        }
    }
    Err(LabelRefusal::DoesNotFit { fields: bench.too_long(label, code.as_ref()) })
}

/// Refuses the first character that cannot be set.
fn check_glyphs(fonts: &Fonts, label: &TrayLabel) -> Result<(), LabelRefusal> {
    let fields = label.rules.iter().map(|rule| rule.field).filter(|field| *field != Field::QrText);
    let texts = fields.map(|field| (field, label.text(field)));
    let captions = &label.captions;
    let words = [&captions.use_by, &captions.cut_on, &captions.received_on, &captions.lot, &captions.by_weight];
    let words = words.into_iter().map(|text| (Field::Captions, text.as_str()));
    for (field, text) in texts.chain(words).chain([(Field::Captions, label.heading())]) {
        if let Some(character) = text.chars().find(|character| !fonts.can_set(*character)) {
            return Err(LabelRefusal::NoGlyph { character, field: field.as_str() });
        }
    }
    Ok(())
}

/// What was found to fit.
struct Plan {
    step: usize,
    sizes: Step,
    dots_per_module: i32,
    arrangement: Arrangement,
}

/// What all trials of one label share.
struct Bench<'a> {
    fonts: &'a Fonts,
    stock: &'a LabelStock,
    /// Modules along the symbol's side, quiet zone included.
    modules: i32,
}

impl Bench<'_> {
    /// The linear code at the size to aim at, then at the smallest allowed.
    fn linear_choices(&self, code: Option<&Arc<Ean13>>) -> Vec<Option<Linear>> {
        let Some(code) = code else { return vec![None] };
        let allowed = dot_choices(self.stock.dpi());
        let mut sizes = vec![self.stock.dpi().dots_at_least(AIM_LINEAR_UM), *allowed.start()];
        sizes.dedup();
        sizes.into_iter().map(|dots| Some(Linear { code: Arc::clone(code), dots })).collect()
    }

    fn columns(&self, dots: i32, linear: Option<&Linear>) -> Columns {
        Columns::new(self.stock, self.modules * dots, dots, linear)
    }

    fn gaps(&self, step: &Step) -> Gaps {
        Gaps { wide: self.stock.dpi().dots_within(step.gap_um), rule: self.stock.dpi().dots_at_least(180) }
    }

    fn try_step(
        &self,
        measures: &Measures<'_>,
        linear: Option<&Linear>,
        step: &Step,
        dots: i32,
    ) -> Option<Arrangement> {
        let parts = Parts::new(measures, linear, step, self.stock.dpi(), Mode::Heights);
        Filling::new(&parts, &self.columns(dots, linear), self.gaps(step)).arrange()
    }

    /// The first step that fits with the smallest of these modules, the largest module that fits at that step, and the headlines of the
    /// most generous step that still fit then. Steps and modules are searched by halving: what fits at one fits at a smaller one.
    fn plan(&self, measures: &Measures<'_>, linear: Option<&Linear>, modules: &[i32]) -> Option<Plan> {
        let smallest = *modules.last()?;
        let at = |index: usize, dots| {
            let step = STEPS.get(index)?;
            self.try_step(measures, linear, step, dots)
        };
        let (step, arrangement) = first_that_fits(STEPS.len(), |index| at(index, smallest))?;
        let larger = first_that_fits(modules.len(), |index| {
            let dots = *modules.get(index)?;
            if dots == smallest { Some(arrangement) } else { at(step, dots) }
        });
        let (dots_per_module, arrangement) =
            larger.and_then(|(index, found)| Some((*modules.get(index)?, found))).unwrap_or((smallest, arrangement));
        let sizes = *STEPS.get(step)?;
        let plan = Plan { step, sizes, dots_per_module, arrangement };
        let generous = STEPS.iter().take(step).skip(step.saturating_sub(HEADLINE_STEPS));
        let better = generous.into_iter().find_map(|larger| {
            let sizes = sizes.with_headlines_of(larger);
            let arrangement = self.try_step(measures, linear, &sizes, dots_per_module)?;
            Some(Plan { step, sizes, dots_per_module, arrangement })
        });
        Some(better.unwrap_or(plan))
    }

    fn lay(&self, measures: &Measures<'_>, linear: Option<&Linear>, plan: &Plan) -> Option<Vec<Mark>> {
        let parts = Parts::new(measures, linear, &plan.sizes, self.stock.dpi(), Mode::Marks);
        let columns = self.columns(plan.dots_per_module, linear);
        Filling::new(&parts, &columns, self.gaps(&plan.sizes)).lay(&plan.arrangement)
    }

    fn finish(&self, label: &TrayLabel, symbol: Symbol, plan: &Plan, marks: Vec<Mark>) -> Layout {
        let mut strokes = Vec::with_capacity(2 * marks.len());
        let mut placed = Vec::with_capacity(marks.len());
        for mark in marks {
            let kind = match &mark.shape {
                Shape::Line { size, .. } => Kind::Line { stroke: strokes.len(), x_height: size.x_height },
                Shape::Bar | Shape::Frame(_) => Kind::Ornament,
                Shape::Linear(..) => Kind::Linear,
            };
            placed.push(Placed { part: mark.part, rect: mark.rect, kind });
            mark.strokes(&mut strokes);
        }
        let dots_per_module = plan.dots_per_module;
        let symbol_box = self.columns(dots_per_module, None).symbol_box;
        let Rect { x, y, .. } = symbol_box;
        strokes.push(Stroke::Symbol { symbol: Arc::new(symbol), x, y, dots_per_module });
        let dpi = self.stock.dpi();
        let (width, height) = (self.stock.width_dots(), self.stock.height_dots());
        let drawing = Drawing { width, height, dpi, strokes };
        let checks = self.checks(label, &placed);
        Layout { drawing, placed, symbol_box, dots_per_module, step: plan.step, checks }
    }

    fn checks(&self, label: &TrayLabel, placed: &[Placed]) -> Vec<FieldCheck> {
        let set = |field: Field| {
            let shows = |placed: &&Placed| placed.part.fields().contains(&field);
            let heights = placed.iter().filter(shows).filter_map(|placed| match placed.kind {
                Kind::Line { x_height, .. } => Some(x_height),
                Kind::Ornament | Kind::Linear => None,
            });
            self.stock.dpi().um_of(heights.min().unwrap_or(0))
        };
        let check = |rule: &FieldRule| {
            let text = if rule.field == Field::Captions { label.heading() } else { label.text(rule.field) };
            FieldCheck {
                field: rule.field,
                presence: rule.presence,
                required_by: rule.required_by,
                least_um: rule.least_x_height_um,
                set_um: if text.is_empty() { 0 } else { set(rule.field) },
                text: text.to_owned(),
            }
        };
        label.rules.iter().map(check).collect()
    }

    /// The fields to blame when not even the smallest sizes fit: those that help when one alone is shortened; else the longest that help
    /// together; else all, and the stock is too small.
    fn too_long(&self, label: &TrayLabel, code: Option<&Arc<Ean13>>) -> Vec<&'static str> {
        let linear = self.linear_choices(code).pop().flatten();
        let fits = |label: &TrayLabel| self.fits_at_the_smallest(label, linear.as_ref());
        let mut given: Vec<Field> = label.rules.iter().map(|rule| rule.field).collect();
        given.retain(|field| !label.text(*field).is_empty() && *field != Field::QrText);
        let helps = |field: &&Field| fits(&label.shortened(**field));
        let mut alone: Vec<&'static str> = given.iter().filter(helps).map(|field| field.as_str()).collect();
        let short: String = label.text(Field::QrText).chars().take(SHORT_CODE_CHARACTERS).collect();
        let with_short_code = Symbol::encode(&short).map(|symbol| Self { modules: symbol.side(1), ..*self });
        if with_short_code.is_ok_and(|bench| bench.fits_at_the_smallest(label, linear.as_ref())) {
            alone.push(Field::QrText.as_str());
        }
        if !alone.is_empty() {
            return alone;
        }
        // A linear code takes more room than any text.
        given.sort_by_key(|field| (*field != Field::Linear, Reverse(label.text(*field).chars().count())));
        let mut shorter = label.clone();
        let mut together = Vec::new();
        for field in &given {
            shorter = shorter.shortened(*field);
            together.push(field.as_str());
            if fits(&shorter) {
                return together;
            }
        }
        let fields = self.too_wide(label, linear.as_ref());
        if fields.is_empty() { together } else { fields }
    }

    fn fits_at_the_smallest(&self, label: &TrayLabel, linear: Option<&Linear>) -> bool {
        let Some(step) = STEPS.last() else { return false };
        let linear = linear.filter(|_| !label.shown(Field::Linear).is_empty());
        let passages = Passages::of(label);
        let measures = Measures::new(self.fonts, &passages);
        self.try_step(&measures, linear, step, *self.stock.dpi().dots_per_module().start()).is_some()
    }

    /// The fields whose texts fit no column even at the smallest sizes.
    fn too_wide(&self, label: &TrayLabel, linear: Option<&Linear>) -> Vec<&'static str> {
        let Some(step) = STEPS.last() else { return Vec::new() };
        let passages = Passages::of(label);
        let measures = Measures::new(self.fonts, &passages);
        let parts = Parts::new(&measures, linear, step, self.stock.dpi(), Mode::Heights);
        let columns = self.columns(*self.stock.dpi().dots_per_module().start(), linear);
        let parts = Filling::new(&parts, &columns, self.gaps(step)).too_wide();
        parts.iter().flat_map(|part| part.fields()).map(|field| field.as_str()).collect()
    }
}

/// The first place in a row of trials, from the most demanding to the least, that fits, where what fits at one place fits at all after it.
fn first_that_fits<T>(count: usize, fits: impl Fn(usize) -> Option<T>) -> Option<(usize, T)> {
    let mut found = None;
    // Nothing before `first` fits, everything from `end` on does, or was not tried.
    let (mut first, mut end) = (0, count.checked_sub(1)?);
    while first < end {
        let middle = first + (end - first) / 2;
        match fits(middle) {
            Some(value) => (found, end) = (Some((middle, value)), middle),
            None => first = middle + 1,
        }
    }
    found.filter(|(place, _)| *place == first).or_else(|| Some((first, fits(first)?)))
}
