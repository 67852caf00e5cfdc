//! One cut at the counter: trays come, prices fall, customers buy or go, lives end. Whoever decides does so at reviews; here it is
//! done, and every gram and cent is booked.

use crate::world::{Customer, DAY, Event, Happening, Year, money};

/// What is done at a review. Trays are counted from the next one to be sold.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Deed {
    /// The first so many trays fall to this step of the ladder, where they are dearer: whole batches, counted before the kitchen takes
    /// any.
    pub marks: Vec<(usize, usize)>,
    /// So many of the first trays go to the kitchen.
    pub kitchen: usize,
}

/// Where the grams went and what they brought.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Books {
    pub supplied_g: i64,
    pub sold_g: i64,
    pub kitchen_g: i64,
    pub wasted_g: i64,
    pub left_g: i64,
    pub sold: i64,
    pub revenue: i64,
    pub kitchen: i64,
    /// What throwing away cost.
    pub waste: i64,
    /// What all the fish cost, sold or not.
    pub cost: i64,
}

impl Books {
    /// What the decisions brought: the fish was bought before.
    pub fn proceeds(&self) -> i64 {
        self.revenue + self.kitchen - self.waste
    }

    pub fn profit(&self) -> i64 {
        self.proceeds() - self.cost
    }

    pub fn add(&mut self, other: &Books) {
        self.supplied_g += other.supplied_g;
        self.sold_g += other.sold_g;
        self.kitchen_g += other.kitchen_g;
        self.wasted_g += other.wasted_g;
        self.left_g += other.left_g;
        self.sold += other.sold;
        self.revenue += other.revenue;
        self.kitchen += other.kitchen;
        self.waste += other.waste;
        self.cost += other.cost;
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sale {
    pub at: i64,
    /// At which step of the ladder.
    pub step: usize,
}

/// From a moment on the next tray stood at this step; none while there was nothing to sell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shown {
    pub at: i64,
    pub step: Option<usize>,
}

#[derive(Debug, Clone)]
pub struct Counter<'y> {
    pub year: &'y Year,
    /// The tray that is next, and before which one the trays are there.
    pub front: usize,
    pub arrived: usize,
    /// At which step of the ladder each batch stands.
    pub steps: Vec<usize>,
    pub books: Books,
    pub sales: Vec<Sale>,
    pub shown: Vec<Shown>,
    /// When each tray left, in the order of issue.
    pub left: Vec<i64>,
    /// Which batch fell to which step, and when.
    pub lowered: Vec<(i64, usize, usize)>,
    /// The last day on which the kitchen took anything, and how much.
    cooked: (i64, i64),
    next_event: usize,
    shares: Vec<f64>,
}

impl<'y> Counter<'y> {
    pub fn new(year: &'y Year) -> Counter<'y> {
        Counter {
            year,
            front: 0,
            arrived: 0,
            steps: vec![0; year.batches.len()],
            books: Books::default(),
            sales: Vec::new(),
            shown: Vec::new(),
            left: Vec::new(),
            lowered: Vec::new(),
            cooked: (-1, 0),
            next_event: 0,
            shares: year.shares(),
        }
    }

    /// Lets everything happen until the next review, and says when that is and whether it is the day's first; none when the half-year
    /// is over.
    pub fn until_review(&mut self) -> Option<(i64, bool)> {
        while let Some(Event { at, what }) = self.year.events.get(self.next_event).copied() {
            self.next_event += 1;
            match what {
                Happening::Review { first_of_day } => return Some((at, first_of_day)),
                Happening::Cutting(batch) => self.cut(batch),
                Happening::End(batch) => self.end(batch),
                Happening::Customer(customer) => self.serve(at, customer),
            }
            self.show(at);
        }
        None
    }

    /// The batches that are there, as trays: from which to before which, the oldest first.
    pub fn stock(&self) -> Vec<(usize, std::ops::Range<usize>)> {
        let mut stock = Vec::new();
        let mut at = self.front;
        while at < self.arrived {
            let batch = self.year.batch_of(at);
            let past = self.year.batches[batch].past;
            stock.push((batch, at..past));
            at = past;
        }
        stock
    }

    /// Does what was decided at a review. A deed outside what a shop may do is the test's mistake, and ends it.
    pub fn act(&mut self, at: i64, first_of_day: bool, deed: &Deed) {
        let before = self.steps.clone();
        for (reach, step) in &deed.marks {
            let past = self.front + reach;
            assert!(past <= self.arrived, "{reach} trays of {}", self.arrived - self.front);
            for (batch, trays) in self.stock().into_iter().filter(|(_, trays)| trays.start < past) {
                assert!(trays.end <= past, "a price for a part of a batch");
                self.steps[batch] = self.steps[batch].max(*step);
            }
        }
        let stood = before.iter().zip(&self.steps).enumerate().filter(|(_, (before, now))| before != now);
        self.lowered.extend(stood.map(|(batch, (_, step))| (at, batch, *step)));
        let room = self.kitchen_room(at, first_of_day);
        let taken = self.take(deed.kitchen);
        assert!(taken <= room, "{taken} g for a kitchen that takes {room} g");
        if taken > 0 {
            self.cooked = (at / DAY, taken + self.year.kitchen_g_per_day - room);
        }
        let standing: Vec<usize> = self.stock().iter().map(|(batch, _)| self.steps[*batch]).collect();
        assert!(standing.is_sorted_by(|older, younger| older >= younger), "an older batch is dearer: {standing:?}");
        self.show(at);
    }

    /// What the kitchen still takes at a review.
    pub fn kitchen_room(&self, at: i64, first_of_day: bool) -> i64 {
        if !self.year.kitchen_comes.at(first_of_day) {
            return 0;
        }
        let (day, taken) = self.cooked;
        self.year.kitchen_g_per_day - if day == at / DAY { taken } else { 0 }
    }

    /// Books what is still there.
    pub fn close(mut self) -> Books {
        self.books.left_g = self.year.grams[self.front..self.arrived].iter().sum();
        let books = self.books;
        assert_eq!(books.supplied_g, self.year.grams.iter().sum::<i64>(), "everything was cut");
        assert_eq!(
            books.supplied_g,
            books.sold_g + books.kitchen_g + books.wasted_g + books.left_g,
            "every gram ends somewhere: {books:?}"
        );
        books
    }

    fn cut(&mut self, batch: usize) {
        let batch = self.year.batches[batch];
        for grams in &self.year.grams[batch.first..batch.past] {
            self.books.supplied_g += grams;
            self.books.cost += money(self.year.cost_cents_per_kg, *grams);
        }
        self.arrived = batch.past;
    }

    fn end(&mut self, batch: usize) {
        while self.front < self.year.batches[batch].past {
            let grams = self.year.grams[self.front];
            self.books.wasted_g += grams;
            self.books.waste += money(self.year.waste_cents_per_kg, grams);
            self.front += 1;
        }
    }

    fn serve(&mut self, at: i64, customer: Customer) {
        if self.front == self.arrived {
            return;
        }
        let step = self.steps[self.year.batch_of(self.front)];
        if customer.number < self.shares[step] {
            let grams = self.year.grams[self.front];
            self.books.sold += 1;
            self.books.sold_g += grams;
            self.books.revenue += money(self.year.ladder[step], grams);
            self.sales.push(Sale { at, step });
            self.front += 1;
        }
    }

    fn take(&mut self, count: usize) -> i64 {
        assert!(self.front + count <= self.arrived, "the kitchen takes what is there");
        let taken: i64 = self.year.grams[self.front..self.front + count].iter().sum();
        for grams in &self.year.grams[self.front..self.front + count] {
            self.books.kitchen += money(self.year.kitchen_cents_per_kg, *grams);
        }
        self.books.kitchen_g += taken;
        self.front += count;
        taken
    }

    fn show(&mut self, at: i64) {
        self.left.resize(self.front, at);
        let step = (self.front < self.arrived).then(|| self.steps[self.year.batch_of(self.front)]);
        if self.shown.last().is_none_or(|last| last.step != step) {
            self.shown.push(Shown { at, step });
        }
    }
}
