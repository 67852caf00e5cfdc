//! Serves the subscriptions: a thread each, which takes what comes next, carries it to the receiver, and writes down what came of it. Another
//! thread looks which subscriptions there are.

use crate::domain::webhook::schedule::Came;
use crate::ops::desk::Desk;
use crate::ops::failure::Failure;
use crate::ops::webhooks::serving::{self, Errand, Next, Report};
use crate::outbound::webhook::{Courier, Letter, Road};
use crate::units::instant::Instant;
use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// What other processes wrote is found at least so often; what this one did, at once.
const POLL: Duration = Duration::from_secs(1);
/// How long a subscription is left alone after trouble that is not its receiver's.
const TROUBLE: Duration = Duration::from_secs(5);
/// How often a report is tried that the database does not take. What is never reported is sent again.
const REPORT_TRIES: u32 = 5;

/// What the threads are handed.
#[derive(Clone)]
pub struct Options {
    pub road: Road,
    pub clock: Arc<dyn Fn() -> Instant + Send + Sync>,
    /// Spreads the tries of receivers that failed together.
    pub chance: fn() -> u16,
    /// This process, told apart from any other on the same database.
    pub process: String,
}

/// The running threads; dropping it ends them, each after the letter under way.
pub struct Serving {
    desk: Arc<Desk>,
    stop: Arc<AtomicBool>,
    told: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// Starts serving.
pub fn start(desk: &Arc<Desk>, options: Options) -> std::io::Result<Serving> {
    let stop = Arc::new(AtomicBool::new(false));
    let (told, stopped) = channel();
    let mut dispatcher =
        Dispatcher { desk: Arc::clone(desk), options, stop: Arc::clone(&stop), running: HashMap::new() };
    let thread = std::thread::Builder::new().name("webhooks".to_owned()).spawn(move || {
        loop {
            dispatcher.look();
            if stopped.recv_timeout(POLL) != Err(RecvTimeoutError::Timeout) {
                return dispatcher.end();
            }
        }
    })?;
    Ok(Serving { desk: Arc::clone(desk), stop, told: Some(told), thread: Some(thread) })
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        self.desk.bell().ring();
        drop(self.told.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the thread of the webhooks had ended in a panic");
        }
    }
}

/// Whoever sees to it that each subscription has its thread.
struct Dispatcher {
    desk: Arc<Desk>,
    options: Options,
    stop: Arc<AtomicBool>,
    running: HashMap<i64, JoinHandle<()>>,
}

impl Dispatcher {
    fn look(&mut self) {
        self.running.retain(|_, thread| !thread.is_finished());
        let asked = self.desk.look(|reading, _| Ok((serving::to_serve(reading)?, serving::trying_again(reading)?)));
        let ids = match asked {
            Ok((ids, waiting)) => {
                self.desk.figures().webhooks_waiting.set(waiting);
                ids
            }
            Err(error) => return tracing::error!(%error, "nobody knows which webhooks there are"),
        };
        for id in ids {
            if !self.running.contains_key(&id) {
                match self.serve(id) {
                    Ok(thread) => drop(self.running.insert(id, thread)),
                    Err(error) => tracing::error!(%error, webhook = id, "no thread for a webhook"),
                }
            }
        }
    }

    fn serve(&self, id: i64) -> std::io::Result<JoinHandle<()>> {
        let courier = Courier::on(&self.options.road);
        let server = Server { desk: Arc::clone(&self.desk), options: self.options.clone(), courier, id };
        let stop = Arc::clone(&self.stop);
        std::thread::Builder::new().name(format!("webhook {id}")).spawn(move || server.run(&stop))
    }

    fn end(&mut self) {
        for (id, thread) in self.running.drain() {
            if thread.join().is_err() {
                tracing::error!(webhook = id, "its thread had ended in a panic");
            }
        }
    }
}

/// What a turn ends with.
enum Turn {
    /// There may be more at once.
    On,
    Wait(Duration),
    Over,
}

/// Whoever serves one subscription.
struct Server {
    desk: Arc<Desk>,
    options: Options,
    courier: Courier,
    id: i64,
}

impl Server {
    fn run(self, stop: &AtomicBool) {
        while !stop.load(Ordering::SeqCst) {
            let rings = self.desk.bell().rings();
            match self.turn() {
                Turn::On => {}
                Turn::Wait(pause) if !stop.load(Ordering::SeqCst) => self.desk.bell().wait(rings, pause),
                Turn::Wait(_) => {}
                Turn::Over => return,
            }
        }
        let (id, process, now) = (self.id, self.options.process.clone(), (self.options.clock)());
        // Where it cannot be let go, it is free when the claim ends.
        if let Err(error) = self.desk.act(move |tx, _| serving::release(tx, id, &process, now)) {
            tracing::debug!(%error, webhook = self.id, "not let go");
        }
    }

    /// Does the next thing there is to do. A failure is logged and tried again: nothing is lost, since nothing moves before its outcome is written.
    fn turn(&self) -> Turn {
        match catch_unwind(AssertUnwindSafe(|| self.step())) {
            Ok(Ok(turn)) => turn,
            Ok(Err(error)) => {
                tracing::error!(webhook = self.id, %error, "a webhook cannot be served now");
                Turn::Wait(TROUBLE)
            }
            Err(_) => {
                tracing::error!(webhook = self.id, "serving a webhook stopped by a defect");
                Turn::Wait(TROUBLE)
            }
        }
    }

    fn step(&self) -> Result<Turn, Failure> {
        let (id, now, process) = (self.id, (self.options.clock)(), self.options.process.clone());
        match self.desk.look(|reading, _| serving::next(reading, id, &process, now))? {
            Next::Over => Ok(Turn::Over),
            Next::Nothing(until) => Ok(Turn::Wait(until.map_or(POLL, |until| POLL.min(left(until, now))))),
            Next::PassOver { from, to } => {
                self.desk.act(move |tx, _| serving::pass_over(tx, from, to, id, &process, now))?;
                Ok(Turn::On)
            }
            Next::Send(errand) => self.send(*errand, now),
        }
    }

    fn send(&self, errand: Errand, now: Instant) -> Result<Turn, Failure> {
        if !self.may_send(&errand, now)? {
            return Ok(Turn::Wait(POLL));
        }
        let report = if serving::too_large(&errand.event) {
            Report::Unsendable("the event is larger than a webhook may be".to_owned())
        } else {
            match serving::signature(self.desk.webhooks(), &errand.hook, &errand.event, now) {
                Ok(signature) => Report::Came(self.carry(&errand, &signature, now)),
                Err(words) => return self.trouble(words),
            }
        };
        self.report(errand, report)?;
        Ok(Turn::On)
    }

    /// Whether this process serves the subscription for long enough, after saying so where it must.
    fn may_send(&self, errand: &Errand, now: Instant) -> Result<bool, Failure> {
        let (id, process) = (self.id, self.options.process.clone());
        let timeout = i64::try_from(self.options.road.timeout.as_secs()).unwrap_or(i64::from(u16::MAX));
        if errand.hook.is_claimed_for(&process, now, serving::letter_micros(timeout)) {
            return Ok(true);
        }
        let claim = serving::claim_micros(timeout);
        let claimed = self.desk.act(move |tx, _| serving::claim(tx, id, &process, now, claim))?;
        Ok(claimed.is_some_and(|hook| (hook.version, hook.position) == (errand.hook.version, errand.hook.position)))
    }

    fn carry(&self, errand: &Errand, signature: &str, now: Instant) -> Came {
        let Errand { hook, event, .. } = errand;
        let timestamp = serving::timestamp(now);
        let letter = Letter { url: &hook.url, id: &event.id, timestamp, signature, body: &event.body };
        // The rules of today, not those of the day it was created.
        if let Err(why) = self.desk.webhooks().rules().read(&hook.url) {
            return Came::Nothing(format!("the address is not allowed any more: it {why}"));
        }
        match self.courier.carry(&letter) {
            Ok(head) => Came::Answer { status: head.status, retry_after: head.retry_after },
            Err(why) => Came::Nothing(why),
        }
    }

    fn trouble(&self, words: String) -> Result<Turn, Failure> {
        tracing::error!(webhook = self.id, words, "a webhook cannot be signed");
        let id = self.id;
        self.desk.act(move |tx, _| serving::trouble(tx, id, &words))?;
        Ok(Turn::Wait(TROUBLE))
    }

    /// Writes the outcome down, trying again while the database cannot take it.
    fn report(&self, errand: Errand, report: Report) -> Result<(), Failure> {
        let (now, chance) = ((self.options.clock)(), (self.options.chance)());
        if let Report::Came(came) = &report {
            tracing::debug!(webhook = self.id, event = errand.event.id, ?came, "carried");
        }
        let mut tries = 1;
        loop {
            let (process, errand, report) = (self.options.process.clone(), errand.clone(), report.clone());
            match self.desk.act(move |tx, _| serving::report(tx, now, &process, &errand, &report, chance)) {
                Err(error) if tries < REPORT_TRIES => {
                    tracing::warn!(webhook = self.id, %error, "an outcome cannot be written yet");
                    std::thread::sleep(Duration::from_millis(200));
                    tries += 1;
                }
                outcome => return outcome,
            }
        }
    }
}

fn left(until: Instant, now: Instant) -> Duration {
    Duration::from_micros(u64::try_from(until.since(now)).unwrap_or(0))
}
