//! Failed sign-ins, counted so that nobody guesses for long, and that nobody locks another out: whoever fails waits at his own address, and
//! all addresses together make a name wait only after many more failures, and briefly.

use super::failure::{Failure, refuse};
use crate::domain::refusal::Code;
use crate::units::instant::{Instant, MICROS_PER_MINUTE, MICROS_PER_SECOND};
use std::borrow::Borrow;
use std::collections::HashMap;
use std::hash::Hash;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

/// A failure older than this no longer counts.
const FAILURE_MINUTES: i64 = 15;
/// Names, and names with addresses, that are kept at most: some megabytes.
const KEPT: usize = 10_000;

/// How many failures are free, and how long the waits grow.
#[derive(Clone, Copy)]
struct Rule {
    free: u32,
    longest_seconds: i64,
}

/// Of one name from one address: after five, each waits twice as long as the one before.
const OF_ONE_ADDRESS: Rule = Rule { free: 5, longest_seconds: 60 };
/// Of one name from everywhere. Its waits are short, since they are the person's own as well.
const OF_A_NAME: Rule = Rule { free: 100, longest_seconds: 4 };

struct Failures {
    count: u32,
    last: Instant,
    /// Nobody signs in before.
    until: Instant,
}

impl Failures {
    fn forgotten(&self, now: Instant) -> bool {
        now.since(self.last) > FAILURE_MINUTES * MICROS_PER_MINUTE
    }
}

/// Failures of one kind, in bounded memory.
struct Counts<K> {
    rule: Rule,
    failures: HashMap<K, Failures>,
}

impl<K: Hash + Eq + Clone> Counts<K> {
    fn new(rule: Rule) -> Counts<K> {
        Counts { rule, failures: HashMap::new() }
    }

    fn waits<Q: Hash + Eq + ?Sized>(&self, key: &Q, now: Instant) -> bool
    where
        K: Borrow<Q>,
    {
        self.failures.get(key).is_some_and(|failures| now < failures.until)
    }

    fn failed(&mut self, key: K, now: Instant) {
        if self.failures.len() >= KEPT && !self.failures.contains_key(&key) {
            self.make_room(now);
        }
        let before = self.failures.get(&key).filter(|failures| !failures.forgotten(now));
        let count = before.map_or(0, |failures| failures.count).saturating_add(1);
        let beyond = count.checked_sub(self.rule.free).map_or(0, |beyond| 1_i64 << beyond.min(6));
        let until = now.plus_micros(beyond.min(self.rule.longest_seconds) * MICROS_PER_SECOND);
        self.failures.insert(key, Failures { count, last: now, until });
    }

    /// What no longer counts goes, else what failed least: a flood of names, each of which fails once, forgets itself and not a real guess.
    fn make_room(&mut self, now: Instant) {
        self.failures.retain(|_, failures| !failures.forgotten(now));
        if self.failures.len() >= KEPT {
            let least = self.failures.iter().min_by_key(|(_, failures)| (failures.count, failures.last));
            if let Some(key) = least.map(|(key, _)| key.clone()) {
                self.failures.remove(&key);
            }
        }
    }
}

struct Both {
    at_addresses: Counts<(String, IpAddr)>,
    of_names: Counts<String>,
}

/// Failed attempts of this process. Unknown names are counted like known ones, so that none is told from another.
pub struct Attempts(Mutex<Both>);

impl Default for Attempts {
    fn default() -> Attempts {
        Attempts(Mutex::new(Both { at_addresses: Counts::new(OF_ONE_ADDRESS), of_names: Counts::new(OF_A_NAME) }))
    }
}

impl Attempts {
    pub fn check(&self, name: &str, from: IpAddr, now: Instant) -> Result<(), Failure> {
        let both = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if both.at_addresses.waits(&(name.to_owned(), from), now) || both.of_names.waits(name, now) {
            return refuse(Code::TooManyAttempts, "", "wait a little and try again");
        }
        Ok(())
    }

    pub fn note(&self, name: &str, from: IpAddr, succeeded: bool, now: Instant) {
        let mut both = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let pair = (name.to_owned(), from);
        if succeeded {
            // The name's own count stays: others may be guessing while its person comes and goes.
            both.at_addresses.failures.remove(&pair);
            return;
        }
        both.at_addresses.failed(pair, now);
        both.of_names.failed(name.to_owned(), now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    fn address(number: u32) -> IpAddr {
        IpAddr::V4(Ipv4Addr::from_bits(number))
    }

    fn begin() -> (Attempts, Instant) {
        (Attempts::default(), Instant::from_micros(1_750_000_000_000_000).unwrap())
    }

    #[test]
    fn failures_make_one_wait_and_are_forgotten() {
        let (attempts, now) = begin();
        let later = |seconds: i64| now.plus_micros(seconds * MICROS_PER_SECOND);
        let here = address(1);
        for _ in 0..5 {
            assert!(attempts.check("Rui", here, now).is_ok());
            attempts.note("Rui", here, false, now);
        }
        assert!(attempts.check("Rui", here, now).is_err() && attempts.check("Ines", here, now).is_ok());
        assert!(attempts.check("Rui", here, later(1)).is_ok());
        attempts.note("Rui", here, false, later(1));
        assert!(attempts.check("Rui", here, later(2)).is_err(), "the sixth waits two seconds");
        // A quarter of an hour after the last failure the next one is the first again.
        attempts.note("Rui", here, false, later(902));
        assert!(attempts.check("Rui", here, later(902)).is_ok());
    }

    #[test]
    fn a_stranger_locks_nobody_out() {
        let (attempts, now) = begin();
        for _ in 0..50 {
            attempts.note("Rui", address(66), false, now);
        }
        assert!(attempts.check("Rui", address(66), now).is_err());
        assert!(attempts.check("Rui", address(1), now).is_ok());
        // Many strangers at once make the name wait, and not for long.
        for number in 100..200 {
            attempts.note("Rui", address(number), false, now);
        }
        assert!(attempts.check("Rui", address(1), now).is_err(), "a hundred failures are more than one person makes");
        assert!(attempts.check("Rui", address(1), now.plus_micros(4 * MICROS_PER_SECOND)).is_ok());
    }

    #[test]
    fn a_flood_of_names_forgets_itself_and_not_a_real_guess() {
        let (attempts, now) = begin();
        for _ in 0..4 {
            attempts.note("Rui", address(66), false, now);
        }
        for number in 0..10_500 {
            attempts.note(&format!("nobody {number}"), address(66), false, now);
        }
        assert!(attempts.check("Rui", address(66), now).is_ok(), "it was the fourth");
        attempts.note("Rui", address(66), false, now);
        assert!(attempts.check("Rui", address(66), now).is_err(), "it was the fifth");
        let both = attempts.0.lock().unwrap();
        assert!(both.at_addresses.failures.len() <= KEPT && both.of_names.failures.len() <= KEPT);
    }
}
