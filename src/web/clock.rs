//! The wall clock and chance, read here and nowhere else; everything below is told.

use crate::units::instant::Instant;

/// The moment this is called.
#[allow(clippy::disallowed_methods, reason = "the one place that reads the wall clock")]
pub fn now() -> Instant {
    let since_1970 = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    Instant::from_micros(i64::try_from(since_1970.as_micros()).unwrap_or(0)).unwrap_or(Instant::EPOCH)
}

/// 256 bits of chance from the operating system; none when it has none to give.
pub fn random() -> Option<[u8; 32]> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).ok().map(|()| bytes)
}
