//! The reader of what loggers export: bytes in, lines out. Until it knows the columns it keeps the first lines; then it keeps none.

use super::cells::{Cells, decode, is_silent};
use super::guess::{self, CommaDoubt};
use super::header::{self, Layout, TimeColumns};
use super::lines::{Raw, Splitter};
use super::stamp::{self, NoStamp, Stamp};
use super::wall_time::WallTime;
use super::{Column, Fault, Line, Options, Outcome, Unit, figure, quoted, refused};
use crate::domain::life::curve::Reading;
use crate::domain::refusal::Refusal;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

/// Lines within which the columns must show.
const LOOK_LINES: usize = 200;
const LOOK_BYTES: usize = 128 * 1024;
/// Lines that are no readings are looked at for a header so often: a file of nothing else must not cost more than one of readings.
const HEADER_TRIES: usize = 1_000;

/// Reads one file. Give it the bytes as they come, then `finish` it.
pub struct Reader {
    splitter: Splitter,
    body: Body,
}

struct Body {
    options: Options,
    state: State,
    wall: WallTime,
    cells: Cells,
    /// Lines that came before any time was understood; none once one was.
    doubtful: Option<Doubtful>,
    header_tries: usize,
    /// Why the file is refused; once it is, nothing more is read.
    refused: Option<Refusal>,
}

enum State {
    /// The columns are not known yet. The lines so far, and how many bytes they hold.
    Looking(Vec<Seen>, usize),
    Known {
        layout: Layout,
        /// A line of units may follow a header.
        just_begun: bool,
    },
}

#[derive(Default)]
struct Doubtful {
    lines: Vec<Line>,
    /// One of them may have the day or the month first.
    order_unknown: bool,
}

struct Seen {
    number: u64,
    /// None when it was too long.
    text: Option<String>,
}

impl Reader {
    pub fn new(options: Options) -> Reader {
        let wall = WallTime::new(options.zone);
        let state = State::Looking(Vec::new(), 0);
        let (cells, doubtful) = (Cells::default(), Some(Doubtful::default()));
        let body = Body { options, state, wall, cells, doubtful, header_tries: HEADER_TRIES, refused: None };
        Reader { splitter: Splitter::default(), body }
    }

    /// Takes some bytes; gives the lines that can be told by now, in order.
    pub fn push(&mut self, bytes: &[u8], sink: &mut dyn FnMut(Line)) -> Result<(), Refusal> {
        let Reader { splitter, body } = self;
        splitter.push(bytes, &mut |number, raw| body.line(number, raw, sink));
        body.refusal()
    }

    /// Nothing follows: gives what was still waiting.
    pub fn finish(mut self, sink: &mut dyn FnMut(Line)) -> Result<(), Refusal> {
        let Reader { splitter, body } = &mut self;
        splitter.finish(&mut |number, raw| body.line(number, raw, sink));
        if body.refused.is_none() && matches!(body.state, State::Looking(..)) {
            body.decide(sink);
        }
        body.give_up_doubt(sink);
        body.wall.finish(sink);
        body.refusal()
    }
}

impl Body {
    fn refusal(&self) -> Result<(), Refusal> {
        self.refused.clone().map_or(Ok(()), Err)
    }

    fn line(&mut self, number: u64, raw: Raw<'_>, sink: &mut dyn FnMut(Line)) {
        if self.refused.is_some() {
            return;
        }
        let Raw::Whole(bytes) = raw else { return self.text(number, None, sink) };
        let bytes = if number == 1 { bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes) } else { bytes };
        let text = decode(bytes);
        self.text(number, Some(&text), sink);
    }

    fn text(&mut self, number: u64, text: Option<&str>, sink: &mut dyn FnMut(Line)) {
        if text.is_some_and(is_silent) {
            return;
        }
        match &mut self.state {
            State::Known { .. } => self.known(number, text, sink),
            State::Looking(seen, size) => {
                *size += text.map_or(0, str::len);
                seen.push(Seen { number, text: text.map(str::to_owned) });
                let full = seen.len() >= LOOK_LINES || *size >= LOOK_BYTES;
                match text.map_or(Ok(None), |text| header::read(text, &self.options)) {
                    Err(refusal) => self.refused = Some(refusal),
                    Ok(Some(layout)) => self.begin_after_header(layout, sink),
                    Ok(None) if full => self.decide(sink),
                    Ok(None) => {}
                }
            }
        }
    }

    /// A header was found, as the last of the lines seen. What stands before it is no reading of it, and is passed over unless it looks
    /// like one: nothing is lost in silence.
    fn begin_after_header(&mut self, layout: Layout, sink: &mut dyn FnMut(Line)) {
        for seen in self.take_seen() {
            if seen.text.is_some_and(|text| guess::layout(&text, &self.options).is_some()) {
                sink(unreadable(seen.number, "stands before the header that names the columns"));
            }
        }
        self.state = State::Known { layout, just_begun: true };
    }

    /// No header came: the columns are those of most lines.
    fn decide(&mut self, sink: &mut dyn FnMut(Line)) {
        let seen = self.take_seen();
        let layouts: Vec<Option<Layout>> =
            seen.iter().map(|seen| seen.text.as_ref().and_then(|text| guess::layout(text, &self.options))).collect();
        let Some(layout) = most_common(&layouts) else {
            self.refused = Some(not_understood(&seen, &self.options));
            return;
        };
        if let Err(refusal) = check_commas(&seen, &layouts, &layout, &self.options) {
            self.refused = Some(refusal);
            return;
        }
        let first = layouts.iter().position(|found| found.as_ref() == Some(&layout)).unwrap_or(0);
        self.state = State::Known { layout, just_begun: false };
        for (at, (seen, found)) in seen.into_iter().zip(layouts).enumerate() {
            // What comes before the first line that fits, and does not look like a reading, is a preamble.
            if at >= first || found.is_some() {
                self.known(seen.number, seen.text.as_deref(), sink);
            }
        }
    }

    fn take_seen(&mut self) -> Vec<Seen> {
        match &mut self.state {
            State::Looking(seen, _) => std::mem::take(seen),
            State::Known { .. } => Vec::new(),
        }
    }

    /// One line of known columns.
    fn known(&mut self, number: u64, text: Option<&str>, sink: &mut dyn FnMut(Line)) {
        let State::Known { layout, just_begun } = &mut self.state else { return };
        let Some(text) = text else {
            return self.no_time(unreadable(number, "is longer than 4096 bytes"), false, sink);
        };
        let first = std::mem::take(just_begun);
        self.cells.cut(text, layout.separator);
        let stamp = match stamp_of(text, &self.cells, layout, &self.options) {
            Ok(stamp) => stamp,
            Err((fault, why)) => {
                let bare_unit = figure::only_unit(self.cells.get(text, layout.temperature));
                if let Some(unit) = bare_unit.filter(|_| first) {
                    layout.unit = layout.unit.or(Some(unit));
                    return;
                }
                // Exports that were joined bring their headers along.
                let maybe = why == NoStamp::NotATime && text.contains(char::is_alphabetic) && self.header_tries > 0;
                self.header_tries -= usize::from(maybe);
                if let Some(next) = maybe.then(|| header::read(text, &self.options).ok().flatten()).flatten() {
                    self.state = State::Known { layout: next, just_begun: true };
                    return;
                }
                return self.no_time(Line { number, found: Err(fault) }, why == NoStamp::OrderUnknown, sink);
            }
        };
        for line in self.doubtful.take().map_or_else(Vec::new, |doubtful| doubtful.lines) {
            self.wall.pass(line, sink);
        }
        let State::Known { layout, .. } = &self.state else { return };
        match (temperature_of(text, &self.cells, layout, &self.options), stamp) {
            (Err(fault), _) => self.wall.pass(Line { number, found: Err(fault) }, sink),
            (Ok(temperature), Stamp::At(at)) => {
                self.wall.pass(Line { number, found: Ok(Reading { at, temperature }) }, sink)
            }
            (Ok(temperature), Stamp::Local(local)) => match layout.offset {
                None => self.wall.take(number, local, temperature, sink),
                Some(offset) => {
                    let at = Instant::from_micros(local.and_utc().timestamp_micros() - offset);
                    let found = at.map(|at| Reading { at, temperature }).map_err(|_| no_time(NoStamp::Before1970, ""));
                    self.wall.pass(Line { number, found }, sink);
                }
            },
        }
    }

    /// A line whose time is not understood. As long as no time was, the file may be one whose order of day and month nobody knows.
    fn no_time(&mut self, line: Line, order_unknown: bool, sink: &mut dyn FnMut(Line)) {
        let Some(doubtful) = &mut self.doubtful else { return self.wall.pass(line, sink) };
        doubtful.lines.push(line);
        doubtful.order_unknown |= order_unknown;
        if doubtful.lines.len() >= LOOK_LINES {
            self.give_up_doubt(sink);
        }
    }

    fn give_up_doubt(&mut self, sink: &mut dyn FnMut(Line)) {
        let Some(doubtful) = self.doubtful.take() else { return };
        if doubtful.order_unknown {
            self.refused = Some(refused("date_order", format!("every date {}", NoStamp::OrderUnknown.reason())));
            return;
        }
        for line in doubtful.lines {
            self.wall.pass(line, sink);
        }
    }
}

fn unreadable(number: u64, reason: &str) -> Line {
    Line { number, found: Err(Fault::unreadable(reason)) }
}

fn no_time(why: NoStamp, text: &str) -> Fault {
    let outcome = if why == NoStamp::Before1970 { Outcome::TooOld } else { Outcome::Unreadable };
    let reason = if text.is_empty() {
        format!("the time {}", why.reason())
    } else {
        format!("{} {}", quoted(text), why.reason())
    };
    Fault { outcome, reason }
}

fn stamp_of(text: &str, cells: &Cells, layout: &Layout, options: &Options) -> Result<Stamp, (Fault, NoStamp)> {
    if layout.width.is_some_and(|width| (width..cells.len()).any(|at| !cells.get(text, at).is_empty())) {
        let fault = Fault::unreadable("has more cells than the header: is a decimal comma not in quotes?");
        return Err((fault, NoStamp::NotATime));
    }
    match layout.time {
        TimeColumns::One(at) => {
            let cell = cells.get(text, at);
            stamp::read(cell, options.date_order).map_err(|why| (no_time(why, cell), why))
        }
        TimeColumns::Two { date, time } => {
            let (date, time) = (cells.get(text, date), cells.get(text, time));
            stamp::read_two(date, time, options.date_order).or_else(|why| {
                // Some columns called date hold everything.
                stamp::read(date, options.date_order).map_err(|_| (no_time(why, &format!("{date} {time}")), why))
            })
        }
    }
}

fn temperature_of(text: &str, cells: &Cells, layout: &Layout, options: &Options) -> Result<MilliCelsius, Fault> {
    if layout.temperature >= cells.len() {
        return Err(Fault::unreadable("ends before the column of the temperature"));
    }
    let of_line = layout.unit_column.and_then(|at| figure::only_unit(cells.get(text, at)));
    let unit: Unit = of_line.or(layout.unit).unwrap_or(options.unit);
    figure::read(cells.get(text, layout.temperature), unit)
}

fn most_common(layouts: &[Option<Layout>]) -> Option<Layout> {
    let mut counted: Vec<(&Layout, usize)> = Vec::new();
    for layout in layouts.iter().flatten() {
        match counted.iter_mut().find(|(known, _)| *known == layout) {
            Some((_, count)) => *count += 1,
            None => counted.push((layout, 1)),
        }
    }
    // Of equals the first.
    let most = counted.iter().map(|(_, count)| *count).max()?;
    counted.into_iter().find(|(_, count)| *count == most).map(|(layout, _)| layout.clone())
}

/// Whole numbers between commas may be one number with a decimal comma: read wrongly, 4,9 °C would be 4 °C.
fn check_commas(seen: &[Seen], layouts: &[Option<Layout>], layout: &Layout, options: &Options) -> Result<(), Refusal> {
    if layout.separator != b',' || options.column.is_some() {
        return Ok(());
    }
    let fitting = seen.iter().zip(layouts).filter(|(_, found)| found.as_ref() == Some(layout));
    let doubts: Vec<CommaDoubt> = fitting
        .filter_map(|(seen, _)| seen.text.as_ref())
        .map(|text| guess::may_be_a_decimal_comma(text, layout))
        .collect();
    if doubts.contains(&CommaDoubt::None) || !doubts.contains(&CommaDoubt::Open) {
        return Ok(());
    }
    let number = layout.temperature + 1;
    Err(refused(
        "column",
        format!(
            "whole numbers between commas may be decimal commas: say column={number} if column {number} is the temperature"
        ),
    ))
}

/// Why nothing in the first lines can be understood.
fn not_understood(seen: &[Seen], options: &Options) -> Refusal {
    if seen.is_empty() {
        return refused("", "the file is empty");
    }
    if seen.iter().filter_map(|seen| seen.text.as_ref()).any(|text| text.contains('\0')) {
        return refused("", "the file is binary, or text in UTF-16: export it as CSV in UTF-8");
    }
    match &options.column {
        Some(Column::Name(name)) => refused("column", format!("no column is called {}", quoted(name))),
        Some(Column::Number(number)) => refused("column", format!("no line has a time and a column {number}")),
        None => refused(
            "",
            "no line names a column of times and one of temperatures, and none holds a time and a temperature",
        ),
    }
}
