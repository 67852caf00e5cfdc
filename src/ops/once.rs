//! A recorded act is done once: the same key with the same content gets the first answer, with other content a refusal. The answer is
//! written in the transaction of the act, so that both are there or neither.

use super::desk::Desk;
use super::failure::{Failure, refuse};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::store::Tx;
use crate::store::idempotency::{self, Given, RequestKey};
use crate::units::instant::Instant;

/// A request that must not be done twice.
#[derive(Debug, Clone)]
pub struct Request {
    /// Who asks, as a scope of its own: two clients may use the same key.
    pub client: String,
    /// Method and path.
    pub route: String,
    pub key: String,
    /// Fingerprint of the content.
    pub fingerprint: String,
}

impl Request {
    pub(super) fn scoped_key(&self) -> RequestKey {
        RequestKey { client: self.client.clone(), route: self.route.clone(), key: self.key.clone() }
    }

    /// The answer given before, if it was to the same content.
    pub(super) fn replay(&self, given: &Given) -> Result<Answer, Failure> {
        if given.fingerprint != self.fingerprint {
            return refuse(Code::KeyReused, "Idempotency-Key", "this key was used for another request; use a new one");
        }
        let status = u16::try_from(given.status).unwrap_or(200);
        Ok(Answer { status, body: given.body.clone(), replayed: true })
    }
}

/// An answer in its outer form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    pub status: u16,
    pub body: String,
    /// Whether this is the answer given before.
    pub replayed: bool,
}

impl Desk {
    /// Does `act` unless its request was answered before. `act` ends with its answer in outer form, status and body. Refusals are not
    /// kept: the same request may succeed when the shop has changed.
    pub fn act_once<F>(&self, request: Request, now: Instant, act: F) -> Result<Answer, Failure>
    where
        F: Fn(&mut Tx<'_>, &Shop) -> Result<(u16, String), Failure> + Send + 'static,
    {
        self.act(move |tx, shop| {
            let key = request.scoped_key();
            if let Some(given) = idempotency::find(tx, &key)? {
                return request.replay(&given);
            }
            let (status, body) = act(tx, shop)?;
            let given =
                Given { fingerprint: request.fingerprint.clone(), status: i64::from(status), body: body.clone() };
            idempotency::insert(tx, &key, &given, now)?;
            Ok(Answer { status, body, replayed: false })
        })
    }
}
