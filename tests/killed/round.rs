//! A round: 16 tills at work, a death in the middle, a start on the same database, and everything held against the tills' logs.

use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crate::check::{faults, faults_of_a_sale, faults_of_an_answer};
use crate::counter::{Books, Counter, Mark, Stock, actor, verify};
use crate::program::{Act, TILLS, comes_back, life_ms, program};
use crate::queue::{faults_of_a_queue, taken};
use crate::support::http::Client;
use crate::till::{Entry, Log, Outcome, faults_of_replays, sales_now, settle, work};

/// What happened, added up over rounds.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tally {
    pub rounds: usize,
    pub done: usize,
    pub refused: usize,
    pub open: usize,
    /// Open, and done before the death; of a queue a part at least.
    pub had_been_done: usize,
    /// Sales of the queues.
    pub queued: usize,
    /// Queues that the death cut between two transactions.
    pub cut: usize,
}

/// A stock with where it begins in the books, and what all tills asked of it so far.
pub struct Day {
    pub stock: Stock,
    pub mark: Mark,
    pub logs: Vec<Log>,
}

impl Day {
    pub fn begin(counter: &mut Counter) -> Day {
        let (stock, mark) = counter.refill();
        Day { stock, mark, logs: Vec::new() }
    }
}

/// A round of one shop: which one, with the dice that decide it.
#[derive(Debug, Clone, Copy)]
pub struct Round {
    pub seed: u64,
    pub number: usize,
}

impl Round {
    /// Lets the tills work until `death` has struck and come to its end; gives their logs.
    pub fn work(self, counter: &mut Counter, stock: &Stock, death: impl FnOnce(&mut Counter)) -> Vec<Log> {
        let closing = AtomicBool::new(false);
        let (closing, stock) = (&closing, &stock);
        thread::scope(|scope| {
            let tills: Vec<_> = (0..TILLS)
                .map(|till| {
                    let client = counter.till(till);
                    let program = program(self.seed, self.number, till);
                    let name = format!("round-{:05}-till-{till:02}", self.number);
                    scope.spawn(move || work(&client, &program, stock, &name, closing))
                })
                .collect();
            if let Some(till) = comes_back(self.number) {
                await_a_hundred(counter, till);
            }
            thread::sleep(Duration::from_millis(life_ms(self.seed, self.number)));
            death(counter);
            closing.store(true, Ordering::Relaxed);
            let logs = tills.into_iter().map(|till| till.join().expect("a till that only asks"));
            logs.enumerate().map(|(till, entries)| Log { actor: actor(till), entries }).collect()
        })
    }

    /// After the death: what was acknowledged is there, what is open can be asked again, and the books say what all logs of this stock say.
    pub fn hold(self, counter: &Counter, day: &mut Day, mut logs: Vec<Log>, tally: &mut Tally) -> Books {
        let (database, stock) = (counter.database.clone(), &day.stock);
        let verify = thread::scope(|scope| {
            let verify = scope.spawn(move || verify(&database));
            let tills: Vec<_> = logs
                .iter_mut()
                .enumerate()
                .map(|(till, log)| {
                    let client = counter.till(till);
                    scope.spawn(move || after_a_death(&client, stock, &mut log.entries))
                })
                .collect();
            for till in tills {
                let (open, had_been_done, wrong) = till.join().expect("a till that asks again");
                tally.open += open;
                tally.had_been_done += had_been_done;
                self.expect_none(&wrong);
            }
            verify.join().expect("verify runs")
        });
        self.expect_none(&(if verify.status.success() { vec![] } else { vec![format!("verify: {verify:?}")] }));
        self.count(&logs, tally);
        day.logs.extend(logs);
        self.compare(counter, day)
    }

    fn count(self, logs: &[Log], tally: &mut Tally) {
        tally.rounds += 1;
        for entry in logs.iter().flat_map(|log| &log.entries) {
            let queue = taken(entry);
            tally.queued += queue.as_ref().map_or(0, |taken| taken.sales);
            tally.cut += usize::from(queue.is_some_and(|taken| taken.replayed > 0 && taken.replayed < taken.sales));
            match entry.outcome {
                Outcome::Done(_) => tally.done += 1,
                Outcome::Refused(_) => tally.refused += 1,
                Outcome::Open(_) => self.expect_none(&[format!("{} is still open", entry.key)]),
            }
        }
    }

    /// An act may show in the feed a moment after it was answered (PostgreSQL: while any older transaction of the server is open).
    fn compare(self, counter: &Counter, day: &Day) -> Books {
        let end = Instant::now() + Duration::from_secs(20);
        loop {
            let books = counter.books(&day.mark);
            let found = faults(&day.stock, &day.logs, &books);
            if found.is_empty() {
                return books;
            }
            if Instant::now() > end {
                self.expect_none(&found);
            }
            thread::sleep(Duration::from_millis(50));
        }
    }

    fn expect_none(self, faults: &[String]) {
        assert!(faults.is_empty(), "seed {}, round {}: {faults:#?}", self.seed, self.number);
    }
}

/// Waits for the first transaction of a long queue: so many of the newest sales are then of this till, whatever others sold meanwhile. Not
/// for ever: other tills have their turn too.
fn await_a_hundred(counter: &Counter, till: usize) {
    let (manager, name, end) = (counter.manager(), actor(till), Instant::now() + Duration::from_secs(15));
    let sold = || {
        let newest = manager.get("/v1/sales?limit=200").send().expect(200).json();
        newest.as_array().unwrap().iter().filter(|sale| sale["sold_by"] == name.as_str()).count()
    };
    while sold() < 95 && Instant::now() < end {
        thread::sleep(Duration::from_millis(2));
    }
}

/// Answers asked again after each death, of each till, besides the open one.
const REPLAYS: usize = 3;

/// First what is there, before anything is asked again that could bring it back; then what was open; then the last answers once more.
fn after_a_death(client: &Client, stock: &Stock, entries: &mut [Entry]) -> (usize, usize, Vec<String>) {
    let mut wrong: Vec<String> = entries.iter().filter_map(|entry| faults_of_an_answer(stock, entry)).collect();
    let sent_once = entries.iter().filter(|entry| taken(entry).is_some_and(|taken| taken.replayed > 0));
    wrong.extend(sent_once.map(|entry| format!("{} was sent once, and some of it had been taken before", entry.key)));
    let acknowledged: Vec<&Entry> = entries.iter().filter(|entry| entry.sale_id().is_some()).collect();
    for (entry, (_, answer)) in acknowledged.into_iter().zip(sales_now(client, entries)) {
        wrong.extend(faults_of_a_sale(entry, answer.status, &answer.json()));
    }
    let (open, had_been_done) = settle(client, entries);
    let open_sales = entries.iter().rev().take(open);
    wrong.extend(open_sales.filter(|e| matches!(e.act, Act::Sell(_))).filter_map(|e| faults_of_an_answer(stock, e)));
    wrong.extend(entries.iter().flat_map(faults_of_a_queue));
    wrong.extend(faults_of_replays(client, entries, REPLAYS));
    (open, had_been_done, wrong)
}
