//! The wall clock and the system's chance for commands: both read where the whole program reads them, in `web::clock`.

use super::stop::Stop;
use crate::ops::secret::Random32;
use crate::units::instant::Instant;
use crate::web::clock;

/// The present moment, UTC.
pub fn now() -> Instant {
    clock::now()
}

/// Thirty-two bytes nobody can guess.
pub fn random32() -> Result<Random32, Stop> {
    clock::random().ok_or_else(|| Stop::unusable("the system gives no random numbers"))
}
