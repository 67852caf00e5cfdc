//! What was seen of a cut: in which hours something of it could be sold, at which price, and what was sold then. An hour in which it was sold
//! out says nothing of demand, so it is not counted: that nothing was bought then is no sign that nothing was wanted.
//!
//! The price of an hour is that of the tray that is issued next, the first to end, since that is what a price is in the model of the review.
//! A sale counts under the price of its moment, whichever tray was taken.

use crate::domain::hours::Slice;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use std::collections::{BTreeMap, BTreeSet};

/// A stretch in which a tray stood where it can be sold from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    pub tray: i64,
    pub from: Instant,
    pub to: Instant,
    /// Its use-by: it was not sold after it, and whatever ends first is issued first.
    pub ends: Option<Instant>,
    /// Its price in permille of its list price, from each instant on; in order, the first before the stretch.
    pub prices: Vec<(Instant, i64)>,
}

/// Something of the cut that went over the counter.
#[derive(Debug, Clone, PartialEq)]
pub struct Sold {
    pub at: Instant,
    /// A block is one; a draw from a tub is its grams over those of a portion.
    pub units: f64,
    /// What was paid, in permille of the list price: for a sale at a time when nothing was in stock by the book.
    pub price_permille: i64,
}

/// All that was seen of one hour of the week at one price.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// 0 is Monday.
    pub weekday: usize,
    /// 0 to 23, local.
    pub hour: usize,
    pub price_permille: i64,
    /// Hours in stock.
    pub hours: f64,
    pub units: f64,
}

/// What is left of a stretch without the times in which it was on hold, in order of their beginning.
pub fn without(from: Instant, to: Instant, held: &[(Instant, Option<Instant>)]) -> Vec<(Instant, Instant)> {
    let (mut at, mut left) = (from, Vec::new());
    for (placed, released) in held {
        if *placed > at {
            left.push((at, to.min(*placed)));
        }
        at = at.max(released.unwrap_or(to));
    }
    left.push((at, to));
    left.retain(|(from, to)| from < to);
    left
}

/// A sale this long before opening or after closing belongs to the nearest opening hour; one farther off to none, and is not counted.
const BESIDE_OPENING: i64 = 3 * MICROS_PER_HOUR;

/// A stretch in stock at one price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Piece {
    from: Instant,
    to: Instant,
    price_permille: i64,
}

/// In the order in which they count at one instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Event {
    Leaves,
    Comes,
    Costs(i64),
}

/// What was seen of one cut in opening time. `slices` are in order and lie between the first and the last instant that count.
pub fn observe(slices: &[Slice], offers: &[Offer], sold: &[Sold]) -> Vec<Cell> {
    let pieces = pieces(offers);
    let mut seen: BTreeMap<(usize, usize, i64), (f64, f64)> = BTreeMap::new();
    let mut rest = pieces.as_slice();
    for slice in slices {
        while let Some((first, others)) = rest.split_first() {
            if first.to > slice.from {
                break;
            }
            rest = others;
        }
        for piece in rest.iter().take_while(|piece| piece.from < slice.to) {
            let micros = piece.to.min(slice.to).since(piece.from.max(slice.from));
            if micros > 0 {
                seen.entry((slice.weekday, slice.hour, piece.price_permille)).or_default().0 += hours(micros);
            }
        }
    }
    for sale in sold {
        let Some(slice) = slice_of(slices, sale.at) else { continue };
        let price = price_at(&pieces, sale.at).unwrap_or(sale.price_permille);
        seen.entry((slice.weekday, slice.hour, price)).or_default().1 += sale.units;
    }
    seen.into_iter()
        .map(|((weekday, hour, price_permille), (hours, units))| Cell { weekday, hour, price_permille, hours, units })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "microseconds of a few weeks are far below 2^53")]
fn hours(micros: i64) -> f64 {
    micros as f64 / MICROS_PER_HOUR as f64
}

/// The stretches in which any tray was there, in order, cut where the price of the next one changes.
fn pieces(offers: &[Offer]) -> Vec<Piece> {
    let mut events: Vec<(Instant, Event, (Instant, i64, usize))> = Vec::with_capacity(offers.len() * 2);
    for (index, offer) in offers.iter().enumerate() {
        let last = Instant::from_micros(Instant::MAXIMUM).unwrap_or(offer.from);
        let ends = offer.ends.unwrap_or(last);
        let (from, to) = (offer.from, offer.to.min(ends));
        if to <= from {
            continue;
        }
        let key = (ends, offer.tray, index);
        events.push((from, Event::Comes, key));
        events.push((to, Event::Leaves, key));
        let before = offer.prices.iter().rfind(|(at, _)| *at <= from).map_or(1_000, |(_, price)| *price);
        events.push((from, Event::Costs(before), key));
        let changes = offer.prices.iter().filter(|(at, _)| *at > from && *at < to);
        events.extend(changes.map(|(at, price)| (*at, Event::Costs(*price), key)));
    }
    events.sort_unstable();
    sweep(&events)
}

/// Goes through the events of all trays; `key` sorts by what is issued first.
fn sweep(events: &[(Instant, Event, (Instant, i64, usize))]) -> Vec<Piece> {
    let mut there: BTreeSet<(Instant, i64, usize)> = BTreeSet::new();
    let mut prices: BTreeMap<usize, i64> = BTreeMap::new();
    let mut pieces: Vec<Piece> = Vec::new();
    let mut since = Instant::EPOCH;
    for (at, event, key) in events {
        if let Some(price_permille) = there.first().and_then(|(_, _, index)| prices.get(index)).copied()
            && *at > since
        {
            match pieces.last_mut() {
                Some(last) if last.to == since && last.price_permille == price_permille => last.to = *at,
                _ => pieces.push(Piece { from: since, to: *at, price_permille }),
            }
        }
        since = *at;
        match event {
            Event::Comes => {
                there.insert(*key);
            }
            Event::Leaves => {
                there.remove(key);
                prices.remove(&key.2);
            }
            Event::Costs(price) => {
                prices.insert(key.2, *price);
            }
        }
    }
    pieces
}

/// What the next tray cost at that moment. A sale ends the stretch of its own tray, so the stretch that ends there counts.
fn price_at(pieces: &[Piece], at: Instant) -> Option<i64> {
    let before = pieces.partition_point(|piece| piece.from < at);
    let piece = pieces.get(before.checked_sub(1)?)?;
    (piece.to >= at).then_some(piece.price_permille)
}

/// The opening hour a sale belongs to; on the stroke of an hour the one that ends, as with prices.
fn slice_of(slices: &[Slice], at: Instant) -> Option<&Slice> {
    let after = slices.partition_point(|slice| slice.to <= at);
    let away = |slice: &Slice| slice.from.since(at).max(at.since(slice.to)).max(0);
    let candidates = [after.checked_sub(1).and_then(|before| slices.get(before)), slices.get(after)];
    candidates.into_iter().flatten().filter(|slice| away(slice) <= BESIDE_OPENING).min_by_key(|slice| away(slice))
}
