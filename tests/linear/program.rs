//! What the callers of one history are going to do: decided by its seed alone.

use crate::dice::Dice;
use crate::spec::Tray;

pub const BLOCK_G: i64 = 200;
pub const TUB_G: i64 = 300;
/// As in both catalogues the histories are recorded on.
const BLOCK_PRICE: i64 = 7_950;
const TUB_PRICE: i64 = 2_333;

/// A step of a caller's program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    Sell(Vec<(usize, Option<i64>)>),
    Kitchen(usize, Option<i64>),
    MarkDown(usize, i64),
    /// Takes back the caller's own latest sale, if it has one.
    Reverse,
    Scan(usize),
}

#[derive(Debug, Clone)]
pub struct Plan {
    pub trays: Vec<Tray>,
    /// One for each caller.
    pub programs: Vec<Vec<Step>>,
    /// Whether sales have lines of several trays: then the shelf is checked as one thing.
    pub several_at_once: bool,
}

pub fn tray(tub: bool) -> Tray {
    let (grams, price) = if tub { (TUB_G, TUB_PRICE) } else { (BLOCK_G, BLOCK_PRICE) };
    Tray { tub, grams, price, marked_down: false, gone: None }
}

/// At most three trays, eight callers and 40 calls of each: the search for an order grows with all of them.
pub fn plan(seed: u64) -> Plan {
    let mut dice = Dice::new(seed);
    let several_at_once = dice.one_in(4);
    let trays: Vec<Tray> =
        (0..dice.between(if several_at_once { 2 } else { 1 }, 3)).map(|_| tray(dice.one_in(2))).collect();
    let (callers, longest) = if several_at_once { (4, 8) } else { (8, *dice.pick(&[5, 10, 10, 20, 40])) };
    let callers = dice.between(2, callers);
    let length = dice.between(3, longest);
    let programs =
        (0..callers).map(|_| (0..length).map(|_| step(&mut dice, &trays, several_at_once)).collect()).collect();
    Plan { trays, programs, several_at_once }
}

fn step(dice: &mut Dice, trays: &[Tray], several: bool) -> Step {
    let tray = dice.below(trays.len());
    match dice.between(1, 16) {
        1..=6 => Step::Sell(lines(dice, trays, tray, several)),
        7 | 8 => Step::Reverse,
        9 if trays[tray].tub || dice.one_in(4) => Step::Kitchen(tray, part(dice, &trays[tray])),
        10 => Step::MarkDown(tray, trays[tray].price - dice.between(0, 40) * 50),
        _ => Step::Scan(tray),
    }
}

fn lines(dice: &mut Dice, trays: &[Tray], first: usize, several: bool) -> Vec<(usize, Option<i64>)> {
    let count = if several { 1 + dice.below(trays.len()) } else { 1 };
    let chosen = (0..count).map(|n| (first + n) % trays.len());
    chosen.map(|tray| (tray, part(dice, &trays[tray]))).collect()
}

/// Of a tub a third or so, so that a few callers empty it.
fn part(dice: &mut Dice, tray: &Tray) -> Option<i64> {
    tray.tub.then(|| dice.between(2, 8) * 25)
}
