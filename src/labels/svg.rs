//! A drawing as an SVG picture (W3C SVG 1.1) of its true size: shapes only, nothing from outside, no style, so that it shows alike
//! wherever it is put and under any content policy.

use super::bitmap::{Ink, Rect};
use super::drawing::{Drawing, Stroke};
use super::outline::{Corner, Letters, Set, Step, Way, contours};
use super::symbol::QUIET_MODULES;
use super::text::{Fonts, Type};
use ab_glyph::Point;
use std::fmt::Write as _;

const MILLIMETRES_PER_INCH: f64 = 25.4;

/// The whole picture. The title is what a reader who does not see it is told; the words of the label follow it.
pub fn write(drawing: &Drawing, fonts: &Fonts, title: &str) -> String {
    let mut letters = Letters::default();
    let body: String = drawing.strokes.iter().map(|stroke| shape(&mut letters, fonts, stroke)).collect();
    let mm = |dots: i32| number(f64::from(dots) * MILLIMETRES_PER_INCH / f64::from(drawing.dpi.per_inch()), 4);
    let (width, height) = (drawing.width, drawing.height);
    let mut svg = String::new();
    push(
        &mut svg,
        format_args!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{}mm" height="{}mm" viewBox="0 0 {width} {height}" role="img">"#,
            mm(width),
            mm(height)
        ),
    );
    push(&mut svg, format_args!("<title>{}</title><desc>{}</desc><defs>", escaped(title), escaped(&words(drawing))));
    for (place, letter) in letters.all().iter().enumerate().filter(|(_, letter)| !letter.steps.is_empty()) {
        push(&mut svg, format_args!(r#"<path id="c{place}" d="{}"/>"#, path(&letter.steps)));
    }
    push(&mut svg, format_args!(r##"</defs><path fill="#fff" d="M0 0h{width}v{height}H0z"/>{body}</svg>"##));
    svg.push('\n');
    svg
}

/// Writing to memory does not fail.
fn push(svg: &mut String, text: std::fmt::Arguments<'_>) {
    let _ = svg.write_fmt(text);
}

/// What the label says, line by line.
fn words(drawing: &Drawing) -> String {
    let lines = drawing.strokes.iter().filter_map(|stroke| match stroke {
        Stroke::Text { text, .. } => Some(text.as_str()),
        Stroke::Rect { .. } | Stroke::Symbol { .. } | Stroke::Linear { .. } => None,
    });
    lines.collect::<Vec<_>>().join("\n")
}

fn shape(letters: &mut Letters, fonts: &Fonts, stroke: &Stroke) -> String {
    match stroke {
        Stroke::Rect { rect, ink } => boxes(std::iter::once(*rect), *ink),
        Stroke::Linear { code, x, y, dots_per_module, height } => {
            boxes(code.rects(*x, *y, *dots_per_module, *height), Ink::Black)
        }
        Stroke::Text { size, text, x, baseline, ink } => {
            let set = letters.set(fonts, *size, text);
            line(letters, *size, &set, *x, *baseline, *ink)
        }
        Stroke::Symbol { symbol, x, y, dots_per_module } => {
            let (x, y) = (x + QUIET_MODULES * dots_per_module, y + QUIET_MODULES * dots_per_module);
            let d: String = contours(symbol.spans()).iter().map(|contour| contour_path(contour)).collect();
            format!(
                r#"<path shape-rendering="crispEdges" transform="translate({x} {y})scale({dots_per_module})" d="{d}"/>"#
            )
        }
    }
}

/// Letters of one typeface stand in one group, which carries place, size and ink.
fn line(letters: &Letters, size: Type, set: &[Set], x: i32, baseline: i32, ink: Ink) -> String {
    let mut svg = String::new();
    let mut open: Option<f32> = None;
    for (place, pen) in set {
        let Some(letter) = letters.at(*place).filter(|letter| !letter.steps.is_empty()) else { continue };
        let scale = letter.dots_per_unit(size);
        if open != Some(scale) {
            if open.is_some() {
                svg.push_str("</g>");
            }
            let dots = number(f64::from(scale), 7);
            push(
                &mut svg,
                format_args!(r#"<g{} transform="translate({x} {baseline})scale({dots} -{dots})">"#, fill(ink)),
            );
            open = Some(scale);
        }
        push(
            &mut svg,
            format_args!("<use href=\"#c{place}\" x=\"{}\"/>", number(f64::from(*pen) / f64::from(scale), 1)),
        );
    }
    if open.is_some() {
        svg.push_str("</g>");
    }
    svg
}

fn boxes(rects: impl Iterator<Item = Rect>, ink: Ink) -> String {
    let d: String = rects.map(|r| format!("M{} {}h{}v{}h-{}z", r.x, r.y, r.width, r.height, r.width)).collect();
    format!(r#"<path shape-rendering="crispEdges"{} d="{d}"/>"#, fill(ink))
}

/// Black is what a shape is filled with when nothing is said.
const fn fill(ink: Ink) -> &'static str {
    match ink {
        Ink::Black => "",
        Ink::White => r##" fill="#fff""##,
    }
}

/// Sides of a contour are level or upright, so each is one number; closing draws the last.
fn contour_path(corners: &[Corner]) -> String {
    let mut d = corners.first().map(|(x, y, _)| format!("M{x} {y}")).unwrap_or_default();
    for ((x, y, way), (to_x, to_y, _)) in corners.iter().zip(corners.iter().skip(1)) {
        let side = match way {
            Way::Right | Way::Left => format!("h{}", to_x - x),
            Way::Down | Way::Up => format!("v{}", to_y - y),
        };
        d.push_str(&side);
    }
    d + "z"
}

/// A path in steps from point to point, which are shorter to write than places.
fn path(steps: &[Step]) -> String {
    let mut pen = Relative::default();
    let mut d = String::new();
    for step in steps {
        match *step {
            Step::Move(to) => {
                let at = Relative::of(to);
                push(&mut d, format_args!("M{}", at.from(Relative::default())));
                pen = at;
            }
            Step::Line(to) => {
                push(&mut d, format_args!("l{}", Relative::of(to).from(pen)));
                pen = Relative::of(to);
            }
            Step::Quad(control, to) => {
                push(&mut d, format_args!("q{} {}", Relative::of(control).from(pen), Relative::of(to).from(pen)));
                pen = Relative::of(to);
            }
            Step::Cubic(first, second, to) => {
                let [first, second, to] = [first, second, to].map(Relative::of);
                push(&mut d, format_args!("c{} {} {}", first.from(pen), second.from(pen), to.from(pen)));
                pen = to;
            }
            Step::Close => d.push('z'),
        }
    }
    d
}

/// A point in whole tenths of a unit: differences of rounded places add up, rounded differences do not.
#[derive(Debug, Clone, Copy, Default)]
struct Relative {
    x: i32,
    y: i32,
}

impl Relative {
    fn of(point: Point) -> Self {
        Self { x: (point.x * 10.0).round() as i32, y: (point.y * 10.0).round() as i32 }
    }

    fn from(self, pen: Self) -> String {
        let tenths = |tenths: i32| number(f64::from(tenths) / 10.0, 1);
        format!("{} {}", tenths(self.x - pen.x), tenths(self.y - pen.y))
    }
}

/// A number with at most so many decimals and no idle zeros.
fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// Text as XML 1.0 takes it; what it knows no way to say becomes the replacement character.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '\t' | '\n' => safe.push(character),
            '\u{FFFE}' | '\u{FFFF}' => safe.push('\u{FFFD}'),
            control if control.is_control() => safe.push('\u{FFFD}'),
            other => safe.push(other),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::{escaped, number};

    #[test]
    fn numbers_are_short() {
        let short =
            [(12.0, 1), (-0.04, 1), (0.25, 3), (-3.5, 1), (100.0, 0)].map(|(value, decimals)| number(value, decimals));
        assert_eq!(short, ["12", "0", "0.25", "-3.5", "100"]);
    }

    #[test]
    fn text_cannot_leave_its_element() {
        assert_eq!(escaped("</title><script>&\u{0}\u{1F}"), "&lt;/title&gt;&lt;script&gt;&amp;\u{FFFD}\u{FFFD}");
    }
}
