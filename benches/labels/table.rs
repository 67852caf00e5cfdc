//! Time of this thread on a processor, and the table it is told in.

/// Microseconds a label, by way, in the order first measured; one figure a round.
#[derive(Default)]
pub struct Table(Vec<(&'static str, Vec<f64>)>);

impl Table {
    /// Does each of `count` once and keeps how long one took.
    pub fn time(&mut self, way: &'static str, count: usize, mut one: impl FnMut(usize)) {
        let began = on_processor();
        (0..count).for_each(&mut one);
        let micros = (on_processor() - began) as f64 / 1e3 / count as f64;
        match self.0.iter_mut().find(|row| row.0 == way) {
            Some((_, rounds)) => rounds.push(micros),
            None => self.0.push((way, vec![micros])),
        }
    }

    fn rounds(&self, way: &str) -> &[f64] {
        self.0.iter().find(|row| row.0 == way).map_or(&[], |row| row.1.as_slice())
    }

    /// The middle of the rounds.
    pub fn micros(&self, way: &str) -> f64 {
        middle(self.rounds(way).to_vec())
    }

    /// How many times `base` a way takes: the middle of the rounds, so that what disturbs one round disturbs both sides.
    pub fn times(&self, way: &str, base: &str) -> f64 {
        middle(self.rounds(way).iter().zip(self.rounds(base)).map(|(one, other)| one / other).collect())
    }

    pub fn print(&self, floor: &str) {
        println!("\n| what | µs | of the floor |");
        println!("|---|---:|---:|");
        for (way, _) in &self.0 {
            println!("| {way} | {:.1} | {:.2} |", self.micros(way), self.times(way, floor));
        }
        println!();
    }
}

fn middle(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of.get(of.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Nanoseconds this thread has spent on a processor: the machine is shared, and waiting for a turn is nobody's cost.
fn on_processor() -> u64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("the scheduler's account of this thread");
    text.split_whitespace().next().and_then(|nanos| nanos.parse().ok()).expect("nanoseconds")
}
