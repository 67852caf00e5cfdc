//! What whoever serves a subscription asks and reports: what comes next, that it may be sent, and what became of it. The position moves only
//! in the transaction that records an outcome, so that a stop at any moment sends a letter twice rather than never.
//!
//! One process serves a subscription at a time: it says so in the row before it sends, for as long as a few letters take, and another may go
//! on when that time has passed. A report counts only if nobody moved on, or changed the subscription, meanwhile.

use super::Webhooks;
use super::event::{self, Event};
use super::sealing::SealingKey;
use crate::domain::webhook::schedule::{Came, Verdict, in_words, judge};
use crate::domain::webhook::signature::sign;
use crate::domain::webhook::{DeadLetter, Kind, LARGEST_BODY, Place, Webhook};
use crate::ops::failure::Failure;
use crate::store::changes::{self, Position};
use crate::store::{Reading, Tx, webhooks};
use crate::units::instant::{Instant, MICROS_PER_SECOND};

/// Changes looked at in one step; of so many that are none of a subscription's kinds, the position moves past them.
const LOOKED_AT: i64 = 200;

/// Why a letter is sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    Test,
    /// Somebody asked for a dead letter once more.
    Letter(DeadLetter),
    /// It is its turn.
    Turn(Place),
}

/// A letter to send.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Errand {
    /// The subscription as it was seen.
    pub hook: Webhook,
    pub cause: Cause,
    pub event: Event,
}

/// What is to be done for a subscription now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Next {
    /// It is gone, or disabled.
    Over,
    Send(Box<Errand>),
    /// Nothing up to there is of its kinds.
    PassOver {
        from: Place,
        to: Place,
    },
    /// Nothing before this, or before something new is told.
    Nothing(Option<Instant>),
}

/// The next thing to do: what was asked for by hand first, then what comes behind the position.
pub fn next(reading: &mut Reading<'_>, id: i64, process: &str, now: Instant) -> Result<Next, Failure> {
    let Some(hook) = webhooks::find(reading, id)?.filter(|hook| hook.disabled.is_none()) else { return Ok(Next::Over) };
    if hook.is_held_from(process, now) {
        return Ok(Next::Nothing(Some(hook.claimed_until)));
    }
    let errand = |hook, cause, event| Ok(Next::Send(Box::new(Errand { hook, cause, event })));
    if let Some(asked_at) = hook.test_asked_at {
        let event = event::test(&hook, asked_at)?;
        return errand(hook, Cause::Test, event);
    }
    if let Some(letter) = webhooks::wanted_letter(reading, id)?
        && let Some(change) = changes::at(reading, Position { xact: letter.place.0, id: letter.place.1 })?
    {
        let event = event::of_change(&hook, &change)?;
        return errand(hook, Cause::Letter(letter), event);
    }
    if hook.next_try_at > now {
        return Ok(Next::Nothing(Some(hook.next_try_at)));
    }
    let (xact, number) = hook.position;
    let found = changes::behind(reading, Position { xact, id: number }, LOOKED_AT)?;
    let wanted = found.iter().find(|c| hook.kinds.contains(&Kind::of(c.tray_code.as_deref(), c.offer.as_deref())));
    match (wanted, found.last()) {
        (Some(change), _) => {
            let event = event::of_change(&hook, change)?;
            errand(hook, Cause::Turn((change.position.xact, change.position.id)), event)
        }
        (None, Some(last)) if found.len() >= usize::try_from(LOOKED_AT).unwrap_or(usize::MAX) => {
            Ok(Next::PassOver { from: hook.position, to: (last.position.xact, last.position.id) })
        }
        _ => Ok(Next::Nothing(None)),
    }
}

/// Moves the position past changes that are none of the subscription's kinds.
pub fn pass_over(tx: &mut Tx<'_>, seen: Place, to: Place, id: i64, process: &str, now: Instant) -> Result<(), Failure> {
    if let Some(mut hook) = webhooks::find(tx, id)?
        && hook.position == seen
        && !hook.is_held_from(process, now)
    {
        hook.position = to;
        webhooks::save(tx, &hook)?;
    }
    Ok(())
}

/// How long a claim holds for letters that may take so long: for one that is under way and another.
pub const fn claim_micros(timeout_s: i64) -> i64 {
    (2 * timeout_s + 2) * MICROS_PER_SECOND
}

/// How much of a claim must be left for one letter.
pub const fn letter_micros(timeout_s: i64) -> i64 {
    (timeout_s + 1) * MICROS_PER_SECOND
}

/// Says that this process serves a subscription from now on; whether it may. Committed before anything goes out.
pub fn claim(tx: &mut Tx<'_>, id: i64, process: &str, now: Instant, micros: i64) -> Result<Option<Webhook>, Failure> {
    let Some(mut hook) = webhooks::find(tx, id)? else { return Ok(None) };
    if hook.disabled.is_some() || hook.is_held_from(process, now) {
        return Ok(None);
    }
    hook.claimed_by = Some(process.to_owned());
    hook.claimed_until = now.plus_micros(micros);
    webhooks::save(tx, &hook)?;
    Ok(Some(hook))
}

/// Lets a subscription go, so that another process need not wait.
pub fn release(tx: &mut Tx<'_>, id: i64, process: &str, now: Instant) -> Result<(), Failure> {
    if let Some(mut hook) = webhooks::find(tx, id)?
        && hook.claimed_by.as_deref() == Some(process)
    {
        hook.claimed_by = None;
        hook.claimed_until = now;
        webhooks::save(tx, &hook)?;
    }
    Ok(())
}

/// The signature of an event at this moment, with every secret that is good; none when the key of this process opens none.
pub fn signature(webhooks: &Webhooks, hook: &Webhook, event: &Event, now: Instant) -> Result<String, String> {
    let key: SealingKey = webhooks.key().map_err(|failure| failure.to_string())?;
    let open = |sealed: &str| {
        key.open(sealed).ok_or("its secret was sealed with another key: rotate it, or bring the key back")
    };
    let mut secrets = vec![open(&hook.secret)?];
    if let (Some(earlier), Some(until)) = (&hook.earlier_secret, hook.earlier_until)
        && now < until
    {
        secrets.extend(open(earlier));
    }
    Ok(sign(&secrets, &event.id, timestamp(now), event.body.as_bytes()))
}

/// Unix seconds.
pub const fn timestamp(now: Instant) -> i64 {
    now.micros() / MICROS_PER_SECOND
}

/// Why an event cannot be sent at all.
pub fn too_large(event: &Event) -> bool {
    event.body.len() >= LARGEST_BODY
}

/// What became of an errand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Report {
    Came(Came),
    /// It can never be sent, for this reason.
    Unsendable(String),
}

/// Writes what became of an errand, if the subscription is still as it was seen.
pub fn report(
    tx: &mut Tx<'_>,
    now: Instant,
    process: &str,
    errand: &Errand,
    report: &Report,
    chance: u16,
) -> Result<(), Failure> {
    let Some(mut hook) = webhooks::find(tx, errand.hook.id)? else { return Ok(()) };
    let as_seen = (hook.version, hook.position) == (errand.hook.version, errand.hook.position);
    if hook.disabled.is_some() || hook.claimed_by.as_deref() != Some(process) || !as_seen {
        return Ok(());
    }
    let (verdict, words) = match report {
        Report::Came(came) => (judge(came, hook.tries + 1, now, chance), in_words(came)),
        Report::Unsendable(why) => (Verdict::Dead, why.clone()),
    };
    match &errand.cause {
        Cause::Turn(place) => {
            if verdict == Verdict::Dead {
                webhooks::bury(tx, hook.id, *place, now, hook.tries + 1, &words)?;
            }
            hook.settle(*place, &verdict, &words, now);
        }
        Cause::Test => {
            hook.test_asked_at = None;
            hook.test_outcome =
                Some(if verdict == Verdict::Delivered { "delivered".to_owned() } else { words.clone() });
            note(&mut hook, &verdict, &words, now);
        }
        Cause::Letter(letter) => {
            let Some(letter) = webhooks::letter(tx, letter.id)? else { return Ok(()) };
            if verdict == Verdict::Delivered {
                webhooks::delete_letter(tx, letter.id)?;
            } else {
                let (tries, reason) = (letter.tries + 1, words.clone());
                webhooks::save_letter(
                    tx,
                    &DeadLetter { tries, reason, failed_at: now, replay_asked_at: None, ..letter },
                )?;
            }
            note(&mut hook, &verdict, &words, now);
        }
    }
    webhooks::save(tx, &hook)?;
    Ok(())
}

/// What a letter outside the turn says of its subscription.
fn note(hook: &mut Webhook, verdict: &Verdict, words: &str, now: Instant) {
    match verdict {
        Verdict::Delivered => hook.last_success_at = Some(now),
        Verdict::Gone => hook.disable(now, words),
        Verdict::Again { .. } | Verdict::Dead => {}
    }
}

/// Says beside a subscription why it is not served here; nothing is counted as a try.
pub fn trouble(tx: &mut Tx<'_>, id: i64, words: &str) -> Result<(), Failure> {
    if let Some(mut hook) = webhooks::find(tx, id)?
        && hook.last_failure.as_deref() != Some(words)
    {
        hook.last_failure = Some(words.to_owned());
        webhooks::save(tx, &hook)?;
    }
    Ok(())
}

/// Which subscriptions there are to serve.
pub fn to_serve(reading: &mut Reading<'_>) -> Result<Vec<i64>, Failure> {
    Ok(webhooks::enabled(reading)?)
}

/// How many have a delivery that failed and is to be tried again.
pub fn trying_again(reading: &mut Reading<'_>) -> Result<i64, Failure> {
    Ok(webhooks::trying_again(reading)?)
}
