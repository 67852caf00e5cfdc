//! What each till is going to do: dice alone decide, before anything is asked, so that a seed says it all. Trays are named by their place
//! in the stock, since their codes are the server's own chance.

use crate::dice::Dice;
use crate::opening::PLACES;

/// Tills that work at once.
pub const TILLS: usize = 16;

/// Blocks and tubs of a stock, which lasts a few rounds.
pub const BLOCKS: usize = 240;
pub const TUBS: usize = 24;
pub const BLOCK_G: i64 = 200;
pub const TUB_G: i64 = 4_000;

/// More acts than a till gets through before the server dies.
const LENGTH: usize = 400;

/// Longest time from the first act to the kill, or from the first hundred sales of a till that comes back.
const LONGEST_LIFE_MS: i64 = 500;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slot {
    Block(usize),
    Tub(usize),
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub slot: Slot,
    /// Of a tub; a block goes whole.
    pub grams: Option<i64>,
}

/// What the clock of a till that was cut off says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    Right,
    /// By an hour.
    Ahead,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Act {
    Sell(Vec<Line>),
    Kitchen(Line),
    Waste(Line),
    /// Takes back the sale that stands at this place of the same program, if it was answered.
    Reverse(usize),
    TopUp {
        tub: usize,
        source: usize,
        grams: i64,
    },
    Move {
        slot: Slot,
        place: &'static str,
    },
    /// Tells of what was sold while the till was cut off.
    Replay {
        sales: Vec<Vec<Line>>,
        clock: Clock,
    },
}

/// Dice of their own for each part of a run.
fn dice(seed: u64, round: usize, part: usize) -> Dice {
    let mut mixing = Dice::new(seed ^ (round as u64) << 20 ^ (part as u64) << 8);
    Dice::new(u64::try_from(mixing.between(0, i64::MAX - 1)).unwrap())
}

/// Milliseconds from the first act to the kill.
pub fn life_ms(seed: u64, round: usize) -> u64 {
    let longest = if comes_back(round).is_some() { LONGEST_LIFE_MS / 6 } else { LONGEST_LIFE_MS };
    u64::try_from(dice(seed, round, TILLS).between(0, longest)).unwrap()
}

/// The till that was cut off for long before this round and tells of it first, if there is one: the kill then waits until the first hundred
/// of its sales is there, so that it falls between two transactions of one queue.
pub fn comes_back(round: usize) -> Option<usize> {
    (round % 8 == 1).then_some(round / 8 % TILLS)
}

/// The program of one till in one round.
pub fn program(seed: u64, round: usize, till: usize) -> Vec<Act> {
    let mut dice = dice(seed, round, till);
    let mut acts = Vec::with_capacity(LENGTH);
    if comes_back(round) == Some(till) {
        acts.push(queue(&mut dice, till, Length::Long));
    }
    while acts.len() < LENGTH {
        let act = roll(&mut dice, till, &acts);
        acts.push(act);
    }
    acts
}

fn roll(dice: &mut Dice, till: usize, before: &[Act]) -> Act {
    match dice.between(1, 20) {
        1..=9 => Act::Sell(basket(dice, till)),
        10 | 11 => Act::Kitchen(line(dice, till)),
        12 => Act::Waste(line(dice, till)),
        13 | 14 => reversal(dice, before).unwrap_or_else(|| Act::Sell(basket(dice, till))),
        15 => {
            let tub = dice.below(TUBS);
            // Never itself.
            let source = (tub + 1 + dice.below(TUBS - 1)) % TUBS;
            Act::TopUp { tub, source, grams: dice.between(1, 60) }
        }
        16 | 17 => Act::Move { slot: slot(dice, till), place: PLACES[dice.below(PLACES.len())] },
        18 => {
            let length = if dice.one_in(12) { Length::Long } else { Length::Short };
            queue(dice, till, length)
        }
        _ => Act::Sell(vec![draw(dice)]),
    }
}

/// Of a queue.
#[derive(Debug, Clone, Copy)]
enum Length {
    Short,
    /// Taken in two transactions.
    Long,
}

fn queue(dice: &mut Dice, till: usize, length: Length) -> Act {
    // A few blocks of either: it is the long queues that would sell out the counter.
    let (length, blocks_in) = match length {
        Length::Short => (dice.between(1, 8), 4),
        Length::Long => (dice.between(101, 180), 40),
    };
    let sales = (0..length).map(|_| (0..dice.between(1, 2)).map(|_| told(dice, till, blocks_in)).collect()).collect();
    Act::Replay { sales, clock: if dice.one_in(4) { Clock::Ahead } else { Clock::Right } }
}

/// What a till cut off sells: mostly a little of a tub, one time in `blocks_in` a block, whether it is still there or not.
fn told(dice: &mut Dice, till: usize, blocks_in: i64) -> Line {
    if dice.one_in(blocks_in) {
        Line { slot: block(dice, till), grams: None }
    } else {
        Line { slot: Slot::Tub(dice.below(TUBS)), grams: Some(dice.between(1, 12)) }
    }
}

/// One of the last sales, so that some are taken back while others are made, and some twice.
fn reversal(dice: &mut Dice, before: &[Act]) -> Option<Act> {
    let sales: Vec<usize> = (0..before.len()).filter(|n| matches!(before[*n], Act::Sell(_))).collect();
    let last = &sales[sales.len().saturating_sub(6)..];
    (!last.is_empty()).then(|| Act::Reverse(*dice.pick(last)))
}

fn basket(dice: &mut Dice, till: usize) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for _ in 0..dice.between(1, 4) {
        let line = line(dice, till);
        if lines.iter().all(|earlier| earlier.slot != line.slot) {
            lines.push(line);
        }
    }
    lines
}

fn line(dice: &mut Dice, till: usize) -> Line {
    if dice.one_in(2) { draw(dice) } else { Line { slot: block(dice, till), grams: None } }
}

fn draw(dice: &mut Dice) -> Line {
    Line { slot: Slot::Tub(dice.below(TUBS)), grams: Some(dice.between(1, 60)) }
}

fn slot(dice: &mut Dice, till: usize) -> Slot {
    if dice.one_in(3) { Slot::Tub(dice.below(TUBS)) } else { block(dice, till) }
}

/// Mostly from a till's own part of the counter, so that enough succeeds; sometimes any, so that tills meet.
fn block(dice: &mut Dice, till: usize) -> Slot {
    let own = BLOCKS / TILLS;
    Slot::Block(if dice.one_in(4) { dice.below(BLOCKS) } else { till * own + dice.below(own) })
}
