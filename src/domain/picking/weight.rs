//! Trays whose weights together come within a window, exact to the gram. Weights stand in the order in which trays should go, oldest
//! first. For the oldest first: bits of all sums that the trays from each one on can make, then one walk; trays × grams / 64 steps.

use super::bits::Bits;
use super::{Choice, Missed, Window};

/// Most trays times grams: 200 trays for 50 kg. The way to the fewest trays keeps two bytes for each, 20 MB. A bulk order beyond it is
/// picked in parts.
pub const CELLS_LIMIT: i64 = 10_000_000;

/// Refuses what is too large.
pub fn check_size(trays: usize, window: Window) -> Result<(), Missed> {
    let trays = i64::try_from(trays).unwrap_or(i64::MAX);
    if trays.saturating_mul(window.high) > CELLS_LIMIT { Err(Missed::TooLarge) } else { Ok(()) }
}

/// The places in the order of the trays to take, or what can be had instead. Where a choice leaves several, the one that takes the older
/// trays: the first tray in which two selections differ is taken.
pub fn choose(weights: &[i64], window: Window, choice: Choice) -> Result<Vec<usize>, Missed> {
    let weights: Vec<usize> = weights.iter().map(|grams| grams_of(*grams)).collect();
    let (low, high) = (grams_of(window.low), grams_of(window.high));
    let all = match choice {
        Choice::OldestFirst => oldest_first(&weights, &reach(&weights, high), &[(low, high)]),
        Choice::Closest => closest(&weights, (low, high)),
        Choice::Fewest => fewest(&weights, (low, high)),
        Choice::LeastFresh => least_fresh(&weights, (low, high)),
    };
    all.ok_or_else(|| nearest(&weights, (low, high)))
}

fn grams_of(grams: i64) -> usize {
    usize::try_from(grams).unwrap_or(0)
}

/// What the trays from each one on can make; the last is what none of them makes. In the order of the trays, one more than there are.
fn reach(weights: &[usize], limit: usize) -> Vec<Bits> {
    let mut sums = Bits::zero(limit);
    let mut all = Vec::with_capacity(weights.len() + 1);
    all.push(sums.clone());
    for weight in weights.iter().rev() {
        sums = sums.with(*weight);
        all.push(sums.clone());
    }
    all.reverse();
    all
}

/// Takes each tray unless that makes all of the wanted sums unreachable; none where they are from the beginning.
fn oldest_first(weights: &[usize], reach: &[Bits], wanted: &[(usize, usize)]) -> Option<Vec<usize>> {
    let within = |rest: &Bits, sum: usize| {
        let left = wanted.iter().filter_map(|(low, high)| Some((low.saturating_sub(sum), high.checked_sub(sum)?)));
        left.into_iter().any(|(low, high)| rest.least(low, high).is_some())
    };
    if !reach.first().is_some_and(|all| within(all, 0)) {
        return None;
    }
    let (mut sum, mut taken) = (0, Vec::new());
    for (at, (weight, rest)) in weights.iter().zip(reach.iter().skip(1)).enumerate() {
        if within(rest, sum + weight) {
            sum += weight;
            taken.push(at);
        }
    }
    Some(taken)
}

/// The sum nearest to the middle; of two as near, the one whose selection takes the older trays.
fn closest(weights: &[usize], (low, high): (usize, usize)) -> Option<Vec<usize>> {
    let reach = reach(weights, high);
    let all = reach.first()?;
    // Twice the middle, so that it is a whole number.
    let twice = low + high;
    let sides = [all.greatest(low, twice / 2), all.least(twice.div_ceil(2), high)];
    let away = |sum: usize| (2 * sum).abs_diff(twice);
    let least = sides.iter().flatten().map(|sum| away(*sum)).min()?;
    let wanted: Vec<_> = sides.into_iter().flatten().filter(|sum| away(*sum) == least).map(|sum| (sum, sum)).collect();
    oldest_first(weights, &reach, &wanted)
}

/// So many trays make no sum.
const NEVER: u16 = u16::MAX;

/// The fewest trays. Kept for the trays from each one on: how few of them make each sum.
fn fewest(weights: &[usize], (low, high): (usize, usize)) -> Option<Vec<usize>> {
    let mut least = vec![NEVER; high + 1];
    if let Some(zero) = least.first_mut() {
        *zero = 0;
    }
    let mut all = vec![least.clone()];
    for weight in weights.iter().rev() {
        let mut with = least.clone();
        for (count, before) in with.iter_mut().skip(*weight).zip(&least) {
            *count = (*count).min(before.saturating_add(1));
        }
        least = with;
        all.push(least.clone());
    }
    all.reverse();
    let of_window = |counts: &[u16], sum: usize| {
        let (low, high) = (low.saturating_sub(sum), high.checked_sub(sum)?);
        counts.get(low..=high)?.iter().copied().min().filter(|count| *count < NEVER)
    };
    let most = of_window(all.first()?, 0)?;
    let (mut sum, mut taken) = (0, Vec::new());
    for (at, (weight, rest)) in weights.iter().zip(all.iter().skip(1)).enumerate() {
        let so_far = u16::try_from(taken.len()).unwrap_or(NEVER);
        let with = of_window(rest, sum + weight).map(|more| so_far.saturating_add(1).saturating_add(more));
        if with.is_some_and(|count| count <= most) {
            sum += weight;
            taken.push(at);
        }
    }
    Some(taken)
}

/// The shortest beginning of the order out of which the window can be reached, and in it the nearest to the middle.
fn least_fresh(weights: &[usize], (low, high): (usize, usize)) -> Option<Vec<usize>> {
    let mut sums = Bits::zero(high);
    let needed = weights.iter().position(|weight| {
        sums = sums.with(*weight);
        sums.least(low, high).is_some()
    })?;
    closest(weights.get(..=needed)?, (low, high))
}

/// The nearest sums below and above a window that cannot be reached. The least sum above it passes it by less than its lightest tray, since
/// without that one it would be below or inside.
fn nearest(weights: &[usize], (low, high): (usize, usize)) -> Missed {
    let heaviest = weights.iter().max().copied().unwrap_or(0);
    let limit = high.saturating_add(heaviest);
    let all = weights.iter().fold(Bits::zero(limit), |sums, weight| sums.with(*weight));
    let below = low.checked_sub(1).and_then(|below| all.greatest(1, below));
    let said = |sum: Option<usize>| sum.and_then(|sum| i64::try_from(sum).ok());
    Missed::Unreachable { below: said(below), above: said(all.least(high + 1, limit)) }
}
