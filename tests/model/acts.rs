//! What can be done in a shop, and how a day of it is rolled. Trays, lots, places, sales and holds are named by their
//! place in the model's lists.

use crate::dice::Dice;
use crate::naive::Naive;

#[derive(Debug, Clone)]
pub enum Act {
    Receive {
        species: &'static str,
        place: usize,
        grams: i64,
        record: bool,
        warm: bool,
        thawed: bool,
        supplier_days: Option<i64>,
    },
    BreakDown {
        inputs: Vec<(usize, Option<i64>)>,
        outputs: Vec<Output>,
        losses: Vec<i64>,
        reason: bool,
        bench: usize,
        bench_minutes: Option<i64>,
    },
    TopUp {
        tub: usize,
        source: usize,
        grams: Option<i64>,
    },
    Move {
        tray: usize,
        place: usize,
    },
    Freeze {
        tray: usize,
        place: usize,
    },
    Thaw {
        tray: usize,
        place: usize,
    },
    Kitchen {
        tray: usize,
        grams: Option<i64>,
    },
    Waste {
        tray: usize,
        grams: Option<i64>,
        reason: bool,
    },
    Count {
        lines: Vec<(usize, i64)>,
        reason: bool,
    },
    HoldLot {
        lot: usize,
    },
    HoldBatch {
        tray: usize,
    },
    HoldTray {
        tray: usize,
    },
    Release {
        hold: usize,
    },
    Label {
        tray: usize,
        reason: bool,
    },
    MarkDown {
        tray: usize,
        price: i64,
    },
    /// The first tray that the review would lower is lowered to what it says.
    Review,
    Sell {
        lines: Vec<(usize, Option<i64>)>,
    },
    Reverse {
        sale: usize,
    },
    PutPlace {
        place: usize,
        method: &'static str,
        limit: i64,
        gap_minutes: i64,
        stale: bool,
    },
    /// Instants since the sequence began, with milli-degrees.
    Readings {
        place: usize,
        readings: Vec<(i64, i64)>,
    },
    Watch,
}

#[derive(Debug, Clone, Copy)]
pub struct Output {
    pub cut: usize,
    pub place: usize,
    pub grams: i64,
}

/// Seconds, minutes, hours or most of a day, never whole ones; after a sale mostly seconds.
pub fn step_micros(dice: &mut Dice, naive: &Naive) -> i64 {
    let just_sold = naive.sales.last().is_some_and(|sale| !sale.reversed) && !dice.one_in(3);
    let longest =
        if just_sold { 120 } else { *dice.pick(&[5, 20, 20, 20, 300, 300, 300, 600, 3_600, 3_600, 20_000, 60_000]) };
    dice.between(1, longest) * 1_000_000 + dice.between(1, 999_999)
}

/// The next act. Most are possible, many are not.
pub fn roll(dice: &mut Dice, naive: &Naive, now: i64) -> Act {
    // What happens between a sale and its reversal is where the two can get into each other's way.
    if let Some(sale) = naive.sales.last().filter(|sale| !sale.reversed && dice.one_in(4)) {
        let tray = sale.lines[0].0;
        return match dice.between(0, 6) {
            0 | 1 => put_this_place(dice, naive, naive.trays[tray].place),
            2 => Act::HoldTray { tray },
            _ => Act::Reverse { sale: naive.sales.len() - 1 },
        };
    }
    if dice.one_in(40) {
        return Act::Watch;
    }
    if dice.one_in(6) {
        return readings(dice, naive, now);
    }
    if naive.trays.is_empty() || (naive.lots.len() < 7 && dice.one_in(9)) {
        return receive(dice, naive);
    }
    if naive.trays.len() < 3 && dice.one_in(2) {
        return break_down(dice, naive);
    }
    match dice.between(0, 99) {
        0..16 => break_down(dice, naive),
        16..23 => top_up(dice, naive),
        23..28 => Act::Move { tray: tray(dice, naive), place: place(dice, naive) },
        28..32 => Act::Freeze { tray: sellable(dice, naive), place: frozen_place(dice, naive) },
        32..37 => Act::Thaw { tray: frozen_tray(dice, naive), place: place(dice, naive) },
        37..40 => {
            let tray = tray(dice, naive);
            Act::Kitchen { tray, grams: some_of(dice, naive, tray) }
        }
        40..42 => {
            let tray = tray(dice, naive);
            Act::Waste { tray, grams: some_of(dice, naive, tray), reason: !dice.one_in(5) }
        }
        42..47 => count(dice, naive),
        47..50 => hold(dice, naive),
        50..56 if naive.holds.iter().any(|hold| hold.open) => Act::Release { hold: open_hold(dice, naive) },
        50..63 => Act::Label { tray: sellable(dice, naive), reason: dice.one_in(2) },
        63..67 => {
            let tray = sellable(dice, naive);
            Act::MarkDown { tray, price: naive.trays[tray].price - dice.between(-50, 900).min(naive.trays[tray].price) }
        }
        67..70 => Act::Review,
        70..90 => sell(dice, naive),
        90..96 if !naive.sales.is_empty() => {
            let latest = naive.sales.len() - 1;
            Act::Reverse { sale: if dice.one_in(3) { dice.below(naive.sales.len()) } else { latest } }
        }
        90..96 => sell(dice, naive),
        _ => put_place(dice, naive),
    }
}

/// Mostly one that is cold, so that not every day ends in waste.
fn place(dice: &mut Dice, naive: &Naive) -> usize {
    let cold: Vec<usize> = (0..naive.places.len()).filter(|p| naive.places[*p].method != "ambient").collect();
    if cold.is_empty() || dice.one_in(10) { dice.below(naive.places.len()) } else { *dice.pick(&cold) }
}

fn frozen_place(dice: &mut Dice, naive: &Naive) -> usize {
    let frozen: Vec<usize> = (0..naive.places.len()).filter(|p| naive.is_frozen(*p)).collect();
    if frozen.is_empty() || dice.one_in(6) { dice.below(naive.places.len()) } else { *dice.pick(&frozen) }
}

fn open_hold(dice: &mut Dice, naive: &Naive) -> usize {
    let open: Vec<usize> = (0..naive.holds.len()).filter(|h| naive.holds[*h].open).collect();
    if dice.one_in(6) { dice.below(naive.holds.len()) } else { *dice.pick(&open) }
}

fn receive(dice: &mut Dice, naive: &Naive) -> Act {
    Act::Receive {
        species: if dice.one_in(3) { "SAL" } else { "YFT" },
        place: if dice.one_in(3) { place(dice, naive) } else { warm_place(dice, naive) },
        grams: dice.between(800, 60_000),
        record: !dice.one_in(4),
        warm: dice.one_in(10),
        thawed: dice.one_in(6),
        supplier_days: dice.one_in(3).then(|| dice.between(0, 4)),
    }
}

/// Mostly one that is in stock.
fn chosen(dice: &mut Dice, naive: &Naive, fits: impl Fn(usize) -> bool) -> usize {
    let all: Vec<usize> = (0..naive.trays.len()).collect();
    let good: Vec<usize> = all.iter().copied().filter(|t| naive.trays[*t].in_stock() && fits(*t)).collect();
    if good.is_empty() || dice.one_in(25) { *dice.pick(&all) } else { *dice.pick(&good) }
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
    for _ in 0..*dice.pick(&[1, 1, 1, 1, 2, 3]) {
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
        outputs.push(Output {
            cut: *dice.pick(&[1, 1, 2, 3, 3, 4, 5, 6, 7, 7, 7]),
            place: warm_place(dice, naive),
            grams,
        });
    }
    let bench = if dice.one_in(3) { dice.below(naive.places.len()) } else { 0 };
    let told = *dice.pick(&[0, 1, 5, 45, 240, 480, 481, -1]);
    let bench_minutes = dice.one_in(3).then_some(told);
    Act::BreakDown { inputs, outputs, losses, reason: dice.one_in(2), bench, bench_minutes }
}

fn warm_place(dice: &mut Dice, naive: &Naive) -> usize {
    let fits = |p: &usize| matches!(naive.places[*p].method, "chill" | "superchill");
    let warm: Vec<usize> = (0..naive.places.len()).filter(fits).collect();
    if warm.is_empty() || dice.one_in(25) { dice.below(naive.places.len()) } else { *dice.pick(&warm) }
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
    put_this_place(dice, naive, place)
}

fn put_this_place(dice: &mut Dice, naive: &Naive, place: usize) -> Act {
    let current = naive.places[place].method;
    let method = if dice.one_in(4) { *dice.pick(&["chill", "superchill", "ambient", "frozen"]) } else { current };
    let limit = match method {
        "chill" => dice.between(-2_000, 5_000),
        "superchill" => dice.between(-3_000, -500),
        "ambient" => dice.between(0, 25_000),
        _ => dice.between(-25_000, -18_000),
    };
    let gap_minutes = if dice.one_in(3) { *dice.pick(&[1, 30, 90, 240]) } else { naive.places[place].gap_minutes };
    Act::PutPlace { place, method, limit, gap_minutes, stale: dice.one_in(12) }
}

const MINUTE: i64 = 60_000_000;

/// About what is measured in a place of a method when all is well.
fn usual(method: &str) -> i64 {
    match method {
        "chill" => 800,
        "superchill" => -1_900,
        "ambient" => 14_000,
        _ => -21_000,
    }
}

/// What a logger delivers: on time, late, in disorder, again, contradicting itself, and now and then warm.
fn readings(dice: &mut Dice, naive: &Naive, now: i64) -> Act {
    let place = dice.below(naive.places.len());
    let (method, known) = (naive.places[place].method, naive.places[place].climate.readings());
    let last = known.last_key_value().map_or(now - 600 * MINUTE, |(at, _)| (*at).max(now - 1_500 * MINUTE));
    let (from, to) = match dice.between(0, 9) {
        // All since the last delivery.
        0..5 => (last, now),
        // Hours or days back, and before anything was there.
        5 | 6 => {
            let back = now - dice.between(1, 3_000) * MINUTE;
            (back, back + dice.between(1, 400) * MINUTE)
        }
        // The clock of the logger is a little fast.
        7 => (now - 30 * MINUTE, now + 2 * MINUTE),
        _ => (now - dice.between(30, 800) * MINUTE, now),
    };
    let to = to.min(now + 2 * MINUTE);
    let mut readings = Vec::new();
    let (step, spell) = (*dice.pick(&[10, 20, 45, 80, 95]), dice.one_in(10));
    let mut at = from;
    while readings.len() < 25 {
        at += dice.between(step * MINUTE / 2, step * MINUTE);
        if at > to {
            break;
        }
        readings.push((at, temperature(dice, method, spell)));
    }
    if readings.is_empty() {
        readings.push((to - dice.between(0, 20) * MINUTE, temperature(dice, method, spell)));
    }
    // Again, and otherwise.
    let known: Vec<(i64, i64)> = known.iter().map(|(at, t)| (*at, *t)).collect();
    if !known.is_empty() && dice.one_in(3) {
        if dice.one_in(3) {
            readings.clear();
        }
        for _ in 0..dice.between(1, 6) {
            let (at, t) = *dice.pick(&known);
            readings.push((at, if dice.one_in(2) { t } else { t + dice.between(-1_500, 1_500) }));
        }
    }
    if dice.one_in(3) {
        for place in (1..readings.len()).rev() {
            readings.swap(place, dice.below(place + 1));
        }
    }
    Act::Readings { place, readings }
}

fn temperature(dice: &mut Dice, method: &str, spell: bool) -> i64 {
    let off = match (spell, dice.between(0, 9)) {
        (true, 0..6) => dice.between(2_000, 12_000),
        (true, _) => dice.between(0, 26_000),
        (false, 0) => dice.between(-3_000, 4_000),
        (false, _) => dice.between(-1_000, 900),
    };
    if dice.one_in(30) {
        return *dice.pick(&[4_444, 4_445, 21_111, 21_112, -1_000, -3_000, -3_001, -15_000, -14_999, 0, -45_000]);
    }
    usual(method) + off
}
