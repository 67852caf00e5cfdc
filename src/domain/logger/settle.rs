//! What becomes of readings beside those that are there: new, repeated, or contradicting. The order in which they come changes nothing in
//! the end: of each instant the warmest counts, and every other value is kept aside once.

use crate::domain::life::curve::Reading;
use crate::units::instant::Instant;
use crate::units::temperature::MilliCelsius;
use std::collections::{BTreeMap, BTreeSet};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    New,
    Repeated,
    /// Warmer than what was there, and counts from now on.
    Raised {
        over: MilliCelsius,
    },
    /// Colder than what is there, and kept aside.
    SetAside {
        under: MilliCelsius,
    },
}

/// What is to be written, and the fate of each reading in the order they came.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Settled {
    pub fates: Vec<Fate>,
    /// By time.
    pub inserted: Vec<Reading>,
    /// With the temperature that counts from now on; by time.
    pub raised: Vec<Reading>,
    /// Values that do not count.
    pub aside: Vec<Reading>,
}

struct Standing {
    temperature: MilliCelsius,
    was_there: bool,
    changed: bool,
}

/// Settles incoming readings against those there at the same instants, and against the values kept aside there.
pub fn settle(there: &[Reading], aside: &[Reading], incoming: &[Reading]) -> Settled {
    if there.is_empty() && aside.is_empty() && is_ascending(incoming) {
        let fates = vec![Fate::New; incoming.len()];
        return Settled { fates, inserted: incoming.to_vec(), ..Settled::default() };
    }
    let mut standing: BTreeMap<Instant, Standing> = there
        .iter()
        .map(|reading| (reading.at, Standing { temperature: reading.temperature, was_there: true, changed: false }))
        .collect();
    let mut known_aside: BTreeSet<(Instant, MilliCelsius)> = aside.iter().map(|r| (r.at, r.temperature)).collect();
    let mut settled = Settled { fates: Vec::with_capacity(incoming.len()), ..Settled::default() };
    for reading in incoming {
        let fate = one(reading, &mut standing, &mut known_aside, &mut settled.aside);
        settled.fates.push(fate);
    }
    for (at, standing) in standing {
        let reading = Reading { at, temperature: standing.temperature };
        if !standing.was_there {
            settled.inserted.push(reading);
        } else if standing.changed {
            settled.raised.push(reading);
        }
    }
    settled
}

fn is_ascending(readings: &[Reading]) -> bool {
    readings.windows(2).all(|pair| matches!(pair, [one, other] if one.at < other.at))
}

fn one(
    reading: &Reading,
    standing: &mut BTreeMap<Instant, Standing>,
    known_aside: &mut BTreeSet<(Instant, MilliCelsius)>,
    aside: &mut Vec<Reading>,
) -> Fate {
    let temperature = reading.temperature;
    let Some(there) = standing.get_mut(&reading.at) else {
        standing.insert(reading.at, Standing { temperature, was_there: false, changed: false });
        return Fate::New;
    };
    let stood = there.temperature;
    if stood == temperature || known_aside.contains(&(reading.at, temperature)) {
        return Fate::Repeated;
    }
    let (loser, fate) = if temperature > stood {
        there.temperature = temperature;
        there.changed = true;
        (stood, Fate::Raised { over: stood })
    } else {
        (temperature, Fate::SetAside { under: stood })
    };
    known_aside.insert((reading.at, loser));
    aside.push(Reading { at: reading.at, temperature: loser });
    fate
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(seconds: i64, milli: i64) -> Reading {
        let at = Instant::from_micros(seconds * 1_000_000).unwrap();
        Reading { at, temperature: MilliCelsius::new(milli).unwrap() }
    }

    fn settled(there: &[(i64, i64)], aside: &[(i64, i64)], incoming: &[(i64, i64)]) -> Settled {
        let all = |list: &[(i64, i64)]| list.iter().map(|(s, m)| reading(*s, *m)).collect::<Vec<_>>();
        settle(&all(there), &all(aside), &all(incoming))
    }

    #[test]
    fn the_warmest_counts_and_the_rest_is_kept_once() {
        let found = settled(&[(1, 10)], &[], &[(1, 10), (1, 20), (1, 5), (1, 10), (2, 7), (2, 9)]);
        let over = |milli| Fate::Raised { over: MilliCelsius::new(milli).unwrap() };
        let under = |milli| Fate::SetAside { under: MilliCelsius::new(milli).unwrap() };
        assert_eq!(found.fates, [Fate::Repeated, over(10), under(20), Fate::Repeated, Fate::New, over(7)]);
        assert_eq!((found.inserted, found.raised), (vec![reading(2, 9)], vec![reading(1, 20)]));
        assert_eq!(found.aside, [reading(1, 10), reading(1, 5), reading(2, 7)]);
    }

    #[test]
    fn the_same_again_is_repeated_all_through() {
        let lines = [(1, 10), (1, 20), (1, 5), (2, 7)];
        let first = settled(&[], &[], &lines);
        let again = settle(&first.inserted, &first.aside, &lines.map(|(s, m)| reading(s, m)));
        assert!(again.fates.iter().all(|fate| *fate == Fate::Repeated));
        assert!(again.inserted.is_empty() && again.raised.is_empty() && again.aside.is_empty());
    }

    #[test]
    fn the_order_of_arrival_changes_nothing() {
        let lines = [(3, 1), (1, 5), (2, 9), (1, 7), (3, 1), (2, 4)];
        let sorted_aside = |mut settled: Settled| {
            settled.aside.sort_by_key(|r| (r.at, r.temperature));
            (settled.inserted, settled.aside)
        };
        let expected = sorted_aside(settled(&[], &[], &lines));
        for turn in 1..lines.len() {
            let mut turned = lines;
            turned.rotate_left(turn);
            assert_eq!(sorted_aside(settled(&[], &[], &turned)), expected, "turned by {turn}");
        }
    }
}
