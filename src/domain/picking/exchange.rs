//! Another tray was scanned than the list wanted: may it stand in, for which one, and which older ones does it pass over?

use super::{Ask, Candidate, PassedOver, Why, Window, Wish};
use crate::domain::tray::Kind;

/// How a tray of a list stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    Wanted,
    Picked,
    /// It was wanted and is not to be had any more.
    Gone,
}

/// A line of a list as an exchange sees it; in the order to be taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seat {
    pub tray_id: i64,
    pub grams: i64,
    pub held: Held,
}

/// What a stand-in comes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exchange {
    /// The one that needs not be brought any more; none where the list was short of trays.
    pub replaces: Option<i64>,
    /// How much of the scanned one is taken.
    pub grams: i64,
    /// Older ones that would do as well. A person decides whether they stay where they are.
    pub passes_over: Vec<PassedOver>,
}

/// Why a tray cannot stand in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    Barred(Why),
    /// Everything on the list is picked already.
    NothingWanted,
    /// With it, for whichever that is still wanted, the weight leaves the window; the total nearest to it.
    Weight(i64),
}

/// Judges a stand-in among `stock`, which holds every tray of the cut that may be sold. It takes the place of one that is gone, else of
/// the newest that is still wanted and that keeps the list within what was asked: so the older stay on it.
pub fn exchange(wish: &Wish, seats: &[Seat], scanned: &Candidate, stock: &[Candidate]) -> Result<Exchange, Unfit> {
    if let Some(why) = wish.bars(scanned) {
        return Err(Unfit::Barred(why));
    }
    let here = |held: Held| seats.iter().filter(move |seat| seat.held == held);
    let (gone, wanted) = (here(Held::Gone), here(Held::Wanted).rev());
    let total: i64 = seats.iter().filter(|seat| seat.held != Held::Gone).map(|seat| seat.grams).sum();
    let places: Vec<&Seat> = gone.chain(wanted).collect();
    let short = match wish.ask {
        Ask::Count(count) => seats.iter().filter(|seat| seat.held != Held::Gone).count() < count,
        Ask::Weight(window) => total < window.low,
    };
    if places.is_empty() {
        return if short { beside(wish, seats, scanned, stock, total) } else { Err(Unfit::NothingWanted) };
    }
    let mut nearest = None;
    for seat in places {
        let Some(grams) = grams_for(scanned, seat, wish.ask) else { continue };
        let others = total - if seat.held == Held::Gone { 0 } else { seat.grams };
        let still_gone = seats.iter().any(|other| other.held == Held::Gone && other.tray_id != seat.tray_id);
        if fits(wish.ask, still_gone, others + grams) {
            let as_well = |tray: &Candidate| {
                grams_for(tray, seat, wish.ask).is_some_and(|grams| fits(wish.ask, still_gone, others + grams))
            };
            let mut passes_over = older(wish, seats, scanned, stock, as_well);
            let replaced = stock.iter().find(|tray| seat.held == Held::Wanted && tray.tray_id == seat.tray_id);
            passes_over.extend(replaced.filter(|tray| wish.rule.compare(tray, scanned).is_lt()).map(over));
            passes_over.sort_by(|one, other| wish.rule.compare(&one.tray, &other.tray));
            return Ok(Exchange { replaces: Some(seat.tray_id), grams, passes_over });
        }
        nearest = nearer(wish.ask, nearest, others + grams);
    }
    Err(Unfit::Weight(nearest.unwrap_or(total)))
}

/// A tray more on a list that is short and waits for no other: of a tub what is missing, if it holds as much.
fn beside(
    wish: &Wish,
    seats: &[Seat],
    scanned: &Candidate,
    stock: &[Candidate],
    total: i64,
) -> Result<Exchange, Unfit> {
    let grams = |tray: &Candidate| match (tray.kind, wish.ask) {
        (Kind::Tub, Ask::Weight(window)) => tray.net_g.min(window.low - total),
        _ => tray.net_g,
    };
    // What it leaves missing another may bring.
    let as_well = |tray: &Candidate| fits(wish.ask, true, total + grams(tray));
    if !as_well(scanned) {
        return Err(Unfit::Weight(total + grams(scanned)));
    }
    let passes_over = older(wish, seats, scanned, stock, as_well);
    Ok(Exchange { replaces: None, grams: grams(scanned), passes_over })
}

/// How much of a tray takes a seat: all of a block; of a tub what was to be drawn, if it holds as much.
fn grams_for(tray: &Candidate, seat: &Seat, ask: Ask) -> Option<i64> {
    match (tray.kind, ask) {
        (Kind::Tub, Ask::Weight(_)) => Some(seat.grams).filter(|grams| *grams <= tray.net_g),
        _ => Some(tray.net_g),
    }
}

/// A list that still misses a tray needs not reach the window yet; it must not pass it.
fn fits(ask: Ask, still_gone: bool, total: i64) -> bool {
    match ask {
        Ask::Count(_) => true,
        Ask::Weight(window) if still_gone => total <= window.high,
        Ask::Weight(window) => window.holds(total),
    }
}

fn nearer(ask: Ask, so_far: Option<i64>, total: i64) -> Option<i64> {
    let Ask::Weight(Window { low, high }) = ask else { return so_far };
    let away = |sum: i64| (low - sum).max(sum - high);
    Some(so_far.filter(|sum| away(*sum) <= away(total)).unwrap_or(total))
}

fn over(tray: &Candidate) -> PassedOver {
    PassedOver { tray: tray.clone(), why: Why::OlderIsFree }
}

/// The trays before the scanned one that nobody has, that are not on the list, and that would do.
fn older(
    wish: &Wish,
    seats: &[Seat],
    scanned: &Candidate,
    stock: &[Candidate],
    as_well: impl Fn(&Candidate) -> bool,
) -> Vec<PassedOver> {
    let listed = |tray: &Candidate| seats.iter().any(|seat| seat.tray_id == tray.tray_id);
    let before =
        stock.iter().filter(|tray| tray.tray_id != scanned.tray_id && wish.rule.compare(tray, scanned).is_lt());
    before.filter(|tray| !listed(tray) && wish.bars(tray).is_none() && as_well(tray)).map(over).collect()
}
