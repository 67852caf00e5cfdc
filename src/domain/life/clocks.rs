//! The clocks of a tray: which there are, how much each has used, when it ends, and which ends first.

use super::curve::Projection;
use super::wear::Wear;
use crate::units::instant::Instant;

/// One limit on a tray's life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Clock {
    Raw,
    Colour,
    Exposure,
    DateMark,
    Frozen,
    Supplier,
}

/// What one clock says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockAnswer {
    pub clock: Clock,
    /// 0 to 1000, rounded up. Dates count calendar time.
    pub used_permille: i64,
    /// The last instant within the limit if things stay as projected; none while the clock stands still with something left.
    pub ends_at: Option<Instant>,
}

/// The life of a tray as of an instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Life {
    pub at: Instant,
    /// Clocks in force for this tray, in the order of `Clock`; those switched off are absent.
    pub clocks: Vec<ClockAnswer>,
    /// The earliest end, and whose it is.
    pub ends_at: Option<Instant>,
    pub limiting: Option<Clock>,
    /// All it lived through, with what it took over.
    pub wear: Wear,
    pub projection: Projection,
}
