//! The change feed, for whoever follows what the shop does.

use super::failure::{Failure, refuse};
use crate::domain::refusal::Code;
use crate::store::Reading;
use crate::store::changes::{self, Change, Position};

/// An act as the feed tells it, and a place in the feed.
pub type ChangeRow = Change;
pub type FeedPosition = Position;

/// A position as those who follow are given it: opaque to them, with a check of its own.
pub fn cursor(position: Position) -> String {
    let body = format!("{:x}.{:x}", position.xact, position.id);
    format!("{body}-{:08x}", crc32fast::hash(body.as_bytes()))
}

/// What comes behind a position, the oldest first. A position that is none of this database (it was restored from an older copy, or is
/// another one) is refused: going on from there could pass over changes without a word.
pub fn behind(reading: &mut Reading<'_>, position: Position, limit: i64) -> Result<Vec<Change>, Failure> {
    if position != Position::START && !changes::is_known(reading, position)? {
        return refuse(
            Code::InvalidValue,
            "after",
            "no change of this shop's record stands there: begin again without it",
        );
    }
    Ok(changes::behind(reading, position, limit)?)
}

/// Where someone begins who wants only what comes from now on.
pub fn newest(reading: &mut Reading<'_>) -> Result<Position, Failure> {
    Ok(changes::end(reading)?.map_or(Position::START, |(position, _)| position))
}

/// Where a follower begins: at its position if that is one of this record, none if it is not, at the end of the sequence when it has none.
pub fn begin(reading: &mut Reading<'_>, after: Option<Option<Position>>) -> Result<Option<Position>, Failure> {
    match after {
        None => newest(reading).map(Some),
        Some(Some(Position::START)) => Ok(Some(Position::START)),
        Some(Some(position)) => Ok(changes::is_known(reading, position)?.then_some(position)),
        Some(None) => Ok(None),
    }
}
