//! Webhooks as a manager keeps them: created with a secret that is shown once, changed under a version, rotated, tried out, replayed, deleted.
//! How they are served is `serving`, what is sent `event`.

pub mod event;
pub mod sealing;
pub mod serving;

use super::changes::{FeedPosition, newest};
use super::desk::Actor;
use super::edit_catalogue::Expected;
use super::failure::{Failure, refuse};
use super::secret::Random32;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::webhook::address::{AddressRules, Target};
use crate::domain::webhook::signature::write_secret;
use crate::domain::webhook::{self, DeadLetter, Webhook};
use crate::store::acts::{self, NewAct};
use crate::store::{Reading, Tx, changes, webhooks};
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use sealing::SealingKey;
use std::sync::{Mutex, PoisonError};

/// Longest time that an old secret stays good beside the new one, in hours.
pub const KEEP_HOURS_LIMIT: i64 = 168;

/// Where a process has the key of the secrets from: asked when it is first needed, and it may make one.
pub type KeySource = Box<dyn Fn() -> Result<Random32, String> + Send + Sync>;

/// What a process knows of webhooks beside the database.
#[derive(Default)]
pub struct Webhooks {
    rules: AddressRules,
    source: Option<KeySource>,
    key: Mutex<Option<SealingKey>>,
}

impl Webhooks {
    pub fn of(rules: AddressRules, source: KeySource) -> Webhooks {
        Webhooks { rules, source: Some(source), key: Mutex::default() }
    }

    pub const fn rules(&self) -> &AddressRules {
        &self.rules
    }

    /// The key of the secrets; a refusal says why there is none.
    pub fn key(&self) -> Result<SealingKey, Failure> {
        let mut known = self.key.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(key) = known.as_ref() {
            return Ok(key.clone());
        }
        match self.source.as_ref().map(|source| source()) {
            Some(Ok(bytes)) => Ok(known.insert(SealingKey::new(bytes)).clone()),
            Some(Err(why)) => refuse(Code::WebhookKeyUnusable, "", why),
            None => refuse(Code::WebhookKeyUnusable, "", "this command has none"),
        }
    }

    fn read(&self, url: &str) -> Result<Target, Failure> {
        self.rules.read(url).map_err(|reason| Refusal::new(Code::AddressRefused, "url", reason).into())
    }
}

/// A secret made of chance: as its receiver is given it, and as it is kept.
pub struct FreshSecret {
    pub written: String,
    sealed: String,
}

/// Makes a secret; the first chance becomes it, the second seals it.
pub fn fresh_secret(webhooks: &Webhooks, chance: &(Random32, Random32)) -> Result<FreshSecret, Failure> {
    match webhooks.key()?.seal(&chance.0, &chance.1) {
        Some(sealed) => Ok(FreshSecret { written: write_secret(&chance.0), sealed }),
        None => refuse(Code::WebhookKeyUnusable, "", "it does not seal"),
    }
}

fn record(tx: &mut Tx<'_>, actor: &Actor, now: Instant, kind: &'static str, of: &str) -> Result<(), Failure> {
    let act = NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason: Some(of), reverses: None };
    acts::append(tx, &act)?;
    Ok(())
}

/// What a manager says of a subscription.
#[derive(Debug, Clone)]
pub struct Draft {
    target: Target,
    kinds: Vec<webhook::Kind>,
}

impl Draft {
    pub fn check(webhooks: &Webhooks, url: &str, kinds: &[String]) -> Result<Draft, Failure> {
        Ok(Draft { target: webhooks.read(url)?, kinds: webhook::kinds(kinds)? })
    }
}

/// Whether anything is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Switch {
    On,
    Off,
}

fn known(reading: &mut Reading<'_>, position: FeedPosition) -> Result<(), Failure> {
    if position != FeedPosition::START && !changes::is_known(reading, position)? {
        return refuse(Code::InvalidValue, "after", "no change of this shop's record stands there");
    }
    Ok(())
}

/// Creates a subscription that begins behind a position.
pub fn create(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    draft: &Draft,
    after: Option<FeedPosition>,
    secret: &FreshSecret,
) -> Result<Webhook, Failure> {
    if webhooks::list(tx)?.len() >= webhook::MOST {
        return refuse(Code::WebhookLimit, "", format!("there are {} already", webhook::MOST));
    }
    let after = match after {
        Some(position) => position,
        None => newest(tx)?,
    };
    known(tx, after)?;
    let mut hook = Webhook {
        id: 0,
        url: draft.target.url.clone(),
        kinds: draft.kinds.clone(),
        created_at: now,
        created_by: actor.name.clone(),
        secret: secret.sealed.clone(),
        earlier_secret: None,
        earlier_until: None,
        version: 1,
        disabled: None,
        position: (after.xact, after.id),
        tries: 0,
        next_try_at: now,
        last_failure: None,
        dead_in_a_row: 0,
        last_success_at: None,
        claimed_by: None,
        claimed_until: now,
        test_asked_at: None,
        test_outcome: None,
    };
    hook.id = webhooks::insert(tx, &hook)?;
    record(tx, actor, now, "create_webhook", &named(&hook))?;
    Ok(hook)
}

/// Names a subscription in the record; without its path, which may hold a password of the receiver's.
fn named(hook: &Webhook) -> String {
    let end = hook.url.match_indices('/').nth(2).map_or(hook.url.len(), |(at, _)| at);
    format!("{} to {}", hook.id, hook.url.get(..end).unwrap_or_default())
}

pub fn one(reading: &mut Reading<'_>, id: i64) -> Result<Webhook, Failure> {
    match webhooks::find(reading, id)? {
        Some(hook) => Ok(hook),
        None => refuse(Code::NotFound, "id", format!("there is no webhook {id}")),
    }
}

pub fn all(reading: &mut Reading<'_>) -> Result<Vec<Webhook>, Failure> {
    Ok(webhooks::list(reading)?)
}

/// Changes a subscription under the version that was read. Switched on, it begins anew where it stands.
pub fn change(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    id: i64,
    draft: &Draft,
    switch: Switch,
    expected: Expected,
) -> Result<Webhook, Failure> {
    let mut hook = one(tx, id)?;
    match expected {
        Expected::New => return refuse(Code::AlreadyExists, "id", "exists already; change it with If-Match"),
        Expected::Version(read) if read != hook.version => {
            return refuse(Code::VersionMismatch, "If-Match", format!("the version is now {}", hook.version));
        }
        Expected::Version(_) => {}
    }
    hook.url.clone_from(&draft.target.url);
    hook.kinds.clone_from(&draft.kinds);
    hook.version += 1;
    match (switch, &hook.disabled) {
        (Switch::On, Some(_)) => {
            hook.disabled = None;
            hook.dead_in_a_row = 0;
        }
        (Switch::Off, None) => hook.disable(now, format!("switched off by {}", actor.name)),
        _ => {}
    }
    // Whatever the last failure was, it was of the old address or of an outage that somebody has seen to.
    hook.begin_anew(now);
    webhooks::save(tx, &hook)?;
    record(tx, actor, now, "change_webhook", &named(&hook))?;
    Ok(hook)
}

pub fn delete(tx: &mut Tx<'_>, actor: &Actor, now: Instant, id: i64) -> Result<Webhook, Failure> {
    let hook = one(tx, id)?;
    webhooks::delete(tx, id)?;
    record(tx, actor, now, "delete_webhook", &named(&hook))?;
    Ok(hook)
}

/// Puts a new secret in the place of the present one, which stays good for some hours beside it.
pub fn rotate(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    id: i64,
    secret: &FreshSecret,
    keep_hours: i64,
) -> Result<Webhook, Failure> {
    if !(0..=KEEP_HOURS_LIMIT).contains(&keep_hours) {
        return refuse(Code::InvalidValue, "keep_hours", format!("must be from 0 to {KEEP_HOURS_LIMIT}"));
    }
    let mut hook = one(tx, id)?;
    let old = std::mem::replace(&mut hook.secret, secret.sealed.clone());
    hook.earlier_secret = (keep_hours > 0).then_some(old);
    hook.earlier_until = (keep_hours > 0).then(|| now.plus_micros(keep_hours * MICROS_PER_HOUR));
    hook.version += 1;
    webhooks::save(tx, &hook)?;
    record(tx, actor, now, "rotate_webhook", &named(&hook))?;
    Ok(hook)
}

/// Asks for the event that tries the receiver out: it is sent once, whatever else waits.
pub fn ask_for_test(tx: &mut Tx<'_>, now: Instant, id: i64) -> Result<Webhook, Failure> {
    let mut hook = one(tx, id)?;
    if hook.disabled.is_some() {
        return refuse(Code::InvalidValue, "id", "the webhook is disabled: switch it on first");
    }
    hook.test_asked_at = Some(now);
    hook.test_outcome = None;
    webhooks::save(tx, &hook)?;
    Ok(hook)
}

/// What is to be sent again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replay {
    /// Everything behind a position, as if it had never been sent.
    Changes(FeedPosition),
    /// One dead letter.
    Letter(i64),
    AllLetters,
}

/// Asks for something to be sent again.
pub fn replay(tx: &mut Tx<'_>, actor: &Actor, now: Instant, id: i64, what: Replay) -> Result<Webhook, Failure> {
    let mut hook = one(tx, id)?;
    match what {
        Replay::Changes(position) => {
            known(tx, position)?;
            hook.position = (position.xact, position.id);
            hook.dead_in_a_row = 0;
            hook.begin_anew(now);
            webhooks::save(tx, &hook)?;
        }
        Replay::Letter(letter_id) => match webhooks::letter(tx, letter_id)?.filter(|letter| letter.webhook_id == id) {
            Some(letter) => webhooks::save_letter(tx, &DeadLetter { replay_asked_at: Some(now), ..letter })?,
            None => return refuse(Code::UnknownReference, "letter_id", "the webhook has no such dead letter"),
        },
        Replay::AllLetters => {
            webhooks::want_letters(tx, id, now)?;
        }
    }
    record(tx, actor, now, "replay_webhook", &named(&hook))?;
    Ok(hook)
}

/// How a subscription fares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fares {
    pub hook: Webhook,
    /// The newest first.
    pub letters: Vec<DeadLetter>,
    pub letter_count: i64,
}

pub fn fares(reading: &mut Reading<'_>, id: i64, below: Option<i64>, limit: i64) -> Result<Fares, Failure> {
    let hook = one(reading, id)?;
    let letters = webhooks::letters(reading, id, below, limit)?;
    Ok(Fares { hook, letters, letter_count: webhooks::count_letters(reading, id)? })
}
