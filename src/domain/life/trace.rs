//! A stretch of a curve as it is shown: points few enough to draw and to send, the gaps in it, and what each hour of it cost. Nothing is
//! decided here.

use super::curve::{Curve, Piece};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use crate::units::temperature::MilliCelsius;

/// A point of a curve. Between neighbours the line is straight; two points of one instant are a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point {
    pub at: Instant,
    pub temperature: MilliCelsius,
    /// It lies on a stretch that was measured.
    pub measured: bool,
}

/// A stretch in which nothing was measured, and the warmest temperature it counts at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    pub from: Instant,
    pub to: Instant,
    pub counted: MilliCelsius,
}

/// The upper limit of the place from an instant on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limit {
    pub from: Instant,
    pub temperature: MilliCelsius,
}

/// A stretch of a curve as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Trace {
    pub points: Vec<Point>,
    /// Points of the curve that are not among them.
    pub points_left_out: usize,
    /// The longest gaps, in order.
    pub gaps: Vec<Gap>,
    pub gaps_left_out: usize,
    pub limits: Vec<Limit>,
}

/// Most gaps of one trace.
pub const MOST_GAPS: usize = 200;

/// What passed of a clock in one hour, or in the part of it that lies inside a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hour {
    pub from: Instant,
    pub to: Instant,
    pub raw_micros: i64,
    /// How much of it was not measured.
    pub assumed_micros: i64,
}

/// The curve between two instants in at most about `most` points. Where there are more, the stretch is divided evenly and every part keeps
/// its first, coldest, warmest and last point.
pub fn trace(curve: &Curve, from: Instant, to: Instant, most: usize) -> Trace {
    let mut thinner = Thinner::new(from, to, most);
    let mut trace = Trace::default();
    let mut before: Option<Piece> = None;
    for piece in curve.pieces(from, to) {
        let end = before.map(|b| Point { at: b.to, temperature: b.to_temperature, measured: b.measured });
        let start = Point { at: piece.from, temperature: piece.from_temperature, measured: piece.measured };
        // Where a line goes on from the end of the one before, one point says both.
        if let Some(end) = end.filter(|end| *end != start) {
            thinner.add(end);
        }
        thinner.add(start);
        note_gap(&mut trace.gaps, &piece);
        if trace.limits.last().is_none_or(|limit| limit.temperature != piece.upper_limit) {
            trace.limits.push(Limit { from: piece.from, temperature: piece.upper_limit });
        }
        before = Some(piece);
    }
    if let Some(last) = before {
        thinner.add(Point { at: last.to, temperature: last.to_temperature, measured: last.measured });
    }
    let seen = thinner.seen;
    trace.points = thinner.kept();
    trace.points_left_out = seen - trace.points.len();
    trace.gaps_left_out = keep_longest(&mut trace.gaps, MOST_GAPS, |gap| (gap.from, gap.to));
    trace
}

/// Assumed pieces that touch are one gap.
fn note_gap(gaps: &mut Vec<Gap>, piece: &Piece) {
    if piece.measured {
        return;
    }
    let counted = piece.from_temperature.max(piece.to_temperature);
    match gaps.last_mut().filter(|gap| gap.to == piece.from) {
        Some(gap) => {
            gap.to = piece.to;
            gap.counted = gap.counted.max(counted);
        }
        None => gaps.push(Gap { from: piece.from, to: piece.to, counted }),
    }
}

/// Keeps the longest stretches, in order of time, and gives how many went.
pub fn keep_longest<T>(stretches: &mut Vec<T>, most: usize, ends: impl Fn(&T) -> (Instant, Instant)) -> usize {
    let left_out = stretches.len().saturating_sub(most);
    if left_out > 0 {
        stretches.sort_by_key(|stretch| {
            let (from, to) = ends(stretch);
            std::cmp::Reverse(to.since(from))
        });
        stretches.truncate(most);
        stretches.sort_by_key(|stretch| ends(stretch).0);
    }
    left_out
}

/// What each whole hour between two instants cost, the first and the last cut off where the stretch begins and ends.
pub fn hours(curve: &Curve, from: Instant, to: Instant) -> Vec<Hour> {
    let mut found = Vec::new();
    let mut begin = from;
    while begin < to {
        let end = begin.plus_micros(MICROS_PER_HOUR - begin.micros() % MICROS_PER_HOUR).min(to);
        if end <= begin {
            break;
        }
        let wear = curve.wear(begin, end);
        found.push(Hour { from: begin, to: end, raw_micros: wear.raw_micros, assumed_micros: wear.assumed_micros });
        begin = end;
    }
    found
}

/// A point and its place in the row.
type Placed = (usize, Point);

#[derive(Debug, Clone, Copy, Default)]
struct Part {
    first: Option<Placed>,
    coldest: Option<Placed>,
    warmest: Option<Placed>,
    last: Option<Placed>,
}

/// Takes points one by one and holds no more of them than it may give back.
struct Thinner {
    from: Instant,
    span: i64,
    most: usize,
    seen: usize,
    /// All of them, while they are few.
    few: Vec<Point>,
    parts: Vec<Part>,
}

impl Thinner {
    fn new(from: Instant, to: Instant, most: usize) -> Thinner {
        let parts = vec![Part::default(); (most / 4).max(1)];
        Thinner { from, span: to.since(from).max(1), most, seen: 0, few: Vec::new(), parts }
    }

    fn add(&mut self, point: Point) {
        if self.few.len() < self.most {
            self.few.push(point);
        }
        let count = i128::try_from(self.parts.len()).unwrap_or(1);
        let part = i128::from(point.at.since(self.from)) * count / i128::from(self.span);
        let part = usize::try_from(part).unwrap_or(0).min(self.parts.len().saturating_sub(1));
        let placed = (self.seen, point);
        self.seen += 1;
        let Some(part) = self.parts.get_mut(part) else { return };
        part.first = part.first.or(Some(placed));
        part.last = Some(placed);
        if part.coldest.is_none_or(|(_, coldest)| point.temperature < coldest.temperature) {
            part.coldest = Some(placed);
        }
        if part.warmest.is_none_or(|(_, warmest)| point.temperature > warmest.temperature) {
            part.warmest = Some(placed);
        }
    }

    fn kept(self) -> Vec<Point> {
        if self.seen <= self.most {
            return self.few;
        }
        let of_part = |part: Part| [part.first, part.coldest, part.warmest, part.last];
        let mut placed: Vec<Placed> = self.parts.into_iter().flat_map(of_part).flatten().collect();
        placed.sort_by_key(|(place, _)| *place);
        placed.dedup_by_key(|(place, _)| *place);
        placed.into_iter().map(|(_, point)| point).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::life::curve::{Era, Reading};
    use crate::domain::place::StorageMethod;
    use crate::domain::profile::Rules;
    use crate::domain::shop::Jurisdiction;
    use crate::units::instant::MICROS_PER_MINUTE;

    fn at(minutes: i64) -> Instant {
        Instant::EPOCH.plus_micros((1_000_000 + minutes) * MICROS_PER_MINUTE)
    }

    fn curve(readings: impl IntoIterator<Item = (i64, i64)>) -> Curve {
        let upper_limit = MilliCelsius::clamped(2_000);
        let (gap_micros, warm_micros) = (90 * MICROS_PER_MINUTE, 30 * MICROS_PER_MINUTE);
        let era = Era { from: Instant::EPOCH, method: StorageMethod::Chill, upper_limit, gap_micros, warm_micros };
        let reading = |(minutes, mc): (i64, i64)| Reading { at: at(minutes), temperature: MilliCelsius::clamped(mc) };
        Curve::new(Rules::of(Jurisdiction::Eu).rates, &[era], readings.into_iter().map(reading))
    }

    fn seen(trace: &Trace) -> Vec<(i64, i64, bool)> {
        let minutes = |at: Instant| at.micros() / MICROS_PER_MINUTE - 1_000_000;
        trace.points.iter().map(|p| (minutes(p.at), p.temperature.get(), p.measured)).collect()
    }

    /// A line, a gap of four hours that counts at the upper limit, and the time after the last reading.
    #[test]
    fn a_gap_is_a_step_up_and_down() {
        let curve = curve([(0, 500), (60, 1_100), (300, 700), (330, 900)]);
        let shown = trace(&curve, at(30), at(400), 600);
        let expected = [
            (30, 800, true),
            (60, 1_100, true),
            (60, 2_000, false),
            (300, 2_000, false),
            (300, 700, true),
            (330, 900, true),
            (330, 2_000, false),
            (400, 2_000, false),
        ];
        assert_eq!(seen(&shown), expected);
        let gap = |from, to| Gap { from: at(from), to: at(to), counted: MilliCelsius::clamped(2_000) };
        assert_eq!(shown.gaps, [gap(60, 300), gap(330, 400)]);
        assert_eq!(shown.limits, [Limit { from: at(30), temperature: MilliCelsius::clamped(2_000) }]);
        assert_eq!((shown.points_left_out, shown.gaps_left_out), (0, 0));
    }

    #[test]
    fn thinning_keeps_the_extremes_of_every_part_and_counts_the_rest() {
        let wave = |minute: i64| (minute, 1_000 + (minute * 37 % 101) * 10);
        let shown = trace(&curve((0..=5_000).map(wave)), at(0), at(5_000), 400);
        assert!(shown.points.len() <= 400, "{}", shown.points.len());
        assert_eq!(shown.points.len() + shown.points_left_out, 5_001);
        assert!(shown.points.windows(2).all(|pair| pair[0].at <= pair[1].at));
        // 100 parts of 50 minutes: each holds its own coldest and warmest point.
        for part in 0..100 {
            let range = (part * 50)..(part * 50 + 50);
            let all: Vec<i64> = range.clone().map(|minute| wave(minute).1).collect();
            let kept: Vec<i64> = seen(&shown).iter().filter(|p| range.contains(&p.0)).map(|p| p.1).collect();
            assert_eq!((kept.iter().min(), kept.iter().max()), (all.iter().min(), all.iter().max()), "part {part}");
        }
        let ends = (shown.points.first().map(|p| p.at), shown.points.last().map(|p| p.at));
        assert_eq!(ends, (Some(at(0)), Some(at(5_000))));
    }

    #[test]
    fn the_hours_of_a_stretch_add_up_to_it() {
        let curve = curve([(0, 500), (45, 3_500), (200, 700), (330, 900)]);
        let found = hours(&curve, at(7), at(391));
        let whole = curve.wear(at(7), at(391));
        assert_eq!(found.iter().map(|hour| hour.raw_micros).sum::<i64>(), whole.raw_micros);
        assert_eq!(found.iter().map(|hour| hour.assumed_micros).sum::<i64>(), whole.assumed_micros);
        assert!(found.windows(2).all(|pair| pair[0].to == pair[1].from));
        assert!(found.iter().skip(1).all(|hour| hour.from.micros() % MICROS_PER_HOUR == 0));
        assert!(hours(&curve, at(7), at(7)).is_empty());
    }

    #[test]
    fn of_many_gaps_the_longest_are_named() {
        // Readings 91 and 5 minutes apart in turn: every second stretch is a gap.
        let readings = (0..600).flat_map(|n| [(n * 96, 500), (n * 96 + 5, 500)]);
        let shown = trace(&curve(readings.chain([(599 * 96 + 300, 500)])), at(0), at(599 * 96 + 300), 600);
        assert_eq!((shown.gaps.len(), shown.gaps_left_out), (MOST_GAPS, 400));
        assert_eq!(shown.gaps.last().map(|gap| gap.to.since(gap.from) / MICROS_PER_MINUTE), Some(295));
    }
}
