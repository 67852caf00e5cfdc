//! People: who exists, who is signed in. Wrong credentials are answered alike whoever they name. Machines' keys: `keys.rs`.

use super::desk::{Actor, Desk};
use super::failure::{Failure, refuse};
use super::fitness::Fitness;
use super::keys;
use super::secret::{self, Random32};
use crate::domain::permissions::Role;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::text;
use crate::store::acts::{self, NewAct};
use crate::store::error::StoreError;
use crate::store::people::{self, Person};
use crate::store::{Reading, Tx};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use std::net::IpAddr;

/// A sign-in ends after this, however busy.
pub const SIGN_IN_HOURS: i64 = 12;
/// Without a request it ends sooner: managers' sooner still.
const IDLE_MINUTES: i64 = 30;
const IDLE_MINUTES_MANAGER: i64 = 15;
const PASSWORD_LEAST: usize = 12;
const PASSWORD_MOST: usize = 128;

/// A fresh sign-in.
#[derive(Debug, Clone)]
pub struct SignedIn {
    pub token: String,
    pub name: String,
    pub role: Role,
    pub expires: Instant,
}

/// Who a credential belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    pub actor: Actor,
    /// Scope of the idempotency keys. The public number of a key, since two keys may have one name; a person's name, which is unique
    /// and never changes.
    pub client: String,
}

fn wrong() -> Failure {
    Refusal::new(Code::WrongCredentials, "", "name or password is wrong").into()
}

/// A hash no password fits, so that an unknown name takes as long as a known one.
const DECOY: &str = "$argon2id$v=19$m=19456,t=2,p=1$c2FrdWRhbmFzYWx0c2FsdA$Kc0Cn8xV8a3yS1fNf1B9nN8mVJc1p0u3c6Cq2m8vJ9E";

pub(super) fn role_of(text: &str) -> Result<Role, Failure> {
    Role::parse(text).ok_or_else(|| StoreError::impossible("role", text).into())
}

impl Desk {
    /// Signs a person in who asks from an address. Takes about a twentieth of a second of one processor, on purpose.
    pub fn sign_in(
        &self,
        now: Instant,
        random: &Random32,
        from: IpAddr,
        name: &str,
        password: &str,
    ) -> Result<SignedIn, Failure> {
        // Nobody has such a name or password, so nothing is counted or kept of it.
        if name.chars().count() > text::NAME_LIMIT || password.chars().count() > PASSWORD_MOST {
            return Err(wrong());
        }
        self.attempts.check(name, from, now)?;
        // PostgreSQL takes no NUL in a text, and nobody has one in the name.
        let known =
            |reading: &mut Reading<'_>| if name.contains('\0') { Ok(None) } else { people::find(reading, name) };
        let person = self.look(|reading, _| Ok(known(reading)?))?.filter(|p| p.disabled_at.is_none());
        let hash = person.as_ref().map_or(DECOY, |p| p.password_hash.as_str());
        let fits = secret::password_fits(password, hash);
        self.attempts.note(name, from, fits && person.is_some(), now);
        let person = person.filter(|_| fits).ok_or_else(wrong)?;
        let token = secret::token(random);
        let (hash, id) = (secret::digest(&token), person.id);
        let expires = now.plus_micros(SIGN_IN_HOURS * MICROS_PER_HOUR);
        self.act(move |tx, _| {
            people::sweep_sign_ins(tx, now)?;
            Ok(people::insert_sign_in(tx, &hash, id, now, expires)?)
        })?;
        Ok(SignedIn { token, role: role_of(&person.role)?, name: person.name, expires })
    }

    /// Who a bearer token or key belongs to; none when it is not valid now.
    pub fn who(&self, now: Instant, credential: &str) -> Result<Option<Known>, Failure> {
        let fitness = self.fitness(now);
        let found = self.look(|reading, _| recognise(reading, now, fitness, credential))?;
        Ok(found.map(|(known, seen)| {
            self.note_seen(now, seen);
            known
        }))
    }

    /// Whether a credential is still good, asked for someone who does nothing at the moment: the idle time goes on.
    pub fn still_knows(&self, now: Instant, credential: &str) -> Result<bool, Failure> {
        let fitness = self.fitness(now);
        Ok(self.look(|reading, _| recognise(reading, now, fitness, credential))?.is_some())
    }

    /// Writes down that someone was seen. Who is known stays known while nothing can be written: then only the idle time is not begun anew.
    pub fn note_seen(&self, now: Instant, seen: Seen) {
        let noted = match seen {
            Seen::NothingNew => Ok(()),
            Seen::Person { token_hash } => self.act(move |tx, _| Ok(people::touch_sign_in(tx, &token_hash, now)?)),
            Seen::Key(used) => self.act(move |tx, _| keys::note(tx, &used, now)),
        };
        if let Err(failure) = noted {
            tracing::warn!(error = %failure, "cannot note that a credential was used");
        }
    }

    /// Ends a sign-in.
    pub fn sign_out(&self, credential: &str) -> Result<(), Failure> {
        let hash = secret::digest(credential);
        self.act(move |tx, _| Ok(people::end_sign_in(tx, &hash)?))
    }

    /// Creates the owner when nobody exists yet; gives the password to show once.
    pub fn first_owner(&self, now: Instant, random: &Random32) -> Result<Option<(String, String)>, Failure> {
        let nobody = self.look(|reading, _| Ok(people::list(reading)?.is_empty()))?;
        if !nobody {
            return Ok(None);
        }
        let password = secret::first_password(random);
        let hash = checked_hash(&password)?;
        let created = self.act(move |tx, _| {
            // Two processes may start at once on one database: only the first creates the owner.
            if !people::list(tx)?.is_empty() {
                return Ok(false);
            }
            people::insert(tx, "owner", Role::Manager.as_str(), &hash, now)?;
            Ok(true)
        })?;
        Ok(created.then(|| ("owner".to_owned(), password)))
    }
}

/// What is to be written down of someone who was recognised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Seen {
    NothingNew,
    Person { token_hash: String },
    Key(keys::Used),
}

/// Who a bearer token or key belongs to, and what is to be written down of it. Changes nothing.
pub fn recognise(
    reading: &mut Reading<'_>,
    now: Instant,
    fitness: Fitness,
    credential: &str,
) -> Result<Option<(Known, Seen)>, Failure> {
    if let Some(key_id) = secret::key_id_of(credential) {
        let found = keys::recognise(reading, now, key_id, credential)?;
        return Ok(found.map(|(known, used)| (known, used.map_or(Seen::NothingNew, Seen::Key))));
    }
    if !credential.starts_with("sdt_") {
        return Ok(None);
    }
    let hash = secret::digest(credential);
    let found = people::find_sign_in(reading, &hash)?;
    let Some(sign_in) = found.filter(|s| s.disabled_at.is_none() && now.micros() < s.expires_at) else {
        return Ok(None);
    };
    let role = role_of(&sign_in.role)?;
    let idle = if role == Role::Manager { IDLE_MINUTES_MANAGER } else { IDLE_MINUTES };
    // While nothing can be written down nobody is taken for idle: that they were seen is not kept.
    let counted_to = match fitness {
        Fitness::Writable => now,
        Fitness::ReadOnly { since, .. } => since,
    };
    let quiet = counted_to.micros() - sign_in.last_seen_at;
    if quiet > idle * MICROS_PER_MINUTE {
        return Ok(None);
    }
    let client = format!("person:{}", sign_in.person_name);
    let known = Known { actor: Actor { name: sign_in.person_name, role }, client };
    let seen = if quiet > MICROS_PER_MINUTE { Seen::Person { token_hash: hash } } else { Seen::NothingNew };
    Ok(Some((known, seen)))
}

fn checked_hash(password: &str) -> Result<String, Failure> {
    let length = password.chars().count();
    if !(PASSWORD_LEAST..=PASSWORD_MOST).contains(&length) {
        return refuse(
            Code::InvalidValue,
            "password",
            format!("must be {PASSWORD_LEAST} to {PASSWORD_MOST} characters; a phrase is best"),
        );
    }
    let first = password.chars().next();
    if password.chars().all(|c| Some(c) == first)
        || ["password", "123456789012", "qwertyuiop"].iter().any(|common| password.to_lowercase().starts_with(common))
    {
        return refuse(Code::InvalidValue, "password", "is among the first that are guessed");
    }
    match secret::hash_password(password) {
        Some(hash) => Ok(hash),
        None => refuse(Code::InvalidValue, "password", "cannot be used"),
    }
}

pub(super) fn record(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    kind: &'static str,
    whom: &str,
) -> Result<i64, Failure> {
    Ok(acts::append(
        tx,
        &NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason: Some(whom), reverses: None },
    )?)
}

/// A person to be created, the password hashed outside the transaction.
#[derive(Debug, Clone)]
pub struct NewPerson {
    name: String,
    role: Role,
    hash: String,
}

impl NewPerson {
    /// Checks and hashes. Slow on purpose.
    pub fn check(name: &str, role: &str, password: &str) -> Result<NewPerson, Failure> {
        let name = text::name("name", name)?;
        let people_roles = [Role::Counter, Role::Cutter, Role::Manager, Role::Reader];
        let Some(role) = Role::parse(role).filter(|r| people_roles.contains(r)) else {
            return refuse(Code::InvalidValue, "role", "must be counter, cutter, manager or reader");
        };
        Ok(NewPerson { name, role, hash: checked_hash(password)? })
    }
}

pub fn create_person(tx: &mut Tx<'_>, actor: &Actor, now: Instant, new: &NewPerson) -> Result<Person, Failure> {
    if people::find(tx, &new.name)?.is_some() {
        return refuse(Code::AlreadyExists, "name", "someone has this name already");
    }
    record(tx, actor, now, "create_person", &new.name)?;
    people::insert(tx, &new.name, new.role.as_str(), &new.hash, now)?;
    person(tx, &new.name)
}

pub fn person(reading: &mut Reading<'_>, name: &str) -> Result<Person, Failure> {
    match people::find(reading, name)? {
        Some(person) => Ok(person),
        None => refuse(Code::NotFound, "name", "there is no such person"),
    }
}

/// Disables a person and ends their sign-ins. The last manager stays.
pub fn disable_person(tx: &mut Tx<'_>, actor: &Actor, now: Instant, name: &str) -> Result<Person, Failure> {
    let person_now = person(tx, name)?;
    let managers =
        people::list(tx)?.into_iter().filter(|p| p.role == Role::Manager.as_str() && p.disabled_at.is_none()).count();
    if person_now.role == Role::Manager.as_str() && person_now.disabled_at.is_none() && managers <= 1 {
        return refuse(Code::LastManager, "name", "is the last manager");
    }
    if person_now.disabled_at.is_none() {
        record(tx, actor, now, "disable_person", name)?;
        people::disable(tx, person_now.id, now)?;
    }
    person(tx, name)
}

pub fn all_people(reading: &mut Reading<'_>) -> Result<Vec<Person>, Failure> {
    Ok(people::list(reading)?)
}
