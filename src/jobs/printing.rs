//! Serves the printers: a thread each, which takes the next label, sends it, and follows it to its end. It never sends again what may have been
//! printed, and says why it waits.

use super::paper::{self, Needs};
use crate::domain::printing::{Heard, Print, Printer, Standing, all_in_words, holds_back, pause_seconds};
use crate::ops::desk::Desk;
use crate::ops::failure::Failure;
use crate::ops::printing::{self, Next, Report};
use crate::outbound::ipp::{self, Address, Condition, Job, JobCondition, NoAnswer, Sent};
use crate::units::instant::Instant;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

/// How often a quiet printer is looked at, so that pages say how it is.
const QUIET: Duration = Duration::from_secs(5);
/// How often the queue is looked at while the printer is quiet; the bell comes first as a rule.
const QUEUE: Duration = Duration::from_secs(2);
/// How often a job is looked at, at first and later.
const FOLLOW: Duration = Duration::from_millis(250);
const FOLLOW_LATER: Duration = Duration::from_secs(2);
/// Looks at a job before it is looked at less often.
const FIRST_LOOKS: u32 = 20;
/// How often a report is tried that the database does not take.
const REPORT_TRIES: u32 = 5;

/// A printer to serve: what the shop knows of it, and how it is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Served {
    pub printer: Printer,
    pub address: Address,
    /// The name of its paper, where it is not to be found by its size.
    pub media: Option<String>,
}

/// The running threads; dropping it ends them, each after the request under way.
pub struct Printing {
    desk: Arc<Desk>,
    stop: Arc<AtomicBool>,
    threads: Vec<JoinHandle<()>>,
}

/// Starts a thread for each printer.
pub fn start(desk: &Arc<Desk>, served: &[Served], clock: fn() -> Instant) -> std::io::Result<Printing> {
    let (names, now) = (served.iter().map(|one| one.printer.name.clone()).collect::<Vec<_>>(), clock());
    desk.act(move |tx, _| printing::orphans(tx, &names, now)).map_err(std::io::Error::other)?;
    let stop = Arc::new(AtomicBool::new(false));
    let mut running = Printing { desk: Arc::clone(desk), stop: Arc::clone(&stop), threads: Vec::new() };
    for one in served {
        let link = ipp::Printer::at(&one.address)
            .ok_or_else(|| std::io::Error::other(format!("{} is no address of a printer", one.address.uri)))?;
        // The desk knows the size of its labels.
        let known = desk.printers().named(Some(&one.printer.name)).map_err(std::io::Error::other)?.clone();
        let served = Served { printer: known, ..one.clone() };
        let (desk, stop) = (Arc::clone(desk), Arc::clone(&stop));
        let mut server =
            Server { desk, served, link, clock, looks: 0, silent: 0, asked: None, sent: None, renames: false };
        let name = format!("printer {}", one.printer.name);
        let thread = std::thread::Builder::new().name(name).spawn(move || {
            while !stop.load(Ordering::SeqCst) {
                let rings = server.desk.printers().bell().rings();
                let pause = server.turn();
                if !stop.load(Ordering::SeqCst) {
                    server.desk.printers().bell().wait(rings, pause);
                }
            }
        })?;
        running.threads.push(thread);
    }
    Ok(running)
}

impl Drop for Printing {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        self.desk.printers().bell().ring();
        for thread in self.threads.drain(..) {
            if thread.join().is_err() {
                tracing::error!("a printer's thread had ended in a panic");
            }
        }
    }
}

/// Whoever serves one printer.
struct Server {
    desk: Arc<Desk>,
    served: Served,
    link: ipp::Printer,
    clock: fn() -> Instant,
    /// Looks at the job under way.
    looks: u32,
    /// Questions in a row without an answer.
    silent: i64,
    /// When a quiet printer was last asked how it is.
    asked: Option<std::time::Instant>,
    /// The print this thread has sent last, and whether the printer names its job otherwise than we did.
    sent: Option<i64>,
    renames: bool,
}

impl Server {
    /// Does the next thing there is to do; gives how long to wait then. A failure is logged and tried again: nothing is lost, since whatever was
    /// being sent is found again as such.
    fn turn(&mut self) -> Duration {
        match catch_unwind(AssertUnwindSafe(|| self.step())) {
            Ok(Ok(pause)) => pause,
            Ok(Err(error)) => {
                tracing::error!(printer = self.name(), %error, "the queue cannot be used now");
                QUEUE
            }
            Err(_) => {
                tracing::error!(printer = self.name(), "serving a printer stopped by a defect");
                QUIET
            }
        }
    }

    fn name(&self) -> &str {
        &self.served.printer.name
    }

    fn step(&mut self) -> Result<Duration, Failure> {
        let (name, now) = (self.name().to_owned(), (self.clock)());
        match self.desk.look(|reading, _| printing::next(reading, &name, now))? {
            Next::Stray(print) => {
                let words = "the server stopped while it was being sent: nobody knows whether it was printed";
                self.report(print, Report::Lost(words.to_owned()))?;
                Ok(Duration::ZERO)
            }
            Next::Outdated(print, why) => {
                self.report(print, Report::Outdated(why))?;
                Ok(Duration::ZERO)
            }
            Next::CallBack(print, why) => {
                tracing::info!(printer = self.name(), print = print.id, why, "an outdated label is called back");
                self.desk.act(move |tx, _| printing::call_back(tx, now, &print))?;
                Ok(Duration::ZERO)
            }
            Next::Follow(print) => self.follow(print),
            Next::Send(print) => self.send(print),
            Next::Nothing => {
                if self.asked.is_none_or(|at| at.elapsed() >= QUIET)
                    && let Err(words) = self.ask()
                {
                    tracing::debug!(printer = self.name(), words, "a quiet printer");
                }
                Ok(QUEUE)
            }
        }
    }

    /// Asks the printer how it is, and notes it where pages look.
    fn ask(&mut self) -> Result<(Condition, Heard), String> {
        self.asked = Some(std::time::Instant::now());
        let at = Some((self.clock)());
        let (heard, outcome) = match self.link.condition() {
            Ok(condition) => {
                self.silent = 0;
                let heard = heard(&condition, at);
                (heard.clone(), Ok((condition, heard)))
            }
            Err(error) => {
                self.silent += 1;
                let words = format!("it does not answer: {}", error.words());
                let heard = Heard { at, standing: Standing::Silent, reasons: vec![words.clone()], ..Heard::default() };
                (heard, Err(words))
            }
        };
        self.desk.printers().hear(&self.served.printer.name, heard);
        outcome
    }

    /// Sends a label, if the printer will take it.
    fn send(&mut self, print: Print) -> Result<Duration, Failure> {
        self.looks = 0;
        let (condition, heard) = match self.ask() {
            Ok(answer) => answer,
            Err(words) => return self.hold_back(&words, pause_seconds(self.silent)),
        };
        if let Some(words) = holds_back(&heard, condition.accepting) {
            return self.hold_back(&words, 2);
        }
        let printer = self.served.printer.clone();
        let copies = i32::try_from(print.copies).unwrap_or(i32::MAX);
        let Printer { width_um, height_um, .. } = printer;
        let media = self.served.media.as_deref();
        let media = match paper::fitting(&condition, &Needs { dpi: printer.dpi, width_um, height_um, copies, media }) {
            Ok(media) => media,
            Err(words) => {
                self.report(print, Report::PutOff(words))?;
                return Ok(Duration::ZERO);
            }
        };
        let paper = paper::name_of(&media);
        let press = self.desk.press();
        let drawn = self.desk.look(|reading, _| printing::document(reading, &press, &print, &printer, &paper));
        let document = match drawn {
            Ok(document) => document,
            Err(Failure::Refused(refusal)) => {
                let words: Vec<String> = refusal.findings.into_iter().map(|finding| finding.reason).collect();
                self.report(print, Report::NotDrawn(words.join("; ")))?;
                return Ok(Duration::ZERO);
            }
            Err(error) => return Err(error),
        };
        let now = (self.clock)();
        // From here on a stop leaves a print that is being sent, and nobody sends it again.
        let Some(print) = self.desk.act(move |tx, _| printing::claim(tx, now, print.id))? else {
            return Ok(Duration::ZERO);
        };
        let job = Job { title: &document.title, document: &document.raster, media, dpi: printer.dpi, copies };
        let sent = self.link.print(&job);
        tracing::info!(printer = printer.name, print = print.id, ?sent, "label sent");
        self.sent = Some(print.id);
        let report = match sent {
            Sent::Accepted { job_id, job_uri } => Report::Accepted { job_id: i64::from(job_id), job_uri },
            Sent::Refused(words) => Report::Refused(words),
            Sent::Unknown(words) => Report::Lost(words),
        };
        self.report(print, report)?;
        Ok(Duration::ZERO)
    }

    /// Leaves the queue as it is, and says why.
    fn hold_back(&self, words: &str, seconds: i64) -> Result<Duration, Failure> {
        let (name, words) = (self.name().to_owned(), format!("waits: {words}"));
        if self.desk.look(|reading, _| printing::would_change(reading, &name, &words))? {
            self.desk.act(move |tx, _| printing::waits_because(tx, &name, &words))?;
        }
        Ok(Duration::from_secs(u64::try_from(seconds).unwrap_or(2)))
    }

    /// Looks how the job under way goes, and asks for it back if someone wants that.
    fn follow(&mut self, print: Print) -> Result<Duration, Failure> {
        self.looks = self.looks.saturating_add(1);
        let Some(job_id) = print.job_id.and_then(|id| i32::try_from(id).ok()) else {
            self.report(print, Report::Lost("it has no job number".to_owned()))?;
            return Ok(Duration::ZERO);
        };
        let job = match self.link.job(job_id) {
            Ok(job) => job,
            Err(error) => return self.not_followed(print, &error),
        };
        self.silent = 0;
        if !self.is_its_job(&print, &job)? {
            let words = match &job.name {
                Some(_) => "the printer has forgotten the job: it was switched off, perhaps before it printed",
                None => "the printer does not name the job: nobody knows whether it is this one",
            };
            self.report(print, Report::Lost(words.to_owned()))?;
            return Ok(Duration::ZERO);
        }
        match ending(&job) {
            Some(report) => {
                self.asked = None;
                self.report(print, report)?;
                Ok(Duration::ZERO)
            }
            None => self.goes_on(print, job_id, &job),
        }
    }

    /// Whether a job is the one of this print, by its name. A printer that has just taken the job and names it otherwise renames them all. A
    /// job without a name may be anybody's.
    fn is_its_job(&mut self, print: &Print, job: &JobCondition) -> Result<bool, Failure> {
        let Some(name) = &job.name else { return Ok(false) };
        let named_so = self.desk.look(|reading, _| printing::is_its_job(reading, print, name))?;
        let sent_by_us = self.sent == Some(print.id);
        if sent_by_us && self.looks == 1 {
            self.renames = !named_so;
        }
        Ok(named_so || (sent_by_us && self.renames))
    }

    /// The job is not over: says what the printer says, and asks for the job back where someone wants it.
    fn goes_on(&mut self, print: Print, job_id: i32, job: &JobCondition) -> Result<Duration, Failure> {
        if print.cancel_by.is_some() {
            // What comes of it shows at the next look.
            if let Err(error) = self.link.cancel(job_id) {
                tracing::warn!(printer = self.name(), job_id, error = error.words(), "the job cannot be called back");
            }
        }
        let of_printer = self.ask().map_or_else(|words| vec![words], |(_, heard)| heard.reasons);
        let words = if of_printer.is_empty() { all_in_words(&job.reasons) } else { of_printer };
        self.says(print, words.join(", "))?;
        Ok(if self.looks < FIRST_LOOKS { FOLLOW } else { FOLLOW_LATER })
    }

    /// There is no answer about a job. What the printer no longer knows may have been printed; what cannot be asked now may be later, unless
    /// a person has given it up.
    fn not_followed(&mut self, print: Print, error: &NoAnswer) -> Result<Duration, Failure> {
        match error {
            NoAnswer::NotFound(_) => {
                let words = "the printer no longer knows the job: nobody knows whether it was printed";
                self.report(print, Report::Lost(words.to_owned()))?;
                Ok(Duration::ZERO)
            }
            _ if print.given_up() => {
                let words = format!("given up while the printer did not answer: {}", error.words());
                self.report(print, Report::Lost(words))?;
                Ok(Duration::ZERO)
            }
            _ => {
                let words = self.ask().map_or_else(|words| words, |_| format!("it does not answer: {}", error.words()));
                self.says(print, words)?;
                Ok(Duration::from_secs(u64::try_from(pause_seconds(self.silent)).unwrap_or(2)))
            }
        }
    }

    fn says(&self, print: Print, words: String) -> Result<(), Failure> {
        if print.reasons == words { Ok(()) } else { self.report(print, Report::Goes(words)) }
    }

    /// Writes what became of a print. Where the database does not take it, some tries later the print is found as one that nobody saw through.
    fn report(&self, print: Print, report: Report) -> Result<(), Failure> {
        let now = (self.clock)();
        let mut tries = 0;
        loop {
            let (print, report) = (print.clone(), report.clone());
            match self.desk.act(move |tx, _| printing::report(tx, now, &print, &report)) {
                Err(error) if tries < REPORT_TRIES => {
                    tracing::warn!(printer = self.name(), %error, "a report has to wait");
                    tries += 1;
                    std::thread::sleep(FOLLOW * tries);
                }
                outcome => return outcome,
            }
        }
    }
}

fn heard(condition: &Condition, at: Option<Instant>) -> Heard {
    let mut reasons = all_in_words(&condition.reasons);
    // What its operator wrote when he stopped it says more than that he did.
    let standing = Standing::of_number(condition.state);
    if standing == Standing::Stopped {
        reasons.extend(condition.message.clone());
    }
    Heard { at, standing, reasons, keywords: condition.reasons.clone() }
}

/// How a job ended, if it has (`job-state` of RFC 8011, 5.3.7).
fn ending(job: &JobCondition) -> Option<Report> {
    let words = || all_in_words(&job.reasons).join(", ");
    match job.state {
        7 => Some(Report::CancelledThere(words())),
        8 => Some(Report::Aborted(words())),
        9 => Some(Report::Completed),
        _ => None,
    }
}
