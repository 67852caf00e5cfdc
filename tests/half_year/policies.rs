//! Who decides: nobody, and a rule of thumb. What decides by the engine's advice is in `advised`.

use crate::bound::deeds;
use crate::counter::{Books, Counter, Deed};
use crate::dice::Dice;
use crate::world::{DAY, REVIEWS, Year, open_on};

/// Something that decides at each review of a cut. It sees the counters, which tell what was sold and what stood there.
pub trait Policy {
    fn name(&self) -> String;

    /// Once at each review, before the cuts are looked at one by one.
    fn look_around(&mut self, _counters: &[Counter<'_>], _at: i64) {}

    fn decide(&mut self, counter: &Counter<'_>, cut: usize, at: i64, first_of_day: bool) -> Deed;
}

/// The whole half-year of all cuts under one policy: the books of each cut.
pub fn run(years: &[Year], policy: &mut dyn Policy) -> Vec<Books> {
    let mut counters: Vec<Counter<'_>> = years.iter().map(Counter::new).collect();
    loop {
        let reviews: Vec<_> = counters.iter_mut().map(Counter::until_review).collect();
        let Some((at, first_of_day)) = reviews[0] else { break };
        assert!(reviews.iter().all(|review| *review == reviews[0]), "all cuts are reviewed together");
        policy.look_around(&counters, at);
        for (cut, counter) in counters.iter_mut().enumerate() {
            let deed = policy.decide(counter, cut, at, first_of_day);
            counter.act(at, first_of_day, &deed);
        }
    }
    counters.into_iter().map(Counter::close).collect()
}

/// Everything at the list price until it is thrown away.
pub struct LeaveAlone;

impl Policy for LeaveAlone {
    fn name(&self) -> String {
        "leave alone".to_owned()
    }

    fn decide(&mut self, _: &Counter<'_>, _: usize, _: i64, _: bool) -> Deed {
        Deed::default()
    }
}

/// 20 % off on the last day but one, 40 % on the last: days on which the shop is open and the batch can be sold.
pub struct RuleOfThumb;

impl RuleOfThumb {
    fn step(year: &Year, at: i64, end: i64) -> usize {
        let today = at / DAY;
        let later = (today + 1..=end / DAY).filter(|day| open_on(*day).is_some_and(|(open, _)| open < end)).count();
        let off = match later {
            0 => 400,
            1 => 200,
            _ => 0,
        };
        year.ladder.iter().position(|price| *price <= year.cut.list * (1_000 - off) / 1_000).unwrap()
    }
}

impl Policy for RuleOfThumb {
    fn name(&self) -> String {
        "rule of thumb".to_owned()
    }

    fn decide(&mut self, counter: &Counter<'_>, _: usize, at: i64, first_of_day: bool) -> Deed {
        let mut deed = Deed::default();
        for (batch, trays) in counter.stock().into_iter().filter(|_| first_of_day) {
            let step = RuleOfThumb::step(counter.year, at, counter.year.batches[batch].end);
            if step > 0 {
                deed.marks.push((trays.end - counter.front, step));
            }
        }
        deed
    }
}

/// The same, and at the last review of its life the kitchen gets what is left of a batch, as far as it has room.
pub struct RuleAndKitchen;

impl Policy for RuleAndKitchen {
    fn name(&self) -> String {
        "rule of thumb, then the kitchen".to_owned()
    }

    fn decide(&mut self, counter: &Counter<'_>, cut: usize, at: i64, first_of_day: bool) -> Deed {
        let mut deed = RuleOfThumb.decide(counter, cut, at, first_of_day);
        let mut room = counter.kitchen_room(at, first_of_day);
        for (batch, trays) in counter.stock() {
            if counter.year.batches[batch].end > next_review(at) {
                break;
            }
            for tray in trays {
                room -= counter.year.grams[tray];
                deed.kitchen += usize::from(room >= 0);
            }
        }
        deed
    }
}

/// The review after this one.
fn next_review(at: i64) -> i64 {
    let days = (at / DAY..).filter(|day| open_on(*day).is_some());
    days.flat_map(|day| REVIEWS.map(|time| day * DAY + time)).find(|review| *review > at).unwrap()
}

/// Anything a shop may do, at random: what the bound must stand above as well.
pub struct AtRandom(pub Dice);

impl Policy for AtRandom {
    fn name(&self) -> String {
        "at random".to_owned()
    }

    fn decide(&mut self, counter: &Counter<'_>, _: usize, at: i64, first_of_day: bool) -> Deed {
        if counter.front == counter.arrived || !self.0.one_in(6) {
            return Deed::default();
        }
        self.0.pick(&deeds(counter, at, first_of_day)).clone()
    }
}
