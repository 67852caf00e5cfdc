//! Where sales wait to be done together: who comes while a group is being written makes the next one. Nobody is answered before the disk
//! has it; a caller that goes away does not stop its sale; on a stop all that waits is done first.

use super::bell::Bell;
use super::desk::Desk;
use super::failure::{Failure, Trouble};
use super::once::Answer;
use super::sell::group::{Order, sell_together};
use crate::domain::shop::Shop;
use crate::store::Store;
use crate::store::error::StoreError;
use std::collections::{HashSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::sync_channel;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// Most sales of one group, and most lines, beyond which no further sale joins: bounds the wait of the first.
const GROUP_LIMIT: usize = 256;
const LINES_LIMIT: usize = 1_000;

/// Most sales that wait. Who comes then is told to come again.
const WAITING_LIMIT: usize = 10_000;

/// How long a group waits for as many as there were in the one before: those who were just answered are about to come again, and a commit
/// for the first of them alone would keep all others waiting for longer. One who comes alone is never kept waiting.
const GATHERING: Duration = Duration::from_micros(200);

/// Hears how a sale ended. It must not wait for anything.
pub type Reply = Box<dyn FnOnce(Result<Answer, Failure>) + Send>;

struct Waiting {
    order: Order,
    reply: Reply,
}

#[derive(Default)]
struct Queue {
    waiting: VecDeque<Waiting>,
    /// What the groups under way sell, in the words of their orders, and their keys: whoever asks for the same waits for them. Two groups
    /// that met in one tray would cost the later a second try; that nothing is sold twice does not rest on this.
    under_way: HashSet<String>,
    /// How many must wait before it is news to a thread that gathers a group.
    gathering: usize,
    closing: bool,
}

/// Where groups are written, and who is told.
struct Counter {
    store: Arc<Store>,
    shop: Arc<Shop>,
    bell: Arc<Bell>,
    queue: Mutex<Queue>,
    news: Condvar,
}

/// The queue of a desk and the threads that serve it. They start with the first sale.
pub struct Till {
    counter: Arc<Counter>,
    threads: Mutex<Vec<JoinHandle<()>>>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Nothing is left half done where a panic could come between.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Till {
    pub(super) fn new(store: Arc<Store>, shop: Arc<Shop>, bell: Arc<Bell>) -> Till {
        let counter = Counter { store, shop, bell, queue: Mutex::default(), news: Condvar::new() };
        Till { counter: Arc::new(counter), threads: Mutex::default() }
    }

    fn put(&self, order: Order, reply: Reply) {
        let mut queue = locked(&self.counter.queue);
        if queue.waiting.len() >= WAITING_LIMIT {
            drop(queue);
            return reply(Err(StoreError::Busy("too many sales are waiting".into()).into()));
        }
        queue.waiting.push_back(Waiting { order, reply });
        let news = queue.waiting.len() >= queue.gathering;
        drop(queue);
        if news {
            self.counter.news.notify_one();
        }
        if let Err(error) = self.staff() {
            tracing::error!(%error, "nobody serves the till");
            let waiting = std::mem::take(&mut locked(&self.counter.queue).waiting);
            for one in waiting {
                (one.reply)(Err(StoreError::Busy("no thread for the till".into()).into()));
            }
        }
    }

    /// Starts the threads, if they are not there yet. It is an error when none could be started.
    fn staff(&self) -> std::io::Result<()> {
        let mut threads = locked(&self.threads);
        while threads.len() < self.counter.store.groups_at_once() {
            let counter = Arc::clone(&self.counter);
            let started = std::thread::Builder::new().name("till".into()).spawn(move || serve(&counter));
            match started {
                Ok(thread) => threads.push(thread),
                Err(error) if threads.is_empty() => return Err(error),
                Err(_) => break,
            }
        }
        Ok(())
    }
}

impl Drop for Till {
    /// Does what waits, then ends.
    fn drop(&mut self) {
        locked(&self.counter.queue).closing = true;
        self.counter.news.notify_all();
        for thread in locked(&self.threads).drain(..) {
            // A thread that panicked has nothing left to do.
            let _ = thread.join();
        }
    }
}

fn serve(counter: &Counter) {
    let mut company = 1;
    while let Some(group) = next_group(counter, company) {
        company = group.len();
        let _under_way = UnderWay { counter, words: group.iter().flat_map(|one| words(&one.order)).collect() };
        // Whatever slips through, those who wait must not wait forever. Replies that were not given tell their callers by being dropped.
        if catch_unwind(AssertUnwindSafe(|| counter.write(group))).is_err() {
            tracing::error!("a group of sales stopped by a defect");
        }
    }
}

/// What a group under way keeps others from, until it is dropped.
struct UnderWay<'a> {
    counter: &'a Counter,
    words: Vec<String>,
}

impl Drop for UnderWay<'_> {
    fn drop(&mut self) {
        let mut queue = locked(&self.counter.queue);
        for word in &self.words {
            queue.under_way.remove(word);
        }
        drop(queue);
        self.counter.news.notify_all();
    }
}

/// What an order must not share with a group under way.
fn words(order: &Order) -> impl Iterator<Item = String> {
    let trays = order.lines.iter().map(|line| line.line.tray.clone());
    trays.chain([format!("key {}", order.request.key)])
}

/// Waits for sales and takes as many as may go together, in their order. None at the end.
fn next_group(counter: &Counter, company: usize) -> Option<Vec<Waiting>> {
    let mut queue = locked(&counter.queue);
    loop {
        queue = gather(counter, queue, company);
        let group = take_group(&mut queue);
        if !group.is_empty() {
            if !queue.waiting.is_empty() {
                // Too many for one group, or kept back: there may be work for another thread.
                counter.news.notify_one();
            }
            return Some(group);
        }
        if queue.closing && queue.waiting.is_empty() {
            return None;
        }
        queue = counter.news.wait(queue).unwrap_or_else(PoisonError::into_inner);
    }
}

/// Gives those who were just answered the time to come again.
fn gather<'a>(counter: &'a Counter, mut queue: MutexGuard<'a, Queue>, company: usize) -> MutexGuard<'a, Queue> {
    let wanted = company.min(GROUP_LIMIT);
    if queue.waiting.is_empty() || queue.waiting.len() >= wanted || queue.gathering > 0 {
        return queue;
    }
    queue.gathering = wanted;
    let few = |queue: &mut Queue| queue.waiting.len() < wanted && !queue.closing;
    let gathered = counter.news.wait_timeout_while(queue, GATHERING, few);
    let mut queue = gathered.unwrap_or_else(PoisonError::into_inner).0;
    queue.gathering = 0;
    queue
}

/// Whoever asks for what a group under way sells is passed over, and so is everyone behind who asks for the same.
fn take_group(queue: &mut Queue) -> Vec<Waiting> {
    let (mut group, mut kept, mut lines) = (Vec::new(), VecDeque::new(), 0);
    let (mut taken, mut passed_over) = (HashSet::new(), HashSet::new());
    while let Some(next) = queue.waiting.pop_front() {
        let asked: Vec<String> = words(&next.order).collect();
        let full = group.len() >= GROUP_LIMIT || lines >= LINES_LIMIT;
        if full || asked.iter().any(|word| queue.under_way.contains(word) || passed_over.contains(word)) {
            passed_over.extend(asked);
            kept.push_back(next);
            if full {
                break;
            }
        } else {
            lines += next.order.lines.len();
            taken.extend(asked);
            group.push(next);
        }
    }
    kept.append(&mut queue.waiting);
    queue.waiting = kept;
    queue.under_way.extend(taken);
    group
}

impl Counter {
    /// Writes a group and answers everyone in it. If it fails for a reason that may be one sale's, each has its turn alone.
    fn write(&self, group: Vec<Waiting>) {
        let (orders, replies): (Vec<Order>, Vec<Reply>) = group.into_iter().map(|one| (one.order, one.reply)).unzip();
        let orders = Arc::new(orders);
        match self.together(Arc::clone(&orders)) {
            Ok(answers) => answers.into_iter().zip(replies).for_each(|(answer, reply)| reply(answer)),
            Err(failure) if orders.len() == 1 || failure.trouble() != Trouble::Defect => {
                replies.into_iter().for_each(|reply| reply(Err(failure.clone())));
            }
            Err(failure) => {
                tracing::warn!(error = %failure, sales = orders.len(), "a group of sales failed: each is tried alone");
                for (order, reply) in orders.iter().zip(replies) {
                    reply(self.alone(order.clone()));
                }
            }
        }
    }

    fn together(&self, orders: Arc<Vec<Order>>) -> Result<Vec<Result<Answer, Failure>>, Failure> {
        let shop = Arc::clone(&self.shop);
        let answers = self.store.write(move |tx| sell_together(tx, &shop, &orders))?;
        if answers.iter().any(|answer| answer.as_ref().is_ok_and(|answer| !answer.replayed)) {
            self.bell.ring();
        }
        Ok(answers)
    }

    fn alone(&self, order: Order) -> Result<Answer, Failure> {
        let mut answers = self.together(Arc::new(vec![order]))?;
        answers.pop().unwrap_or_else(|| Err(StoreError::Panicked.into()))
    }

    /// The till for a caller that serves itself, where nobody waits and nobody is served.
    fn free_for(&self, order: &Order) -> Option<UnderWay<'_>> {
        let mut queue = locked(&self.queue);
        if !queue.waiting.is_empty() || !queue.under_way.is_empty() {
            return None;
        }
        let words: Vec<String> = words(order).collect();
        queue.under_way.extend(words.iter().cloned());
        Some(UnderWay { counter: self, words })
    }
}

impl Desk {
    /// Sells when its turn comes; `reply` hears the answer once the sale is durable, on a thread of the till. The same key with the same
    /// content gets the first answer, also when both wait at once.
    pub fn sell_later(&self, order: Order, reply: Reply) {
        self.till().put(order, reply);
    }

    /// The same for a caller that waits.
    pub fn sell_now(&self, order: Order) -> Result<Answer, Failure> {
        let counter = &self.till().counter;
        if let Some(_under_way) = counter.free_for(&order) {
            return counter.alone(order);
        }
        let (sender, answer) = sync_channel(1);
        // The caller waits below: it is there to hear.
        self.sell_later(order, Box::new(move |outcome| drop(sender.send(outcome))));
        answer.recv().unwrap_or_else(|_| Err(StoreError::Panicked.into()))
    }
}
