//! A body that is too large to be held: read piece by piece, its size limited; its pace is watched by `limits/pace.rs`, and how long it takes as a
//! whole is not limited.

use super::body::ended_early;
use super::problem::{Problem, Speech};
use actix_web::HttpRequest;
use actix_web::http::header::CONTENT_LENGTH;
use actix_web::web::{Bytes, Payload};
use futures_core::Stream;
use std::future::poll_fn;
use std::pin::Pin;

/// What is still to come of a body.
pub struct Pieces {
    payload: Payload,
    left: usize,
}

impl Pieces {
    /// Refuses at once a body that says it is larger than `limit` bytes.
    pub fn of(request: &HttpRequest, payload: Payload, limit: usize) -> Result<Pieces, Problem> {
        let told = request.headers().get(CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<u64>().ok());
        if told.is_some_and(|told| told > u64::try_from(limit).unwrap_or(u64::MAX)) {
            return Err(Problem::of(Speech::TooLarge));
        }
        Ok(Pieces { payload, left: limit })
    }

    /// The next piece; none when the body has ended.
    pub async fn next(&mut self) -> Result<Option<Bytes>, Problem> {
        let payload = &mut self.payload;
        let piece = match poll_fn(|context| Pin::new(&mut *payload).poll_next(context)).await {
            None => return Ok(None),
            Some(piece) => piece.map_err(|error| ended_early(Some(&error)))?,
        };
        self.left = self.left.checked_sub(piece.len()).ok_or_else(|| Problem::of(Speech::TooLarge))?;
        Ok(Some(piece))
    }

    /// All of it, for a limit that fits into the memory.
    pub async fn whole(mut self) -> Result<Vec<u8>, Problem> {
        let mut whole = Vec::new();
        while let Some(piece) = self.next().await? {
            whole.extend_from_slice(&piece);
        }
        Ok(whole)
    }
}
