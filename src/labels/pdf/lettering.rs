//! The letters of a PDF as its own typefaces (ISO 32000-1, 9.6.5, Type 3): the shape of each letter once, with the character it stands
//! for, so that text is a shape to a printer and a text to a reader.

use super::{Numbers, packed};
use crate::labels::outline::{Letter, Letters, Step};
use crate::labels::text::{Face, Fonts, Type};
use ab_glyph::Point;
use pdf_writer::types::{SystemInfo, UnicodeCmap};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Settings, Str};
use std::collections::BTreeMap;

/// Codes of one typeface are a byte; 0 stays free.
const CODES: usize = 255;

/// A letter may stand this far, in dots, from its pen before it is put right: less than a hundredth of a millimetre.
const NEAR_ENOUGH: f32 = 0.05;

/// Unit of the size of a typeface: sizes are dots per so many units of a letter.
const UNITS: f32 = 1_000.0;

/// Height of the letter x in the units of this file. Letters of every family are brought to it, so that a line is of one size to those who
/// search it; that of many families is about as high.
const X_UNITS: f32 = 536.0;

/// Where a letter is found, and how far it moves the pen, in its units.
#[derive(Debug, Clone, Copy)]
struct Cast {
    typeface: usize,
    code: u8,
    advance: f32,
}

/// The letters of one face, as many as codes reach.
struct Typeface {
    face: Face,
    /// Places among the letters; the code is one more than the position here.
    letters: Vec<usize>,
}

/// Letters of one typeface on one line.
pub(super) struct Run {
    pub typeface: usize,
    /// Dots that [`UNITS`] take.
    pub size: f32,
    /// Dots from the start of the line.
    pub pen: i32,
    pub pieces: Vec<Piece>,
    /// Where the pen really is, in dots from `pen`.
    reached: f32,
}

/// What a run is shown with.
pub(super) enum Piece {
    /// Codes to be shown one after the other.
    Letters(Vec<u8>),
    /// The pen goes back by so many thousandths of the size.
    Back(f32),
}

/// Gives letters their codes as they are met, and writes them at the end.
pub(super) struct Lettering<'f> {
    fonts: &'f Fonts,
    letters: Letters,
    casts: BTreeMap<usize, Cast>,
    typefaces: Vec<Typeface>,
}

impl<'f> Lettering<'f> {
    pub fn new(fonts: &'f Fonts) -> Self {
        Self { fonts, letters: Letters::default(), casts: BTreeMap::new(), typefaces: Vec::new() }
    }

    /// A line of text in runs.
    pub fn set(&mut self, size: Type, text: &str) -> Vec<Run> {
        let set = self.letters.set(self.fonts, size, text);
        let ends = set.iter().skip(1).map(|(_, pen)| *pen).chain([self.fonts.measure(size, text)]);
        let scale = size.x_height as f32 / X_UNITS * UNITS;
        let mut runs: Vec<Run> = Vec::new();
        for ((place, pen), end) in set.iter().copied().zip(ends) {
            let cast = self.cast(size.face, place, (end - pen) as f32 * UNITS / scale);
            match runs.last_mut().filter(|run| run.typeface == cast.typeface) {
                Some(run) => run.show(cast, pen),
                None => {
                    let mut run = Run { typeface: cast.typeface, size: scale, pen, pieces: Vec::new(), reached: 0.0 };
                    run.show(cast, pen);
                    runs.push(run);
                }
            }
        }
        runs
    }

    /// A letter moves the pen as far as it did where it was first met; at other sizes whole dots are other units.
    fn cast(&mut self, face: Face, place: usize, advance: f32) -> Cast {
        if let Some(cast) = self.casts.get(&place) {
            return *cast;
        }
        let roomy = |typeface: &Typeface| typeface.face == face && typeface.letters.len() < CODES;
        let number = self.typefaces.iter().position(roomy).unwrap_or(self.typefaces.len());
        if number == self.typefaces.len() {
            self.typefaces.push(Typeface { face, letters: Vec::new() });
        }
        let mut code = 0;
        if let Some(typeface) = self.typefaces.get_mut(number) {
            typeface.letters.push(place);
            code = u8::try_from(typeface.letters.len()).unwrap_or(0);
        }
        let cast = Cast { typeface: number, code, advance: advance.round() };
        self.casts.insert(place, cast);
        cast
    }

    /// Writes all typefaces; gives their numbers in the file.
    pub fn write(&self, pdf: &mut Pdf, numbers: &mut Numbers) -> Vec<Ref> {
        self.typefaces.iter().map(|typeface| self.write_one(pdf, numbers, typeface)).collect()
    }

    fn write_one(&self, pdf: &mut Pdf, numbers: &mut Numbers, typeface: &Typeface) -> Ref {
        let (id, to_unicode) = (numbers.next(), numbers.next());
        let cast: Vec<(&Letter, Cast, Ref)> = typeface
            .letters
            .iter()
            .filter_map(|place| Some((self.letters.at(*place)?, *self.casts.get(place)?, numbers.next())))
            .collect();
        let names: Vec<String> = cast.iter().map(|(_, cast, _)| format!("c{}", cast.code)).collect();
        let mut font = pdf.type3_font(id);
        font.bbox(bounds(cast.iter().flat_map(|(letter, ..)| brought(letter))));
        font.matrix([1.0 / UNITS, 0.0, 0.0, 1.0 / UNITS, 0.0, 0.0]);
        let mut shapes = font.char_procs();
        for (name, (.., shape)) in names.iter().zip(&cast) {
            shapes.pair(Name(name.as_bytes()), *shape);
        }
        shapes.finish();
        font.encoding_custom().differences().consecutive(1, names.iter().map(|name| Name(name.as_bytes())));
        font.first_char(1).last_char(cast.last().map_or(1, |(_, cast, _)| cast.code));
        font.widths(cast.iter().map(|(_, cast, _)| cast.advance));
        font.resources().finish();
        font.to_unicode(to_unicode);
        font.finish();
        packed(pdf, to_unicode, &meanings(&cast));
        for (letter, cast, shape) in &cast {
            packed(pdf, *shape, &drawn(letter, *cast));
        }
        id
    }
}

impl Run {
    fn show(&mut self, cast: Cast, pen: i32) {
        let off = self.reached - (pen - self.pen) as f32;
        if off.abs() > NEAR_ENOUGH {
            let back = (off * UNITS / self.size).round();
            self.pieces.push(Piece::Back(back));
            self.reached -= back * self.size / UNITS;
        }
        match self.pieces.last_mut() {
            Some(Piece::Letters(codes)) => codes.push(cast.code),
            _ => self.pieces.push(Piece::Letters(vec![cast.code])),
        }
        self.reached += cast.advance * self.size / UNITS;
    }
}

/// Which character each code stands for. Every kind of space is found as the one on the keyboard.
fn meanings(cast: &[(&Letter, Cast, Ref)]) -> Vec<u8> {
    let system = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"UCS"), supplement: 0 };
    let mut map = UnicodeCmap::new(Name(b"Adobe-Identity-UCS"), system);
    for (letter, cast, _) in cast {
        map.pair(cast.code, if letter.steps.is_empty() { ' ' } else { letter.character });
    }
    map.finish().into_vec()
}

/// A letter's shape. It is announced as one that brings its colour (`d0`) and then names none: so viewers draw it where it stands, and
/// do not keep a picture of it to be laid down on the nearest dot, as they do with mere shapes (`d1`).
fn drawn(letter: &Letter, cast: Cast) -> Vec<u8> {
    let mut content = Content::with_settings(Settings { pretty: false });
    content.start_color_glyph(cast.advance);
    let mut pen = Point::default();
    for step in brought(letter) {
        match step {
            Step::Move(to) => content.move_to(to.x.round(), to.y.round()),
            Step::Line(to) => content.line_to(to.x.round(), to.y.round()),
            // PDF has no curve with one control point; this one is the same curve.
            Step::Quad(control, to) => cubic(&mut content, towards(pen, control), towards(to, control), to),
            Step::Cubic(first, second, to) => cubic(&mut content, first, second, to),
            Step::Close => content.close_path(),
        };
        pen = match step {
            Step::Move(to) | Step::Line(to) | Step::Quad(_, to) | Step::Cubic(_, _, to) => to,
            Step::Close => pen,
        };
    }
    if !letter.steps.is_empty() {
        content.fill_nonzero();
    }
    content.finish().into_vec()
}

/// A letter's steps in the units of this file.
fn brought(letter: &Letter) -> impl Iterator<Item = Step> {
    let scale = X_UNITS / letter.x_units;
    let point = move |point: Point| Point { x: point.x * scale, y: point.y * scale };
    letter.steps.iter().map(move |step| match *step {
        Step::Move(to) => Step::Move(point(to)),
        Step::Line(to) => Step::Line(point(to)),
        Step::Quad(control, to) => Step::Quad(point(control), point(to)),
        Step::Cubic(first, second, to) => Step::Cubic(point(first), point(second), point(to)),
        Step::Close => Step::Close,
    })
}

/// In whole units, which are short to write; half of one shows nowhere.
fn cubic(content: &mut Content, first: Point, second: Point, to: Point) -> &mut Content {
    content.cubic_to(first.x.round(), first.y.round(), second.x.round(), second.y.round(), to.x.round(), to.y.round())
}

fn towards(from: Point, control: Point) -> Point {
    Point { x: from.x + (control.x - from.x) * 2.0 / 3.0, y: from.y + (control.y - from.y) * 2.0 / 3.0 }
}

/// A box around all points, control points included.
fn bounds(steps: impl Iterator<Item = Step>) -> Rect {
    let points = steps.flat_map(|step| match step {
        Step::Move(to) | Step::Line(to) => vec![to],
        Step::Quad(control, to) => vec![control, to],
        Step::Cubic(first, second, to) => vec![first, second, to],
        Step::Close => Vec::new(),
    });
    points.fold(Rect::new(0.0, 0.0, 0.0, 0.0), |around, point| Rect {
        x1: around.x1.min(point.x.floor()),
        y1: around.y1.min(point.y.floor()),
        x2: around.x2.max(point.x.ceil()),
        y2: around.y2.max(point.y.ceil()),
    })
}
