//! What a drawing is made of where it is not dots: letters as closed paths, each taken from its typeface once, and a symbol as the
//! contours of its dark modules. Shared by the writers of PDF and SVG; it knows neither.

use super::text::{Face, Fonts, Type};
use ab_glyph::{Outline, OutlineCurve, Point};
use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

/// One step of a pen around a letter, in units of its typeface, y upwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Step {
    /// Begins a contour here.
    Move(Point),
    /// A straight line to here.
    Line(Point),
    /// A curve with one control point.
    Quad(Point, Point),
    /// A curve with two control points.
    Cubic(Point, Point, Point),
    /// Back to where the contour began.
    Close,
}

/// A letter as a shape.
#[derive(Debug)]
pub(super) struct Letter {
    pub character: char,
    /// Empty for a space.
    pub steps: Vec<Step>,
    /// Height of the letter x in the units of `steps`.
    pub x_units: f32,
}

impl Letter {
    /// Dots one unit takes at a size.
    pub fn dots_per_unit(&self, size: Type) -> f32 {
        size.x_height as f32 / self.x_units
    }
}

/// All letters met so far, in the order they were first met.
#[derive(Debug, Default)]
pub(super) struct Letters {
    places: HashMap<(Face, char), usize>,
    letters: Vec<Letter>,
}

/// A letter of a line: its place among the letters, and its pen in dots from the start of the line.
pub(super) type Set = (usize, i32);

impl Letters {
    /// The letters of a line. What has no shape and is no space is not there.
    pub fn set(&mut self, fonts: &Fonts, size: Type, text: &str) -> Vec<Set> {
        fonts
            .pens(size, text)
            .filter_map(|(character, pen)| Some((self.place_of(fonts, size, character)?, pen)))
            .collect()
    }

    /// The letter at a place.
    pub fn at(&self, place: usize) -> Option<&Letter> {
        self.letters.get(place)
    }

    /// All of them, each at its place.
    pub fn all(&self) -> &[Letter] {
        &self.letters
    }

    fn place_of(&mut self, fonts: &Fonts, size: Type, character: char) -> Option<usize> {
        let key = (size.face, character);
        if let Some(place) = self.places.get(&key) {
            return Some(*place);
        }
        // A space has no outline; it takes the units of the letter that every typeface here has.
        let (outline, scale) = fonts.outline(size, character).map_or_else(
            || fonts.outline(size, 'x').map(|(_, scale)| (None, scale)),
            |(outline, scale)| Some((Some(outline), scale)),
        )?;
        let steps = outline.as_ref().map(steps).unwrap_or_default();
        let place = self.letters.len();
        self.letters.push(Letter { character, steps, x_units: size.x_height as f32 / scale });
        self.places.insert(key, place);
        Some(place)
    }
}

/// An outline is a bag of curves, one after the other; a contour ends where the next curve does not go on.
fn steps(outline: &Outline) -> Vec<Step> {
    let mut steps = Vec::with_capacity(outline.curves.len() + 4);
    let mut begun: Option<Point> = None;
    let mut pen: Option<Point> = None;
    for curve in &outline.curves {
        let (from, step, to) = match *curve {
            OutlineCurve::Line(from, to) => (from, Step::Line(to), to),
            OutlineCurve::Quad(from, control, to) => (from, Step::Quad(control, to), to),
            OutlineCurve::Cubic(from, first, second, to) => (from, Step::Cubic(first, second, to), to),
        };
        if pen != Some(from) {
            if pen.is_some() {
                steps.push(Step::Close);
            }
            steps.push(Step::Move(from));
            begun = Some(from);
        }
        // Closing draws the last straight line by itself.
        if !(matches!(step, Step::Line(_)) && begun == Some(to)) {
            steps.push(step);
        }
        pen = Some(to);
    }
    if pen.is_some() {
        steps.push(Step::Close);
    }
    steps
}

/// A corner of a contour, and the way on from it.
pub(super) type Corner = (i32, i32, Way);

/// A way along the edges of modules; y runs down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Way {
    Right,
    Down,
    Left,
    Up,
}

impl Way {
    /// One step this way.
    pub const fn step(self) -> (i32, i32) {
        match self {
            Self::Right => (1, 0),
            Self::Down => (0, 1),
            Self::Left => (-1, 0),
            Self::Up => (0, -1),
        }
    }

    /// What lies to the right hand of whoever walks this way.
    pub const fn right(self) -> Self {
        match self {
            Self::Right => Self::Down,
            Self::Down => Self::Left,
            Self::Left => Self::Up,
            Self::Up => Self::Right,
        }
    }

    const fn left(self) -> Self {
        self.right().right().right()
    }
}

/// Runs of dark modules (a row and its columns) as contours, each with the dark to its right hand: one shape without inner seams. Modules
/// that touch at a corner stay apart.
pub(super) fn contours(spans: impl Iterator<Item = (i32, Range<i32>)>) -> Vec<Vec<Corner>> {
    let dark: BTreeSet<(i32, i32)> = spans.flat_map(|(row, span)| span.map(move |column| (row, column))).collect();
    let mut edges: BTreeSet<(i32, i32, Way)> = BTreeSet::new();
    for (y, x) in &dark {
        let sides = [(0, 0, Way::Right), (0, 1, Way::Down), (1, 1, Way::Left), (1, 0, Way::Up)];
        for (down, along, way) in sides {
            let (dx, dy) = way.left().step();
            if !dark.contains(&(y + dy, x + dx)) {
                edges.insert((y + down, x + along, way));
            }
        }
    }
    std::iter::from_fn(|| edges.pop_first().map(|first| around(first, &mut edges))).collect()
}

/// Walks from an edge until it is met again, and takes the edges away that it went along.
fn around(first: (i32, i32, Way), edges: &mut BTreeSet<(i32, i32, Way)>) -> Vec<Corner> {
    let (mut y, mut x, mut way) = first;
    let mut corners = vec![(x, y, way)];
    loop {
        let (dx, dy) = way.step();
        (x, y) = (x + dx, y + dy);
        let next = [way.right(), way, way.left()].into_iter().find(|next| {
            let edge = (y, x, *next);
            edge == first || edges.remove(&edge)
        });
        match next {
            Some(next) if (y, x, next) != first => {
                if next != way {
                    corners.push((x, y, next));
                }
                way = next;
            }
            // The walk began in the middle of a side: that is no corner.
            Some(next) if next == way => return corners.split_off(1),
            _ => return corners,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Corner, Letters, Step, contours};
    use crate::labels::symbol::Symbol;
    use crate::labels::text::{Face, Fonts, Type};

    const BODY: Type = Type { face: Face::Regular, x_height: 10 };

    #[test]
    fn a_letter_is_taken_once_and_keeps_its_contours() {
        let mut letters = Letters::default();
        let set = letters.set(Fonts::standard(), BODY, "oi o");
        assert_eq!(set.iter().map(|(place, _)| *place).collect::<Vec<_>>(), [0, 1, 2, 0]);
        let contours =
            |place: usize| letters.at(place).map(|l| l.steps.iter().filter(|step| **step == Step::Close).count());
        assert_eq!([contours(0), contours(1), contours(2), contours(3)], [Some(2), Some(2), Some(0), None]);
        // The same letter bold is another shape.
        assert_eq!(letters.set(Fonts::standard(), Type { face: Face::Bold, ..BODY }, "o"), [(3, 0)]);
    }

    /// A point is inside where the contours left of it turn around it.
    fn inside(contours: &[Vec<Corner>], x: i32, y: i32) -> bool {
        let mut turns = 0;
        for contour in contours {
            let next = contour.iter().skip(1).chain(contour.first());
            for ((left, from, _), (_, to, _)) in contour.iter().zip(next) {
                if *left <= x && (*from.min(to)..*from.max(to)).contains(&y) {
                    turns += (to - from).signum();
                }
            }
        }
        assert!((-1..=1).contains(&turns), "{turns} turns");
        turns != 0
    }

    #[test]
    fn contours_hold_the_dark_modules_and_nothing_else() {
        for text in
            ["A", "https://a.example/01/02900000001015/21/C4H7K9P", "sakudana.example/99999/22222/3333/4444/55555"]
        {
            let symbol = Symbol::encode(text).unwrap_or_else(|refusal| panic!("{refusal}"));
            let contours = contours(symbol.spans());
            let dark: Vec<(i32, i32)> = symbol.spans().flat_map(|(row, span)| span.map(move |x| (row, x))).collect();
            let modules = symbol.modules();
            let found: Vec<(i32, i32)> = (-1..=modules)
                .flat_map(|y| (-1..=modules).map(move |x| (y, x)))
                .filter(|(y, x)| inside(&contours, *x, *y))
                .collect();
            assert_eq!(found, dark, "{text}");
            let turned = contours.iter().all(|contour| {
                let next = contour.iter().skip(1).chain(contour.first());
                contour.len() >= 4 && contour.iter().zip(next).all(|((.., way), (.., next))| way.step() != next.step())
            });
            assert!(turned, "a corner is where the way turns");
        }
    }
}
