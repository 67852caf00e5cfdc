//! Printing: what state a print is in, what may become of it, when to try again, and what a printer's words mean in plain ones. Its one rule
//! above all others: what may have been printed is not printed again before a person has looked.

use crate::units::instant::{Instant, MICROS_PER_SECOND};

/// A printer of the shop, as rules and pages see it; how it is reached is not known here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printer {
    pub name: String,
    /// The stock it prints on, by its name.
    pub stock: String,
    pub dpi: u32,
    /// Size of one label.
    pub width_um: u32,
    pub height_um: u32,
}

/// Most copies of one print.
pub const MOST_COPIES: i64 = 20;

/// Who asks for an outdated label back, before the reason in brackets.
const SHOP: &str = "the shop (";

macro_rules! states {
    ($($name:ident, $text:literal, $note:literal;)*) => {
        /// How far a print has come.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum State { $(#[doc = $note] $name,)* }

        impl State {
            pub const ALL: &'static [State] = &[$(State::$name,)*];

            pub const fn as_str(self) -> &'static str {
                match self { $(State::$name => $text,)* }
            }
        }
    };
}

states! {
    Waiting, "waiting", "In our queue; nothing has been sent.";
    Sending, "sending", "On its way to the printer. Found at a start, nobody knows whether it arrived.";
    Printing, "printing", "The printer has it, under a job number.";
    Done, "done", "Printed.";
    Failed, "failed", "Not printed, or not whole; nothing more will happen by itself.";
    Unknown, "unknown", "It may have been printed or not: a person has to look.";
    Cancelled, "cancelled", "Given up by a person, or called back from the printer since its label was outdated.";
    Superseded, "superseded", "Not printed, since the tray has or wants another label, or is gone.";
}

impl State {
    pub fn parse(text: &str) -> Option<State> {
        Self::ALL.iter().copied().find(|state| state.as_str() == text)
    }

    /// Whether nothing will happen to it any more unless a person acts.
    pub const fn is_over(self) -> bool {
        matches!(self, State::Done | State::Failed | State::Cancelled | State::Superseded)
    }
}

/// What can happen to a print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// It is about to be sent.
    Claimed,
    /// The printer took it.
    Accepted,
    /// The printer did not take it, and nothing was printed.
    Refused,
    /// It cannot be drawn.
    NotDrawn,
    /// Its label is no longer the one the tray should carry.
    Outdated,
    /// Nobody knows what became of it.
    Lost,
    /// The printer reports the end of the job, in one of three ways.
    Completed,
    Aborted,
    CancelledThere,
    /// A person gives it up.
    Cancel,
    /// A person has looked: it was printed, or it was not and is to be printed again.
    SeenPrinted,
    SeenMissing,
}

impl Event {
    pub const ALL: [Event; 12] = [
        Event::Claimed,
        Event::Accepted,
        Event::Refused,
        Event::NotDrawn,
        Event::Outdated,
        Event::Lost,
        Event::Completed,
        Event::Aborted,
        Event::CancelledThere,
        Event::Cancel,
        Event::SeenPrinted,
        Event::SeenMissing,
    ];
}

/// What a state becomes by an event; none where the event has no business. A print that is with the printer is not given up at once: the
/// printer is asked, and says how it ended.
pub const fn after(state: State, event: Event) -> Option<State> {
    Some(match (state, event) {
        (State::Waiting, Event::Claimed) => State::Sending,
        (State::Waiting, Event::NotDrawn) => State::Failed,
        (State::Waiting, Event::Outdated) => State::Superseded,
        // A report may come after the print was given up as lost.
        (State::Sending | State::Unknown, Event::Accepted) => State::Printing,
        (State::Sending | State::Unknown, Event::Refused) => State::Waiting,
        (State::Sending | State::Printing, Event::Lost) => State::Unknown,
        (State::Printing, Event::Completed) => State::Done,
        (State::Printing, Event::Aborted) => State::Failed,
        (State::Sending | State::Printing, Event::CancelledThere) => State::Cancelled,
        (State::Waiting | State::Unknown | State::Failed, Event::Cancel) => State::Cancelled,
        (State::Unknown | State::Failed, Event::SeenPrinted) => State::Done,
        (State::Unknown | State::Failed, Event::SeenMissing) => State::Waiting,
        _ => return None,
    })
}

/// A print as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Print {
    pub id: i64,
    /// The act that issued the label it prints.
    pub act_id: i64,
    pub tray_id: i64,
    pub printer: String,
    pub copies: i64,
    pub wanted_at: Instant,
    pub state: State,
    /// What the printer says, or why it ended, in words; empty when there is nothing to say.
    pub reasons: String,
    pub job_id: Option<i64>,
    pub job_uri: Option<String>,
    /// How often it was sent or tried.
    pub attempts: i64,
    pub next_try_at: Instant,
    /// Why it is printed, where a person said.
    pub reason: Option<String>,
    pub actor: String,
    pub finished_at: Option<Instant>,
    /// Who wants it cancelled, while the printer has it: a person's name, or the shop and why.
    pub cancel_by: Option<String>,
}

impl Print {
    /// Lets an event happen; false where it has no business.
    #[must_use]
    pub fn happen(&mut self, event: Event, now: Instant, words: &str) -> bool {
        let Some(next) = after(self.state, event) else { return false };
        self.state = next;
        words.clone_into(&mut self.reasons);
        self.finished_at = next.is_over().then_some(now);
        if next != State::Sending && next != State::Printing {
            self.cancel_by = None;
        }
        if next == State::Waiting {
            self.job_id = None;
            self.job_uri = None;
        }
        true
    }

    /// Notes that the shop wants it back from the printer, unless it was asked back already; false where the printer does not have it.
    #[must_use]
    pub fn call_back(&mut self, why: &str) -> bool {
        let can = self.state == State::Printing && self.cancel_by.is_none();
        if can {
            self.cancel_by = Some(format!("{SHOP}{why})"));
        }
        can
    }

    /// Whether a person has asked the printer to cancel it. What the shop alone has called back, a person may still give up.
    pub fn given_up(&self) -> bool {
        self.cancel_by.as_ref().is_some_and(|by| !by.starts_with(SHOP))
    }

    /// Puts the next try off, the longer the more there were.
    pub fn put_off(&mut self, now: Instant) {
        self.next_try_at = now.plus_micros(pause_seconds(self.attempts) * MICROS_PER_SECOND);
    }
}

/// Seconds to the next try after so many: 2, 4, 8 … at most 60.
pub fn pause_seconds(tries: i64) -> i64 {
    let doublings = u32::try_from(tries.clamp(1, 10)).unwrap_or(1);
    2_i64.pow(doublings).min(60)
}

/// What the printer reports of itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Heard {
    /// When it was last asked.
    pub at: Option<Instant>,
    pub standing: Standing,
    /// In its own keywords, without what they mean.
    pub keywords: Vec<String>,
    /// In plain words.
    pub reasons: Vec<String>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Standing {
    /// Nobody has asked yet.
    #[default]
    NotAsked,
    Idle,
    Processing,
    Stopped,
    /// It is not there, or does not answer.
    Silent,
}

impl Standing {
    pub const fn as_str(self) -> &'static str {
        match self {
            Standing::NotAsked => "not_asked",
            Standing::Idle => "idle",
            Standing::Processing => "processing",
            Standing::Stopped => "stopped",
            Standing::Silent => "silent",
        }
    }

    /// From the number of `printer-state` (RFC 8011, 5.4.11).
    pub const fn of_number(number: i32) -> Standing {
        match number {
            3 => Standing::Idle,
            4 => Standing::Processing,
            _ => Standing::Stopped,
        }
    }
}

/// `printer-state-reasons` of RFC 8011, 5.4.12, in plain words (from memory, as common print systems use them).
const WORDS: &[(&str, &str)] = &[
    ("media-empty", "it is out of labels"),
    ("media-needed", "it waits for labels"),
    ("media-low", "its labels are running out"),
    ("media-jam", "a label is stuck"),
    ("cover-open", "its cover is open"),
    ("door-open", "its door is open"),
    ("interlock-open", "something on it is open"),
    ("input-tray-missing", "its roll holder is missing"),
    ("output-area-full", "its outlet is full"),
    ("marker-supply-empty", "its ribbon is used up"),
    ("marker-supply-low", "its ribbon is running out"),
    ("toner-empty", "its toner is used up"),
    ("paused", "someone paused it"),
    ("moving-to-paused", "it is about to pause"),
    ("stopped-partly", "part of it stands still"),
    ("shutdown", "it is switched off"),
    ("connecting-to-device", "the spooler looks for the printer"),
    ("timed-out", "the spooler cannot reach the printer"),
    ("offline", "it is offline"),
    ("spool-area-full", "its memory is full"),
    ("hold-new-jobs", "it holds new jobs back"),
    ("cups-waiting-for-job-completed", "it is at work"),
];

/// Reasons with which a printer will not print, if it says so as an error.
const BLOCKING: &[&str] = &[
    "media-empty",
    "media-needed",
    "media-jam",
    "cover-open",
    "door-open",
    "interlock-open",
    "input-tray-missing",
    "output-area-full",
    "marker-supply-empty",
    "toner-empty",
    "paused",
    "shutdown",
    "spool-area-full",
    "hold-new-jobs",
];

/// A reason without how grave it is. RFC 8011, 5.4.12: `-report` and `-warning` do not stop the printer, `-error` or nothing does.
fn without_gravity(keyword: &str) -> (&str, bool) {
    for (end, stops) in [("-report", false), ("-warning", false), ("-error", true)] {
        if let Some(root) = keyword.strip_suffix(end) {
            return (root, stops);
        }
    }
    (keyword, true)
}

/// A reason in plain words; one that is not known stands as it is.
pub fn in_words(keyword: &str) -> String {
    let (root, _) = without_gravity(keyword);
    WORDS
        .iter()
        .find(|(known, _)| *known == root)
        .map_or_else(|| root.replace('-', " "), |(_, words)| (*words).to_owned())
}

/// Reasons in plain words, each once.
pub fn all_in_words(keywords: &[String]) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for keyword in keywords {
        let said = in_words(keyword);
        if !words.contains(&said) {
            words.push(said);
        }
    }
    words
}

/// Why nothing should be sent to a printer now, if so. What is held back here is still ours: it can be cancelled, or superseded.
pub fn holds_back(heard: &Heard, accepting: bool) -> Option<String> {
    let said = |fallback: &str| if heard.reasons.is_empty() { fallback.to_owned() } else { heard.reasons.join(", ") };
    let blocks = |keyword: &String| {
        let (root, stops) = without_gravity(keyword);
        stops && BLOCKING.contains(&root)
    };
    match heard.standing {
        Standing::Stopped => Some(said("it stands still")),
        Standing::Silent => Some(said("it does not answer")),
        _ if !accepting => Some("it takes no jobs now".to_owned()),
        _ if heard.keywords.iter().any(blocks) => Some(said("")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn print(state: State) -> Print {
        Print {
            id: 1,
            act_id: 1,
            tray_id: 1,
            printer: "counter".into(),
            copies: 1,
            wanted_at: Instant::EPOCH,
            state,
            reasons: String::new(),
            job_id: Some(7),
            job_uri: None,
            attempts: 0,
            next_try_at: Instant::EPOCH,
            reason: None,
            actor: "Ines".into(),
            finished_at: None,
            cancel_by: Some("Ines".into()),
        }
    }

    /// Whatever happens, only a person brings back what may have been printed; a machine sends again only what was refused.
    #[test]
    fn nothing_that_may_have_been_printed_is_sent_again_by_itself() {
        for &state in State::ALL {
            for event in Event::ALL {
                let Some(next) = after(state, event) else { continue };
                if next == State::Sending {
                    assert_eq!((state, event), (State::Waiting, Event::Claimed));
                }
                if next == State::Waiting {
                    assert!(matches!(event, Event::Refused | Event::SeenMissing), "{state:?} {event:?}");
                    assert_ne!(state, State::Printing);
                }
                if matches!(state, State::Done | State::Cancelled | State::Superseded) {
                    panic!("{state:?} is the end, and {event:?} goes on");
                }
            }
        }
        assert_eq!(after(State::Printing, Event::Cancel), None, "the printer has the last word");
        assert_eq!(after(State::Sending, Event::Outdated), None);
    }

    /// From every state there is a way to an end.
    #[test]
    fn nothing_stays_for_ever() {
        for &state in State::ALL {
            let mut reached = vec![state];
            let mut at = 0;
            while at < reached.len() {
                for event in Event::ALL {
                    if let Some(next) = after(reached[at], event).filter(|next| !reached.contains(next)) {
                        reached.push(next);
                    }
                }
                at += 1;
            }
            assert!(reached.contains(&State::Done) || state.is_over(), "{state:?}");
            assert_eq!(State::parse(state.as_str()), Some(state));
        }
        assert_eq!(State::parse("lost"), None);
    }

    #[test]
    fn what_ends_has_its_time_and_what_waits_again_has_no_job() {
        let now = Instant::EPOCH.plus_micros(5);
        let mut done = print(State::Printing);
        assert!(done.happen(Event::Completed, now, ""));
        assert_eq!((done.finished_at, done.cancel_by.as_deref()), (Some(now), None));
        assert!(!done.happen(Event::Lost, now, "x") && done.reasons.is_empty());
        let mut again = print(State::Unknown);
        assert!(again.happen(Event::SeenMissing, now, ""));
        assert_eq!((again.state, again.job_id, again.finished_at), (State::Waiting, None, None));
        let mut sent = print(State::Sending);
        assert!(sent.happen(Event::Accepted, now, ""));
        assert_eq!(sent.cancel_by.as_deref(), Some("Ines"), "the printer is still to be asked");
    }

    #[test]
    fn the_shop_calls_back_what_the_printer_has_and_nobody_gave_up() {
        let called = |state, by: Option<&str>| {
            let mut print = Print { cancel_by: by.map(str::to_owned), ..print(state) };
            (print.call_back("the tray is gone"), print.cancel_by.clone(), print.given_up())
        };
        assert_eq!(called(State::Printing, None), (true, Some("the shop (the tray is gone)".into()), false));
        assert_eq!(called(State::Printing, Some("Ines")), (false, Some("Ines".into()), true));
        for state in State::ALL.iter().filter(|state| **state != State::Printing) {
            assert_eq!(called(*state, None), (false, None, false));
        }
    }

    #[test]
    fn pauses_grow_to_a_minute() {
        assert_eq!([0, 1, 2, 3, 4, 5, 6, 7, i64::MAX].map(pause_seconds), [2, 2, 4, 8, 16, 32, 60, 60, 60]);
        let mut waiting = print(State::Waiting);
        waiting.attempts = 2;
        waiting.put_off(Instant::EPOCH);
        assert_eq!(waiting.next_try_at.micros(), 4 * MICROS_PER_SECOND);
    }

    #[test]
    fn a_printer_that_will_not_print_gets_nothing() {
        let heard = |standing, keywords: &[&str]| {
            let keywords: Vec<String> = keywords.iter().map(|k| (*k).to_owned()).collect();
            Heard { at: None, standing, reasons: all_in_words(&keywords), keywords }
        };
        let rows = [
            (heard(Standing::Idle, &[]), true, None),
            (heard(Standing::Idle, &["media-empty-report", "media-low"]), true, None),
            (heard(Standing::Processing, &["media-empty-warning"]), true, None),
            (heard(Standing::Processing, &["cups-waiting-for-job-completed"]), true, None),
            (
                heard(Standing::Idle, &["media-empty-error", "cover-open"]),
                true,
                Some("it is out of labels, its cover is open"),
            ),
            (heard(Standing::Stopped, &["paused"]), true, Some("someone paused it")),
            (heard(Standing::Stopped, &[]), true, Some("it stands still")),
            (heard(Standing::Silent, &[]), true, Some("it does not answer")),
            (heard(Standing::Idle, &[]), false, Some("it takes no jobs now")),
        ];
        for (heard, accepting, expected) in rows {
            assert_eq!(holds_back(&heard, accepting).as_deref(), expected, "{heard:?}");
        }
        assert_eq!(in_words("vendor-lamp-off-warning"), "vendor lamp off");
        assert_eq!(all_in_words(&["paused".into(), "paused-report".into()]), ["someone paused it"]);
    }
}
