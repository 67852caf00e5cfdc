//! Placeholder until the readings come in.
use super::error::StoreError;
use super::read::Reading as Snapshot;
use crate::domain::life::curve::Reading;
use crate::units::instant::Instant;

pub fn all(_: &mut Snapshot<'_>, _: &str) -> Result<Vec<Reading>, StoreError> {
    Ok(Vec::new())
}
pub fn between(_: &mut Snapshot<'_>, _: &str, _: Instant, _: Instant) -> Result<Vec<Reading>, StoreError> {
    Ok(Vec::new())
}
pub fn changed_since(_: &mut Snapshot<'_>, _: &str, _: i64) -> Result<Option<(Instant, Instant)>, StoreError> {
    Ok(None)
}
