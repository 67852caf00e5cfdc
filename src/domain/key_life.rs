//! How long the secrets of a machine's key live: at most two at once, each with an end, so that a till can be given a new one while it
//! still uses the old. What a secret is, and how it is kept, is not decided here.

use super::refusal::{Code, Refusal};
use crate::units::instant::{Instant, MICROS_PER_HOUR};

const MICROS_PER_DAY: i64 = 24 * MICROS_PER_HOUR;
/// Longest life of a key, in days.
pub const VALID_DAYS_LIMIT: i64 = 400;
/// How long an old secret may live on beside the new one, in days.
pub const OVERLAP_DAYS_LIMIT: i64 = 30;
/// A key that ends sooner is told of.
pub const WARNING_DAYS: i64 = 14;

/// What is known of a key's secrets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Secrets {
    pub expires: Instant,
    /// Whether the present secret was ever used: one that was not may have been lost on its way to the till.
    pub present_is_used: bool,
    /// End of the secret before it.
    pub previous_until: Option<Instant>,
    pub is_revoked: bool,
}

/// Which secret lives on beside the new one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeps {
    Nothing,
    Present(Instant),
    Previous(Instant),
}

/// The end of a key that begins now.
pub fn end(now: Instant, valid_days: i64) -> Result<Instant, Refusal> {
    if !(1..=VALID_DAYS_LIMIT).contains(&valid_days) {
        let reason = format!("must be from 1 to {VALID_DAYS_LIMIT}: keys end and are renewed");
        return Err(Refusal::new(Code::InvalidValue, "valid_days", reason));
    }
    Ok(now.plus_micros(valid_days * MICROS_PER_DAY))
}

impl Secrets {
    /// What lives on when a new secret is made now. A present secret that nobody has used yet gives way instead of the one in use: its
    /// answer may never have arrived.
    pub fn rotate(&self, now: Instant, overlap_days: i64) -> Result<Keeps, Refusal> {
        if !(0..=OVERLAP_DAYS_LIMIT).contains(&overlap_days) {
            let reason = format!("must be from 0 to {OVERLAP_DAYS_LIMIT}");
            return Err(Refusal::new(Code::InvalidValue, "overlap_days", reason));
        }
        if self.is_revoked {
            return Err(Refusal::new(Code::KeyRevoked, "key_id", "was revoked; create another"));
        }
        if overlap_days == 0 {
            return Ok(Keeps::Nothing);
        }
        match self.previous_until.filter(|until| now < *until) {
            Some(until) if self.present_is_used => {
                let reason = format!("both secrets are in use; the older ends at {until}; 0 ends them at once");
                Err(Refusal::new(Code::TwoSecretsLive, "overlap_days", reason))
            }
            Some(until) => Ok(Keeps::Previous(until)),
            None if now < self.expires => {
                let overlap = now.plus_micros(overlap_days * MICROS_PER_DAY);
                Ok(Keeps::Present(overlap.min(self.expires)))
            }
            None => Ok(Keeps::Nothing),
        }
    }

    /// How many secrets open the door now.
    pub fn live(&self, now: Instant) -> u32 {
        let live = |is: bool| u32::from(is && !self.is_revoked);
        live(now < self.expires) + live(self.previous_until.is_some_and(|until| now < until))
    }

    /// Whole days to the end, when somebody should be told: the key still lives, but not for long.
    pub fn days_left_if_few(&self, now: Instant) -> Option<i64> {
        let left = self.expires.since(now);
        let few = !self.is_revoked && (1..WARNING_DAYS * MICROS_PER_DAY).contains(&left);
        few.then_some(left / MICROS_PER_DAY)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(number: i64) -> Instant {
        Instant::from_micros(1_750_000_000_000_000).unwrap().plus_micros(number * MICROS_PER_DAY)
    }

    fn secrets(present_is_used: bool, previous_until: Option<i64>) -> Secrets {
        Secrets { expires: day(90), present_is_used, previous_until: previous_until.map(day), is_revoked: false }
    }

    #[test]
    fn the_old_secret_lives_on_and_never_a_third() {
        let code = |refused: Result<Keeps, Refusal>| refused.unwrap_err().code;
        assert_eq!(secrets(true, None).rotate(day(0), 7), Ok(Keeps::Present(day(7))));
        assert_eq!(secrets(true, None).rotate(day(85), 30), Ok(Keeps::Present(day(90))), "no longer than it was given");
        assert_eq!(secrets(true, None).rotate(day(90), 7), Ok(Keeps::Nothing), "what has ended stays so");
        assert_eq!(secrets(true, None).rotate(day(0), 0), Ok(Keeps::Nothing));
        assert_eq!(code(secrets(true, Some(3)).rotate(day(2), 7)), Code::TwoSecretsLive);
        assert_eq!(secrets(true, Some(3)).rotate(day(3), 7), Ok(Keeps::Present(day(10))));
        assert_eq!(secrets(true, Some(3)).rotate(day(2), 0), Ok(Keeps::Nothing), "0 ends both");
        assert_eq!(secrets(false, Some(3)).rotate(day(2), 7), Ok(Keeps::Previous(day(3))), "the unused one gives way");
        for days in [-1, 31] {
            assert_eq!(code(secrets(true, None).rotate(day(0), days)), Code::InvalidValue);
        }
        let revoked = Secrets { is_revoked: true, ..secrets(true, None) };
        assert_eq!(code(revoked.rotate(day(0), 0)), Code::KeyRevoked);
    }

    #[test]
    fn live_ones_are_counted_and_an_end_is_said_in_advance() {
        assert_eq!([0, 6, 7, 90].map(|now| secrets(true, Some(7)).live(day(now))), [2, 2, 1, 0]);
        assert_eq!(
            [75, 76, 77, 89, 90].map(|now| secrets(true, None).days_left_if_few(day(now))),
            [None, None, Some(13), Some(1), None]
        );
        assert!(end(day(0), 0).is_err() && end(day(0), 401).is_err());
        assert_eq!(end(day(0), 400), Ok(day(400)));
    }
}
