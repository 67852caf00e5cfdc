//! Type: the families labels are set in, measuring and painting. It sets what it is given and knows no fields. Sizes are x-heights in whole
//! dots, so that baseline and x-height always fall on dot edges.
//!
//! The built-in family is Noto Sans Regular and Bold, SIL Open Font License 1.1.

use std::collections::HashMap;
use std::sync::{Arc, LazyLock, OnceLock, PoisonError, RwLock};

use ab_glyph::{FontArc, Outline};

use super::bitmap::{Bitmap, Ink};
use super::cast::{Cast, EARLY_CHARACTERS, Glyph, Metrics, is_space};

/// Which of the two typefaces of a family.
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

/// What a piece of text takes, in dots, relative to the start of its baseline. Its ink never goes beyond.
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

/// A text measured in one pass, in dots.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Run {
    /// From pen start to pen end.
    pub advance: i32,
    /// How far a glyph hangs out of its advance to the left, at most.
    pub hang_left: i16,
    /// The same to the right.
    pub hang_right: i16,
    /// Rows above the baseline.
    pub ascent: i16,
    /// Rows below the baseline.
    pub descent: i16,
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

/// All that is known of one [`Type`]. Rasterising is by far the slowest part of a label, and a shop prints the same few sizes all day.
struct Case {
    metrics: Vec<Metrics>,
    running: (i32, i32),
    capitals: (i32, i32),
    early: Vec<OnceLock<Box<Glyph>>>,
    late: RwLock<HashMap<char, Arc<Glyph>>>,
}

/// The families labels are set in: the built-in one, then those the shop named, asked in this order for each character.
pub struct Fonts {
    families: Vec<Family>,
    /// Whether each early character can be set.
    settable: Vec<bool>,
    /// By face and x-height.
    cases: [Vec<OnceLock<Box<Case>>>; 2],
}

impl std::fmt::Debug for Fonts {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Fonts").field("families", &self.families.len()).finish_non_exhaustive()
    }
}

/// The largest x-height that is set: 12 mm at 600 dots per inch. Larger ones come out at this.
const LARGEST: usize = 284;

static STANDARD: LazyLock<Fonts> = LazyLock::new(|| Fonts::with(Vec::new()).unwrap_or_else(|_| Fonts::of(Vec::new())));

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
        Ok(Self::of(families))
    }

    fn of(families: Vec<Family>) -> Self {
        let sizes = || (0..=LARGEST).map(|_| OnceLock::new()).collect();
        let mut fonts = Self { families, settable: Vec::new(), cases: [sizes(), sizes()] };
        let early = (0..EARLY_CHARACTERS).map(|point| char::from_u32(point).is_some_and(|c| fonts.find_settable(c)));
        fonts.settable = early.collect();
        fonts
    }

    /// Whether a character can be set: it has a glyph, and its script needs no joining or stacking of glyphs.
    pub fn can_set(&self, character: char) -> bool {
        match self.settable.get(u32::from(character) as usize) {
            Some(known) => *known,
            None => self.find_settable(character),
        }
    }

    fn find_settable(&self, character: char) -> bool {
        if is_space(character) {
            return true;
        }
        let simple = matches!(u32::from(character),
            0x21..=0x7E | 0xA1..=0xAC | 0xAE..=0x24F | 0x370..=0x52F | 0x1E00..=0x1FFF | 0x2010..=0x2027 | 0x2030..=0x205E
            | 0x2070..=0x209F | 0x20A0..=0x20CF | 0x2100..=0x22FF | 0x25A0..=0x25FF
            // Kana, ideographs and their full-width company stand alone in their squares; U+3099 and U+309A do not.
            | 0x3001..=0x303F | 0x3041..=0x3096 | 0x309B..=0x30FF | 0x31F0..=0x31FF | 0x3400..=0x9FFF | 0xF900..=0xFAFF
            | 0xFF01..=0xFFEE | 0x20000..=0x2FA1F);
        let shows = |family: &Family| family.regular.units(character).and(family.bold.units(character)).is_some();
        simple && self.families.iter().any(shows)
    }

    /// Width of a line from pen start to pen end, in dots.
    pub fn measure(&self, size: Type, text: &str) -> i32 {
        let Some(case) = self.case(size) else { return 0 };
        text.chars().map(|character| i32::from(self.metrics(case, size, character).advance)).sum()
    }

    /// What the text covers at most once it is set.
    pub fn extent(&self, size: Type, text: &str) -> Extent {
        let mut extent = Extent::default();
        let Some(case) = self.case(size) else { return extent };
        let mut pen = 0;
        for character in text.chars() {
            let metrics = self.metrics(case, size, character);
            extent.left = extent.left.min(pen + i32::from(metrics.left));
            extent.right = extent.right.max(pen + i32::from(metrics.right));
            extent.ascent = extent.ascent.max(i32::from(metrics.ascent));
            extent.descent = extent.descent.max(i32::from(metrics.descent));
            pen += i32::from(metrics.advance);
        }
        extent.right = extent.right.max(pen);
        extent
    }

    /// Measures a text in one pass.
    pub fn run(&self, size: Type, text: &str) -> Run {
        let mut run = Run::default();
        let Some(case) = self.case(size) else { return run };
        for character in text.chars() {
            let metrics = self.metrics(case, size, character);
            run.advance += i32::from(metrics.advance);
            run.hang_left = run.hang_left.max(-metrics.left);
            run.hang_right = run.hang_right.max(metrics.right - metrics.advance);
            run.ascent = run.ascent.max(metrics.ascent);
            run.descent = run.descent.max(metrics.descent);
        }
        run
    }

    /// Rows above and below the baseline that running text takes whatever its letters are.
    pub fn running_room(&self, size: Type) -> (i32, i32) {
        self.case(size).map_or((0, 0), |case| case.running)
    }

    /// Rows above and below the baseline that capitals take.
    pub fn capital_room(&self, size: Type) -> (i32, i32) {
        self.case(size).map_or((0, 0), |case| case.capitals)
    }

    /// Sets text with its pen starting at `x` on the baseline row `baseline`.
    pub fn paint(&self, picture: &mut Bitmap, size: Type, text: &str, x: i32, baseline: i32, ink: Ink) {
        let Some(case) = self.case(size) else { return };
        let mut pen = x;
        for character in text.chars() {
            let mut lay = |glyph: &Glyph| picture.blit(&glyph.bits, pen + glyph.left, baseline - glyph.top, ink);
            match case.early.get(u32::from(character) as usize) {
                _ if is_space(character) => {}
                Some(place) => lay(place.get_or_init(|| Box::new(self.make_glyph(size, character)))),
                None => lay(&self.late_glyph(case, size, character)),
            }
            pen += i32::from(self.metrics(case, size, character).advance);
        }
    }

    /// Each character with the place of the pen before it.
    pub fn pens(&self, size: Type, text: &str) -> impl Iterator<Item = (char, i32)> {
        let case = self.case(size);
        let mut pen = 0;
        text.chars().map(move |character| {
            let before = pen;
            pen += case.map_or(0, |case| i32::from(self.metrics(case, size, character).advance));
            (character, before)
        })
    }

    /// The outline of a character, and the dots one of its units takes at a size; none of a space.
    pub fn outline(&self, size: Type, character: char) -> Option<(Outline, f32)> {
        let cast = self.cast(size.face, character)?;
        Some((cast.outline(character)?, cast.scale(size.x_height)))
    }

    /// The first family that has the character, else the first.
    fn cast(&self, face: Face, character: char) -> Option<&Cast> {
        let mut casts = self.families.iter().map(|family| family.cast(face));
        let has = |cast: &&Cast| cast.units(character).is_some();
        casts.clone().find(has).or_else(|| casts.next())
    }

    fn case(&self, size: Type) -> Option<&Case> {
        let [regular, bold] = &self.cases;
        let cases = if size.face == Face::Regular { regular } else { bold };
        let place = cases.get(usize::try_from(size.x_height).unwrap_or(0).min(LARGEST))?;
        Some(place.get_or_init(|| Box::new(self.make_case(size))))
    }

    fn make_case(&self, size: Type) -> Case {
        let early = (0..EARLY_CHARACTERS).map(|point| char::from_u32(point).unwrap_or(' '));
        let rows = |text: &str| {
            let metrics = text.chars().map(|character| self.make_metrics(size, character));
            metrics.fold((0, 0), |(up, down): (i32, i32), m| (up.max(m.ascent.into()), down.max(m.descent.into())))
        };
        Case {
            running: rows("lg"),
            capitals: rows("H"),
            metrics: early.map(|character| self.make_metrics(size, character)).collect(),
            early: (0..EARLY_CHARACTERS).map(|_| OnceLock::new()).collect(),
            late: RwLock::default(),
        }
    }

    fn metrics(&self, case: &Case, size: Type, character: char) -> Metrics {
        let early = case.metrics.get(u32::from(character) as usize);
        early.copied().unwrap_or_else(|| self.make_metrics(size, character))
    }

    fn make_metrics(&self, size: Type, character: char) -> Metrics {
        let cast = self.cast(size.face, character);
        cast.and_then(|cast| Some(cast.metrics(cast.units(character)?, size.x_height))).unwrap_or_default()
    }

    fn late_glyph(&self, case: &Case, size: Type, character: char) -> Arc<Glyph> {
        if let Some(glyph) = case.late.read().unwrap_or_else(PoisonError::into_inner).get(&character) {
            return Arc::clone(glyph);
        }
        let made = Arc::new(self.make_glyph(size, character));
        case.late.write().unwrap_or_else(PoisonError::into_inner).insert(character, Arc::clone(&made));
        made
    }

    fn make_glyph(&self, size: Type, character: char) -> Glyph {
        let cast = self.cast(size.face, character);
        let empty = || Glyph { bits: Bitmap::new(0, 0), left: 0, top: 0 };
        cast.map_or_else(empty, |cast| cast.glyph(size.x_height, character))
    }
}

#[cfg(test)]
mod tests {
    use super::{Face, Fonts, Type};

    const BODY: Type = Type { face: Face::Regular, x_height: 10 };

    #[test]
    fn a_size_is_the_height_of_x_in_dots() {
        for face in [Face::Regular, Face::Bold] {
            for x_height in 8..40 {
                let glyph = Fonts::standard().make_glyph(Type { face, x_height }, 'x');
                assert_eq!((glyph.bits.height(), glyph.top), (x_height as u32, x_height), "{face:?} {x_height}");
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
        let width = |digit: char| Fonts::standard().measure(BODY, &digit.to_string());
        assert!("0123456789".chars().all(|digit| width(digit) == width('0')));
    }

    #[test]
    fn no_glyph_has_ink_outside_its_metrics() {
        let text = "ÅÄÖgjpqyfQ@/\\|(){}[],;_WMwmÆŁţŵ€£0123456789·−–½Ωж";
        for face in [Face::Regular, Face::Bold] {
            for x_height in [8, 10, 13, 20, 21, 33] {
                let size = Type { face, x_height };
                for character in text.chars() {
                    let glyph = Fonts::standard().make_glyph(size, character);
                    let metrics = Fonts::standard().make_metrics(size, character);
                    let (width, height) = (glyph.bits.width() as i32, glyph.bits.height() as i32);
                    assert!(glyph.left >= i32::from(metrics.left), "{character} {x_height}");
                    assert!(glyph.left + width <= i32::from(metrics.right), "{character} {x_height}");
                    assert!(glyph.top <= i32::from(metrics.ascent), "{character} {x_height}");
                    assert!(height - glyph.top <= i32::from(metrics.descent), "{character} {x_height}");
                }
            }
        }
    }

    #[test]
    fn the_two_stems_of_n_are_equally_thick() {
        for x_height in [8, 9, 10, 11, 12, 15] {
            let glyph = Fonts::standard().make_glyph(Type { face: Face::Regular, x_height }, 'n');
            let widths: Vec<i32> = glyph.bits.spans(x_height - 2).iter().map(|span| span.end - span.start).collect();
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
