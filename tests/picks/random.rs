//! Random cases against the plainest way: all subsets for a weight, a maximum matching for who may get what. `SAKUDANA_PICKS_SEED` rolls other
//! cases, `SAKUDANA_PICKS_CASES` more of them.

use crate::table::{Dice, Subset, block, hour, naive, subsets};
use sakudana::domain::picking::exchange::{Held, Seat, Unfit, exchange};
use sakudana::domain::picking::weight::choose;
use sakudana::domain::picking::{Ask, Candidate, Choice, Places, Rule, Why, Window, Wish, pick};
use sakudana::domain::tray::Kind;
use sakudana::units::instant::MICROS_PER_HOUR;
use std::collections::BTreeSet;

fn from_environment(name: &str, default: u64) -> u64 {
    std::env::var(name).map_or(default, |text| text.parse().unwrap())
}

fn dice() -> Dice {
    Dice(from_environment("SAKUDANA_PICKS_SEED", 20_261_126))
}

fn cases() -> u64 {
    from_environment("SAKUDANA_PICKS_CASES", 2_000)
}

/// Up to eleven trays, sometimes much alike, and a window that is wide, narrow or a single gram, within reach or not.
fn instance(dice: &mut Dice) -> (Vec<i64>, Window) {
    let count = usize::try_from(dice.below(11) + 1).unwrap();
    let (least, spread) = [(150, 300), (1, 20), (200, 6), (2, 500)][usize::try_from(dice.below(4)).unwrap()];
    let weights: Vec<i64> = (0..count).map(|_| least + dice.below(spread)).collect();
    let all: i64 = weights.iter().sum();
    let middle = 1 + dice.below(all + all / 4 + 1);
    let half = [0, dice.below(4), dice.below(60)][usize::try_from(dice.below(3)).unwrap()];
    (weights, Window { low: (middle - half).max(1), high: middle + half })
}

#[test]
fn every_choice_is_that_of_all_subsets() {
    let (mut dice, mut met) = (dice(), 0);
    for case in 0..cases() {
        let (weights, window) = instance(&mut dice);
        let all = subsets(&weights);
        for choice in Choice::ALL {
            let (found, expected) = (choose(&weights, window, choice), naive(&all, window, choice));
            assert_eq!(found, expected, "case {case}, {}: {weights:?} to {window:?}", choice.as_str());
        }
        met += u64::from(choose(&weights, window, Choice::OldestFirst).is_ok());
    }
    assert!(
        met * 4 > cases() && met < cases(),
        "{met} of {} windows are within reach: the cases say something",
        cases()
    );
}

/// Stock with all that can bar a tray.
fn stock(dice: &mut Dice) -> Vec<Candidate> {
    let count = usize::try_from(dice.below(9) + 1).unwrap();
    let tray = |at: usize, dice: &mut Dice| {
        let mut tray = block(at, 150 + dice.below(300), dice.below(20), 30 + dice.below(40));
        if dice.below(5) == 0 {
            tray.place = "freezer-side".into();
        }
        if dice.below(6) == 0 {
            tray.reserved_for = Some(9);
        }
        tray
    };
    (0..count).map(|at| tray(at, dice)).collect()
}

fn wished(dice: &mut Dice) -> Wish {
    let low = 300 + dice.below(900);
    Wish {
        rule: if dice.below(2) == 0 { Rule::Fifo } else { Rule::Fefo },
        choice: Choice::ALL[usize::try_from(dice.below(4)).unwrap()],
        ask: if dice.below(3) == 0 {
            Ask::Count(usize::try_from(dice.below(6) + 1).unwrap())
        } else {
            Ask::Weight(Window { low, high: low + dice.below(120) })
        },
        needed_at: hour(20),
        least_life_micros: dice.below(25) * MICROS_PER_HOUR,
        places: if dice.below(2) == 0 { Places::Anywhere } else { Places::Only("cold-room".into()) },
        highest_price: None,
    }
}

/// What is wrong with a tray, told anew.
fn barred(tray: &Candidate, wish: &Wish) -> Option<Why> {
    let elsewhere = matches!(&wish.places, Places::Only(place) if *place != tray.place);
    let late = tray.sell_until.since(hour(20)) < wish.least_life_micros;
    match (elsewhere, late, tray.reserved_for) {
        (true, ..) => Some(Why::OtherPlace),
        (_, true, _) => Some(Why::TooLittleLife),
        (.., Some(list)) => Some(Why::Reserved(list)),
        _ => None,
    }
}

/// The whole answer: who is taken, who older is not, and why; each reason is true. That no selection is left with a tray and the older ones
/// taken is asked of all subsets.
#[test]
fn every_older_tray_that_is_left_says_truly_why() {
    let (mut dice, mut reasons) = (dice(), BTreeSet::new());
    for case in 0..cases() {
        let (stock, wish) = (stock(&mut dice), wished(&mut dice));
        let mut sorted = stock.clone();
        sorted.sort_by_key(|t| match wish.rule {
            Rule::Fifo => (t.cut_at, t.sell_until, t.tray_id),
            Rule::Fefo => (t.sell_until, t.cut_at, t.tray_id),
        });
        let free: Vec<&Candidate> = sorted.iter().filter(|tray| barred(tray, &wish).is_none()).collect();
        let all = subsets(&free.iter().map(|tray| tray.net_g).collect::<Vec<_>>());
        let Ok(picked) = pick(stock, &wish) else {
            let reachable = match wish.ask {
                Ask::Count(_) => !free.is_empty(),
                Ask::Weight(window) => all.iter().any(|set| window.holds(set.sum)),
            };
            assert!(!reachable, "case {case}");
            continue;
        };
        let taken: Vec<i64> = picked.take.iter().map(|taken| taken.tray.tray_id).collect();
        let expected: Vec<i64> = match wish.ask {
            Ask::Count(count) => free.iter().take(count).map(|tray| tray.tray_id).collect(),
            Ask::Weight(window) => {
                naive(&all, window, wish.choice).unwrap().into_iter().map(|at| free[at].tray_id).collect()
            }
        };
        assert_eq!(taken, expected, "case {case}");
        let last = sorted.iter().position(|tray| Some(&tray.tray_id) == taken.last()).unwrap();
        let left: Vec<i64> = sorted[..last].iter().map(|tray| tray.tray_id).filter(|id| !taken.contains(id)).collect();
        assert_eq!(left, picked.passed_over.iter().map(|p| p.tray.tray_id).collect::<Vec<_>>(), "case {case}");
        for passed in &picked.passed_over {
            reasons.insert(passed.why.as_str());
            match barred(&passed.tray, &wish) {
                Some(why) => assert_eq!(passed.why, why, "case {case}"),
                None if wish.choice == Choice::OldestFirst => {
                    let Ask::Weight(window) = wish.ask else { panic!("a count passes over nothing that may be taken") };
                    let at = free.iter().position(|tray| tray.tray_id == passed.tray.tray_id).unwrap();
                    let older: Vec<usize> = (0..at).filter(|at| taken.contains(&free[*at].tray_id)).collect();
                    let with =
                        |set: &Subset| set.has(at) && (0..at).all(|place| set.has(place) == older.contains(&place));
                    assert!(!all.iter().any(|set| window.holds(set.sum) && with(set)), "case {case}");
                    assert_eq!(passed.why, Why::NoCompletion, "case {case}");
                }
                None => assert_eq!(passed.why, Why::OtherChoice, "case {case}"),
            }
        }
    }
    assert_eq!(
        reasons.into_iter().collect::<Vec<_>>(),
        ["no_completion", "other_choice", "other_place", "reserved", "too_little_life"]
    );
}

/// The most demands that can be met: augmenting paths.
fn matching(edges: &[Vec<usize>], items: usize) -> usize {
    fn place(demand: usize, edges: &[Vec<usize>], seen: &mut [bool], of_item: &mut [Option<usize>]) -> bool {
        for item in &edges[demand] {
            if !std::mem::replace(&mut seen[*item], true)
                && of_item[*item].is_none_or(|other| place(other, edges, seen, of_item))
            {
                of_item[*item] = Some(demand);
                return true;
            }
        }
        false
    }
    let mut of_item = vec![None; items];
    (0..edges.len()).filter(|demand| place(*demand, edges, &mut vec![false; items], &mut of_item)).count()
}

/// Serves demands of one tray each in time order, by `choose` among those that are there and good; gives how many are met.
fn served(trays: &[Candidate], demands: &[(i64, i64)], order: impl Fn(Vec<Candidate>, &Wish) -> Option<i64>) -> usize {
    let mut left = trays.to_vec();
    let mut met = 0;
    for (at, life) in demands {
        let wish = Wish {
            rule: Rule::Fefo,
            choice: Choice::OldestFirst,
            ask: Ask::Count(1),
            needed_at: hour(*at),
            least_life_micros: life * MICROS_PER_HOUR,
            places: Places::Anywhere,
            highest_price: None,
        };
        let there: Vec<Candidate> = left.iter().filter(|tray| tray.cut_at <= hour(*at)).cloned().collect();
        if let Some(id) = order(there, &wish) {
            left.retain(|tray| tray.tray_id != id);
            met += 1;
        }
    }
    met
}

fn first(stock: Vec<Candidate>, wish: &Wish) -> Option<i64> {
    pick(stock, wish).ok().map(|picked| picked.take[0].tray.tray_id)
}

/// PK-C1 (class `computed`): 3,000 random instances of up to six trays and six dated demands, held against a maximum matching: first expired
/// first out misses nothing; first in first out does, and freshest first more.
#[test]
fn first_expired_first_out_meets_as_much_as_can_be_met() {
    let mut dice = dice();
    let (mut fifo_short, mut freshest_short) = (0, 0);
    for case in 0..3_000 {
        let trays: Vec<Candidate> = (0..usize::try_from(dice.below(6) + 1).unwrap())
            .map(|at| {
                let cut = dice.below(8);
                block(at, 250, cut, cut + 1 + dice.below(8))
            })
            .collect();
        let mut demands: Vec<(i64, i64)> = (0..dice.below(6) + 1).map(|_| (dice.below(14), 0)).collect();
        demands.sort_unstable();
        let good = |at: i64| {
            let fits = |tray: &&(usize, &Candidate)| tray.1.cut_at <= hour(at) && tray.1.sell_until >= hour(at);
            trays.iter().enumerate().filter(|tray| fits(&tray)).map(|(at, _)| at).collect::<Vec<_>>()
        };
        let edges: Vec<Vec<usize>> = demands.iter().map(|(at, _)| good(*at)).collect();
        let most = matching(&edges, trays.len());
        assert_eq!(served(&trays, &demands, first), most, "case {case}");
        let fifo = |stock: Vec<Candidate>, wish: &Wish| first(stock, &Wish { rule: Rule::Fifo, ..wish.clone() });
        fifo_short += most - served(&trays, &demands, fifo);
        let freshest = |stock: Vec<Candidate>, wish: &Wish| {
            stock
                .into_iter()
                .filter(|tray| wish.bars(tray).is_none())
                .max_by_key(|tray| tray.sell_until)
                .map(|t| t.tray_id)
        };
        freshest_short += most - served(&trays, &demands, freshest);
    }
    assert!(0 < fifo_short && fifo_short < freshest_short, "{fifo_short} and {freshest_short}");
}

/// PK-C2 (class `computed`): every customer asks for a least life, all stock is there from the start, demands come in time order: the oldest
/// acceptable meets as many as a maximum matching, in 3,000 of 3,000.
#[test]
fn the_oldest_acceptable_meets_as_many_as_a_matching() {
    let mut dice = dice();
    for case in 0..3_000 {
        let trays: Vec<Candidate> =
            (0..usize::try_from(dice.below(6) + 1).unwrap()).map(|at| block(at, 250, 0, 1 + dice.below(16))).collect();
        let mut demands: Vec<(i64, i64)> = (0..dice.below(6) + 1).map(|_| (dice.below(10), dice.below(6))).collect();
        demands.sort_unstable();
        let good = |(at, life): &(i64, i64)| {
            (0..trays.len()).filter(|tray| trays[*tray].sell_until >= hour(at + life)).collect::<Vec<_>>()
        };
        let edges: Vec<Vec<usize>> = demands.iter().map(good).collect();
        assert_eq!(served(&trays, &demands, first), matching(&edges, trays.len()), "case {case}");
    }
}

/// Out of tubs the middle of the window is drawn, oldest first; less where there is less.
#[test]
fn tubs_give_the_middle_of_the_window_in_order() {
    let tub =
        |at: usize, net_g: i64| Candidate { kind: Kind::Tub, ..block(at, net_g, 0, 100 + i64::try_from(at).unwrap()) };
    let stock = vec![tub(2, 900), tub(0, 300), tub(1, 450)];
    let drawn = |low: i64, high: i64| {
        let wish = Wish { ask: Ask::Weight(Window { low, high }), ..wished(&mut Dice(1)) };
        let wish = Wish { rule: Rule::Fefo, least_life_micros: 0, places: Places::Anywhere, ..wish };
        pick(stock.clone(), &wish).map(|p| p.take.iter().map(|t| (t.tray.tray_id, t.grams)).collect::<Vec<_>>())
    };
    assert_eq!(drawn(500, 520), Ok(vec![(1, 300), (2, 210)]));
    assert_eq!(drawn(1_600, 1_800), Ok(vec![(1, 300), (2, 450), (3, 900)]), "1650 g are within");
    assert!(drawn(1_651, 1_700).is_err());
}

/// A stand-in keeps the list within what was asked, goes for the newest that it can, and tells every older one that would do.
#[test]
fn a_stand_in_is_judged_by_what_it_leaves() {
    let (mut dice, mut taken, mut refused) = (dice(), 0, 0);
    for case in 0..cases() {
        let (stock, wish) = (stock(&mut dice), wished(&mut dice));
        let Ok(picked) = pick(stock.clone(), &wish) else { continue };
        let mut seats: Vec<Seat> = Vec::new();
        for taken in &picked.take {
            let held = [Held::Wanted, Held::Wanted, Held::Picked, Held::Gone][usize::try_from(dice.below(4)).unwrap()];
            seats.push(Seat { tray_id: taken.tray.tray_id, grams: taken.grams, held });
        }
        let listed = |id: i64| seats.iter().any(|seat| seat.tray_id == id);
        let Some(scanned) = stock.iter().find(|tray| !listed(tray.tray_id)) else { continue };
        let total: i64 = seats.iter().filter(|seat| seat.held != Held::Gone).map(|seat| seat.grams).sum();
        let after = |seat: &Seat| total + scanned.net_g - if seat.held == Held::Gone { 0 } else { seat.grams };
        let fits = |seat: &Seat| match wish.ask {
            Ask::Count(_) => true,
            Ask::Weight(window) => {
                let missing = seats.iter().any(|s| s.held == Held::Gone && s.tray_id != seat.tray_id);
                after(seat) <= window.high && (missing || after(seat) >= window.low)
            }
        };
        let open = || seats.iter().filter(|seat| seat.held != Held::Picked);
        match exchange(&wish, &seats, scanned, &stock) {
            Ok(found) => {
                taken += 1;
                assert_eq!(barred(scanned, &wish), None, "case {case}");
                let Some(replaces) = found.replaces else {
                    assert!(open().next().is_none(), "case {case}: there was one to stand in for");
                    continue;
                };
                let seat = seats.iter().find(|seat| seat.tray_id == replaces).unwrap();
                assert!(seat.held != Held::Picked && fits(seat), "case {case}");
                let better = |other: &&Seat| match (other.held, seat.held) {
                    (Held::Gone, Held::Wanted) => true,
                    (Held::Wanted, Held::Wanted) => {
                        let tray = |id| stock.iter().find(|tray| tray.tray_id == id).unwrap();
                        wish.rule.compare(tray(other.tray_id), tray(replaces)).is_gt()
                    }
                    _ => false,
                };
                assert!(!open().filter(|other| fits(other)).any(|other| better(&other)), "case {case}");
                let older = |tray: &&Candidate| wish.rule.compare(tray, scanned).is_lt();
                let would_do = |tray: &&Candidate| {
                    let alike = Candidate { net_g: tray.net_g, ..scanned.clone() };
                    let total = after(seat) - scanned.net_g + alike.net_g;
                    let missing = seats.iter().any(|s| s.held == Held::Gone && s.tray_id != seat.tray_id);
                    match wish.ask {
                        Ask::Count(_) => true,
                        Ask::Weight(window) => total <= window.high && (missing || total >= window.low),
                    }
                };
                let mut expected: Vec<i64> = stock
                    .iter()
                    .filter(|tray| older(tray) && barred(tray, &wish).is_none())
                    .filter(|tray| match listed(tray.tray_id) {
                        true => tray.tray_id == replaces && seat.held == Held::Wanted,
                        false => would_do(tray),
                    })
                    .map(|tray| tray.tray_id)
                    .collect();
                let mut told: Vec<i64> = found.passes_over.iter().map(|passed| passed.tray.tray_id).collect();
                expected.sort_unstable();
                told.sort_unstable();
                assert_eq!(told, expected, "case {case}");
            }
            Err(Unfit::Barred(why)) => assert_eq!(Some(why), barred(scanned, &wish), "case {case}"),
            Err(Unfit::NothingWanted) => assert!(open().next().is_none(), "case {case}"),
            Err(Unfit::Weight(_)) => {
                refused += 1;
                assert!(!open().any(fits), "case {case}");
            }
        }
    }
    assert!(taken > 50 && refused > 50, "{taken} taken, {refused} refused");
}
