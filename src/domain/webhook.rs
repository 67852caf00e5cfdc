//! Webhooks: what a subscription is, which events there are, and what a manager may say of one. Where it may go is `address`, when it is
//! tried again `schedule`, how it is signed `signature`.

pub mod address;
pub mod schedule;
pub mod signature;

use super::refusal::{Code, Refusal};
use crate::units::instant::Instant;

/// Most subscriptions of a shop: each is served by a thread of its own.
pub const MOST: usize = 20;
/// A body larger than this is not sent (Standard Webhooks asks for payloads below 20 kB).
pub const LARGEST_BODY: usize = 20_000;
/// Letters that died in a row, none delivered between, after which a subscription is disabled: its receiver is gone, not its letters bad.
pub const DEAD_IN_A_ROW: i64 = 3;

/// What happened, as a receiver is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// What is on the shelf of a tray is new, or another than before.
    TrayChanged,
    /// Nothing is for sale of a tray: it went out, or is of a kind that is never sold as it is.
    TrayGone,
    /// An act that touched no tray.
    ActRecorded,
}

impl Kind {
    pub const ALL: [Kind; 3] = [Kind::TrayChanged, Kind::TrayGone, Kind::ActRecorded];

    /// Its name in the body, of the letters Standard Webhooks allows.
    pub const fn as_str(self) -> &'static str {
        match self {
            Kind::TrayChanged => "tray.changed",
            Kind::TrayGone => "tray.gone",
            Kind::ActRecorded => "act.recorded",
        }
    }

    pub fn parse(text: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.as_str() == text)
    }

    /// The kind of a change: of which tray, if any, and with what on its shelf.
    pub const fn of(tray_code: Option<&str>, offer: Option<&str>) -> Kind {
        match (tray_code, offer) {
            (None, _) => Kind::ActRecorded,
            (Some(_), Some(_)) => Kind::TrayChanged,
            (Some(_), None) => Kind::TrayGone,
        }
    }
}

/// The name of the event that only tries a receiver out.
pub const TEST: &str = "webhook.test";

/// Reads a list of kinds; an empty one stands for all there are.
pub fn kinds(names: &[String]) -> Result<Vec<Kind>, Refusal> {
    let known = || Kind::ALL.map(Kind::as_str).join(", ");
    let mut kinds = Vec::with_capacity(names.len());
    for (index, name) in names.iter().enumerate() {
        let kind = Kind::parse(name).ok_or_else(|| {
            Refusal::new(Code::InvalidValue, format!("kinds/{index}"), format!("must be one of {}", known()))
        })?;
        if kinds.contains(&kind) {
            return Err(Refusal::new(Code::InvalidValue, format!("kinds/{index}"), "stands twice"));
        }
        kinds.push(kind);
    }
    if kinds.is_empty() {
        kinds.extend(Kind::ALL);
    }
    kinds.sort();
    Ok(kinds)
}

/// A place in the change sequence: transaction and number.
pub type Place = (i64, i64);

/// A subscription as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    pub id: i64,
    pub url: String,
    pub kinds: Vec<Kind>,
    pub created_at: Instant,
    pub created_by: String,
    /// The secret, sealed; and the one before it, while both are good.
    pub secret: String,
    pub earlier_secret: Option<String>,
    pub earlier_until: Option<Instant>,
    /// Raised by every change a person makes.
    pub version: i64,
    pub disabled: Option<Disabled>,
    /// The last change that is done with.
    pub position: Place,
    /// How often what comes next was tried, and when it is tried again.
    pub tries: i64,
    pub next_try_at: Instant,
    /// What became of the last try, when it did not get through.
    pub last_failure: Option<String>,
    pub dead_in_a_row: i64,
    pub last_success_at: Option<Instant>,
    /// Which process serves it, and until when it need not say so again.
    pub claimed_by: Option<String>,
    pub claimed_until: Instant,
    pub test_asked_at: Option<Instant>,
    pub test_outcome: Option<String>,
}

/// Since when, and why, nothing is sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Disabled {
    pub at: Instant,
    pub why: String,
}

impl Webhook {
    /// Whether another process serves it now.
    pub fn is_held_from(&self, process: &str, now: Instant) -> bool {
        self.claimed_by.as_deref().is_some_and(|by| by != process) && self.claimed_until > now
    }

    /// Whether a process may send for so long without saying again that it serves it.
    pub fn is_claimed_for(&self, process: &str, now: Instant, micros: i64) -> bool {
        self.claimed_by.as_deref() == Some(process) && self.claimed_until.since(now) >= micros
    }

    /// Begins to try what comes next as if it had never been tried.
    pub fn begin_anew(&mut self, now: Instant) {
        self.tries = 0;
        self.next_try_at = now;
        self.last_failure = None;
    }

    pub fn disable(&mut self, at: Instant, why: impl Into<String>) {
        self.disabled = Some(Disabled { at, why: why.into() });
    }

    /// Takes over how one letter of the sequence fared. The position moves here and nowhere else.
    pub fn settle(&mut self, place: Place, verdict: &schedule::Verdict, words: &str, now: Instant) {
        use schedule::Verdict;
        match verdict {
            Verdict::Delivered => {
                self.position = place;
                self.dead_in_a_row = 0;
                self.last_success_at = Some(now);
                self.begin_anew(now);
            }
            Verdict::Gone => {
                self.disable(now, words);
                self.last_failure = Some(words.to_owned());
            }
            Verdict::Again { at } => {
                self.tries += 1;
                self.next_try_at = *at;
                self.last_failure = Some(words.to_owned());
            }
            Verdict::Dead => {
                self.position = place;
                self.dead_in_a_row += 1;
                self.begin_anew(now);
                self.last_failure = Some(words.to_owned());
                if self.dead_in_a_row >= DEAD_IN_A_ROW {
                    self.disable(
                        now,
                        format!("{} letters in a row could not be delivered: {words}", self.dead_in_a_row),
                    );
                }
            }
        }
    }
}

/// A letter that could not be delivered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeadLetter {
    pub id: i64,
    pub webhook_id: i64,
    /// The change it tells of.
    pub place: Place,
    pub failed_at: Instant,
    pub tries: i64,
    pub reason: String,
    /// When somebody asked to send it once more, while that is not done.
    pub replay_asked_at: Option<Instant>,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Standard Webhooks: names of `[a-zA-Z0-9_.]`, with points between the levels.
    #[test]
    fn names_of_events_are_of_the_allowed_letters() {
        for name in Kind::ALL.map(Kind::as_str).into_iter().chain([TEST]) {
            assert!(name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b'.') && name.contains('.'));
        }
    }

    #[test]
    fn kinds_are_read_once_each_and_none_means_all() {
        let read = |names: &[&str]| kinds(&names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>());
        assert_eq!(read(&[]).unwrap(), Kind::ALL);
        assert_eq!(read(&["tray.gone", "tray.changed"]).unwrap(), [Kind::TrayChanged, Kind::TrayGone]);
        assert!(read(&["tray.gone", "tray.gone"]).is_err() && read(&["tray"]).is_err() && read(&[TEST]).is_err());
    }

    #[test]
    fn what_a_change_is_called() {
        assert_eq!(Kind::of(None, None), Kind::ActRecorded);
        assert_eq!(Kind::of(Some("C4H7K9P"), None), Kind::TrayGone);
        assert_eq!(Kind::of(Some("C4H7K9P"), Some("{}")), Kind::TrayChanged);
    }
}
