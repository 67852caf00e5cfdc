//! The queue on both databases: what is claimed is claimed once, what may have been printed waits for a person, what is outdated never goes out.

use std::sync::Arc;

use sakudana::domain::printing::{Print, Printer, State};
use sakudana::domain::refusal::Code;
use sakudana::domain::tray::{LabelReason, Tray};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::failure::Failure;
use sakudana::ops::mark_down::mark_down;
use sakudana::ops::print::{self, Found, Shown};
use sakudana::ops::printing::{self, Next, Report};
use sakudana::ops::receive::receive;
use sakudana::ops::sell::{LineDraft, sell};
use sakudana::ops::{label, verify};
use sakudana::units::instant::{Instant, MICROS_PER_SECOND};

use crate::ground::{Ground, Which, actor, arrival, chill, start};

/// Blocks of saku in a case, none labelled yet.
struct Stand {
    ground: Arc<Ground>,
    blocks: Vec<Tray>,
}

fn printer() -> Printer {
    Printer { name: "counter".into(), stock: "62x40".into(), dpi: 203, width_um: 62_000, height_um: 40_000 }
}

fn at(seconds: i64) -> Instant {
    start().plus_micros(seconds * MICROS_PER_SECOND)
}

#[track_caller]
fn code_of<T>(outcome: Result<T, Failure>) -> Code {
    match outcome {
        Err(Failure::Refused(refusal)) => refusal.code,
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("was done"),
    }
}

fn stand(which: Which) -> Stand {
    let ground = Ground::open(which, 4);
    ground.place("case", chill(0, 2_000));
    let fish =
        ground.desk.act(|tx, shop| receive(tx, shop, &actor(), start(), &arrival("YFT", "case", 4_000))).unwrap();
    let output = |net_g| OutputDraft { cut: "saku".into(), place: "case".into(), net_g };
    let cutting = Cutting {
        inputs: vec![InputDraft { tray: fish.tray.code.to_string(), grams: None }],
        outputs: vec![output(300), output(310), output(320)],
        losses: vec![LossDraft { name: "the rest".into(), grams: 3_070 }],
        place: "case".into(),
        bench_minutes: None,
        reason: None,
    };
    let made = ground.desk.act(move |tx, shop| break_down(tx, shop, &actor(), start(), &cutting)).unwrap();
    Stand { ground: Arc::new(ground), blocks: made.trays }
}

impl Stand {
    fn print_on(
        &self,
        block: usize,
        reason: Option<&'static str>,
        printer: Printer,
        seconds: i64,
    ) -> Result<Shown, Failure> {
        let (code, press) = (self.blocks[block].code.to_string(), self.ground.desk.press());
        self.ground.desk.act(move |tx, shop| {
            print::issue_and_queue(tx, shop, &press, &actor(), at(seconds), &code, reason, &printer, 1)
        })
    }

    fn print(&self, block: usize, reason: Option<&'static str>, seconds: i64) -> Result<Shown, Failure> {
        self.print_on(block, reason, printer(), seconds)
    }

    fn next(&self, seconds: i64) -> Next {
        self.ground.desk.look(|reading, _| printing::next(reading, "counter", at(seconds))).unwrap()
    }

    fn claim(&self, print: &Print, seconds: i64) -> Option<Print> {
        let id = print.id;
        self.ground.desk.act(move |tx, _| printing::claim(tx, at(seconds), id)).unwrap()
    }

    fn report(&self, print: &Print, report: Report, seconds: i64) -> Print {
        let seen = print.clone();
        self.ground.desk.act(move |tx, _| printing::report(tx, at(seconds), &seen, &report)).unwrap();
        self.read(print)
    }

    fn read(&self, print: &Print) -> Print {
        self.ground.desk.look(|reading, _| print::one(reading, print.id)).unwrap().print
    }

    fn cancel(&self, print: &Print) -> Result<Shown, Failure> {
        let id = print.id;
        self.ground.desk.act(move |tx, _| print::cancel(tx, &actor(), at(50), id, None))
    }

    fn resolve(&self, print: &Print, found: Found) -> Result<Shown, Failure> {
        let id = print.id;
        self.ground.desk.act(move |tx, _| print::resolve(tx, &actor(), at(50), id, found))
    }

    fn clean(&self) {
        let findings = self.ground.desk.look(|reading, _| verify::verify(reading)).unwrap();
        assert!(findings.iter().all(|finding| finding.wrong.is_empty()), "{findings:?}");
        let of_prints = findings.iter().find(|finding| finding.name.starts_with("prints:")).unwrap();
        assert!(of_prints.checked > 0);
    }
}

fn accepted(job_id: i64) -> Report {
    Report::Accepted { job_id, job_uri: Some("ipp://printer/1".into()) }
}

pub fn a_label_is_issued_and_queued_in_one_act(which: Which) {
    let s = stand(which);
    let first = s.print(0, None, 1).unwrap();
    assert_eq!((first.print.state, first.print.attempts, first.print.reason.as_deref()), (State::Waiting, 0, None));
    assert!(first.tray.use_by.is_some() && first.tray.label_wanted.is_none());
    assert_eq!(code_of(s.print(0, None, 2)), Code::ReasonRequired);
    let again = s.print(0, Some("it got wet"), 3).unwrap();
    assert_ne!(first.print.act_id, again.print.act_id, "a reprint is a label of its own");
    // The first one waits still, and is no longer the label of the tray.
    let Next::Outdated(old, why) = s.next(4) else { panic!("{:?}", s.next(4)) };
    assert_eq!((old.id, why), (first.print.id, "the tray has a newer label"));
    assert_eq!(s.claim(&old, 4), None);
    assert_eq!(s.report(&old, Report::Outdated(why), 4).state, State::Superseded);
    assert_eq!(s.next(4), Next::Send(again.print.clone()));
    // Issued before, and never sent to a printer: no reason is asked for, and no other label is made.
    let (code, press) = (s.blocks[1].code.to_string(), s.ground.desk.press());
    s.ground.desk.act(move |tx, shop| label::issue(tx, shop, &press, &actor(), at(5), &code, None)).unwrap();
    let issued = s.print(1, None, 6).unwrap();
    assert_eq!(code_of(s.print(1, None, 7)), Code::ReasonRequired);
    assert_eq!(issued.print.wanted_at, at(6));
    // A label that this printer's stock is too small for is not issued either.
    let small = Printer { stock: "40x30".into(), ..printer() };
    assert_eq!(code_of(s.print_on(2, None, small, 8)), Code::LabelRefused);
    let untouched = s
        .ground
        .desk
        .look(|reading, shop| sakudana::ops::board::one(reading, shop, at(9), &s.blocks[2].code.to_string()));
    assert_eq!(untouched.unwrap().facts.tray.label_wanted, Some(LabelReason::New));
    s.clean();
}

pub fn what_may_have_been_printed_waits_for_a_person(which: Which) {
    let s = stand(which);
    let queued = s.print(0, None, 1).unwrap().print;
    let claimed = s.claim(&queued, 2).unwrap();
    assert_eq!((claimed.state, claimed.attempts), (State::Sending, 1));
    assert_eq!(s.claim(&queued, 2), None, "it is claimed once");
    // The server ends here. After a start it finds:
    assert_eq!(s.next(3), Next::Stray(claimed.clone()));
    let lost = s.report(&claimed, Report::Lost("the server stopped".into()), 3);
    assert_eq!((lost.state, lost.finished_at), (State::Unknown, None));
    assert_eq!(s.next(1_000_000), Next::Nothing, "never sent again by itself");
    assert_eq!(s.claim(&lost, 4), None);
    // The label is not there: again, and what the first try reports late changes nothing.
    let again = s.resolve(&lost, Found::Missing).unwrap().print;
    assert_eq!(again.state, State::Waiting);
    let second = s.claim(&again, 51).unwrap();
    assert_eq!(s.report(&claimed, accepted(7), 52), second);
    let taken = s.report(&second, accepted(8), 53);
    assert_eq!((taken.state, taken.job_id), (State::Printing, Some(8)));
    assert_eq!(s.next(54), Next::Follow(taken.clone()));
    assert_eq!(code_of(s.resolve(&taken, Found::Printed)), Code::NotInDoubt);
    let done = s.report(&taken, Report::Completed, 55);
    assert_eq!((done.state, done.finished_at), (State::Done, Some(at(55))));
    assert_eq!(code_of(s.resolve(&done, Found::Missing)), Code::NotInDoubt);
    // And the other way: it was there.
    let other = s.print(1, None, 1).unwrap().print;
    let claimed = s.claim(&other, 2).unwrap();
    let lost = s.report(&claimed, Report::Lost("cut".into()), 3);
    let seen = s.resolve(&lost, Found::Printed).unwrap().print;
    assert_eq!((seen.state, seen.reasons.as_str()), (State::Done, "mika has seen it printed"));
    s.clean();
}

pub fn what_was_refused_is_tried_later_and_later(which: Which) {
    let s = stand(which);
    let mut print = s.print(0, None, 0).unwrap().print;
    let (mut now, mut pauses) = (0, Vec::new());
    for _ in 0..7 {
        let claimed = s.claim(&print, now).unwrap();
        print = s.report(&claimed, Report::Refused("busy".into()), now);
        assert_eq!((print.state, print.reasons.as_str()), (State::Waiting, "busy"));
        let pause = print.next_try_at.since(at(now)) / MICROS_PER_SECOND;
        assert_eq!(s.next(now + pause - 1), Next::Nothing);
        now += pause;
        assert_eq!(s.next(now), Next::Send(print.clone()));
        pauses.push(pause);
    }
    assert_eq!(pauses, [2, 4, 8, 16, 32, 60, 60]);
    // Another one does not wait behind it.
    let other = s.print(1, None, now - 1).unwrap().print;
    assert_eq!(s.next(now - 1), Next::Send(other));
}

pub fn what_is_outdated_never_goes_out(which: Which) {
    let s = stand(which);
    let marked = s.print(0, None, 1).unwrap().print;
    let sold = s.print(1, None, 1).unwrap().print;
    let stale = s.print(2, None, 1).unwrap().print;
    let (code, line) = (s.blocks[0].code.to_string(), LineDraft { tray: s.blocks[1].code.to_string(), grams: None });
    s.ground.desk.act(move |tx, shop| mark_down(tx, shop, &actor(), at(2), &code, 5_000, "today")).unwrap();
    s.ground.desk.act(move |tx, shop| sell(tx, shop, &actor(), at(2), std::slice::from_ref(&line))).unwrap();
    let year = 365 * 86_400;
    for (print, seconds, expected) in [
        (&marked, 3, "the tray wants another label"),
        (&sold, 3, "the tray is gone"),
        (&stale, year, "the use-by on it has passed"),
    ] {
        assert_eq!(s.claim(print, seconds), None, "{expected}");
        let Next::Outdated(found, why) = s.next(seconds) else { panic!("{:?}", s.next(seconds)) };
        assert_eq!((found.id, why), (print.id, expected));
        s.report(&found, Report::Outdated(why), seconds);
    }
    assert_eq!(s.next(year), Next::Nothing);
    // The counterpart: the new label of the first goes.
    let again = s.print(0, None, 4).unwrap().print;
    assert_eq!(s.next(4), Next::Send(again));
}

/// The printer has it already: it is asked back, once, and the printer has the last word.
pub fn what_is_outdated_at_the_printer_is_called_back(which: Which) {
    let s = stand(which);
    let at_the_printer = |block: usize| {
        let queued = s.print(block, None, 1).unwrap().print;
        let claimed = s.claim(&queued, 2).unwrap();
        s.report(&claimed, accepted(7), 3)
    };
    let call_back = |print: &Print, seconds| {
        let seen = print.clone();
        s.ground.desk.act(move |tx, _| printing::call_back(tx, at(seconds), &seen)).unwrap();
        s.read(print)
    };
    let marked = at_the_printer(0);
    assert_eq!(s.next(4), Next::Follow(marked.clone()));
    assert_eq!(call_back(&marked, 4), marked, "its label holds");
    let code = s.blocks[0].code.to_string();
    s.ground.desk.act(move |tx, shop| mark_down(tx, shop, &actor(), at(5), &code, 5_000, "today")).unwrap();
    assert_eq!(s.next(6), Next::CallBack(marked.clone(), "the tray wants another label"));
    assert_eq!(call_back(&Print { attempts: 0, ..marked.clone() }, 6), marked, "an earlier try");
    let called = call_back(&marked, 6);
    let by = "the shop (the tray wants another label)";
    assert_eq!((called.state, called.cancel_by.as_deref()), (State::Printing, Some(by)));
    assert_eq!(s.next(7), Next::Follow(called.clone()), "noted once");
    let back = s.report(&called, Report::CancelledThere("canceled by user".into()), 8);
    assert_eq!((back.state, back.cancel_by), (State::Cancelled, None));
    assert_eq!(back.reasons, "called back by the shop (the tray wants another label): canceled by user");
    // Sold meanwhile, and printed before it could be called back.
    let sold = at_the_printer(1);
    let line = LineDraft { tray: s.blocks[1].code.to_string(), grams: None };
    s.ground.desk.act(move |tx, shop| sell(tx, shop, &actor(), at(5), std::slice::from_ref(&line))).unwrap();
    assert_eq!(s.next(6), Next::CallBack(sold.clone(), "the tray is gone"));
    let called = call_back(&sold, 6);
    assert_eq!(s.report(&called, Report::Completed, 7).state, State::Done);
    // A person may give it up as well, and only once; then it is the person's.
    let third = at_the_printer(2);
    let year = 365 * 86_400;
    assert_eq!(s.next(year), Next::CallBack(third.clone(), "the use-by on it has passed"));
    let called = call_back(&third, year);
    assert_eq!(s.cancel(&called).unwrap().print.cancel_by.as_deref(), Some("mika"));
    assert_eq!(code_of(s.cancel(&called)), Code::PrintOver);
    assert_eq!(call_back(&called, year).cancel_by.as_deref(), Some("mika"));
    s.clean();
}

pub fn what_is_given_up(which: Which) {
    let s = stand(which);
    let waiting = s.print(0, None, 1).unwrap().print;
    assert_eq!(s.cancel(&waiting).unwrap().print.state, State::Cancelled);
    assert_eq!(code_of(s.cancel(&waiting)), Code::PrintOver);
    assert_eq!(s.next(60), Next::Nothing);
    // The printer has it: it has the last word.
    let queued = s.print(1, None, 1).unwrap().print;
    let claimed = s.claim(&queued, 2).unwrap();
    let asked = s.cancel(&claimed).unwrap().print;
    assert_eq!((asked.state, asked.cancel_by.as_deref()), (State::Sending, Some("mika")));
    assert_eq!(code_of(s.cancel(&claimed)), Code::PrintOver, "asked already");
    let taken = s.report(&claimed, accepted(1), 3);
    assert_eq!((taken.state, taken.cancel_by.as_deref()), (State::Printing, Some("mika")));
    let done = s.report(&taken, Report::Completed, 4);
    assert_eq!((done.state, done.cancel_by), (State::Done, None));
    // Refused while someone wants it back: it is not tried again.
    let queued = s.print(2, None, 1).unwrap().print;
    let claimed = s.claim(&queued, 2).unwrap();
    s.cancel(&claimed).unwrap();
    assert_eq!(s.report(&claimed, Report::Refused("busy".into()), 3).state, State::Cancelled);
    // Of what nobody knows, a person may say: leave it.
    let again = s.print(2, Some("torn"), 5).unwrap().print;
    let lost = s.claim(&again, 6).unwrap();
    let lost = s.report(&lost, Report::Lost("cut".into()), 7);
    assert_eq!(s.cancel(&lost).unwrap().print.state, State::Cancelled);
    s.clean();
}

/// A printer is taken out of the settings with prints before it and on it.
pub fn what_has_no_printer_any_more(which: Which) {
    let s = stand(which);
    let (one, two, three) =
        (s.print(0, None, 1).unwrap().print, s.print(1, None, 1).unwrap().print, s.print(2, None, 1).unwrap().print);
    let (sending, taken) = (s.claim(&one, 2).unwrap(), s.claim(&two, 2).unwrap());
    let printing = s.report(&taken, accepted(5), 3);
    let see_to = |served: &'static str| {
        s.ground.desk.act(move |tx, _| printing::orphans(tx, &[served.to_owned()], at(9))).unwrap();
    };
    see_to("counter");
    assert_eq!(
        (s.read(&sending), s.read(&printing), s.read(&three)),
        (sending.clone(), printing.clone(), three.clone())
    );
    see_to("back");
    assert_eq!((s.read(&sending).state, s.read(&printing).state), (State::Unknown, State::Unknown));
    let waiting = s.read(&three);
    assert_eq!((waiting.state, waiting.reasons.as_str()), (State::Waiting, "its printer is no longer set up"));
    assert_eq!(s.next(10), Next::Send(waiting), "it is back: what waited is printed");
}

pub fn eight_at_once_claim_it_once(which: Which) {
    let s = stand(which);
    for block in 0..3 {
        let id = s.print(block, None, 1).unwrap().print.id;
        let claims: Vec<_> = (0..8)
            .map(|_| {
                let ground = Arc::clone(&s.ground);
                std::thread::spawn(move || ground.desk.act(move |tx, _| printing::claim(tx, at(2), id)).unwrap())
            })
            .collect();
        let taken = claims.into_iter().filter_map(|claim| claim.join().unwrap()).count();
        assert_eq!(taken, 1);
    }
}

macro_rules! on_both {
    ($($test:ident => $sqlite:ident, $postgres:ident;)*) => {
        $(
            #[test]
            fn $sqlite() { $test(Which::Sqlite); }

            #[test]
            fn $postgres() { $test(Which::Postgres); }
        )*
    };
}

on_both! {
    a_label_is_issued_and_queued_in_one_act => queued_on_sqlite, queued_on_postgres;
    what_may_have_been_printed_waits_for_a_person => unknown_on_sqlite, unknown_on_postgres;
    what_was_refused_is_tried_later_and_later => refused_on_sqlite, refused_on_postgres;
    what_is_outdated_never_goes_out => outdated_on_sqlite, outdated_on_postgres;
    what_is_outdated_at_the_printer_is_called_back => called_back_on_sqlite, called_back_on_postgres;
    what_is_given_up => given_up_on_sqlite, given_up_on_postgres;
    what_has_no_printer_any_more => orphaned_on_sqlite, orphaned_on_postgres;
    eight_at_once_claim_it_once => claimed_once_on_sqlite, claimed_once_on_postgres;
}
