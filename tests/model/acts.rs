//! What can be done in a shop, and how a day of it is rolled. Trays, lots, places, sales and holds are named by their
//! place in the model's lists.

use crate::dice::Dice;
use crate::ground::CUTS;
use crate::naive::Naive;

#[derive(Debug, Clone)]
pub enum Act {
    Receive { species: &'static str, place: usize, grams: i64, record: bool, warm: bool, thawed: bool },
    BreakDown { inputs: Vec<(usize, Option<i64>)>, outputs: Vec<Output>, losses: Vec<i64>, reason: bool },
    TopUp { tub: usize, source: usize, grams: Option<i64> },
    Move { tray: usize, place: usize },
    Freeze { tray: usize, place: usize },
    Thaw { tray: usize, place: usize },
    Kitchen { tray: usize, grams: Option<i64> },
    Waste { tray: usize, grams: Option<i64>, reason: bool },
    Count { lines: Vec<(usize, i64)>, reason: bool },
    HoldLot { lot: usize },
    HoldBatch { tray: usize },
    HoldTray { tray: usize },
    Release { hold: usize },
    Label { tray: usize, reason: bool },
    MarkDown { tray: usize, price: i64 },
    Accept { trays: Vec<usize> },
    Sell { lines: Vec<(usize, Option<i64>)> },
    Reverse { sale: usize },
    PutPlace { place: usize, method: &'static str, limit: i64, stale: bool },
}

#[derive(Debug, Clone, Copy)]
pub struct Output {
    pub cut: usize,
    pub place: usize,
    pub grams: i64,
}

/// Seconds, minutes, hours or days, never whole ones.
pub fn step_micros(dice: &mut Dice) -> i64 {
    let longest = *dice.pick(&[20, 20, 300, 300, 3_600, 3_600, 3_600, 20_000, 90_000]);
    dice.between(1, longest) * 1_000_000 + dice.between(1, 999_999)
}

/// The next act. Most are possible, many are not.
pub fn roll(dice: &mut Dice, naive: &Naive) -> Act {
    if naive.trays.is_empty() || (naive.lots.len() < 3 && dice.one_in(12)) {
        return receive(dice, naive);
    }
    match dice.between(0, 99) {
        0..18 => break_down(dice, naive),
        18..24 => top_up(dice, naive),
        24..31 => Act::Move { tray: tray(dice, naive), place: dice.below(naive.places.len()) },
        31..36 => Act::Freeze { tray: tray(dice, naive), place: dice.below(naive.places.len()) },
        36..42 => Act::Thaw { tray: frozen_tray(dice, naive), place: dice.below(naive.places.len()) },
        42..45 => {
            let tray = tray(dice, naive);
            Act::Kitchen { tray, grams: some_of(dice, naive, tray) }
        }
        45..48 => {
            let tray = tray(dice, naive);
            Act::Waste { tray, grams: some_of(dice, naive, tray), reason: !dice.one_in(5) }
        }
        48..54 => count(dice, naive),
        54..57 => hold(dice, naive),
        57..62 if !naive.holds.is_empty() => Act::Release { hold: dice.below(naive.holds.len()) },
        57..71 => Act::Label { tray: sellable(dice, naive), reason: dice.one_in(2) },
        71..75 => {
            let tray = sellable(dice, naive);
            Act::MarkDown { tray, price: naive.trays[tray].price - dice.between(-50, 900).min(naive.trays[tray].price) }
        }
        75..79 => Act::Accept { trays: (0..dice.between(1, 2)).map(|_| sellable(dice, naive)).collect() },
        79..91 => sell(dice, naive),
        91..96 if !naive.sales.is_empty() => {
            let latest = naive.sales.len() - 1;
            Act::Reverse { sale: if dice.one_in(3) { dice.below(naive.sales.len()) } else { latest } }
        }
        _ => put_place(dice, naive),
    }
}

fn receive(dice: &mut Dice, naive: &Naive) -> Act {
    Act::Receive {
        species: *dice.pick(&["YFT", "YFT", "SAL"]),
        place: dice.below(naive.places.len()),
        grams: dice.between(800, 60_000),
        record: !dice.one_in(3),
        warm: dice.one_in(8),
        thawed: dice.one_in(6),
    }
}

/// Mostly one that is in stock.
fn chosen(dice: &mut Dice, naive: &Naive, fits: impl Fn(usize) -> bool) -> usize {
    let all: Vec<usize> = (0..naive.trays.len()).collect();
    let good: Vec<usize> = all.iter().copied().filter(|t| naive.trays[*t].in_stock() && fits(*t)).collect();
    if good.is_empty() || dice.one_in(12) { *dice.pick(&all) } else { *dice.pick(&good) }
}

fn tray(dice: &mut Dice, naive: &Naive) -> usize {
    chosen(dice, naive, |_| true)
}

fn sellable(dice: &mut Dice, naive: &Naive) -> usize {
    chosen(dice, naive, |t| naive.cut_of(t).kind != "bulk" && !naive.is_frozen(naive.trays[t].place))
}

fn frozen_tray(dice: &mut Dice, naive: &Naive) -> usize {
    chosen(dice, naive, |t| naive.is_frozen(naive.trays[t].place))
}

fn some_of(dice: &mut Dice, naive: &Naive, tray: usize) -> Option<i64> {
    let net = naive.trays[tray].net();
    match dice.between(0, 9) {
        0..4 => None,
        4 => Some(net),
        5 => Some(net + dice.between(1, 50)),
        6 => Some(0),
        _ => Some(dice.between(0, net)),
    }
}

fn break_down(dice: &mut Dice, naive: &Naive) -> Act {
    let bulk = |t: usize| naive.cut_of(t).kind == "bulk" && !naive.is_frozen(naive.trays[t].place);
    let mut inputs = Vec::new();
    for _ in 0..*dice.pick(&[1, 1, 1, 2, 3]) {
        let tray = if dice.one_in(8) { tray(dice, naive) } else { chosen(dice, naive, bulk) };
        let grams = (bulk(tray) || dice.one_in(10)).then(|| some_of(dice, naive, tray)).flatten();
        inputs.push((tray, grams));
    }
    let total: i64 = inputs.iter().map(|(tray, grams)| grams.unwrap_or_else(|| naive.trays[*tray].net())).sum();
    let losses: Vec<i64> = (0..dice.between(0, 2)).map(|_| dice.between(0, total / 10 + 1)).collect();
    // Around the balance: within the scales, within the drip, far below, above.
    let slack = *dice.pick(&[0, 1, 2, 20, 150, -1, -3, -40, 2_500, -2_500]);
    let slack = if dice.one_in(2) { dice.between(-20, 120) } else { slack };
    let mut left = (total - losses.iter().sum::<i64>() - slack).max(1);
    let mut outputs = Vec::new();
    for number in (1..=dice.between(1, 5)).rev() {
        let grams = if number == 1 { left } else { dice.between(1, left.max(2) / 2 + 1) };
        left = (left - grams).max(1);
        outputs.push(Output { cut: dice.between(1, 7).unsigned_abs() as usize, place: warm_place(dice, naive), grams });
    }
    assert!(outputs.iter().all(|o| o.cut < CUTS.len()));
    Act::BreakDown { inputs, outputs, losses, reason: dice.one_in(2) }
}

fn warm_place(dice: &mut Dice, naive: &Naive) -> usize {
    let warm: Vec<usize> = (0..naive.places.len()).filter(|p| !naive.is_frozen(*p)).collect();
    if warm.is_empty() || dice.one_in(30) { dice.below(naive.places.len()) } else { *dice.pick(&warm) }
}

fn top_up(dice: &mut Dice, naive: &Naive) -> Act {
    let tub = chosen(dice, naive, |t| naive.cut_of(t).kind == "tub");
    let source = chosen(dice, naive, |t| {
        t != tub && naive.trays[t].cut == naive.trays[tub].cut && naive.trays[t].species == naive.trays[tub].species
    });
    Act::TopUp { tub, source, grams: some_of(dice, naive, source) }
}

fn count(dice: &mut Dice, naive: &Naive) -> Act {
    let mut lines = Vec::new();
    for _ in 0..dice.between(1, 3) {
        let tray = tray(dice, naive);
        let net = naive.trays[tray].net();
        let counted = match dice.between(0, 5) {
            0 => 0,
            1 | 2 => net,
            3 => net + dice.between(1, 300),
            _ => dice.between(0, net),
        };
        lines.push((tray, counted));
    }
    Act::Count { lines, reason: !dice.one_in(4) }
}

fn hold(dice: &mut Dice, naive: &Naive) -> Act {
    match dice.between(0, 2) {
        0 => Act::HoldLot { lot: dice.below(naive.lots.len()) },
        1 => Act::HoldBatch { tray: tray(dice, naive) },
        _ => Act::HoldTray { tray: tray(dice, naive) },
    }
}

fn sell(dice: &mut Dice, naive: &Naive) -> Act {
    let mut lines = Vec::new();
    for _ in 0..*dice.pick(&[1, 1, 2, 3]) {
        let tray = sellable(dice, naive);
        let net = naive.trays[tray].net();
        let grams = match (naive.cut_of(tray).kind, dice.between(0, 9)) {
            ("tub", 0) => None,
            ("tub", 1) => Some(net + 1),
            ("tub", 2) => Some(0),
            ("tub", 3 | 4) => Some(net),
            ("tub", _) => Some(dice.between(1, net.max(1))),
            (_, 0) => Some(net + 1),
            (_, 1) => Some(net),
            _ => None,
        };
        lines.push((tray, grams));
    }
    Act::Sell { lines }
}

fn put_place(dice: &mut Dice, naive: &Naive) -> Act {
    let place = dice.below(naive.places.len());
    let current = naive.places[place].method;
    let method =
        if dice.one_in(3) { *dice.pick(&["chill", "superchill", "ambient", "frozen"]) } else { current };
    let limit = match method {
        "chill" => dice.between(-2_000, 5_000),
        "superchill" => dice.between(-3_000, -500),
        "ambient" => dice.between(0, 25_000),
        _ => dice.between(-25_000, -18_000),
    };
    Act::PutPlace { place, method, limit, stale: dice.one_in(12) }
}
