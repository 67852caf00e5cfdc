//! The temperature of a place through time, from its readings, and the sums over any stretch of it.

use crate::domain::place::StorageMethod;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;

/// One reading of a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    pub at: Instant,
    pub temperature: MilliCelsius,
}

/// The settings of a place from an instant on, until the next era begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Era {
    pub from: Instant,
    pub method: StorageMethod,
    /// What counts where nothing was measured.
    pub upper_limit: MilliCelsius,
    /// Two readings further apart leave a gap.
    pub gap_micros: i64,
}

/// Why a temperature is the one that counts from the last reading on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    NoSensor,
    UpperLimit,
    LastReadingWarmer,
}

/// The temperature that counts from now on, until a reading says otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Projection {
    pub temperature: MilliCelsius,
    pub because: Because,
}
