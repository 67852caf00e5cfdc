//! Curves as pictures: temperature over time as inline SVG, once for a phone and once for a wide screen, with the same facts in words for
//! whoever does not see them. Which curve is shown, and what stands around it, is the page's.

mod axis;

use crate::domain::life::trace::{Gap, Limit, Point, Trace};
use crate::units::instant::{Instant, MICROS_PER_SECOND};
use crate::units::temperature::MilliCelsius;
use crate::units::zone::Zone;
use axis::{Scale, Stretch, time_ticks};
use maud::{Markup, PreEscaped, html};
use plotters::chart::{ChartBuilder, ChartContext};
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::combinators::{BindKeyPoints, WithKeyPoints};
use plotters::coord::types::RangedCoordi64;
use plotters::element::{PathElement, Rectangle, Text};
use plotters::prelude::{IntoDrawingArea, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, RGBColor, ShapeStyle, TextStyle};

/// What a picture shows.
pub struct Picture<'a> {
    /// Told apart from the other pictures of its page.
    pub id: &'a str,
    pub title: &'a str,
    pub zone: Zone,
    pub from: Instant,
    pub to: Instant,
    pub traces: Vec<&'a Trace>,
    /// Times with an alarm.
    pub alarms: Vec<(Instant, Instant)>,
    /// Where another place begins, and its name.
    pub borders: Vec<(Instant, &'a str)>,
}

impl Picture<'_> {
    const fn stretch(&self) -> Stretch {
        Stretch { zone: self.zone, from: self.from, to: self.to }
    }
}

/// A picture is drawn twice, each time with letters that can be read at the size it is shown in.
struct Size {
    class: &'static str,
    width: u32,
    height: u32,
    letter: u32,
    time_ticks: i64,
    line: u32,
}

/// Shown 290 to 700 CSS pixels wide: letters are 11 pixels at the narrowest.
const NARROW: Size = Size { class: "plot narrow", width: 720, height: 460, letter: 28, time_ticks: 5, line: 4 };
/// Shown 700 to 1100 CSS pixels wide.
const WIDE: Size = Size { class: "plot wide", width: 900, height: 300, letter: 15, time_ticks: 11, line: 2 };

// The style sheet knows these values: it dashes what is assumed, and lightens all of them on a dark screen.
const INK: RGBColor = RGBColor(0x0d, 0x24, 0x29);
const GRID: RGBColor = RGBColor(0xc9, 0xbf, 0xa9);
const CURVE: RGBColor = RGBColor(0x0b, 0x53, 0x66);
const ASSUMED: RGBColor = RGBColor(0x7a, 0x4a, 0x00);
const LIMIT: RGBColor = RGBColor(0x8e, 0x1b, 0x12);
const GAP: RGBColor = RGBColor(0xee, 0xe4, 0xce);
const BORDER: RGBColor = RGBColor(0x45, 0x56, 0x5a);
const ALARM: RGBColor = RGBColor(0xb4, 0x3a, 0x24);

/// The picture in both sizes, or a word where it cannot be drawn.
pub fn draw(picture: &Picture<'_>) -> Markup {
    html! {
        @for size in [&NARROW, &WIDE] {
            @match paint(picture, size) {
                Ok(inside) => (frame(picture, size, &inside)),
                Err(error) => { p class=(size.class) { "The picture could not be drawn: " (error.to_string()) } }
            }
        }
    }
}

/// What the lines and shades of a picture mean.
pub fn legend(picture: &Picture<'_>) -> Markup {
    let has = |measured: bool| picture.traces.iter().any(|t| t.points.iter().any(|p| p.measured == measured));
    html! {
        p.legend {
            @if has(true) { span.key.curve { "measured" } }
            @if has(false) { span.key.assumed { "not measured: what counts instead (shaded)" } }
            span.key.limit { "upper limit" }
            @if !picture.alarms.is_empty() { span.key.alarm { "too warm for too long" } }
        }
    }
}

fn frame(picture: &Picture<'_>, size: &Size, inside: &str) -> Markup {
    let id = |part: &str| format!("{}-{}-{part}", picture.id, size.width);
    html! {
        svg class=(size.class) xmlns="http://www.w3.org/2000/svg" role="img" viewBox=(format!("0 0 {} {}", size.width, size.height))
            aria-labelledby=(format!("{} {}", id("title"), id("desc"))) {
            title id=(id("title")) { (picture.title) }
            desc id=(id("desc")) { (in_words(picture)) }
            (PreEscaped(inside))
        }
    }
}

/// The main facts of a picture as sentences.
pub fn in_words(picture: &Picture<'_>) -> String {
    let points = || picture.traces.iter().flat_map(|trace| trace.points.iter());
    let mut words = format!("From {} to {}.", picture.zone.write(picture.from), picture.zone.write(picture.to));
    for (measured, what) in [(true, "Measured"), (false, "Counted where nothing was measured")] {
        let temperatures = || points().filter(|point| point.measured == measured).map(|point| point.temperature);
        if let (Some(coldest), Some(warmest)) = (temperatures().min(), temperatures().max()) {
            words.push_str(&if coldest == warmest {
                format!(" {what}: {coldest}.")
            } else {
                format!(" {what}: {coldest} to {warmest}.")
            });
        }
    }
    let mut limits: Vec<MilliCelsius> = limits_of(picture).map(|limit| limit.temperature).collect();
    limits.dedup();
    if let [one] = limits.as_slice() {
        words.push_str(&format!(" Upper limit: {one}."));
    }
    if !picture.alarms.is_empty() {
        let times = picture.alarms.len();
        words.push_str(&format!(
            " Too warm for too long {}.",
            if times == 1 { "once".into() } else { format!("{times} times") }
        ));
    }
    words
}

fn limits_of<'a>(picture: &'a Picture<'_>) -> impl Iterator<Item = &'a Limit> + Clone {
    picture.traces.iter().flat_map(|trace| trace.limits.iter())
}

type Axis = WithKeyPoints<RangedCoordi64>;
type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Axis, Axis>>;
/// A drawing that writes into memory fails for no reason we know of; if it does, its words are shown.
type Drawn = Result<(), Box<dyn std::error::Error>>;

/// The inside of the SVG element: everything but its first and last tag, which know neither our classes nor our words.
fn paint(picture: &Picture<'_>, size: &Size) -> Result<String, Box<dyn std::error::Error>> {
    let mut text = String::new();
    {
        let root = SVGBackend::with_string(&mut text, (size.width, size.height)).into_drawing_area();
        let points = picture.traces.iter().flat_map(|trace| trace.points.iter()).map(|point| point.temperature);
        let scale = Scale::of(points.chain(limits_of(picture).map(|limit| limit.temperature)));
        let (times, degrees) = (time_ticks(&picture.stretch(), size.time_ticks), scale.ticks());
        let key_times: Vec<i64> = times.iter().map(|(at, _)| since(picture, *at)).collect();
        let mut chart = ChartBuilder::on(&root)
            .margin_top(size.letter * 3 / 4)
            .margin_right(size.letter * 3 / 2)
            .margin_left(size.letter / 4)
            .x_label_area_size(size.letter * 3 / 2)
            .y_label_area_size(size.letter * 4)
            .build_cartesian_2d(
                (0..since(picture, picture.to).max(1)).with_key_points(key_times),
                (scale.low..scale.high).with_key_points(degrees.clone()),
            )?;
        shade(&mut chart, picture, &scale)?;
        chart
            .configure_mesh()
            .x_labels(times.len())
            .y_labels(degrees.len())
            .light_line_style(GRID.mix(0.0))
            .bold_line_style(GRID)
            .axis_style(INK)
            .label_style(letters(size, INK))
            .x_label_formatter(&|millis| label_at(picture, &times, *millis))
            .y_label_formatter(&|mc| format!("{} °C", scale.written(*mc)))
            .draw()?;
        draw_limits(&mut chart, picture, size)?;
        for trace in &picture.traces {
            draw_curve(&mut chart, picture, size, &trace.points)?;
        }
        draw_borders(&mut chart, picture, size, &scale)?;
        draw_alarms(&mut chart, picture, size, &scale)?;
        root.present()?;
    }
    let inside = text.split_once('>').map_or("", |(_, rest)| rest);
    Ok(inside.rsplit_once("</svg>").map_or("", |(inside, _)| inside).trim().to_owned())
}

/// Milliseconds since the picture begins.
fn since(picture: &Picture<'_>, at: Instant) -> i64 {
    let inside = at.clamp(picture.from, picture.to.max(picture.from));
    inside.since(picture.from) / (MICROS_PER_SECOND / 1_000)
}

/// How wide the inside of a picture is, in its own units.
fn inside_width(size: &Size) -> i64 {
    i64::from(size.width) - i64::from(size.letter) * 6
}

/// A little to the right of a line, in milliseconds.
fn beside(picture: &Picture<'_>, size: &Size) -> i64 {
    since(picture, picture.to) * i64::from(size.letter) / 4 / inside_width(size)
}

/// The backend writes four fifths of the size it is told.
fn letters(size: &Size, colour: RGBColor) -> TextStyle<'static> {
    ("sans-serif", f64::from(size.letter) * 1.24).into_font().color(&colour)
}

fn stroke(colour: RGBColor, width: u32) -> ShapeStyle {
    ShapeStyle { color: colour.to_rgba(), filled: false, stroke_width: width }
}

/// What was not measured lies on a shade.
fn shade(chart: &mut Chart<'_, '_>, picture: &Picture<'_>, scale: &Scale) -> Drawn {
    let gaps: Vec<&Gap> = picture.traces.iter().flat_map(|trace| trace.gaps.iter()).collect();
    let bar = |gap: &&Gap| {
        Rectangle::new([(since(picture, gap.from), scale.low), (since(picture, gap.to), scale.high)], GAP.filled())
    };
    chart.draw_series(gaps.iter().map(bar))?;
    Ok(())
}

fn draw_limits(chart: &mut Chart<'_, '_>, picture: &Picture<'_>, size: &Size) -> Drawn {
    let mut lines: Vec<(Vec<(i64, i64)>, MilliCelsius)> = Vec::new();
    for trace in &picture.traces {
        let end = trace.points.last().map_or(picture.to, |point| point.at);
        let ends = trace.limits.iter().skip(1).map(|limit| limit.from).chain([end]);
        for (limit, to) in trace.limits.iter().zip(ends) {
            let at = limit.temperature.get();
            lines.push((vec![(since(picture, limit.from), at), (since(picture, to), at)], limit.temperature));
        }
    }
    let mut said = None;
    for (line, limit) in lines {
        let begin = line.first().copied();
        chart.draw_series([PathElement::new(line, stroke(LIMIT, size.line))])?;
        // A limit is named where it begins, above its line.
        if let Some((x, y)) = begin.filter(|_| said.replace(limit) != Some(limit)) {
            let style = letters(size, LIMIT).pos(Pos::new(HPos::Left, VPos::Bottom));
            chart.draw_series([Text::new(format!("limit {limit}"), (x + beside(picture, size), y), style)])?;
        }
    }
    Ok(())
}

/// A measured stretch and what counts elsewhere are lines of their own.
fn draw_curve(chart: &mut Chart<'_, '_>, picture: &Picture<'_>, size: &Size, points: &[Point]) -> Drawn {
    for run in points.chunk_by(|one, next| one.measured == next.measured) {
        let measured = run.first().is_some_and(|point| point.measured);
        // What is assumed often lies on the limit and must be seen there.
        let style = if measured { stroke(CURVE, size.line) } else { stroke(ASSUMED, size.line * 2) };
        let line: Vec<(i64, i64)> = run.iter().map(|p| (since(picture, p.at), p.temperature.get())).collect();
        chart.draw_series([PathElement::new(line, style)])?;
    }
    Ok(())
}

/// A line where the next place begins, and its name where there is room for it.
fn draw_borders(chart: &mut Chart<'_, '_>, picture: &Picture<'_>, size: &Size, scale: &Scale) -> Drawn {
    let whole = since(picture, picture.to).max(1);
    let inside = inside_width(size);
    for (index, (at, name)) in picture.borders.iter().enumerate() {
        let x = since(picture, *at);
        let next = picture.borders.get(index + 1).map_or(whole, |(next, _)| since(picture, *next));
        if index > 0 {
            chart.draw_series([PathElement::new(
                vec![(x, scale.low), (x, scale.high)],
                stroke(BORDER, size.line / 2),
            )])?;
        }
        let room = (next - x) * inside / whole;
        let number = format!("{}", index + 1);
        let full = format!("{number} {name}");
        // A letter of this face is little more than half as wide as it is high.
        let width = |text: &str| {
            i64::try_from(text.chars().count() + 1).unwrap_or(i64::MAX / 99) * i64::from(size.letter) * 68 / 100
        };
        let words = [full, number].into_iter().find(|text| width(text) <= room);
        if let Some(words) = words {
            let style = letters(size, BORDER).pos(Pos::new(HPos::Left, VPos::Top));
            chart.draw_series([Text::new(words, (x + beside(picture, size), scale.high), style)])?;
        }
    }
    Ok(())
}

/// A bar along the bottom, with its word.
fn draw_alarms(chart: &mut Chart<'_, '_>, picture: &Picture<'_>, size: &Size, scale: &Scale) -> Drawn {
    let height = (scale.high - scale.low) * 3 / 100;
    for (from, to) in &picture.alarms {
        let (begin, end) = (since(picture, *from), since(picture, *to));
        chart.draw_series([Rectangle::new([(begin, scale.low), (end, scale.low + height)], ALARM.filled())])?;
        let style = letters(size, ALARM).pos(Pos::new(HPos::Center, VPos::Bottom));
        chart.draw_series([Text::new("!", ((begin + end) / 2, scale.low + height), style)])?;
    }
    Ok(())
}

fn label_at(picture: &Picture<'_>, times: &[(Instant, String)], millis: i64) -> String {
    let near = times.iter().find(|(at, _)| since(picture, *at) == millis);
    near.map(|(_, label)| label.clone()).unwrap_or_default()
}

#[cfg(test)]
#[path = "plot_tests.rs"]
mod tests;
