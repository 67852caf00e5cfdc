//! The wall clock and the system's chance. Commands take both from here and hand them on; nothing below asks for them itself.

use super::stop::Stop;
use crate::ops::secret::Random32;
use crate::units::instant::Instant;

/// The present moment, UTC.
pub fn now() -> Instant {
    Instant::from_chrono(chrono::Utc::now())
}

/// Thirty-two bytes nobody can guess.
pub fn random32() -> Result<Random32, Stop> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|e| Stop::unusable(format!("the system gives no random numbers: {e}")))?;
    Ok(bytes)
}
