//! The whole way: from the till's request over the queue to the dots that a real printer received, and every trouble between.

use serde_json::json;

use crate::client::client_with;
use crate::shop::{Shop, a_while};
use crate::support::printer::{Printer, Variant};
use crate::support::raster::pages;
use crate::support::server::Kind;
use std::time::Duration;

fn arrives_dot_by_dot(kind: Kind) {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(kind, &[("counter", &printer.uri())]);
    let block = shop.counter.blocks[0].clone();
    let id = shop.print(&block);
    let done = shop.becomes(id, "done", "");
    assert_eq!((&done["attempts"], &done["job_id"], &done["tray_code"]), (&json!(1), &json!(1), &json!(block)));
    let documents = printer.documents();
    assert_eq!(documents.len(), 1);
    let read = pages(&documents[0]);
    assert_eq!(read.len(), 1);
    assert_eq!(read[0].header["size_name"], "om_tray-62x40_62x40mm");
    assert_eq!(read[0].differing(&shop.picture(&block)), 0);
    // The counterpart: another tray's label is another picture.
    assert!(read[0].differing(&shop.picture(&shop.counter.blocks[1])) > 500);
    let log = printer.log();
    assert!(log[0].starts_with("image/pwg-raster media=om_tray-62x40_62x40mm copies=1 name="), "{log:?}");
    assert!(log[0].ends_with(&format!(" #{id}.1 Lean saku")), "{log:?}");
    // Again only with a reason; two copies are the printer's.
    assert_eq!(shop.queue(&block, &json!({})).expect(422).json()["code"], "reason_required");
    let again =
        shop.queue(&block, &json!({"reason": "it got wet", "copies": 2, "printer": "counter"})).expect(201).json();
    let again = shop.becomes(again["print_id"].as_i64().unwrap(), "done", "");
    assert_eq!((&again["reason"], &again["wanted_by"]), (&json!("it got wet"), &json!("Marta")));
    assert!(printer.log()[1].contains("copies=2"), "{:?}", printer.log());
    let seen = shop.printer("counter");
    assert_eq!((&seen["stock"], &seen["dpi"], &seen["queue_length"]), (&json!("62x40"), &json!(203), &json!(0)));
    shop.until(|| {
        let seen = shop.printer("counter");
        if seen["state"] == "idle" { Ok(()) } else { Err(seen) }
    });
}

#[test]
fn dots_arrive_on_sqlite() {
    arrives_dot_by_dot(Kind::Sqlite);
}

#[test]
fn dots_arrive_on_postgres() {
    arrives_dot_by_dot(Kind::Postgres);
}

/// FLT-03 and FLT-02: out of labels before and while it prints. Once there are labels, each is printed once.
#[test]
fn out_of_labels_is_said_and_printed_once_there_are_some() {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.paper(0);
    let first = shop.print(&shop.counter.blocks[0]);
    shop.becomes(first, "printing", "it is out of labels");
    assert!(shop.printer("counter")["reasons"].to_string().contains("it is out of labels"));
    let second = shop.print(&shop.counter.blocks[1]);
    assert_eq!(shop.printer("counter")["queue_length"], 2);
    printer.paper(250);
    shop.becomes(first, "done", "");
    shop.becomes(second, "done", "");
    printer.fault("media-empty-error,cover-open");
    let third = shop.print(&shop.counter.blocks[2]);
    let both = shop.becomes(third, "printing", "it is out of labels");
    assert!(both["reasons"].as_str().unwrap().contains("its cover is open"), "{both}");
    printer.mend();
    shop.becomes(third, "done", "");
    assert_eq!(printer.documents().len(), 3);
}

/// FLT-05 and FLT-09: taken by someone else, then switched off. Both are tried again, and each label comes once.
#[test]
fn busy_or_gone_is_tried_again_and_printed_once() {
    let mut printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.fault("moving-to-paused");
    let stranger = client_with(&printer.uri(), Duration::from_secs(5));
    crate::client::accepted(crate::client::print_raster(&stranger, "a stranger's"));
    let id = shop.print(&shop.counter.blocks[0]);
    let waiting = shop.becomes(id, "waiting", "busy");
    assert!(waiting["attempts"].as_i64().unwrap() >= 1 && waiting["job_id"].is_null());
    printer.mend();
    shop.becomes(id, "done", "");
    assert_eq!(printer.documents().len(), 2);

    printer.switch_off();
    let id = shop.print(&shop.counter.blocks[1]);
    let waiting = shop.becomes(id, "waiting", "waits: it does not answer");
    assert_eq!(waiting["attempts"], 0, "nothing was sent");
    assert_eq!(shop.printer("counter")["state"], "silent");
    printer.switch_on();
    shop.becomes(id, "done", "");
    a_while();
    assert_eq!(printer.documents().len(), 3);
}

/// FLT-04, and a person who prints it again.
#[test]
fn an_aborted_job_has_failed_until_a_person_acts() {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.abort_jobs(true);
    let id = shop.print(&shop.counter.blocks[0]);
    shop.becomes(id, "failed", "aborted by system");
    printer.abort_jobs(false);
    a_while();
    assert_eq!(printer.documents().len(), 1, "not again by itself");
    assert_eq!(shop.resolve(id, "no")["state"], "waiting");
    let done = shop.becomes(id, "done", "");
    assert_eq!(done["attempts"], 2);
    assert_eq!(printer.documents().len(), 2);
}

#[test]
fn what_is_cancelled_is_called_back_from_the_printer() {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.fault("cover-open");
    let first = shop.print(&shop.counter.blocks[0]);
    let second = shop.print(&shop.counter.blocks[1]);
    shop.becomes(first, "printing", "its cover is open");
    assert_eq!(shop.cancel(second)["state"], "cancelled", "it was ours still");
    assert_eq!(shop.cancel(first)["cancel_wanted_by"], "Marta");
    a_while();
    printer.mend();
    shop.becomes(first, "cancelled", "");
    let third = shop.print(&shop.counter.blocks[2]);
    shop.becomes(third, "done", "");
    assert_eq!(printer.documents().len(), 2, "the second never came");
}

/// A price is lowered while the old label waits behind another one: the old label is never printed.
#[test]
fn a_superseded_label_is_never_printed() {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.fault("cover-open");
    let first = shop.print(&shop.counter.blocks[0]);
    shop.becomes(first, "printing", "");
    let block = shop.counter.blocks[1].clone();
    let old = shop.print(&block);
    let body = json!({"price_per_kg_cents": 5_000, "reason": "end of day"});
    shop.post(&format!("/v1/trays/{block}/markdowns"), &body).expect(201);
    let new = shop.print(&block);
    printer.mend();
    shop.becomes(old, "superseded", "the tray has a newer label");
    shop.becomes(new, "done", "");
    let documents = printer.documents();
    assert_eq!(documents.len(), 2);
    assert_eq!(pages(&documents[1])[0].differing(&shop.picture(&block)), 0, "with the new price");
}

/// The same, with the old label at the printer already, which is out of labels: it comes back, and the new one alone is printed.
#[test]
fn an_outdated_label_is_called_back_from_the_printer() {
    let printer = Printer::start(Variant::Alone);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    printer.paper(0);
    let block = shop.counter.blocks[0].clone();
    let old = shop.print(&block);
    shop.becomes(old, "printing", "it is out of labels");
    let body = json!({"price_per_kg_cents": 5_000, "reason": "end of day"});
    shop.post(&format!("/v1/trays/{block}/markdowns"), &body).expect(201);
    let asked = shop.until(|| {
        let print = shop.get(old);
        if print["state"] == "printing" && print["cancel_wanted_by"].is_null() { Err(print) } else { Ok(print) }
    });
    assert!(
        asked["state"] == "cancelled" || asked["cancel_wanted_by"] == "the shop (the tray wants another label)",
        "{asked}"
    );
    let new = shop.print(&block);
    // This printer lets go of a cancelled job only once it has labels again.
    printer.paper(250);
    shop.becomes(old, "cancelled", "called back by the shop (the tray wants another label)");
    shop.becomes(new, "done", "");
    let last = printer.documents().pop().unwrap();
    assert_eq!(pages(&last)[0].differing(&shop.picture(&block)), 0, "with the new price");
}

#[test]
fn two_printers_print_each_its_own() {
    let (left, right) = (Printer::start(Variant::Alone), Printer::start(Variant::Alone));
    let shop = Shop::open(Kind::Sqlite, &[("left", &left.uri()), ("right", &right.uri())]);
    let blocks = shop.counter.blocks.clone();
    assert_eq!(shop.queue(&blocks[0], &json!({})).expect(422).json()["code"], "invalid_value", "which one?");
    assert_eq!(shop.queue(&blocks[0], &json!({"printer": "middle"})).expect(422).json()["code"], "unknown_reference");
    left.fault("cover-open");
    let on = |tray: &str, printer: &str| {
        shop.queue(tray, &json!({"printer": printer})).expect(201).json()["print_id"].as_i64().unwrap()
    };
    let (stuck, one, two) = (on(&blocks[0], "left"), on(&blocks[1], "right"), on(&blocks[2], "right"));
    shop.becomes(one, "done", "");
    shop.becomes(two, "done", "");
    shop.becomes(stuck, "printing", "its cover is open");
    left.mend();
    shop.becomes(stuck, "done", "");
    assert_eq!((left.documents().len(), right.documents().len()), (1, 2));
    assert_eq!(pages(&left.documents()[0])[0].differing(&shop.picture(&blocks[0])), 0);
    assert_eq!(pages(&right.documents()[1])[0].differing(&shop.picture(&blocks[2])), 0);
}

/// What this printer does not list is not sent to it, and the print says what that is.
#[test]
fn what_the_printer_does_not_list_is_not_sent() {
    let printer = Printer::start(Variant::Alone);
    let mut shop = Shop::open(Kind::Sqlite, &[("counter", &printer.uri())]);
    let settings = shop.settings_text();
    shop.server.stop();
    shop.write_settings(&settings.replace("stock = \"62x40\"", "stock = \"62x40\"\nmedia = \"om_other_62x40mm\""));
    shop.start_again();
    let id = shop.print(&shop.counter.blocks[0]);
    shop.becomes(id, "waiting", "no paper om_other_62x40mm; it has om_tray-62x40_62x40mm");
    shop.server.stop();
    shop.write_settings(&settings.replace("stock = \"62x40\"", "stock = \"62x40\"\ndpi = 300"));
    shop.start_again();
    shop.becomes(id, "waiting", "does not print 300 dots per inch; it prints 203");
    assert!(printer.documents().is_empty());
    // The counterpart.
    shop.server.stop();
    shop.write_settings(&settings);
    shop.start_again();
    shop.becomes(id, "done", "");
    assert_eq!(printer.documents().len(), 1);
}
