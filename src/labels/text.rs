//! Type: the two typefaces, glyphs as bitmaps, measuring and breaking lines. It sets what it is given and knows no
//! fields. Sizes are x-heights in whole dots, so that baseline and x-height always fall on dot edges.
//!
//! The typefaces are Noto Sans Regular and Bold, SIL Open Font License 1.1.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock, PoisonError, RwLock};

use ab_glyph::{Font, FontArc, Outline, Point, PxScale};

use super::bitmap::{Bitmap, Ink};

/// Which of the two typefaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Face {
    /// Running text.
    Regular,
    /// Names, prices, dates.
    Bold,
}

/// A typeface at a size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Type {
    /// The typeface.
    pub face: Face,
    /// Height of the letter x, in dots.
    pub x_height: i32,
}

/// One character ready to be laid down.
#[derive(Debug)]
pub struct Glyph {
    bits: Bitmap,
    left: i32,
    top: i32,
}

/// What a piece of text takes, in dots, relative to the start of its baseline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Extent {
    /// First column with ink; negative where a glyph hangs out to the left.
    pub left: i32,
    /// First column after the ink, or the pen's end if that is further.
    pub right: i32,
    /// Rows above the baseline.
    pub ascent: i32,
    /// Rows below the baseline.
    pub descent: i32,
}

/// A typeface with what measuring asks for again and again.
struct Cast {
    font: FontArc,
    /// Height of the letter x in font units.
    x_units: f32,
    /// Advance in font units of the first characters of Unicode, where nearly all text lies.
    advances: Vec<f32>,
}

impl Cast {
    fn new(font: FontArc) -> Option<Self> {
        let bounds = font.outline(font.glyph_id('x'))?.bounds;
        let x_units = bounds.max.y.abs().max(bounds.min.y.abs());
        let early = (0..EARLY_CHARACTERS).map(|point| char::from_u32(point).unwrap_or(' '));
        let advances = early.map(|character| font.h_advance_unscaled(font.glyph_id(spacing_like(character)))).collect();
        (x_units > 0.0).then_some(Self { font, x_units, advances })
    }

    fn advance_units(&self, character: char) -> f32 {
        let early = usize::try_from(u32::from(character)).ok().and_then(|point| self.advances.get(point));
        early.copied().unwrap_or_else(|| self.font.h_advance_unscaled(self.font.glyph_id(spacing_like(character))))
    }

    /// Whether there is a glyph that shows something.
    fn shows(&self, character: char) -> bool {
        let id = self.font.glyph_id(character);
        id.0 != 0 && self.font.outline(id).is_some()
    }
}

/// One family: what is set regular, and what is set bold.
struct Family {
    regular: Cast,
    bold: Cast,
}

impl Family {
    const fn cast(&self, face: Face) -> &Cast {
        match face {
            Face::Regular => &self.regular,
            Face::Bold => &self.bold,
        }
    }
}

const EARLY_CHARACTERS: u32 = 0x180;

/// The families labels are set in: the built-in one, then those the shop named, asked in this order for each character.
pub struct Fonts {
    families: Vec<Family>,
    // Rasterising is by far the slowest part of a label, and a shop prints the same few sizes all day.
    glyphs: RwLock<HashMap<(Type, char), Arc<Glyph>>>,
}

impl std::fmt::Debug for Fonts {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Fonts").field("families", &self.families.len()).finish_non_exhaustive()
    }
}

static STANDARD: LazyLock<Fonts> = LazyLock::new(|| Fonts::with(Vec::new()).unwrap_or_else(|_| Fonts::none()));

/// Up to this x-height each glyph is nudged so that its stems fall on dots.
const NUDGED_UP_TO: i32 = 20;

impl Fonts {
    /// The built-in family alone.
    pub fn standard() -> &'static Self {
        &STANDARD
    }

    /// The built-in family and the shop's own files after it; a file serves for regular and bold.
    ///
    /// # Errors
    /// The place in `files` of the first that is no TrueType or OpenType font with a letter x.
    pub fn with(files: Vec<Vec<u8>>) -> Result<Self, usize> {
        let built_in = |bytes: &'static [u8]| FontArc::try_from_slice(bytes).ok().and_then(Cast::new);
        let standard = built_in(notosans::REGULAR_TTF).zip(built_in(notosans::BOLD_TTF));
        let mut families: Vec<Family> = standard.into_iter().map(|(regular, bold)| Family { regular, bold }).collect();
        for (place, file) in files.into_iter().enumerate() {
            let font = FontArc::try_from_vec(file).map_err(|_| place)?;
            let (regular, bold) = Cast::new(font.clone()).zip(Cast::new(font)).ok_or(place)?;
            families.push(Family { regular, bold });
        }
        Ok(Self { families, glyphs: RwLock::default() })
    }

    fn none() -> Self {
        Self { families: Vec::new(), glyphs: RwLock::default() }
    }

    /// Whether a character can be set: it has a glyph, and its script needs no joining or stacking of glyphs.
    pub fn can_set(&self, character: char) -> bool {
        if is_space(character) {
            return true;
        }
        let simple = matches!(u32::from(character),
            0x21..=0x7E | 0xA1..=0xAC | 0xAE..=0x24F | 0x370..=0x52F | 0x1E00..=0x1FFF | 0x2010..=0x2027 | 0x2030..=0x205E
            | 0x2070..=0x209F | 0x20A0..=0x20CF | 0x2100..=0x22FF | 0x25A0..=0x25FF
            // Kana, ideographs and their full-width company stand alone in their squares; U+3099 and U+309A do not.
            | 0x3001..=0x303F | 0x3041..=0x3096 | 0x309B..=0x30FF | 0x31F0..=0x31FF | 0x3400..=0x9FFF | 0xF900..=0xFAFF
            | 0xFF01..=0xFFEE | 0x20000..=0x2FA1F);
        simple && self.families.iter().any(|family| family.regular.shows(character) && family.bold.shows(character))
    }

    /// Width of a line from pen start to pen end, in dots.
    pub fn measure(&self, size: Type, text: &str) -> i32 {
        text.chars().map(|character| self.advance(size, character)).sum()
    }

    /// What the text really covers once it is set.
    pub fn extent(&self, size: Type, text: &str) -> Extent {
        let mut extent = Extent { right: self.measure(size, text), ..Extent::default() };
        for (character, pen) in self.pens(size, text) {
            if let Some(glyph) = self.glyph(size, character).filter(|glyph| glyph.bits.width() > 0) {
                let width = i32::try_from(glyph.bits.width()).unwrap_or(0);
                let height = i32::try_from(glyph.bits.height()).unwrap_or(0);
                extent.left = extent.left.min(pen + glyph.left);
                extent.right = extent.right.max(pen + glyph.left + width);
                extent.ascent = extent.ascent.max(glyph.top);
                extent.descent = extent.descent.max(height - glyph.top);
            }
        }
        extent
    }

    /// Sets text with its pen starting at `x` on the baseline row `baseline`.
    pub fn paint(&self, picture: &mut Bitmap, size: Type, text: &str, x: i32, baseline: i32, ink: Ink) {
        for (character, pen) in self.pens(size, text) {
            if let Some(glyph) = self.glyph(size, character) {
                picture.blit(&glyph.bits, x + pen + glyph.left, baseline - glyph.top, ink);
            }
        }
    }

    /// Each character with the place of the pen before it.
    pub fn pens(&self, size: Type, text: &str) -> impl Iterator<Item = (char, i32)> {
        let mut pen = 0;
        text.chars().map(move |character| {
            let before = pen;
            pen += self.advance(size, character);
            (character, before)
        })
    }

    /// The outline of a character, and the dots one of its units takes at a size; none of a space.
    pub fn outline(&self, size: Type, character: char) -> Option<(Outline, f32)> {
        let cast = self.cast(size.face, character)?;
        let outline = cast.font.outline(cast.font.glyph_id(character))?;
        Some((outline, size.x_height as f32 / cast.x_units))
    }

    /// The first family that has the character, else the first.
    fn cast(&self, face: Face, character: char) -> Option<&Cast> {
        let mut casts = self.families.iter().map(|family| family.cast(face));
        if u32::from(character) < 0x80 || is_space(character) {
            return casts.next();
        }
        let first = casts.next();
        first.filter(|cast| cast.shows(character)).or_else(|| casts.find(|cast| cast.shows(character))).or(first)
    }

    /// Whole dots from one pen to the next, so that a pair of letters looks the same wherever it stands.
    fn advance(&self, size: Type, character: char) -> i32 {
        self.cast(size.face, character).map_or(0, |cast| {
            let dots_per_unit = size.x_height as f32 / cast.x_units;
            let dots = cast.advance_units(character) * dots_per_unit;
            // A space rounded down lets words run together at few dots.
            (if is_space(character) { dots.ceil() } else { dots.round() }) as i32
        })
    }

    fn glyph(&self, size: Type, character: char) -> Option<Arc<Glyph>> {
        let key = (size, character);
        if let Some(glyph) = self.glyphs.read().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Some(Arc::clone(glyph));
        }
        let made = Arc::new(self.make_glyph(size, character)?);
        self.glyphs.write().unwrap_or_else(PoisonError::into_inner).insert(key, Arc::clone(&made));
        Some(made)
    }

    fn make_glyph(&self, size: Type, character: char) -> Option<Glyph> {
        if is_space(character) {
            return Some(Glyph { bits: Bitmap::new(0, 0), left: 0, top: 0 });
        }
        let cast = self.cast(size.face, character)?;
        let mut best: Option<(f32, Raster)> = None;
        for (stretch, shift) in nudges(size) {
            let raster = rasterise(cast, size.x_height, character, stretch, shift)?;
            let cost = raster.doubt + 0.4 * shift.abs() + 20.0 * (stretch - 1.0).abs();
            if best.as_ref().is_none_or(|(lowest, _)| cost < *lowest) {
                best = Some((cost, raster));
            }
        }
        let (_, raster) = best?;
        Some(Glyph { bits: raster.bits, left: raster.left, top: raster.top })
    }
}

fn is_space(character: char) -> bool {
    matches!(character, ' ' | '\u{A0}' | '\u{2007}' | '\u{2009}' | '\u{202F}' | '\u{3000}')
}

/// Narrow and figure spaces are not in every typeface; each takes the width of a character that is.
fn spacing_like(character: char) -> char {
    match character {
        '\u{2009}' | '\u{202F}' => '.',
        '\u{2007}' => '0',
        '\u{A0}' | '\u{3000}' => ' ',
        other => other,
    }
}

/// The small stretches and shifts tried for a glyph. At few dots an unlucky phase makes one stem of a letter twice as
/// thick as the other; the phase with the fewest half-covered dots does not.
fn nudges(size: Type) -> Vec<(f32, f32)> {
    if size.x_height > NUDGED_UP_TO {
        return vec![(1.0, 0.0)];
    }
    let shifts = [0.0, -0.125, 0.125, -0.25, 0.25, -0.375, 0.375, 0.5];
    let stretches = [1.0, 0.98, 1.02, 0.96, 1.04];
    stretches.into_iter().flat_map(|stretch| shifts.into_iter().map(move |shift| (stretch, shift))).collect()
}

struct Raster {
    bits: Bitmap,
    left: i32,
    top: i32,
    /// Sum over all dots of how far each is from a clear black or white.
    doubt: f32,
}

fn rasterise(cast: &Cast, x_height: i32, character: char, stretch: f32, shift: f32) -> Option<Raster> {
    let Cast { font, x_units, .. } = cast;
    // PxScale is the height from ascender to descender, not the em; the height of x is what becomes whole dots.
    let height = x_height as f32 / x_units * font.height_unscaled();
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
    Some(Raster { bits, left: corner.x as i32 + left, top: -(corner.y as i32) - top, doubt })
}

fn least_and_most(values: impl Iterator<Item = i32> + Clone) -> Option<(i32, i32)> {
    Some((values.clone().min()?, values.max()?))
}

#[cfg(test)]
mod tests {
    use super::{Face, Fonts, Type};

    const BODY: Type = Type { face: Face::Regular, x_height: 10 };

    #[test]
    fn a_size_is_the_height_of_x_in_dots() {
        for face in [Face::Regular, Face::Bold] {
            for x_height in 8..40 {
                let size = Type { face, x_height };
                let x = Fonts::standard().glyph(size, 'x').map(|glyph| (glyph.bits.height(), glyph.top));
                assert_eq!(x, Some((x_height as u32, x_height)), "{face:?} {x_height}");
            }
        }
    }

    #[test]
    fn letters_stand_on_the_baseline_and_figures_share_one_width() {
        for character in "AEHhlmnx17".chars() {
            let below = Fonts::standard().extent(BODY, &character.to_string()).descent;
            assert_eq!(below, 0, "{character}");
        }
        assert!(Fonts::standard().extent(BODY, "g").descent > 0);
        assert!(
            "0123456789".chars().all(
                |digit| Fonts::standard().measure(BODY, &digit.to_string()) == Fonts::standard().measure(BODY, "0")
            )
        );
    }

    #[test]
    fn the_two_stems_of_n_are_equally_thick() {
        for x_height in [8, 9, 10, 11, 12, 15] {
            let size = Type { face: Face::Regular, x_height };
            let spans =
                Fonts::standard().glyph(size, 'n').map(|glyph| glyph.bits.spans(x_height - 2)).unwrap_or_default();
            let widths: Vec<i32> = spans.iter().map(|span| span.end - span.start).collect();
            assert_eq!(widths.len(), 2, "{x_height}");
            assert_eq!(widths.first(), widths.last(), "{x_height}");
        }
    }

    #[test]
    fn european_text_can_be_set_and_nothing_is_set_as_a_blank() {
        let text = "Åäöß éèñçøłžŠŁ ŐűĢĶŅ Ελληνικά Кириллица 0–2 °C −18 € £ $ ¥ · × ½ ≤ \u{A0}\u{202F}";
        for character in text.chars() {
            assert!(Fonts::standard().can_set(character), "{character:?}");
        }
        for character in ['鮪', '\n', '\t', '\u{AD}', '\u{200B}', '\u{301}', 'अ', 'ع', '\u{E000}', '🐟'] {
            assert!(!Fonts::standard().can_set(character), "{character:?}");
        }
    }
}
