//! Alarms: what raises one, and when it is over. Who hears of it is not decided here.

use super::life::curve::Piece;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

/// What an alarm is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// A place was above its upper limit for longer than it may be. Over when it is cold again and someone has taken note.
    PlaceTooWarm,
    /// A place that is measured has not been for longer than it may be. Over when readings come.
    PlaceSilent,
    /// The printed use-by promises more than is left. Over when the tray has a new label or is gone.
    LabelTooLong,
    /// The time above the safety temperature is used up: the tray is on hold. Over when a manager has released the hold, or it is gone.
    ExposureReached,
}

impl Kind {
    pub const ALL: [(Kind, &'static str); 4] = [
        (Kind::PlaceTooWarm, "place_too_warm"),
        (Kind::PlaceSilent, "place_silent"),
        (Kind::LabelTooLong, "label_too_long"),
        (Kind::ExposureReached, "exposure_reached"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(kind, _)| *kind == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Kind> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(kind, _)| *kind)
    }

    /// Whether it is over as soon as its cause is. The others wait for a person, since something happened to the fish.
    pub const fn clears_itself(self) -> bool {
        matches!(self, Kind::PlaceSilent | Kind::LabelTooLong)
    }
}

/// An alarm as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alarm {
    pub id: i64,
    pub kind: Kind,
    pub subject: Subject,
    /// Since when the cause lasts.
    pub since: Instant,
    pub raised_at: Instant,
    pub reason: String,
    pub acknowledged: Option<Acknowledgement>,
    /// When the cause ended, if it has.
    pub ended_at: Option<Instant>,
    /// When the alarm was over.
    pub cleared_at: Option<Instant>,
}

/// What an alarm concerns: a place by its code, or a tray by its number.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Subject {
    Place(String),
    Tray(i64),
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Acknowledgement {
    pub at: Instant,
    pub by: String,
    pub note: Option<String>,
}

/// A time a place was measured above its upper limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WarmSpell {
    pub from: Instant,
    /// None when the last reading was still above.
    pub to: Option<Instant>,
    pub peak: MilliCelsius,
}

/// The spells above the upper limit that lasted longer than `allowed_micros`, in order. Only what was measured counts: a gap is another
/// alarm. `last` is the last reading, after which nobody knows.
pub fn warm_spells(
    pieces: impl IntoIterator<Item = Piece>,
    allowed_micros: i64,
    last: Option<Instant>,
) -> Vec<WarmSpell> {
    let mut spells: Vec<WarmSpell> = Vec::new();
    let mut open: Option<WarmSpell> = None;
    for piece in pieces.into_iter().filter(|piece| piece.measured) {
        let (start, end) = (piece.from_temperature, piece.to_temperature);
        let limit = piece.upper_limit;
        if start > limit || end > limit {
            let crossing = crossing(&piece);
            let from = if start > limit { piece.from } else { crossing };
            let spell = open.get_or_insert(WarmSpell { from, to: None, peak: start });
            spell.peak = spell.peak.max(start).max(end);
            if end <= limit {
                spells.extend(open.take().map(|spell| WarmSpell { to: Some(crossing), ..spell }));
            }
        } else {
            // The straight line stays below; a spell that a gap cut off ends where it was last seen.
            spells.extend(open.take().map(|spell| WarmSpell { to: Some(piece.from), ..spell }));
        }
    }
    spells.extend(open);
    spells.retain(|spell| spell.to.or(last).is_some_and(|end| end.since(spell.from) > allowed_micros));
    spells
}

/// Where a straight line crosses the upper limit.
fn crossing(piece: &Piece) -> Instant {
    let (start, end, limit) = (piece.from_temperature.get(), piece.to_temperature.get(), piece.upper_limit.get());
    if start == end {
        return piece.from;
    }
    let span = i128::from(piece.to.since(piece.from));
    let part = span * i128::from(limit - start) / i128::from(end - start);
    piece.from.plus_micros(i64::try_from(part.clamp(0, span)).unwrap_or(0))
}
