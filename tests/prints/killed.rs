//! The server, or the printer, ends at the worst moment. A label that may have been printed is shown to a person and not sent again.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use ipp::model::DelimiterTag;
use ipp::value::IppValue;
use serde_json::json;

use crate::client::{accepted, client_with, print_raster};
use crate::shop::{Shop, a_while};
use crate::stub::{PRINT_JOB, Stub, answer, ready};
use crate::support::printer::{Printer, Variant};
use crate::support::server::Kind;

const GET_JOB: u16 = 0x0009;

/// The end of a job: completed, under this name or none.
fn completed(id: i32, name: Option<&str>) -> Vec<u8> {
    let name = name.map(|name| ("job-name", IppValue::NameWithoutLanguage(name.try_into().unwrap())));
    let attributes = std::iter::once(("job-state", IppValue::Enum(9))).chain(name).collect();
    answer(id, 0, DelimiterTag::JobAttributes, attributes)
}

fn jobs_sent(stub: &Stub) -> usize {
    stub.requests().iter().filter(|request| request.operation == PRINT_JOB).count()
}

/// The stub keeps the server waiting for its answer until the server is gone.
fn killed_while_sending(kind: Kind) {
    let answers = Arc::new(AtomicBool::new(false));
    let believes = Arc::clone(&answers);
    let named = Mutex::new(None);
    let stub = Stub::start(Box::new(move |request| match request.operation {
        PRINT_JOB if believes.load(Ordering::SeqCst) => {
            named.lock().unwrap().clone_from(&request.job_name);
            Some(answer(request.id, 0, DelimiterTag::JobAttributes, vec![("job-id", IppValue::Integer(2))]))
        }
        PRINT_JOB => {
            thread::sleep(Duration::from_secs(2));
            None
        }
        GET_JOB => Some(completed(request.id, named.lock().unwrap().as_deref())),
        _ => Some(ready(request)),
    }));
    let mut shop = Shop::open(kind, &[("counter", &stub.uri)]);
    let id = shop.print(&shop.counter.blocks[0]);
    shop.until(|| if jobs_sent(&stub) == 1 { Ok(()) } else { Err(json!(stub.requests().len())) });
    assert_eq!(shop.get(id)["state"], "sending", "committed before anything was sent");
    shop.server.kill();
    shop.start_again();
    shop.becomes(id, "unknown", "the server stopped while it was being sent");
    a_while();
    assert_eq!(jobs_sent(&stub), 1, "not sent again by itself");
    assert_eq!(shop.get(id)["state"], "unknown");
    // The queue goes on behind it.
    answers.store(true, Ordering::SeqCst);
    let next = shop.print(&shop.counter.blocks[1]);
    shop.becomes(next, "done", "");
    assert_eq!(jobs_sent(&stub), 2);
    assert_eq!(shop.get(id)["state"], "unknown");
    // A person has looked.
    shop.resolve(id, "no");
    assert_eq!(shop.becomes(id, "done", "")["attempts"], 2);
    assert_eq!(jobs_sent(&stub), 3);
}

#[test]
fn killed_while_sending_on_sqlite() {
    killed_while_sending(Kind::Sqlite);
}

#[test]
fn killed_while_sending_on_postgres() {
    killed_while_sending(Kind::Postgres);
}

/// FLT-10 seen from the shop: the printer takes the document and hangs up.
#[test]
fn cut_after_the_document_is_shown_to_a_person() {
    let stub =
        Stub::start(Box::new(|request| if request.operation == PRINT_JOB { None } else { Some(ready(request)) }));
    let shop = Shop::open(Kind::Sqlite, &[("counter", &stub.uri)]);
    let id = shop.print(&shop.counter.blocks[0]);
    shop.becomes(id, "unknown", "the connection broke");
    a_while();
    assert_eq!(jobs_sent(&stub), 1);
    assert_eq!(shop.resolve(id, "yes")["state"], "done");
    let refused = shop.post(&format!("/v1/prints/{id}/resolve"), &json!({"printed": "no"})).expect(409).json();
    assert_eq!(refused["code"], "not_in_doubt");
}

/// The printer has the job when the server ends: it is followed on, and printed once.
#[test]
fn killed_while_printing_is_followed_on() {
    let printer = Printer::start(Variant::Alone);
    let mut shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.fault("cover-open");
    let id = shop.print(&shop.counter.blocks[0]);
    shop.becomes(id, "printing", "its cover is open");
    shop.server.kill();
    shop.start_again();
    shop.becomes(id, "printing", "its cover is open");
    printer.mend();
    shop.becomes(id, "done", "");
    a_while();
    assert_eq!(printer.documents().len(), 1);
}

/// The printer is switched off over a job, and numbers its jobs from 1 again: another's job 1 is not taken for ours.
#[test]
fn a_printer_that_forgot_the_job_leaves_it_unknown() {
    let mut printer = Printer::start(Variant::Alone);
    let mut shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.fault("cover-open");
    let first = shop.print(&shop.counter.blocks[0]);
    shop.becomes(first, "printing", "its cover is open");
    printer.switch_off();
    printer.mend();
    printer.switch_on();
    shop.becomes(first, "unknown", "no longer knows the job");

    let second = shop.print(&shop.counter.blocks[1]);
    shop.becomes(second, "done", "");
    printer.fault("cover-open");
    let third = shop.print(&shop.counter.blocks[2]);
    let job = shop.becomes(third, "printing", "")["job_id"].as_i64().unwrap();
    shop.server.kill();
    printer.switch_off();
    printer.mend();
    printer.switch_on();
    let stranger = client_with(&printer.uri(), Duration::from_secs(5));
    while i64::from(accepted(print_until_taken(&stranger))) < job {}
    shop.start_again();
    shop.becomes(third, "unknown", "forgotten the job");
}

fn print_until_taken(stranger: &sakudana::outbound::ipp::Printer) -> sakudana::outbound::ipp::Sent {
    loop {
        match print_raster(stranger, "a stranger's") {
            // One job at a time.
            sakudana::outbound::ipp::Sent::Refused(_) => thread::sleep(Duration::from_millis(20)),
            sent => return sent,
        }
    }
}

/// A job that bears no name may be a stranger's: that it is over says nothing of ours.
#[test]
fn a_job_without_a_name_is_not_taken_for_ours() {
    let stub = Stub::start(Box::new(|request| match request.operation {
        PRINT_JOB => Some(answer(request.id, 0, DelimiterTag::JobAttributes, vec![("job-id", IppValue::Integer(1))])),
        GET_JOB => Some(completed(request.id, None)),
        _ => Some(ready(request)),
    }));
    let shop = Shop::open(Kind::Sqlite, &[("counter", &stub.uri)]);
    let id = shop.print(&shop.counter.blocks[0]);
    shop.becomes(id, "unknown", "the printer does not name the job");
    a_while();
    assert_eq!(jobs_sent(&stub), 1);
}

/// A stop does not wait for a printer that never answers: it is bounded by one request.
#[test]
fn a_stop_ends_soon() {
    let printer = Printer::start(Variant::Alone);
    let mut shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.freeze(true);
    shop.print(&shop.counter.blocks[0]);
    thread::sleep(Duration::from_millis(500));
    let begun = std::time::Instant::now();
    assert_eq!(shop.server.stop(), Some(0));
    assert!(begun.elapsed() < Duration::from_secs(6), "{:?}", begun.elapsed());
    printer.freeze(false);
}
