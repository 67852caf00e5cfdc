//! The instances of the reference: picks by weight (section 3.3), published subset-sum data (3.4), rounding and rules (3.1, 3.2), issuing (3.5).

use crate::table::{block, blocks, hour, subsets};
use sakudana::domain::picking::weight::{check_size, choose};
use sakudana::domain::picking::{Ask, Choice, Missed, Picked, Places, Rule, Why, Window, Wish, pick};
use sakudana::units::instant::MICROS_PER_HOUR;

fn wish(ask: Ask, choice: Choice) -> Wish {
    Wish {
        rule: Rule::Fefo,
        choice,
        ask,
        needed_at: hour(0),
        least_life_micros: 0,
        places: Places::Anywhere,
        highest_price: None,
    }
}

const fn exactly(grams: i64) -> Window {
    Window { low: grams, high: grams }
}

struct Row {
    id: &'static str,
    weights: &'static [i64],
    window: Window,
    feasible: usize,
    /// Places from 1 and their sum: oldest first, closest, fewest, least fresh. None where the window cannot be reached.
    chosen: Option<[(&'static [usize], i64); 4]>,
    nearest: (i64, i64),
}

/// Class `computed` (brute force over all subsets), exact.
const PICKS: [Row; 4] = [
    Row {
        id: "PICK-A",
        weights: &[310, 180, 275, 420, 150, 205, 330, 260],
        window: Window { low: 975, high: 1_025 },
        feasible: 13,
        chosen: Some([(&[1, 2, 3, 8], 1_025), (&[1, 3, 4], 1_005), (&[1, 3, 4], 1_005), (&[1, 3, 4], 1_005)]),
        nearest: (970, 1_035),
    },
    Row {
        id: "PICK-B",
        weights: &[200; 8],
        window: Window { low: 970, high: 1_030 },
        feasible: 56,
        chosen: Some([(&[1, 2, 3, 4, 5], 1_000); 4]),
        nearest: (800, 1_200),
    },
    Row {
        id: "PICK-C",
        weights: &[200, 240, 260, 300, 180, 220],
        window: exactly(1_001),
        feasible: 0,
        chosen: None,
        nearest: (1_000, 1_020),
    },
    Row {
        id: "PICK-D",
        weights: &[333, 333, 333, 251, 252, 248],
        window: exactly(1_000),
        feasible: 0,
        chosen: None,
        nearest: (999, 1_084),
    },
];

#[test]
fn picks_of_the_reference() {
    for row in PICKS {
        let sums: Vec<i64> = subsets(row.weights).into_iter().map(|set| set.sum).collect();
        assert_eq!(sums.iter().filter(|sum| row.window.holds(**sum)).count(), row.feasible, "{}", row.id);
        let below = sums.iter().copied().filter(|sum| *sum < row.window.low).max();
        let above = sums.iter().copied().filter(|sum| *sum > row.window.high).min();
        assert_eq!((below, above), (Some(row.nearest.0), Some(row.nearest.1)), "{}", row.id);
        for (at, choice) in Choice::ALL.into_iter().enumerate() {
            let found = choose(row.weights, row.window, choice);
            match row.chosen {
                None => {
                    let missed = Missed::Unreachable { below, above };
                    assert_eq!(found, Err(missed), "{} {}", row.id, choice.as_str());
                }
                Some(chosen) => {
                    let places: Vec<usize> = found.unwrap().into_iter().map(|place| place + 1).collect();
                    let sum: i64 = places.iter().map(|place| row.weights[place - 1]).sum();
                    assert_eq!((places.as_slice(), sum), chosen[at], "{} {}", row.id, choice.as_str());
                }
            }
        }
    }
}

/// PICK-A once more: two simpler ways that the reference names fail where the rule does not. And each older tray left says why.
#[test]
fn a_prefix_and_a_greedy_walk_miss_what_the_rule_finds() {
    let pick_a = &PICKS[0];
    let inside = |sum: i64| pick_a.window.holds(sum);
    let prefixes = pick_a.weights.iter().scan(0, |sum, grams| {
        *sum += grams;
        Some(*sum)
    });
    assert!(!prefixes.into_iter().any(inside), "no strict prefix");
    let mut greedy = 0;
    for grams in pick_a.weights {
        if !inside(greedy) && greedy + grams <= pick_a.window.high {
            greedy += grams;
        }
    }
    assert!(!inside(greedy), "taking while it fits ends at {greedy} g");
    let picked = pick(blocks(pick_a.weights), &wish(Ask::Weight(pick_a.window), Choice::OldestFirst)).unwrap();
    let passed: Vec<(i64, Why)> = picked.passed_over.iter().map(|p| (p.tray.tray_id, p.why)).collect();
    assert_eq!(passed, [4, 5, 6, 7].map(|id| (id, Why::NoCompletion)));
    let closest = pick(blocks(pick_a.weights), &wish(Ask::Weight(pick_a.window), Choice::Closest)).unwrap();
    let passed: Vec<(i64, Why)> = closest.passed_over.iter().map(|p| (p.tray.tray_id, p.why)).collect();
    assert_eq!(passed, [(2, Why::OtherChoice)]);
}

struct SubsetSum {
    id: &'static str,
    weights: &'static [i64],
    target: i64,
    /// How many subsets come to it.
    solutions: usize,
    /// The weights that the rule takes: of several solutions the one with the earlier ones.
    taken: &'static [i64],
}

/// J. Burkardt, SUBSET_SUM data sets, Florida State University: names, sizes, targets and numbers of solutions are class `source`; the
/// weights are class `memory`, and agree with the source in those numbers. The solutions are class `computed` (brute force), exact.
const SUBSET_SUMS: [SubsetSum; 6] = [
    SubsetSum {
        id: "SS-P01",
        weights: &[15, 22, 14, 26, 32, 9, 16, 8],
        target: 53,
        solutions: 3,
        taken: &[15, 22, 16],
    },
    SubsetSum {
        id: "SS-P02",
        weights: &[267, 493, 869, 961, 1_000, 1_153, 1_246, 1_598, 1_766, 1_922],
        target: 5_842,
        solutions: 1,
        taken: &[869, 961, 1_000, 1_246, 1_766],
    },
    SubsetSum {
        id: "SS-P03",
        weights: &[
            518_533, 1_037_066, 2_074_132, 1_648_264, 796_528, 1_593_056, 686_112, 1_372_224, 244_448, 488_896,
            977_792, 1_955_584, 1_411_168, 322_336, 644_672, 1_289_344, 78_688, 157_376, 314_752, 629_504, 1_259_008,
        ],
        target: 2_463_098,
        solutions: 1,
        taken: &[1_037_066, 796_528, 629_504],
    },
    SubsetSum {
        id: "SS-P04",
        weights: &[41, 34, 21, 20, 8, 7, 7, 4, 3, 3],
        target: 50,
        // The reference counts index sets of {21, 8, 7, 7, 4, 3}.
        solutions: 2,
        taken: &[21, 8, 7, 7, 4, 3],
    },
    SubsetSum {
        id: "SS-P05",
        weights: &[81, 80, 43, 40, 30, 26, 12, 11, 9],
        target: 100,
        solutions: 1,
        taken: &[80, 11, 9],
    },
    SubsetSum { id: "SS-P06", weights: &[1, 2, 4, 8, 16, 32], target: 22, solutions: 1, taken: &[2, 4, 16] },
];

#[test]
fn published_subset_sums() {
    for row in SUBSET_SUMS {
        // Two million subsets of P03: sums alone, and none that is past the target already.
        let mut sums = vec![0_i64];
        for grams in row.weights {
            sums.extend(sums.clone().into_iter().map(|sum| sum + grams).filter(|sum| *sum <= row.target));
        }
        let counted = sums.iter().filter(|sum| **sum == row.target).count();
        assert_eq!(counted, row.solutions, "{}", row.id);
        for choice in Choice::ALL {
            // Two bytes a gram and tray: P03 is for the bits alone.
            if row.id == "SS-P03" && choice == Choice::Fewest {
                continue;
            }
            let found = choose(row.weights, exactly(row.target), choice).unwrap();
            let sum: i64 = found.iter().map(|at| row.weights[*at]).sum();
            assert_eq!(sum, row.target, "{} {}", row.id, choice.as_str());
            if choice == Choice::OldestFirst || row.solutions == 1 {
                let taken: Vec<i64> = found.iter().map(|at| row.weights[*at]).collect();
                assert_eq!(taken, row.taken, "{} {}", row.id, choice.as_str());
            }
        }
    }
    // Two and a half tons out of 21 trays are past what one list puts together.
    assert_eq!(check_size(SUBSET_SUMS[2].weights.len(), exactly(SUBSET_SUMS[2].target)), Err(Missed::TooLarge));
    assert_eq!(check_size(200, Window { low: 1, high: 50_000 }), Ok(()));
    assert_eq!(check_size(200, Window { low: 1, high: 50_001 }), Err(Missed::TooLarge));
}

/// PK-R1, PK-R2 (class `computed`): weights rounded to 5 g come to other sums, so nothing is rounded.
#[test]
fn a_gram_is_a_gram() {
    for (id, weights, sum, rounded) in
        [("PK-R1", [202, 202, 202, 202, 192], 1_000, 990), ("PK-R2", [198; 5], 990, 1_000)]
    {
        let coarse: i64 = weights.iter().map(|grams: &i64| (grams + 2) / 5 * 5).sum();
        assert_eq!(coarse, rounded, "{id}: the trap is there");
        assert_eq!(choose(&weights, exactly(sum), Choice::OldestFirst), Ok(vec![0, 1, 2, 3, 4]), "{id}");
        assert!(choose(&weights, exactly(rounded), Choice::OldestFirst).is_err(), "{id}");
    }
}

/// A hard family for searches that branch: all weights even, the target odd (Todd; Chvátal 1980: class `memory`). The bits do not mind.
#[test]
fn even_weights_make_no_odd_sum() {
    let weights: Vec<i64> = (0..60).map(|at| 200 + 2 * (at * 37 % 101)).collect();
    for choice in Choice::ALL {
        assert_eq!(
            choose(&weights, exactly(5_001), choice),
            Err(Missed::Unreachable { below: Some(5_000), above: Some(5_002) })
        );
    }
}

fn ids(picked: &Picked) -> Vec<i64> {
    picked.take.iter().map(|taken| taken.tray.tray_id).collect()
}

/// PK-S1 (class `source`: Second Harvest Japan 2013; FAO SAVE FOOD database; USDA GAIN JA1048) and PK-S2 (class `secondary`: settings, not
/// facts): a share of life that a customer asks for is asked for in hours here, at the time of delivery.
#[test]
fn a_share_of_life_is_asked_for_in_hours_at_delivery() {
    // Cut at hour 0, good for 90 hours: with a third used, 60 are left at hour 30.
    let stock = vec![block(0, 300, 0, 90), block(1, 300, 0, 120)];
    let asked = |hours: i64, at: i64| {
        let wish = Wish {
            needed_at: hour(at),
            least_life_micros: hours * MICROS_PER_HOUR,
            ..wish(Ask::Count(1), Choice::OldestFirst)
        };
        let picked = pick(stock.clone(), &wish).unwrap();
        (ids(&picked), picked.passed_over.iter().map(|p| p.why).collect::<Vec<_>>())
    };
    assert_eq!(asked(60, 30), (vec![1], vec![]));
    assert_eq!(asked(60, 31), (vec![2], vec![Why::TooLittleLife]), "an hour later it is too late");
}

/// PK-S3 (class `source`, abstract: Pierskalla and Roach, Management Science 18(11), 1972): issue the oldest unit that satisfies the demand.
/// PK-S4 (class `source`, abstract: Hertog et al., Phil. Trans. R. Soc. A 372 (2014) 20130306): first expired first out by estimated life.
#[test]
fn the_oldest_that_satisfies_is_issued_by_its_estimated_life() {
    let stock = || vec![block(0, 250, 10, 60), block(1, 250, 8, 70), block(2, 250, 12, 50), block(3, 250, 12, 50)];
    let fifo = Wish { rule: Rule::Fifo, ..wish(Ask::Count(3), Choice::OldestFirst) };
    assert_eq!(ids(&pick(stock(), &fifo).unwrap()), [2, 1, 3]);
    assert_eq!(ids(&pick(stock(), &wish(Ask::Count(3), Choice::OldestFirst)).unwrap()), [3, 4, 1]);
    let picky = Wish { least_life_micros: 55 * MICROS_PER_HOUR, ..wish(Ask::Count(1), Choice::OldestFirst) };
    let picked = pick(stock(), &picky).unwrap();
    assert_eq!(ids(&picked), [1], "not the freshest, the oldest that will do");
    assert_eq!(picked.passed_over.len(), 2);
}

/// ISS-5 (exact): three trays with last day 1, 2, 3, and one sale a day. Oldest first loses nothing; freshest first wastes one and loses one sale.
#[test]
fn oldest_first_wastes_nothing_where_freshest_first_does() {
    let play = |freshest: bool| {
        let mut stock: Vec<_> = (0..3).map(|at| block(at, 250, 0, 24 * (i64::try_from(at).unwrap() + 1))).collect();
        let (mut waste, mut lost) = (0, 0);
        for day in 1..=3 {
            let noon = hour(24 * day - 12);
            let before = stock.len();
            stock.retain(|tray| tray.sell_until >= noon);
            waste += before - stock.len();
            let today = Wish { needed_at: noon, ..wish(Ask::Count(1), Choice::OldestFirst) };
            let sold = match freshest {
                false => pick(stock.clone(), &today).ok().and_then(|picked| ids(&picked).first().copied()),
                true => stock.iter().max_by_key(|tray| tray.sell_until).map(|tray| tray.tray_id),
            };
            match sold {
                Some(id) => stock.retain(|tray| tray.tray_id != id),
                None => lost += 1,
            }
        }
        (waste + stock.len(), lost)
    };
    assert_eq!(play(false), (0, 0));
    assert_eq!(play(true), (1, 1));
}
