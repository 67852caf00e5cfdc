//! Remaining life told again from the start each time it is asked for: a list of what happened to the fish, added up in
//! floating point. Slow, plain, and written without a look at how the program does it.

/// Millionths of the pace in melting ice, as a whole number rounded up: the rule that every place is judged by.
pub fn rate(method: &str, upper_limit_mc: i64) -> f64 {
    let celsius = upper_limit_mc as f64 / 1_000.0;
    let cautious = (1.0 + 0.1 * celsius).powi(2).max((0.12 * celsius).exp());
    let rate = match method {
        "frozen" => 0.0,
        "superchill" => cautious.max(1.0),
        _ => cautious,
    };
    (rate * 1e6 - 1e-6).ceil() / 1e6
}

/// Hours at 0 °C, as the table of budgets is printed.
pub fn budget_hours(species: &str, form: &str, own: Option<i64>) -> i64 {
    let block = if species == "YFT" { 96 } else { 72 };
    let hours = match form {
        "slices" => 4,
        "scrape" => block / 2,
        "for_cooking" => block * 3 / 2,
        _ => block,
    };
    own.map_or(hours, |own| own.min(hours))
}

#[derive(Debug, Clone, Copy)]
enum Event {
    /// From here on the fish spoils at this rate.
    Rate(f64),
    /// From here on so much is used up.
    Used(f64),
}

/// All that happened to a tray, in microseconds since the sequence began.
#[derive(Debug, Clone)]
pub struct NaiveLife {
    pub budget: f64,
    events: Vec<(i64, Event)>,
}

impl NaiveLife {
    pub fn begin(budget_hours: i64, at: i64, used: f64, rate: f64) -> NaiveLife {
        let budget = (budget_hours * 3_600_000_000) as f64;
        NaiveLife { budget, events: vec![(at, Event::Used(used)), (at, Event::Rate(rate))] }
    }

    pub fn at_rate(&mut self, at: i64, rate: f64) {
        self.events.push((at, Event::Rate(rate)));
    }

    pub fn set_used(&mut self, at: i64, used: f64) {
        self.events.push((at, Event::Used(used)));
    }

    fn tell(&self, until: i64) -> (f64, f64) {
        let (mut used, mut rate, mut since) = (0.0, 0.0, self.events[0].0);
        for (at, event) in self.events.iter().filter(|(at, _)| *at <= until) {
            used += rate * (at - since) as f64;
            since = *at;
            match event {
                Event::Rate(new) => rate = *new,
                Event::Used(new) => used = *new,
            }
        }
        (used + rate * (until - since).max(0) as f64, rate)
    }

    pub fn used(&self, at: i64) -> f64 {
        self.tell(at).0
    }

    pub fn rate(&self, at: i64) -> f64 {
        self.tell(at).1
    }

    pub fn left(&self, at: i64) -> f64 {
        (self.budget - self.used(at)).max(0.0)
    }

    pub fn ended(&self, at: i64) -> bool {
        self.used(at) >= self.budget - 0.5
    }

    /// When it ends if the tray stays where it is, never in a freezer.
    pub fn end(&self, at: i64) -> Option<f64> {
        let (used, rate) = self.tell(at);
        (rate > 0.0).then(|| at as f64 + (self.budget - used) / rate)
    }

    /// Whether rounding may decide if it has ended.
    pub fn in_doubt(&self, at: i64) -> bool {
        let (used, rate) = self.tell(at);
        rate > 0.0 && (self.budget - used).abs() < 20_000.0 * rate
    }

    /// What a tray made of these has used up from the first.
    pub fn inherited(inputs: &[NaiveLife], budget_hours: i64, at: i64) -> f64 {
        let budget = (budget_hours * 3_600_000_000) as f64;
        let of_one = |life: &NaiveLife| (life.used(at) / life.budget * budget).max(budget - life.left(at));
        inputs.iter().map(of_one).fold(0.0, f64::max)
    }
}
