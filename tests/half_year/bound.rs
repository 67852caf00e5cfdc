//! What the best decisions bring when every customer is known beforehand.
//!
//! Exact, by dynamic programming backwards over everything that happens. The state is the tray that is next, in the order of issue, and
//! the step of the ladder at which its batch stands; sales, kitchen and waste all take from the front, so it says all. The steps of
//! younger batches need not be in it: who knows what comes lowers a batch no earlier than at the last review before its first tray is
//! sold, and until then any step is open, but for one thing: a lower price reaches from the oldest tray on, so that a batch never
//! stands lower than the one before it. Hence, where one batch follows another between reviews, the step of the next is chosen then, as
//! if at the review before, no lower than that of the last.
//!
//! Two things are relaxed, upwards. At one review each batch may get a price of its own, where the advice gives one price up to one
//! age. And where the kitchen comes at every review, it has room for a whole day's at each. So no policy that acts at these reviews,
//! never raises a price and prices by age can bring more, whatever it knows.

use crate::counter::{Books, Counter, Deed};
use crate::world::{Happening, Year, money};

/// In cents: revenue and kitchen less what waste costs.
pub fn clairvoyant(year: &Year) -> i64 {
    Bound::new(year).solve()
}

struct Bound<'y> {
    year: &'y Year,
    shares: Vec<f64>,
    batch_of: Vec<usize>,
    /// What is still brought, by next tray and step of its batch.
    values: Vec<Vec<i64>>,
}

impl<'y> Bound<'y> {
    fn new(year: &'y Year) -> Bound<'y> {
        Bound {
            year,
            shares: year.shares(),
            batch_of: (0..year.grams.len()).map(|tray| year.batch_of(tray)).collect(),
            values: vec![vec![0; year.ladder.len()]; year.grams.len() + 1],
        }
    }

    /// Going back in time: a cutting takes its trays out of what may be next, an end brings its trays into it.
    fn solve(mut self) -> i64 {
        let (mut first, mut arrived) = (self.year.grams.len(), self.year.grams.len());
        for event in self.year.events.iter().rev() {
            match event.what {
                // Whoever waits for it with nothing to sell gets it at the list price: `follow` reads that step alone.
                Happening::Cutting(batch) => arrived = self.year.batches[batch].first,
                Happening::End(batch) => first = self.end(batch, arrived),
                Happening::Review { first_of_day } => self.review(first..arrived, arrived, first_of_day),
                Happening::Customer(customer) => {
                    for tray in first..arrived {
                        for step in 0..self.shares.len() {
                            if customer.number < self.shares[step] {
                                let price = money(self.year.ladder[step], self.year.grams[tray]);
                                self.values[tray][step] = price + self.follow(tray, tray + 1, step, arrived);
                            }
                        }
                    }
                }
            }
        }
        self.values[0][0]
    }

    /// What is still brought when `next` is next after a tray that stood at a step.
    fn follow(&self, tray: usize, next: usize, step: usize, arrived: usize) -> i64 {
        let values = &self.values[next];
        if next == arrived {
            return values[0];
        }
        if self.batch_of[tray] == self.batch_of[next] {
            return values[step];
        }
        values[..=step].iter().copied().max().unwrap()
    }

    /// What is left of a batch is thrown away; the first tray that may be next before that.
    fn end(&mut self, batch: usize, arrived: usize) -> usize {
        let batch = self.year.batches[batch];
        let mut waste = 0;
        for tray in (batch.first..batch.past).rev() {
            waste += money(self.year.waste_cents_per_kg, self.year.grams[tray]);
            for step in 0..self.shares.len() {
                self.values[tray][step] = self.follow(tray, batch.past, step, arrived) - waste;
            }
        }
        batch.first
    }

    /// Prices fall, and in the morning the kitchen takes; what it leaves may stand at any step that its batch has not passed.
    fn review(&mut self, trays: std::ops::Range<usize>, arrived: usize, first_of_day: bool) {
        for tray in trays.clone() {
            let values = &mut self.values[tray];
            for step in (0..values.len() - 1).rev() {
                values[step] = values[step].max(values[step + 1]);
            }
        }
        if !self.year.kitchen_comes.at(first_of_day) {
            return;
        }
        // Ascending, and each from the values without the kitchen: `after` is behind `tray`, and not yet touched.
        for tray in trays {
            let (mut grams, mut kitchen) = (0, 0);
            for after in tray + 1..=arrived {
                grams += self.year.grams[after - 1];
                if grams > self.year.kitchen_g_per_day {
                    break;
                }
                kitchen += money(self.year.kitchen_cents_per_kg, self.year.grams[after - 1]);
                for step in 0..self.shares.len() {
                    let same = after < arrived && self.batch_of[after] == self.batch_of[tray];
                    let rest = self.values[after][if same { step } else { 0 }];
                    self.values[tray][step] = self.values[tray][step].max(kitchen + rest);
                }
            }
        }
    }
}

/// The same by trying every deed at every review: for worlds small enough to be afraid of none of it.
pub fn by_trying_everything(year: &Year) -> i64 {
    fn best(mut counter: Counter<'_>) -> i64 {
        let Some((at, first_of_day)) = counter.until_review() else {
            let books: Books = counter.close();
            return books.proceeds();
        };
        let mut most = i64::MIN;
        for deed in deeds(&counter, at, first_of_day) {
            let mut next = counter.clone();
            next.act(at, first_of_day, &deed);
            most = most.max(best(next));
        }
        most
    }
    best(Counter::new(year))
}

/// Every way to price each batch no lower than its elder and no higher than it stands, with every number for the kitchen.
pub fn deeds(counter: &Counter<'_>, at: i64, first_of_day: bool) -> Vec<Deed> {
    let stock = counter.stock();
    let mut ways: Vec<Vec<(usize, usize)>> = vec![Vec::new()];
    // From the youngest: what a younger batch falls to, its elders fall to as well.
    for (batch, trays) in stock.iter().rev() {
        let reach = trays.end - counter.front;
        ways = ways
            .into_iter()
            .flat_map(|way| {
                let floor = way.last().map_or(0, |(_, step)| *step).max(counter.steps[*batch]);
                (floor..counter.year.ladder.len()).map(move |step| {
                    let mut longer = way.clone();
                    longer.push((reach, step));
                    longer
                })
            })
            .collect();
    }
    let (mut kitchens, mut room) = (vec![0], counter.kitchen_room(at, first_of_day));
    for tray in counter.front..counter.arrived {
        room -= counter.year.grams[tray];
        if room >= 0 {
            kitchens.push(tray + 1 - counter.front);
        }
    }
    ways.iter()
        .flat_map(|marks| kitchens.iter().map(|kitchen| Deed { marks: marks.clone(), kitchen: *kitchen }))
        .collect()
}
