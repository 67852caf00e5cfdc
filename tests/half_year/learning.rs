//! What a shop can see of its demand, hour by hour as it goes: when something stood on the counter, at which price, and what was sold.
//! The customers who found nothing, or went, are not in it.

use crate::counter::Counter;
use crate::policies::Policy;
use crate::world::{DAY, HOUR, OPEN, Year, open_on, weekday};
use chrono::NaiveTime;
use sakudana::domain::demand::learn::{Evidence, Stated, learn};
use sakudana::domain::demand::observe::{Cell, Offer, Sold, observe};
use sakudana::domain::demand::rate::{Sales, belief};
use sakudana::domain::demand::week::{open_hours, trading_day};
use sakudana::domain::demand::{Basis, Belief, Elasticity, Forecast, Pattern, WEEKS, multiplier};
use sakudana::domain::hours::{OpeningHours, Span};
use sakudana::domain::life::budget::Form;
use sakudana::domain::tray::Kind;
use sakudana::units::instant::Instant;
use sakudana::units::zone::Zone;
use std::collections::BTreeMap;

/// The shop's week as the engine is told it.
pub fn opening_hours() -> OpeningHours {
    let at = |hour: i64| NaiveTime::from_hms_opt(u32::try_from(hour).unwrap(), 0, 0).unwrap();
    OpeningHours { days: OPEN.map(|span| span.map(|(open, close)| Span { open: at(open), close: at(close) })) }
}

/// The truth, as if it had been learned to the end.
pub fn truth(year: &Year) -> Forecast {
    let at_list = year.cut.elasticity;
    Forecast {
        belief: Belief { shape: year.cut.rate * 1e9, rate: 1e9 },
        basis: Basis::Told,
        elasticity: Elasticity { at_list, low: at_list, high: at_list, basis: Basis::Told },
        pattern: Pattern { factors: crate::world::pattern(year.cut.weekend) },
        units_sold: 0,
        hours_in_stock: 0.0,
    }
}

/// Hours in stock and units sold, by weekday, hour and step of the ladder.
type Cells = BTreeMap<(usize, usize, usize), (f64, f64)>;

/// All that was seen of one cut until now, day by day.
#[derive(Debug, Default)]
struct Seen {
    days: BTreeMap<i64, Cells>,
    until: i64,
    shown: usize,
    sales: usize,
}

impl Seen {
    fn look(&mut self, counter: &Counter<'_>, now: i64) {
        let mut from = self.until;
        while let Some(shown) = counter.shown.get(self.shown) {
            let to = counter.shown.get(self.shown + 1).map_or(now, |next| next.at);
            if let Some(step) = shown.step {
                self.add_hours(from.max(shown.at), to, step);
            }
            from = to;
            if self.shown + 1 == counter.shown.len() {
                break;
            }
            self.shown += 1;
        }
        for sale in &counter.sales[self.sales..] {
            self.cell(sale.at, sale.step).1 += 1.0;
        }
        self.sales = counter.sales.len();
        self.until = now;
    }

    fn add_hours(&mut self, from: i64, to: i64, step: usize) {
        for day in from / DAY..=to / DAY {
            let Some((open, close)) = open_on(day) else { continue };
            let (mut at, end) = (open.max(from), close.min(to));
            while at < end {
                let next = ((at / HOUR + 1) * HOUR).min(end);
                self.cell(at, step).0 += (next - at) as f64 / HOUR as f64;
                at = next;
            }
        }
    }

    fn cell(&mut self, at: i64, step: usize) -> &mut (f64, f64) {
        let hour = usize::try_from(at % DAY / HOUR).unwrap();
        self.days.entry(at / DAY).or_default().entry((weekday(at / DAY), hour, step)).or_default()
    }

    /// What counts of it: the last weeks, all alike.
    fn evidence(&self, year: &Year) -> Evidence {
        let price = |step: usize| 1_000 * year.ladder[step] / year.cut.list;
        let mut cells = Cells::new();
        for (key, (hours, units)) in self.days.range(self.until / DAY - WEEKS * 7..).flat_map(|(_, cells)| cells) {
            let cell = cells.entry(*key).or_default();
            *cell = (cell.0 + hours, cell.1 + units);
        }
        let mut cells: Vec<Cell> = cells
            .iter()
            .map(|((weekday, hour, step), (hours, units))| Cell {
                weekday: *weekday,
                hour: *hour,
                price_permille: price(*step),
                hours: *hours,
                units: *units,
            })
            .collect();
        cells.sort_by_key(|cell| (cell.weekday, cell.hour, cell.price_permille));
        Evidence {
            code: year.cut.name.to_owned(),
            kind: Kind::Block,
            form: Form::Block,
            cells,
            clump: 1.0,
            since: None,
            told_elasticity: None,
            told_units_per_hour: None,
        }
    }
}

/// A shop that begins with a stated rate for each cut, and learns from what it sells.
///
/// The week and the answers to prices are learned of all cuts together, as the shop does. The rates are learned of each cut by itself:
/// in a shop of several cuts the stated rate is forgotten within a day, for what the others sell, and here the wrong prior is the
/// question.
#[derive(Debug)]
pub struct Learner {
    stated: Vec<Stated>,
    seen: Vec<Seen>,
    pub known: Vec<Forecast>,
}

impl Learner {
    pub fn new(years: &[Year], stated: impl Fn(f64) -> Stated) -> Learner {
        let seen: Vec<Seen> = years.iter().map(|_| Seen::default()).collect();
        let stated = years.iter().map(|year| stated(year.cut.rate)).collect();
        let mut learner = Learner { stated, seen, known: Vec::new() };
        learner.learn(years.iter());
        learner
    }

    /// Takes in what happened since the last look; learns of it once a day.
    pub fn look(&mut self, counters: &[Counter<'_>], now: i64) {
        let another_day = self.seen[0].until / DAY < now / DAY;
        for (seen, counter) in self.seen.iter_mut().zip(counters) {
            seen.look(counter, now);
        }
        if another_day {
            self.learn(counters.iter().map(|counter| counter.year));
        }
    }

    fn learn<'y>(&mut self, years: impl Iterator<Item = &'y Year>) {
        let evidence: Vec<Evidence> = self.seen.iter().zip(years).map(|(seen, year)| seen.evidence(year)).collect();
        let open = open_hours(&opening_hours());
        let learned = learn(&open, self.stated[0], &evidence);
        self.known = learned.into_iter().map(|learned| learned.forecast).collect();
        let day = trading_day(&open);
        for ((known, evidence), stated) in self.known.iter_mut().zip(&evidence).zip(&self.stated) {
            let at = |cell: &Cell| {
                let price = multiplier(known.elasticity.at_list, cell.price_permille as f64, 1_000.0);
                cell.hours * known.pattern.at(cell.weekday, cell.hour) * price
            };
            let own = Sales {
                kind: evidence.kind,
                form: evidence.form,
                units: evidence.cells.iter().map(|cell| cell.units).sum(),
                standard_hours: evidence.cells.iter().map(at).sum(),
                clump: evidence.clump,
            };
            (known.belief, known.basis) = belief(&[own], 0, stated.units_per_hour, day);
        }
    }
}

/// Moments of the invented shop as the engine knows them: its first day is a Monday, and its clock that of UTC.
pub fn instant(at: i64) -> Instant {
    Instant::parse("2027-01-04T00:00:00Z").unwrap().plus_micros(at * 1_000_000)
}

/// What the engine itself sees in the same half-year, tray by tray, as a check of what is added up here hour by hour.
pub fn observed(counter: &Counter<'_>, from: i64, to: i64) -> Vec<Cell> {
    let year = counter.year;
    let permille = |step: usize| 1_000 * year.ladder[step] / year.cut.list;
    let mut offers = Vec::new();
    for (batch, trays) in year.batches.iter().enumerate().filter(|(_, batch)| batch.past <= counter.arrived) {
        let falls = counter.lowered.iter().filter(|(_, lowered, _)| *lowered == batch);
        let prices: Vec<(Instant, i64)> = falls.map(|(at, _, step)| (instant(*at), permille(*step))).collect();
        offers.extend((trays.first..trays.past).map(|tray| Offer {
            tray: i64::try_from(tray).unwrap(),
            from: instant(trays.at),
            to: counter.left.get(tray).map_or(instant(to), |at| instant(*at)),
            ends: Some(instant(trays.end)),
            prices: prices.clone(),
        }));
    }
    let sold: Vec<Sold> = counter
        .sales
        .iter()
        .filter(|sale| sale.at >= from)
        .map(|sale| Sold { at: instant(sale.at), units: 1.0, price_permille: permille(sale.step) })
        .collect();
    let slices = opening_hours().slices(Zone::UTC, instant(from), instant(to));
    observe(&slices, &offers, &sold)
}

/// The two ways to see agree on a half-year in which anything is done.
pub fn check_what_is_seen(year: &Year, policy: &mut dyn Policy) {
    let mut counter = Counter::new(year);
    let mut seen = Seen::default();
    let mut last = 0;
    while let Some((at, first_of_day)) = counter.until_review() {
        let deed = policy.decide(&counter, 0, at, first_of_day);
        counter.act(at, first_of_day, &deed);
        seen.look(&counter, at);
        last = at;
    }
    let by_hour = seen.evidence(year).cells;
    let by_tray = observed(&counter, (last / DAY - WEEKS * 7) * DAY, last);
    assert!(by_hour.len() > 60, "{} cells", by_hour.len());
    let key = |cell: &Cell| (cell.weekday, cell.hour, cell.price_permille);
    assert_eq!(by_hour.iter().map(key).collect::<Vec<_>>(), by_tray.iter().map(key).collect::<Vec<_>>());
    for (one, other) in by_hour.iter().zip(&by_tray) {
        assert!((one.hours - other.hours).abs() < 1e-6 && one.units == other.units, "{one:?} {other:?}");
    }
}
