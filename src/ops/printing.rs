//! What whoever serves a printer asks and reports: the next thing to do, the picture, and what became of it. Each step is committed before the
//! one it stands for is taken, so that a stop at any moment leaves a queue that says the truth, or that nobody knows it.

use super::failure::{Failure, refuse};
use super::label::{Drawn, Wanted, drawn};
use super::press::Press;
use crate::domain::label_fields::Field;
use crate::domain::printing::{Event, Print, Printer, State};
use crate::domain::refusal::Code;
use crate::domain::tray::Tray;
use crate::labels::pwg::{self, Sheet};
use crate::store::{Reading, Tx, issued_labels, prints, trays};
use crate::units::instant::Instant;

/// What is to be done for a printer now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Next {
    /// It was being sent when nobody was there to see it through.
    Stray(Print),
    /// The printer has it: see how it goes.
    Follow(Print),
    /// The printer has it, and its label is outdated: note that it is wanted back.
    CallBack(Print, &'static str),
    /// Its label should not be on the tray any more.
    Outdated(Print, &'static str),
    Send(Print),
    Nothing,
}

/// The next thing to do. One label is with the printer at a time: what is still ours can be cancelled, or superseded.
pub fn next(reading: &mut Reading<'_>, printer: &str, now: Instant) -> Result<Next, Failure> {
    let open = prints::open_of(reading, printer)?;
    let first = |state: State| open.iter().find(|print| print.state == state).cloned();
    if let Some(print) = first(State::Sending) {
        return Ok(Next::Stray(print));
    }
    if let Some(print) = first(State::Printing) {
        if print.cancel_by.is_none()
            && let Some(why) = outdated(reading, print.tray_id, print.act_id, now)?
        {
            return Ok(Next::CallBack(print, why));
        }
        return Ok(Next::Follow(print));
    }
    for print in open.iter().filter(|print| print.state == State::Waiting) {
        if let Some(why) = outdated(reading, print.tray_id, print.act_id, now)? {
            return Ok(Next::Outdated(print.clone(), why));
        }
        if print.next_try_at <= now {
            return Ok(Next::Send(print.clone()));
        }
    }
    Ok(Next::Nothing)
}

/// Sees to prints of printers that are served no more: what such a printer has, nobody will follow to its end. What waits goes on waiting, and
/// says why.
pub fn orphans(tx: &mut Tx<'_>, served: &[String], now: Instant) -> Result<(), Failure> {
    const WORDS: &str = "its printer is no longer set up";
    for mut print in prints::open(tx)?.into_iter().filter(|print| !served.contains(&print.printer)) {
        if print.happen(Event::Lost, now, WORDS) || (print.state == State::Waiting && print.reasons != WORDS) {
            WORDS.clone_into(&mut print.reasons);
            prints::save(tx, &print)?;
        }
    }
    Ok(())
}

/// Why the label that an act issued is no longer the one its tray should carry.
pub(super) fn outdated(
    reading: &mut Reading<'_>,
    tray_id: i64,
    act_id: i64,
    now: Instant,
) -> Result<Option<&'static str>, Failure> {
    let tray = trays::by_id(reading, tray_id)?;
    let newest = issued_labels::newest(reading, tray.id)?;
    Ok(match newest {
        _ if !tray.in_stock() => Some("the tray is gone"),
        _ if tray.label_wanted.is_some() => Some("the tray wants another label"),
        Some(issued) if issued.act_id != act_id => Some("the tray has a newer label"),
        // The date of a label that stays in the house binds nothing.
        Some(issued) if !issued.template.is_for_sale() => None,
        Some(issued) if tray.use_by != issued.use_by => Some("the use-by on it holds no longer"),
        Some(issued) if issued.use_by.is_some_and(|end| end < now) => Some("the use-by on it has passed"),
        Some(_) => None,
        None => Some("the tray has no label"),
    })
}

/// The label of a print as it was issued, on the stock of its printer.
pub(super) fn label_of(
    reading: &mut Reading<'_>,
    press: &Press,
    print: &Print,
    printer: &Printer,
) -> Result<Drawn, Failure> {
    let code = trays::by_id(reading, print.tray_id)?.code.to_string();
    let wanted = Wanted { stock: Some(printer.stock.clone()), dpi: Some(printer.dpi) };
    let drawn = drawn(reading, press, &code, &wanted)?;
    if drawn.issued.act_id != print.act_id {
        return refuse(Code::LabelRefused, "tray_code", "the tray has another label than the one to print");
    }
    Ok(drawn)
}

/// What goes to a printer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Document {
    /// Names cut, tray and print, so that a person finds it at the printer, and we know it again.
    pub title: String,
    pub raster: Vec<u8>,
}

/// The document of a print on paper of this name.
pub fn document(
    reading: &mut Reading<'_>,
    press: &Press,
    print: &Print,
    printer: &Printer,
    media_name: &str,
) -> Result<Document, Failure> {
    let Drawn { tray, says, layout, .. } = label_of(reading, press, print, printer)?;
    let Printer { dpi, width_um, height_um, .. } = *printer;
    let sheet = Sheet { dpi, width_um, height_um, media_name };
    let raster = pwg::encode(&layout.paint(press.fonts()), &sheet);
    Ok(Document { title: title(print, &tray, says.text(Field::CutName)), raster })
}

/// The mark comes first: printers cut long names.
fn title(print: &Print, tray: &Tray, cut_name: &str) -> String {
    format!("{} {cut_name}", mark(print, tray))
}

fn mark(print: &Print, tray: &Tray) -> String {
    format!("{} #{}.{}", tray.code.grouped(), print.id, print.attempts + i64::from(print.state == State::Waiting))
}

/// Whether a job of this name is this print. Printers count their jobs from 1 again when they are switched on.
pub fn is_its_job(reading: &mut Reading<'_>, print: &Print, name: &str) -> Result<bool, Failure> {
    let tray = trays::by_id(reading, print.tray_id)?;
    Ok(name.starts_with(&format!("{} ", mark(print, &tray))))
}

/// Takes a waiting print to be sent now; none when it is not to be sent any more. Committed before anything goes out.
pub fn claim(tx: &mut Tx<'_>, now: Instant, id: i64) -> Result<Option<Print>, Failure> {
    let Some(mut print) = prints::find(tx, id)? else { return Ok(None) };
    if print.state != State::Waiting || outdated(tx, print.tray_id, print.act_id, now)?.is_some() {
        return Ok(None);
    }
    if !print.happen(Event::Claimed, now, "") {
        return Ok(None);
    }
    print.attempts += 1;
    prints::save(tx, &print)?;
    Ok(Some(print))
}

/// Notes that a label the printer has is wanted back, if it still is. Whoever follows it asks the printer, which says how it ended: an outdated
/// label that was printed all the same is one that was printed.
pub fn call_back(tx: &mut Tx<'_>, now: Instant, seen: &Print) -> Result<(), Failure> {
    let Some(mut print) = prints::find(tx, seen.id)? else { return Ok(()) };
    if print.attempts != seen.attempts {
        return Ok(());
    }
    if let Some(why) = outdated(tx, print.tray_id, print.act_id, now)?
        && print.call_back(why)
    {
        prints::save(tx, &print)?;
    }
    Ok(())
}

/// What became of a print, told by whoever served it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Report {
    Accepted {
        job_id: i64,
        job_uri: Option<String>,
    },
    Refused(String),
    NotDrawn(String),
    Outdated(&'static str),
    Lost(String),
    Completed,
    Aborted(String),
    CancelledThere(String),
    /// Nothing is over; this is what the printer says.
    Goes(String),
    /// Nothing was sent yet, for this reason.
    PutOff(String),
}

/// Writes what became of a print. `seen` is the print as the reporter knew it: a report of an earlier try changes nothing.
pub fn report(tx: &mut Tx<'_>, now: Instant, seen: &Print, report: &Report) -> Result<(), Failure> {
    let Some(mut print) = prints::find(tx, seen.id)? else { return Ok(()) };
    if print.attempts != seen.attempts {
        return Ok(());
    }
    let happened = match report {
        Report::Accepted { job_id, job_uri } => {
            print.job_id = Some(*job_id);
            print.job_uri.clone_from(job_uri);
            print.happen(Event::Accepted, now, "")
        }
        Report::Refused(words) if print.cancel_by.is_some() => print.happen(Event::CancelledThere, now, words),
        Report::Refused(words) => {
            print.put_off(now);
            print.happen(Event::Refused, now, words)
        }
        Report::NotDrawn(words) => print.happen(Event::NotDrawn, now, words),
        Report::Outdated(words) => print.happen(Event::Outdated, now, words),
        Report::Lost(words) => print.happen(Event::Lost, now, words),
        Report::Completed => print.happen(Event::Completed, now, ""),
        Report::Aborted(words) => print.happen(Event::Aborted, now, words),
        Report::CancelledThere(words) => {
            let words = cancelled_words(&print, words);
            print.happen(Event::CancelledThere, now, &words)
        }
        Report::Goes(words) => says(&mut print, State::Printing, words),
        Report::PutOff(words) => {
            let waits = says(&mut print, State::Waiting, words);
            if waits {
                print.attempts += 1;
                print.put_off(now);
            }
            waits
        }
    };
    if happened {
        prints::save(tx, &print)?;
    }
    Ok(())
}

/// What the printer says of a cancelled job, after who had called it back: only the shop says why.
fn cancelled_words(print: &Print, words: &str) -> String {
    match &print.cancel_by {
        Some(by) if !print.given_up() && words.is_empty() => format!("called back by {by}"),
        Some(by) if !print.given_up() => format!("called back by {by}: {words}"),
        _ => words.to_owned(),
    }
}

fn says(print: &mut Print, state: State, words: &str) -> bool {
    words.clone_into(&mut print.reasons);
    print.state == state
}

/// Says beside every print that waits for a printer why it waits. Gives how many changed.
pub fn waits_because(tx: &mut Tx<'_>, printer: &str, words: &str) -> Result<usize, Failure> {
    let mut changed = 0;
    for mut print in prints::open_of(tx, printer)? {
        if print.state == State::Waiting && print.reasons != words {
            words.clone_into(&mut print.reasons);
            prints::save(tx, &print)?;
            changed += 1;
        }
    }
    Ok(changed)
}

/// Whether `waits_because` would change anything: most times nothing changes, and nothing is written.
pub fn would_change(reading: &mut Reading<'_>, printer: &str, words: &str) -> Result<bool, Failure> {
    let open = prints::open_of(reading, printer)?;
    Ok(open.iter().any(|print| print.state == State::Waiting && print.reasons != words))
}
