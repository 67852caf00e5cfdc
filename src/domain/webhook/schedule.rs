//! When a letter that did not get through is tried again, and when it is given up: the schedule of Standard Webhooks with jitter, and what a
//! receiver's answer means.

use crate::units::instant::{Instant, MICROS_PER_SECOND};
use chrono::DateTime;

/// Seconds before each try, counted from the one before: ten tries over 75 h 35 min 5 s (standard-webhooks/standard-webhooks,
/// spec/standard-webhooks.md, "Retry schedule").
pub const PAUSES_S: [i64; 10] = [0, 5, 300, 1_800, 7_200, 18_000, 36_000, 50_400, 72_000, 86_400];
/// A pause grows by up to so many thousandths, so that those who failed together do not come back together.
const JITTER_PERMILLE: i64 = 100;
/// A receiver may ask for more patience, up to this.
const LONGEST_WAIT_S: i64 = 86_400;

/// What came of one try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Came {
    /// The receiver answered: its status, and its `Retry-After` if it sent one.
    Answer { status: u16, retry_after: Option<String> },
    /// No whole answer, for this reason.
    Nothing(String),
}

/// What follows from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    Delivered,
    /// The receiver wants nothing any more.
    Gone,
    Again {
        at: Instant,
    },
    Dead,
}

/// Judges the try that is the `nth`, from 1. `chance` spreads the next one.
pub fn judge(came: &Came, nth: i64, now: Instant, chance: u16) -> Verdict {
    match came {
        Came::Answer { status: 200..=299, .. } => return Verdict::Delivered,
        Came::Answer { status: 410, .. } => return Verdict::Gone,
        _ => {}
    }
    let Some(pause) = usize::try_from(nth).ok().and_then(|n| PAUSES_S.get(n)) else { return Verdict::Dead };
    let jitter = pause * MICROS_PER_SECOND / 1_000 * JITTER_PERMILLE / i64::from(u16::MAX) * i64::from(chance);
    let at = now.plus_micros(pause * MICROS_PER_SECOND + jitter);
    Verdict::Again { at: asked(came, now).map_or(at, |asked| at.max(asked)) }
}

/// What came, as a person reads it. Nothing of a receiver's own words: an address that should not have been reached must not speak here.
pub fn in_words(came: &Came) -> String {
    match came {
        Came::Answer { status: 410, .. } => "the receiver answered 410: it wants nothing any more".to_owned(),
        Came::Answer { status: status @ 300..=399, .. } => {
            format!("the receiver answered {status}: redirects are not followed")
        }
        Came::Answer { status, .. } => format!("the receiver answered {status}"),
        Came::Nothing(why) => why.clone(),
    }
}

/// Until when a receiver under load asks to be left alone. 503 is here beside the three that the standard names: it is the status that
/// `Retry-After` was made for (RFC 9110, 15.6.4).
fn asked(came: &Came, now: Instant) -> Option<Instant> {
    let Came::Answer { status: 429 | 502 | 503 | 504, retry_after: Some(text) } = came else { return None };
    let text = text.trim();
    let seconds = if !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) {
        // More digits than fit are a long time too.
        text.parse().unwrap_or(LONGEST_WAIT_S)
    } else {
        // The date of RFC 9110, 5.6.7, is one of RFC 5322.
        let until = DateTime::parse_from_rfc2822(text).ok()?;
        until.timestamp() - now.micros() / MICROS_PER_SECOND
    };
    Some(now.plus_micros(seconds.clamp(0, LONGEST_WAIT_S) * MICROS_PER_SECOND))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> Instant {
        // 2026-11-25T09:30:00Z
        Instant::from_micros(1_795_599_000_000_000).unwrap()
    }

    fn answer(status: u16, retry_after: &str) -> Came {
        Came::Answer { status, retry_after: Some(retry_after.to_owned()).filter(|text| !text.is_empty()) }
    }

    fn wait(came: &Came, nth: i64, chance: u16) -> i64 {
        match judge(came, nth, now(), chance) {
            Verdict::Again { at } => at.since(now()) / MICROS_PER_SECOND,
            other => panic!("{other:?}"),
        }
    }

    /// The sum of the published list: 272,105 s = 75:35:05 (computed).
    #[test]
    fn ten_tries_take_75_hours_35_minutes_5_seconds() {
        assert_eq!(PAUSES_S.iter().sum::<i64>(), 272_105);
        let waits: Vec<i64> = (1..10).map(|nth| wait(&answer(500, ""), nth, 0)).collect();
        assert_eq!(waits, PAUSES_S[1..]);
        assert_eq!(judge(&answer(500, ""), 10, now(), 0), Verdict::Dead);
        assert_eq!(judge(&Came::Nothing("cut".into()), 10, now(), 0), Verdict::Dead);
        assert_eq!(judge(&answer(204, ""), 10, now(), 0), Verdict::Delivered);
    }

    #[test]
    fn jitter_only_lengthens_by_at_most_a_tenth() {
        for nth in 1..10 {
            let (least, most) = (wait(&answer(500, ""), nth, 0), wait(&answer(500, ""), nth, u16::MAX));
            assert!(least <= most && most <= least + least / 10, "{least} {most}");
            assert!(most > least || least == 5, "the jitter of {least} s is seen");
        }
    }

    #[test]
    fn answers_mean_what_the_standard_says() {
        for status in [200, 201, 202, 204, 299] {
            assert_eq!(judge(&answer(status, ""), 1, now(), 0), Verdict::Delivered);
        }
        for status in [100, 199, 301, 302, 307, 308, 304, 400, 401, 404, 409, 413, 429, 500, 502, 503, 504, 599] {
            assert!(matches!(judge(&answer(status, ""), 1, now(), 0), Verdict::Again { .. }), "{status}");
        }
        assert_eq!(judge(&answer(410, ""), 1, now(), 0), Verdict::Gone);
    }

    /// The date is the example of RFC 9110, 5.6.7, with the day it falls on now.
    #[test]
    fn a_receiver_under_load_is_left_alone_as_long_as_it_asks() {
        for status in [429, 502, 503, 504] {
            assert_eq!(wait(&answer(status, "120"), 1, 0), 120);
            assert_eq!(wait(&answer(status, "Wed, 25 Nov 2026 09:31:40 GMT"), 1, 0), 100);
        }
        assert_eq!(wait(&answer(429, "3"), 1, 0), 5, "never sooner than the schedule");
        assert_eq!(wait(&answer(429, "99999999999999999999"), 1, 0), 86_400, "never longer than a day");
        for unread in ["", "-5", "soon", "1.5", "Sun, 06 Nov 1994 08:49:37 GMT"] {
            assert_eq!(wait(&answer(429, unread), 1, 0), 5, "{unread:?}");
        }
        assert_eq!(wait(&answer(500, "120"), 1, 0), 5, "of another failure it says nothing");
    }
}
