//! One typeface: its file, what its characters measure in font units, and the picture of a character at a size. What is set is decided in
//! `text`.

use std::collections::HashMap;
use std::sync::{PoisonError, RwLock};

use ab_glyph::{Font, FontArc, Outline, Point, PxScale};

use super::bitmap::{Bitmap, Ink};

/// Nearly all text lies among the first characters of Unicode: they have their place in tables.
pub const EARLY_CHARACTERS: u32 = 0x180;

/// Up to this x-height each glyph is nudged so that its stems fall on dots.
const NUDGED_UP_TO: i32 = 20;

/// The furthest a nudge moves an edge to the left and to the right, in dots, and the share by which it stretches.
const NUDGE_LEFT: f32 = 0.375;
const NUDGE_RIGHT: f32 = 0.5;
const NUDGE_STRETCH: f32 = 0.04;

/// What a character measures, in font units from the pen's place on the baseline.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Units {
    advance: f32,
    left: f32,
    right: f32,
    top: f32,
    bottom: f32,
    is_space: bool,
}

/// The same in whole dots at a size. No dot of the character's picture lies outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Metrics {
    /// From this pen to the next.
    pub advance: i16,
    /// First column with ink; negative where it hangs out to the left.
    pub left: i16,
    /// First column after the ink.
    pub right: i16,
    /// Rows above the baseline.
    pub ascent: i16,
    /// Rows below the baseline.
    pub descent: i16,
}

/// One character ready to be laid down.
#[derive(Debug)]
pub struct Glyph {
    /// Its dots.
    pub bits: Bitmap,
    /// Columns from the pen to the first.
    pub left: i32,
    /// Rows from the baseline up to the first.
    pub top: i32,
}

/// A typeface with what measuring asks for again and again.
pub struct Cast {
    font: FontArc,
    /// Height of the letter x in font units.
    x_units: f32,
    early: Vec<Option<Units>>,
    late: RwLock<HashMap<char, Option<Units>>>,
}

impl Cast {
    /// A typeface of a file; none without a letter x.
    pub fn new(font: FontArc) -> Option<Self> {
        let bounds = font.outline(font.glyph_id('x'))?.bounds;
        let x_units = bounds.max.y.abs().max(bounds.min.y.abs());
        let mut cast = Self { font, x_units, early: Vec::new(), late: RwLock::default() };
        cast.early =
            (0..EARLY_CHARACTERS).map(|point| char::from_u32(point).and_then(|c| cast.read_units(c))).collect();
        (x_units > 0.0).then_some(cast)
    }

    /// What a character measures; none where there is no glyph that shows something.
    pub fn units(&self, character: char) -> Option<Units> {
        let early = usize::try_from(u32::from(character)).ok().and_then(|point| self.early.get(point));
        if let Some(units) = early {
            return *units;
        }
        if let Some(units) = self.late.read().unwrap_or_else(PoisonError::into_inner).get(&character) {
            return *units;
        }
        let units = self.read_units(character);
        self.late.write().unwrap_or_else(PoisonError::into_inner).insert(character, units);
        units
    }

    fn read_units(&self, character: char) -> Option<Units> {
        let id = self.font.glyph_id(spacing_like(character));
        let advance = self.font.h_advance_unscaled(id);
        if is_space(character) {
            return Some(Units { advance, is_space: true, ..Units::default() });
        }
        let bounds = self.font.outline(id).filter(|_| id.0 != 0)?.bounds;
        let (left, right) = (bounds.min.x.min(bounds.max.x), bounds.min.x.max(bounds.max.x));
        let (bottom, top) = (bounds.min.y.min(bounds.max.y), bounds.min.y.max(bounds.max.y));
        Some(Units { advance, left, right, top, bottom, is_space: false })
    }

    /// Font units in whole dots. A dot is set where a glyph covers more than half of it, hence the halves.
    pub fn metrics(&self, units: Units, x_height: i32) -> Metrics {
        let scale = self.scale(x_height);
        let advance = units.advance * scale;
        // A space rounded down lets words run together at few dots.
        let advance = if units.is_space { advance.ceil() } else { advance.round() } as i16;
        if units.is_space {
            return Metrics { advance, ..Metrics::default() };
        }
        let nudged = x_height <= NUDGED_UP_TO;
        let (stretch, to_left, to_right) =
            if nudged { (NUDGE_STRETCH, NUDGE_LEFT, NUDGE_RIGHT) } else { (0.0, 0.0, 0.0) };
        let (left, right) = (units.left * scale, units.right * scale);
        let left = left - left.abs() * stretch - to_left;
        let right = right + right.abs() * stretch + to_right;
        Metrics {
            advance,
            left: (left + 0.5).floor() as i16,
            right: (right - 0.5).ceil() as i16,
            ascent: (units.top * scale - 0.5).ceil().max(0.0) as i16,
            descent: (-units.bottom * scale - 0.5).ceil().max(0.0) as i16,
        }
    }

    /// Dots of a font unit.
    pub fn scale(&self, x_height: i32) -> f32 {
        x_height as f32 / self.x_units
    }

    /// The outline of a character in font units; none of a space.
    pub fn outline(&self, character: char) -> Option<Outline> {
        self.font.outline(self.font.glyph_id(character))
    }

    /// The picture of a character; without dots for a space.
    pub fn glyph(&self, x_height: i32, character: char) -> Glyph {
        let empty = Glyph { bits: Bitmap::new(0, 0), left: 0, top: 0 };
        if is_space(character) {
            return empty;
        }
        let mut best: Option<(f32, Raster)> = None;
        for (stretch, shift) in nudges(x_height) {
            let Some(raster) = self.rasterise(x_height, character, stretch, shift) else { continue };
            let cost = raster.doubt + 0.4 * shift.abs() + 20.0 * (stretch - 1.0).abs();
            if best.as_ref().is_none_or(|(lowest, _)| cost < *lowest) {
                best = Some((cost, raster));
            }
        }
        best.map_or(empty, |(_, raster)| raster.glyph)
    }

    fn rasterise(&self, x_height: i32, character: char, stretch: f32, shift: f32) -> Option<Raster> {
        let font = &self.font;
        // PxScale is the height from ascender to descender, not the em; the height of x is what becomes whole dots.
        let height = self.scale(x_height) * font.height_unscaled();
        let scale = PxScale { x: height * stretch, y: height };
        let glyph = font.glyph_id(character).with_scale_and_position(scale, Point { x: shift, y: 0.0 });
        let outlined = font.outline_glyph(glyph)?;
        let corner = outlined.px_bounds().min;
        let mut dots: Vec<(i32, i32)> = Vec::new();
        let mut doubt = 0.0;
        outlined.draw(|x, y, coverage| {
            doubt += coverage.min(1.0 - coverage).max(0.0);
            if coverage > 0.5 {
                dots.extend(i32::try_from(x).ok().zip(i32::try_from(y).ok()));
            }
        });
        // The outline's bounds may hold rows and columns that no dot reached.
        let (left, right) = least_and_most(dots.iter().map(|(x, _)| *x))?;
        let (top, bottom) = least_and_most(dots.iter().map(|(_, y)| *y))?;
        let mut bits = Bitmap::new(right - left + 1, bottom - top + 1);
        for (x, y) in dots {
            bits.set(x - left, y - top, Ink::Black);
        }
        Some(Raster { glyph: Glyph { bits, left: corner.x as i32 + left, top: -(corner.y as i32) - top }, doubt })
    }
}

struct Raster {
    glyph: Glyph,
    /// Sum over all dots of how far each is from a clear black or white.
    doubt: f32,
}

/// Whether a character is white.
pub const fn is_space(character: char) -> bool {
    matches!(character, ' ' | '\u{A0}' | '\u{2007}' | '\u{2009}' | '\u{202F}' | '\u{3000}')
}

/// Narrow and figure spaces are not in every typeface; each takes the width of a character that is.
const fn spacing_like(character: char) -> char {
    match character {
        '\u{2009}' | '\u{202F}' => '.',
        '\u{2007}' => '0',
        '\u{A0}' | '\u{3000}' => ' ',
        other => other,
    }
}

/// The small stretches and shifts tried for a glyph. At few dots an unlucky phase makes one stem of a letter twice as thick as the other;
/// the phase with the fewest half-covered dots does not.
fn nudges(x_height: i32) -> Vec<(f32, f32)> {
    if x_height > NUDGED_UP_TO {
        return vec![(1.0, 0.0)];
    }
    let shifts = [0.0, -0.125, 0.125, -0.25, 0.25, -NUDGE_LEFT, 0.375, NUDGE_RIGHT];
    let stretches = [1.0, 0.98, 1.02, 1.0 - NUDGE_STRETCH, 1.0 + NUDGE_STRETCH];
    stretches.into_iter().flat_map(|stretch| shifts.into_iter().map(move |shift| (stretch, shift))).collect()
}

fn least_and_most(values: impl Iterator<Item = i32> + Clone) -> Option<(i32, i32)> {
    Some((values.clone().min()?, values.max()?))
}
