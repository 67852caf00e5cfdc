//! The invented shop: its week, its cuts, what is cut each morning and who comes. Written without the engine, which knows nothing of it
//! but what a test hands over. All of it is drawn once from a seed, so that every policy meets the same trays and the same customers.
//!
//! Times are whole seconds from midnight of the first day, a Monday; money is whole cents, mass whole grams.

use crate::dice::Dice;

pub const HOUR: i64 = 3_600;
pub const DAY: i64 = 24 * HOUR;
/// When a batch is on the counter.
const CUTTING: i64 = 7 * HOUR;
/// When prices may change, on open days. The kitchen comes at the first.
pub const REVIEWS: [i64; 2] = [8 * HOUR + HOUR / 2, 15 * HOUR];
/// Opening and closing hour by weekday, Monday first; closed on Mondays.
pub const OPEN: [Option<(i64, i64)>; 7] =
    [None, Some((10, 18)), Some((10, 18)), Some((10, 18)), Some((10, 19)), Some((9, 18)), Some((10, 15))];
/// What each step of the ladder takes off the list price, in permille.
const OFF: [i64; 6] = [0, 100, 200, 300, 400, 500];

/// How busy each weekday is, and how busy each hour; only their products' ratios count.
const WEEKDAYS: [f64; 7] = [0.0, 0.75, 0.8, 0.9, 1.3, 1.5, 1.0];
const HOURS: [f64; 24] =
    [0., 0., 0., 0., 0., 0., 0., 0., 0., 0.6, 0.9, 1.2, 1.3, 0.8, 0.6, 0.8, 1.2, 1.6, 1.3, 0., 0., 0., 0., 0.];

/// What is true of a cut, whoever knows it.
#[derive(Debug, Clone)]
pub struct Cut {
    pub name: &'static str,
    pub list: i64,
    pub block_g: (i64, i64),
    /// Customers an average opening hour who would buy at the list price.
    pub rate: f64,
    /// How strongly demand answers to the price: `e^{elasticity (1 - price/list)}` times as many at a lower price.
    pub elasticity: f64,
    /// How much busier the weekend is for this cut than for the shop.
    pub weekend: f64,
    /// Days from one batch to the next, counting open days.
    pub every: usize,
    /// Hours from cutting to the end of its life, least and most.
    pub life: (i64, i64),
}

/// When the kitchen takes from the counter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KitchenComes {
    Mornings,
    /// As much as it still has room for that day.
    EveryReview,
}

impl KitchenComes {
    pub fn at(self, first_of_day: bool) -> bool {
        first_of_day || self == KitchenComes::EveryReview
    }
}

/// What holds for all cuts of a world.
#[derive(Debug, Clone)]
pub struct Settings {
    pub days: i64,
    pub cuts: Vec<Cut>,
    /// Trays cut for each customer expected at the list price until the next batch.
    pub surplus: f64,
    pub kitchen_permille: i64,
    pub kitchen_g_per_day: i64,
    pub kitchen_comes: KitchenComes,
    pub waste_cents_per_kg: i64,
    /// What the fish cost, of its list price: the same for every policy, so no decision hangs on it.
    pub cost_permille: i64,
}

/// The trays of one cutting: from `first` to before `past`, of one life.
#[derive(Debug, Clone, Copy)]
pub struct Batch {
    pub at: i64,
    pub end: i64,
    pub first: usize,
    pub past: usize,
}

/// One who asks for the cut: buys the tray that is next if the number, even on 0 to 1, is below the share of all who would buy at the
/// lowest price that buys at this one.
#[derive(Debug, Clone, Copy)]
pub struct Customer {
    pub number: f64,
}

#[derive(Debug, Clone, Copy)]
pub enum Happening {
    /// The batch's life ends: what is left of it is thrown away.
    End(usize),
    Cutting(usize),
    /// Prices may fall; at the first of a day the kitchen takes what it takes.
    Review {
        first_of_day: bool,
    },
    Customer(Customer),
}

#[derive(Debug, Clone, Copy)]
pub struct Event {
    pub at: i64,
    pub what: Happening,
}

/// Half a year of one cut.
#[derive(Debug, Clone)]
pub struct Year {
    pub cut: Cut,
    pub ladder: Vec<i64>,
    pub kitchen_cents_per_kg: i64,
    pub kitchen_g_per_day: i64,
    pub kitchen_comes: KitchenComes,
    pub waste_cents_per_kg: i64,
    pub cost_cents_per_kg: i64,
    /// The weight of every tray, in the order of issue: oldest batch first. No younger batch ends before an older one.
    pub grams: Vec<i64>,
    pub batches: Vec<Batch>,
    pub events: Vec<Event>,
}

/// The weekday of a day, 0 for Monday.
pub fn weekday(day: i64) -> usize {
    usize::try_from(day % 7).unwrap()
}

/// Opening and closing of a day.
pub fn open_on(day: i64) -> Option<(i64, i64)> {
    OPEN[weekday(day)].map(|(open, close)| (day * DAY + open * HOUR, day * DAY + close * HOUR))
}

/// What a weight costs at a price a kilogram, half up.
pub fn money(cents_per_kg: i64, grams: i64) -> i64 {
    (cents_per_kg * grams + 500).div_euclid(1_000)
}

/// The share of an average opening hour's demand that each hour of each weekday sees: mean 1 over the opening hours of a week.
pub fn pattern(weekend: f64) -> [[f64; 24]; 7] {
    let mut factors = [[0.0; 24]; 7];
    let (mut sum, mut count) = (0.0, 0.0);
    for (weekday, span) in OPEN.iter().enumerate() {
        let Some((open, close)) = span else { continue };
        for hour in *open..*close {
            let hour = usize::try_from(hour).unwrap();
            let factor = WEEKDAYS[weekday] * HOURS[hour] * if weekday >= 5 { weekend } else { 1.0 };
            factors[weekday][hour] = factor;
            sum += factor;
            count += 1.0;
        }
    }
    factors.iter_mut().flatten().for_each(|factor| *factor *= count / sum);
    factors
}

impl Year {
    /// How many times the demand at list a step of the ladder sees.
    pub fn multiplier(&self, step: usize) -> f64 {
        (self.cut.elasticity * (1.0 - self.ladder[step] as f64 / self.cut.list as f64)).exp()
    }

    /// The highest number with which a customer still buys, by step of the ladder.
    pub fn shares(&self) -> Vec<f64> {
        let most = self.multiplier(self.ladder.len() - 1);
        (0..self.ladder.len()).map(|step| self.multiplier(step) / most).collect()
    }

    /// The batch of a tray.
    pub fn batch_of(&self, tray: usize) -> usize {
        self.batches.partition_point(|batch| batch.past <= tray)
    }

    fn draw(settings: &Settings, cut: &Cut, dice: &mut Dice) -> Year {
        let share = |permille: i64| cut.list * permille / 1_000;
        let mut year = Year {
            ladder: OFF.iter().map(|off| cut.list * (1_000 - off) / 1_000).collect(),
            kitchen_cents_per_kg: share(settings.kitchen_permille),
            kitchen_g_per_day: settings.kitchen_g_per_day,
            kitchen_comes: settings.kitchen_comes,
            waste_cents_per_kg: settings.waste_cents_per_kg,
            cost_cents_per_kg: share(settings.cost_permille),
            cut: cut.clone(),
            grams: Vec::new(),
            batches: Vec::new(),
            events: Vec::new(),
        };
        year.cut_batches(settings, dice);
        year.let_customers_come(settings, dice);
        for day in (0..settings.days).filter(|day| open_on(*day).is_some()) {
            let review = |first_of_day| Happening::Review { first_of_day };
            year.events.push(Event { at: day * DAY + REVIEWS[0], what: review(true) });
            year.events.push(Event { at: day * DAY + REVIEWS[1], what: review(false) });
        }
        // A stable sort: at one time a life ends before a customer comes, and a batch is there before the review.
        year.events.sort_by_key(|event| event.at);
        year
    }

    /// A batch every open morning, or every second: as much as is expected to be asked for until the next, and the surplus. Nothing
    /// more is cut in the last days, so that everything ends within the half-year.
    fn cut_batches(&mut self, settings: &Settings, dice: &mut Dice) {
        let factors = pattern(self.cut.weekend);
        let open: Vec<i64> = (0..settings.days + 7).filter(|day| open_on(*day).is_some()).collect();
        let days_of_batches: Vec<i64> = open.iter().step_by(self.cut.every).copied().collect();
        let mut last_end = 0;
        for pair in days_of_batches.windows(2) {
            let (day, next) = (pair[0], pair[1]);
            let at = day * DAY + CUTTING;
            let end = last_end.max(at + HOUR * dice.between(self.cut.life.0, self.cut.life.1));
            let expected: f64 =
                (day..next).map(|day| self.cut.rate * factors[weekday(day)].iter().sum::<f64>()).sum::<f64>();
            let wanted = expected * settings.surplus * (0.7 + 0.6 * even(dice));
            let count = (wanted.floor() + f64::from(even(dice) < wanted.fract())) as usize;
            if end > settings.days * DAY || count == 0 {
                continue;
            }
            last_end = end;
            let first = self.grams.len();
            self.grams.extend((0..count).map(|_| dice.between(self.cut.block_g.0, self.cut.block_g.1)));
            let number = self.batches.len();
            self.batches.push(Batch { at, end, first, past: first + count });
            self.events.push(Event { at: end, what: Happening::End(number) });
            self.events.push(Event { at, what: Happening::Cutting(number) });
        }
    }

    /// All who would buy at the lowest price, hour by hour.
    fn let_customers_come(&mut self, settings: &Settings, dice: &mut Dice) {
        let factors = pattern(self.cut.weekend);
        let most = self.multiplier(self.ladder.len() - 1);
        for day in 0..settings.days {
            for (hour, factor) in factors[weekday(day)].iter().enumerate().filter(|(_, factor)| **factor > 0.0) {
                let rate = self.cut.rate * factor * most;
                let start = day * DAY + i64::try_from(hour).unwrap() * HOUR;
                let mut at = -(1.0 - even(dice)).ln() / rate;
                while at < 1.0 {
                    let customer = Customer { number: even(dice) };
                    // Never on the full hour: to which of two hours that belongs is a matter of taste.
                    let seconds = ((at * HOUR as f64) as i64).max(1);
                    self.events.push(Event { at: start + seconds, what: Happening::Customer(customer) });
                    at -= (1.0 - even(dice)).ln() / rate;
                }
            }
        }
    }
}

/// One half-year for each cut.
pub fn draw(settings: &Settings, seed: u64) -> Vec<Year> {
    let mut years = Vec::new();
    for (number, cut) in settings.cuts.iter().enumerate() {
        let mut dice = Dice::new(seed.wrapping_mul(1_000_003).wrapping_add(number as u64));
        years.push(Year::draw(settings, cut, &mut dice));
    }
    years
}

/// Even on 0 to 1, 1 left out.
pub fn even(dice: &mut Dice) -> f64 {
    const PARTS: i64 = 1 << 53;
    dice.between(0, PARTS - 1) as f64 / PARTS as f64
}
