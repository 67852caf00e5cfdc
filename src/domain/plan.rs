//! How much to cut or order for the next days, so that the expected profit is highest: the newsvendor on a piece's remaining life, behind what
//! is there already. And the plain projection of a stock by days.
//!
//! The model. Pieces are sold in the order in which they come; whoever comes when there is none goes away. A piece can be sold from its cutting
//! until its life ends. How many customers come is a Poisson count at a rate that is known, or believed by a Gamma distribution and the same
//! throughout (so that the counts of different days go together). Since a piece is reached only after all before it, whether it is sold does not
//! depend on how many come after it: one pass over the days gives the chance of each, exactly, and one more piece pays while its chance is
//! above (cost - left over) / (price - left over). On an empty shelf that is the newsvendor's critical ratio: the smallest S with
//! F(S) >= (p - c) / (p - s).

use super::advice::Demand;

/// A piece there is or will be, sold from one moment until another, both in standard hours of opening from now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    pub from: f64,
    pub until: f64,
}

/// What one piece brings, in minor units of money.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Money {
    pub price: f64,
    pub cost: f64,
    /// What is had of one that is not sold; negative where throwing it away costs.
    pub left: f64,
}

impl Money {
    /// The share of demand to be ready for; none where a piece pays even unsold, since then the model knows no end.
    pub fn critical_ratio(self) -> Option<f64> {
        critical_ratio(self.price - self.cost, self.cost - self.left)
    }
}

/// From what one too few and one too many cost; none where one too many costs nothing. 0 where one too few costs nothing.
pub fn critical_ratio(too_few: f64, too_many: f64) -> Option<f64> {
    match () {
        () if too_many <= 0.0 => None,
        () if too_few <= 0.0 => Some(0.0),
        () => Some(too_few / (too_few + too_many)),
    }
}

/// So many pieces at most are planned at once; where there are more, they are planned in groups.
pub const MOST: usize = 400;
/// What is less likely than this is not followed any further.
const NEVER: f64 = 1e-13;
const LOGARITHMS_BELOW: f64 = -600.0;

/// What is expected of so many new pieces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    pub pieces: usize,
    pub sold: f64,
    /// Pieces over at the end of their life.
    pub left: f64,
    /// Money, costs taken off.
    pub profit: f64,
    /// How likely all of them, and all before them, are sold before their life ends.
    pub runs_out: f64,
}

/// The answer for one cutting: the best number, and what one less and one more would be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cutting {
    pub best: Expected,
    pub less: Option<Expected>,
    pub more: Expected,
}

impl Cutting {
    /// The same in pieces, where it was planned in groups of so many. The money was that of groups already.
    #[must_use]
    pub fn of_groups(self, size: usize) -> Cutting {
        let of = |expected: Expected| Expected {
            pieces: expected.pieces.saturating_mul(size),
            sold: expected.sold * size as f64,
            left: expected.left * size as f64,
            ..expected
        };
        Cutting { best: of(self.best), less: self.less.map(of), more: of(self.more) }
    }
}

/// How many pieces are planned as one, so that neither the pieces there are nor those that may be asked for in so many hours are more than are
/// planned at once: a power of two, as portions grow at the review.
pub fn group_size(demand: Demand, pieces: usize, hours: f64) -> usize {
    let hours = hours.max(0.0);
    let mut size = 1_usize;
    // What is asked for lies hardly ever above its mean and three deviations.
    let asked = |size: usize| match demand.in_units_of(size as f64) {
        Demand::Known(rate) => rate * hours + 3.0 * (rate * hours).sqrt(),
        Demand::Believed(belief) => {
            let mean = belief.mean() * hours;
            mean + 3.0 * (mean * (1.0 + hours / belief.rate)).sqrt()
        }
    };
    while size < 1 << 40 && (pieces / size > MOST || asked(size) > MOST as f64) {
        size *= 2;
    }
    size
}

/// A stock of so many pieces a life, in the order in which they end, in groups: each ends as the piece in its middle does.
pub fn grouped(stock: &[(f64, usize)], size: usize) -> Vec<Piece> {
    let size = size.max(1);
    let (mut groups, mut before, mut middle) = (Vec::new(), 0_usize, size / 2);
    for (until, count) in stock {
        before = before.saturating_add(*count);
        while middle < before {
            groups.push(Piece { from: 0.0, until: *until });
            middle = middle.saturating_add(size);
        }
    }
    groups
}

/// Plans one cutting after another, each behind what is there and what was planned before it. `stock` and `cuttings` in the order of sale:
/// neither beginnings nor ends fall.
pub fn plan(demand: Demand, stock: &[Piece], cuttings: &[Piece], money: Money) -> Vec<Cutting> {
    let mut queue = stock.to_vec();
    let mut planned = Vec::with_capacity(cuttings.len());
    for cutting in cuttings {
        let ahead = queue.len();
        let most = worth_asking(demand, *cutting);
        queue.extend(std::iter::repeat_n(*cutting, most + 1));
        let chances = chances(demand, &queue);
        let own = chances.get(ahead..).unwrap_or_default();
        let best = best_number(own, money).min(most);
        queue.truncate(ahead + best);
        planned.push(Cutting {
            best: expected(own, best, money),
            less: best.checked_sub(1).map(|less| expected(own, less, money)),
            more: expected(own, best + 1, money),
        });
    }
    planned
}

/// How many new pieces are to be ready so that enough are there before a moment, as when the next can be cut: the same critical ratio, of the
/// demand until then. What is left then is not lost, so that this is the least to cut where cutting goes on.
pub fn wanted_before(demand: Demand, ahead: &[Piece], cutting: Piece, before: f64, money: Money) -> usize {
    let until = |piece: Piece| Piece { until: piece.until.min(before), ..piece };
    let cutting = until(cutting);
    if cutting.until <= cutting.from {
        return 0;
    }
    let mut queue: Vec<Piece> = ahead.iter().copied().map(until).collect();
    queue.extend(std::iter::repeat_n(cutting, worth_asking(demand, cutting)));
    best_number(chances(demand, &queue).get(ahead.len()..).unwrap_or_default(), money)
}

/// Above this number hardly anybody is left to buy one.
fn worth_asking(demand: Demand, cutting: Piece) -> usize {
    counts(demand, 0, 0.0, cutting.until - cutting.from, MOST).len()
}

/// How many pay: each while its chance is above what it must be. The chances fall.
fn best_number(chances: &[f64], money: Money) -> usize {
    let least = money.critical_ratio().map_or(f64::INFINITY, |ratio| 1.0 - ratio);
    chances.iter().take_while(|chance| **chance > least + 1e-12).count()
}

fn expected(chances: &[f64], pieces: usize, money: Money) -> Expected {
    let sold: f64 = chances.iter().take(pieces).sum();
    let left = pieces as f64 - sold;
    let profit = money.price * sold + money.left * left - money.cost * pieces as f64;
    let runs_out = pieces.checked_sub(1).and_then(|last| chances.get(last)).copied().unwrap_or(1.0);
    Expected { pieces, sold, left, profit, runs_out }
}

/// How likely each piece of a queue is sold before its life ends. Neither beginnings nor ends fall along the queue.
pub fn chances(demand: Demand, queue: &[Piece]) -> Vec<f64> {
    // Who takes a piece adds to its chance: kept as differences between neighbours until the end.
    let mut steps = vec![0.0; queue.len() + 1];
    let last = queue.last().map_or(0.0, |piece| piece.until);
    // Whoever comes after so many finds nothing, and says little more of the rate.
    let limit = queue.len().max(MOST) + 1;
    let most = match demand {
        // Where the rate is known, who came before says nothing.
        Demand::Known(_) => 1,
        Demand::Believed(_) => counts(demand, 0, 0.0, last, limit).len(),
    };
    let mut states = States { most, limit, likely: vec![0.0; (queue.len() + 1) * most] };
    let ended = queue.iter().take_while(|piece| piece.until <= 0.0).count();
    states.add(ended, 0, 1.0);
    let mut elapsed = 0.0;
    for moment in moments(queue) {
        let ready = queue.iter().take_while(|piece| piece.from < moment).count();
        let over = queue.iter().take_while(|piece| piece.until <= moment).count();
        states = states.after(demand, (elapsed, moment), (ready, over), &mut steps);
        elapsed = moment;
    }
    let mut chance = 0.0;
    steps.truncate(queue.len());
    steps.iter_mut().for_each(|step| {
        chance += *step;
        *step = chance.clamp(0.0, 1.0);
    });
    steps
}

/// How likely each state is: by the first piece left, and the customers so far where they say something of the rate.
struct States {
    /// So many numbers of customers are told apart; more are the last of them.
    most: usize,
    /// More than so many never come in one stretch; those who would are the last of them.
    limit: usize,
    likely: Vec<f64>,
}

impl States {
    fn add(&mut self, first: usize, customers: usize, likely: f64) {
        if let Some(state) = self.likely.get_mut(first * self.most + customers.min(self.most - 1)) {
            *state += likely;
        }
    }

    /// After a stretch of time in which `ready` pieces are there and at whose end `over` have ended.
    fn after(
        &self,
        demand: Demand,
        (from, to): (f64, f64),
        (ready, over): (usize, usize),
        steps: &mut [f64],
    ) -> States {
        let mut next = States { likely: vec![0.0; self.likely.len()], ..*self };
        let mut shares: Vec<Vec<f64>> = vec![Vec::new(); self.most];
        for (first, of_first) in self.likely.chunks(self.most).enumerate() {
            for (customers, likely) in of_first.iter().enumerate().filter(|(_, likely)| **likely > NEVER) {
                let ready = ready.max(first);
                let Some(shares) = shares.get_mut(customers) else { continue };
                if shares.is_empty() {
                    *shares = counts(demand, customers, from, to - from, self.limit);
                }
                for (come, share) in shares.iter().enumerate() {
                    let (now, after) = (likely * share, (first + come).min(ready));
                    if let Some(step) = steps.get_mut(first) {
                        *step += now;
                    }
                    if let Some(step) = steps.get_mut(after) {
                        *step -= now;
                    }
                    next.add(after.max(over), customers + come, now);
                }
            }
        }
        next
    }
}

/// When something begins or ends, after now and in order.
fn moments(queue: &[Piece]) -> Vec<f64> {
    let mut moments: Vec<f64> =
        queue.iter().flat_map(|piece| [piece.from, piece.until]).filter(|moment| *moment > 0.0).collect();
    moments.sort_by(f64::total_cmp);
    moments.dedup();
    moments
}

/// How likely 0, 1, 2 … customers come in so many hours, after `customers` have come in `elapsed` hours: Poisson, or negative binomial.
/// Ends where what is left is nothing, or after so many; what is left is added to the last.
fn counts(demand: Demand, customers: usize, elapsed: f64, hours: f64, most: usize) -> Vec<f64> {
    let hours = hours.max(0.0);
    // The logarithm of the first, and of the ratio of each to the one before.
    let (first, mean, spread) = match demand {
        Demand::Known(rate) => (-rate * hours, rate * hours, (rate * hours).sqrt()),
        Demand::Believed(belief) => {
            let (shape, rate) = (belief.shape + customers as f64, belief.rate + elapsed);
            let mean = shape * hours / rate;
            (shape * (rate / (rate + hours)).ln(), mean, (mean * (1.0 + hours / rate)).sqrt())
        }
    };
    let ratio = |k: f64| match demand {
        Demand::Known(rate) => rate * hours / k,
        Demand::Believed(belief) => {
            let rate = belief.rate + elapsed;
            (belief.shape + customers as f64 + k - 1.0) / k * hours / (rate + hours)
        }
    };
    let (mut counts, mut sum, mut k) = (Vec::new(), 0.0, 0.0);
    // By logarithms only where the first is too small for a number.
    let (mut share, mut log) = (f64::exp(first), first);
    loop {
        counts.push(share);
        sum += share;
        k += 1.0;
        if first > LOGARITHMS_BELOW {
            share *= ratio(k);
        } else {
            log += ratio(k).ln();
            share = f64::exp(log);
        }
        let ended = k > mean && (share < NEVER || 1.0 - sum < NEVER) || k > mean + 60.0 * spread + 60.0;
        if ended || counts.len() >= most {
            break;
        }
    }
    if let Some(last) = counts.last_mut() {
        *last += (1.0 - sum).max(0.0);
    }
    counts
}

/// Grams that can be sold up to and including a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stock {
    pub grams: i64,
    /// Counted from the first day, which is 1.
    pub last_day: usize,
}

/// What becomes of a stock on one day. `end` is what is still good after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Day {
    pub sold: i64,
    pub expired: i64,
    /// Asked for and not there.
    pub lost: i64,
    pub end: i64,
}

/// A stock, day by day, against what is asked for on each: what ends first is sold first. Whole grams, nothing rounded.
pub fn project(stock: &[Stock], asked: &[i64]) -> Vec<Day> {
    let mut left = stock.to_vec();
    left.sort_by_key(|part| part.last_day);
    let mut days = Vec::with_capacity(asked.len());
    for (day, asked) in (1..).zip(asked) {
        let mut wanted = *asked;
        for part in &mut left {
            let taken = part.grams.min(wanted);
            part.grams -= taken;
            wanted -= taken;
        }
        let expired = left.iter().filter(|part| part.last_day <= day).map(|part| part.grams).sum();
        left.retain(|part| part.last_day > day);
        let end = left.iter().map(|part| part.grams).sum();
        days.push(Day { sold: asked - wanted, expired, lost: wanted, end });
    }
    days
}
