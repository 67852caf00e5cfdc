//! What a receiver gets: everything of its kinds, in order, each until it is taken, whatever the receiver does meanwhile.

use crate::authority::Authority;
use crate::ground::{Which, actor, arrival, chill, on_both, start};
use crate::receiver::{Receiver, Say, always, until};
use crate::served::{Stage, chance, cursors, note, told};
use sakudana::domain::refusal::Code;
use sakudana::domain::webhook::schedule::PAUSES_S;
use sakudana::domain::webhook::signature::{read_secret, verify};
use sakudana::domain::webhook::{Kind, MOST};
use sakudana::ops::changes::FeedPosition;
use sakudana::ops::edit_catalogue::Expected;
use sakudana::ops::failure::Failure;
use sakudana::ops::receive::receive;
use sakudana::ops::webhooks::{self, Switch, fresh_secret, serving};
use sakudana::units::instant::MICROS_PER_SECOND;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

on_both!(
    every_change_comes_in_order_one_at_a_time,
    a_receiver_that_is_away_for_three_days_misses_nothing,
    whatever_goes_wrong_the_same_letter_comes_again,
    a_receiver_that_is_gone_is_left_alone_until_somebody_says_otherwise,
    only_the_kinds_that_were_asked_for_come,
    a_rotated_secret_and_the_new_one_are_good_side_by_side,
    a_test_is_sent_once_and_holds_nothing_up,
    two_processes_do_not_serve_one_receiver_at_once,
    a_process_that_died_is_followed_when_its_claim_ends,
    what_another_key_sealed_is_not_sent,
    what_a_manager_may_not_say_is_refused,
);

fn every_change_comes_in_order_one_at_a_time(which: Which) {
    let receiver = Receiver::start(always(204));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (id, secret) = stage.subscribe(&receiver.url("/fish?shop=1"), &[]);
    thread::scope(|scope| {
        for writer in 0..4 {
            let desk = Arc::clone(&stage.desk);
            scope.spawn(move || (0..10).for_each(|n| note(&desk, &format!("{writer} {n}"))));
        }
    });
    let heard = receiver.at_least(40);
    let changes = stage.changes(from);
    assert_eq!((told(&heard), changes.len()), (cursors(&changes), 40));
    assert_eq!(heard.iter().map(|one| one.id()).collect::<BTreeSet<_>>().len(), 40, "each its own number");
    assert_eq!(receiver.most_at_once(), 1);
    stage.signed(&secret, &heard);
    let first = &heard[0];
    assert_eq!(first.path, "/fish?shop=1");
    let body = first.json();
    assert_eq!((&body["type"], &body["data"]["kind"]), (&"act.recorded".into(), &"note".into()));
    assert_eq!(body["timestamp"], start().to_string());
    assert!(!first.body.contains("mika"), "who did it stays in the shop");
    let hook = stage.until(id, "the last is settled", |hook| hook.position.1 == changes[39].position.id);
    assert_eq!((hook.tries, hook.dead_in_a_row, hook.last_failure), (0, 0, None));
}

/// Row FT-16: away for 72 hours, in the time of the test.
fn a_receiver_that_is_away_for_three_days_misses_nothing(which: Which) {
    let back = Arc::new(AtomicBool::new(false));
    let seen = Arc::clone(&back);
    let receiver =
        Receiver::start(Arc::new(move |_, _| Say::Status(if seen.load(Ordering::SeqCst) { 200 } else { 503 })));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (id, secret) = stage.subscribe(&receiver.url("/"), &[]);
    ["one", "two", "three"].iter().for_each(|said| stage.note(said));
    let begun = stage.clock.now();
    let hours = || stage.clock.now().since(begun) / (3_600 * MICROS_PER_SECOND);
    let mut tries = 0;
    while tries < 9 {
        tries += 1;
        let hook = stage.until(id, "a try", |hook| hook.tries == tries);
        let waits = hook.next_try_at.since(stage.clock.now()) / MICROS_PER_SECOND;
        assert_eq!(waits, PAUSES_S[usize::try_from(tries).unwrap()]);
        assert_eq!(receiver.heard().len(), usize::try_from(tries).unwrap(), "no more than the schedule says");
        back.store(hours() >= 51, Ordering::SeqCst);
        stage.turn_to_next_try(id);
    }
    assert!(hours() >= 72, "{}", hours());
    let heard = receiver.at_least(12);
    let expected = cursors(&stage.changes(from));
    assert_eq!(told(&heard[9..]), expected, "all of them, in order");
    assert!(
        heard[..10].iter().all(|one| one.id() == heard[0].id() && one.body == heard[0].body),
        "one letter, ten times"
    );
    let times: Vec<i64> = heard[..10].iter().map(|one| one.timestamp()).collect();
    assert!(times.windows(2).all(|pair| pair[0] < pair[1]), "each try says its own time: {times:?}");
    stage.signed(&secret, &heard);
    assert_eq!(stage.until(id, "the end", |hook| hook.tries == 0 && hook.last_failure.is_none()).dead_in_a_row, 0);
}

fn whatever_goes_wrong_the_same_letter_comes_again(which: Which) {
    let trap = Receiver::start(always(200));
    let elsewhere = trap.url("/trap");
    let receiver = Receiver::start(Arc::new(move |n, _| match n {
        0 => Say::Status(500),
        1 => Say::HangUp,
        2 => Say::HalfAHead,
        3 => Say::Endless,
        4 => Say::With(307, vec![("Location", elsewhere.clone())]),
        5 => Say::With(301, vec![("Location", "http://169.254.169.254/".to_owned())]),
        6 => Say::With(429, vec![("Retry-After", "60000".to_owned())]),
        7 => Say::After(Duration::from_secs(10)),
        // It was taken: that the rest of the answer breaks off changes nothing.
        8 => Say::HalfABody,
        _ => Say::Status(200),
    }));
    let stage = Stage::open(which, &[&receiver, &trap]);
    let from = stage.newest();
    let (id, secret) = stage.subscribe(&receiver.url("/"), &[]);
    stage.note("one");
    stage.note("two");
    let words = [
        "answered 500",
        "connection failed",
        "",
        "answered 500",
        "answered 307: redirects are not followed",
        "answered 301: redirects are not followed",
        "answered 429",
        "no answer within 1 s",
    ];
    for (n, words) in words.iter().enumerate() {
        let hook = stage.until(id, words, |hook| hook.tries == i64::try_from(n).unwrap() + 1);
        let said = hook.last_failure.unwrap();
        assert!(said.contains(words), "{n}: {said}");
        if n == 6 {
            let waits = hook.next_try_at.since(stage.clock.now()) / MICROS_PER_SECOND;
            assert_eq!(waits, 60_000, "longer than the schedule, since it was asked for");
        }
        stage.turn_to_next_try(id);
    }
    let heard = receiver.at_least(10);
    assert!(heard[..9].iter().all(|one| one.id() == heard[0].id() && one.body == heard[0].body));
    assert_eq!(told(&heard[8..]), cursors(&stage.changes(from)));
    stage.signed(&secret, &heard);
    assert_eq!(trap.connections(), 0, "no redirect was followed");
}

fn a_receiver_that_is_gone_is_left_alone_until_somebody_says_otherwise(which: Which) {
    let receiver = Receiver::start(Arc::new(|n, _| Say::Status(if n == 1 { 410 } else { 200 })));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (id, _) = stage.subscribe(&receiver.url("/"), &[]);
    stage.note("one");
    receiver.at_least(1);
    stage.note("two");
    let hook = stage.until(id, "disabled", |hook| hook.disabled.is_some());
    assert!(hook.disabled.unwrap().why.contains("410"));
    stage.note("three");
    stage.turn(100_000);
    thread::sleep(Duration::from_millis(300));
    assert_eq!(receiver.heard().len(), 2);
    let (draft, now) = (stage.draft(&receiver.url("/"), &[]).unwrap(), stage.clock.now());
    let on = move |tx: &mut sakudana::store::Tx<'_>, _: &_| {
        webhooks::change(tx, &actor(), now, id, &draft, Switch::On, Expected::Version(1))
    };
    stage.desk.act(on).unwrap();
    let heard = receiver.at_least(4);
    let expected = cursors(&stage.changes(from));
    assert_eq!(told(&heard), [&expected[..2], &expected[1..]].concat(), "the one it did not want again, then the next");
}

fn only_the_kinds_that_were_asked_for_come(which: Which) {
    let receiver = Receiver::start(always(200));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    stage.stop_and_place();
    let (id, _) = stage.subscribe(&receiver.url("/"), &["tray.gone"]);
    // More of them than are looked at in one step.
    (0..450).for_each(|n| stage.note(&n.to_string()));
    stage.desk.act(|tx, shop| receive(tx, shop, &actor(), start(), &arrival("YFT", "case", 4_000)).map(drop)).unwrap();
    stage.note("after");
    let heard = receiver.at_least(1);
    assert_eq!(heard[0].json()["type"], "tray.gone");
    assert_eq!(heard[0].json()["data"]["kind"], "receive");
    assert_eq!(heard[0].json()["data"]["offer"], serde_json::Value::Null);
    let wanted = stage
        .changes(from)
        .into_iter()
        .filter(|c| Kind::of(c.tray_code.as_deref(), c.offer.as_deref()) == Kind::TrayGone);
    assert_eq!(told(&receiver.heard()), cursors(&wanted.collect::<Vec<_>>()));
    assert_eq!(stage.hook(id).tries, 0);
}

fn a_rotated_secret_and_the_new_one_are_good_side_by_side(which: Which) {
    let receiver = Receiver::start(always(200));
    let stage = Stage::open(which, &[&receiver]);
    let (id, old) = stage.subscribe(&receiver.url("/"), &[]);
    let rotate = |hours: i64| {
        let (secret, now) = (stage.secret(), stage.clock.now());
        let written = read_secret(&secret.written).unwrap();
        stage.desk.act(move |tx, _| webhooks::rotate(tx, &actor(), now, id, &secret, hours)).unwrap();
        written
    };
    let good = |count: usize, secrets: &[&Vec<u8>]| {
        stage.note("said");
        let heard = receiver.at_least(count);
        let last = &heard[count - 1];
        let (signature, at) = (&last.headers["webhook-signature"], last.timestamp());
        let fits = |secret: &&&Vec<u8>| verify(secret, last.id(), at, signature, last.body.as_bytes(), at).is_ok();
        assert_eq!(signature.split(' ').count(), secrets.iter().filter(fits).count());
        secrets.iter().map(|secret| fits(&secret)).collect::<Vec<bool>>()
    };
    assert_eq!(good(1, &[&old]), [true]);
    let new = rotate(24);
    assert_eq!(good(2, &[&old, &new]), [true, true]);
    stage.turn(25 * 3_600);
    // Whoever looks what is next may have read the clock before: let that look pass.
    std::thread::sleep(std::time::Duration::from_secs(3));
    assert_eq!(good(3, &[&old, &new]), [false, true]);
    let newest = rotate(0);
    assert_eq!(good(4, &[&new, &newest]), [false, true], "one that others know is good no more");
    let stored = stage.hook(id).secret;
    assert!(!stored.contains("whsec") && stored.starts_with("x1:"), "sealed: {stored}");
}

fn a_test_is_sent_once_and_holds_nothing_up(which: Which) {
    let receiver =
        Receiver::start(Arc::new(|_, heard| Say::Status(if heard.body.contains("webhook.test") { 500 } else { 200 })));
    let stage = Stage::open(which, &[&receiver]);
    let (id, secret) = stage.subscribe(&receiver.url("/"), &[]);
    stage.ask_for_test(id);
    let hook = stage.until(id, "the test's outcome", |hook| hook.test_outcome.is_some());
    assert_eq!((hook.test_outcome.as_deref(), hook.tries), (Some("the receiver answered 500"), 0));
    stage.note("one");
    let heard = receiver.at_least(2);
    assert_eq!((&heard[0].json()["type"], heard.len()), (&"webhook.test".into(), 2));
    stage.signed(&secret, &heard);
    stage.turn(100_000);
    thread::sleep(Duration::from_millis(300));
    assert_eq!(receiver.heard().len(), 2, "it is not tried again");
}

fn two_processes_do_not_serve_one_receiver_at_once(which: Which) {
    let receiver = Receiver::start(Arc::new(|_, _| {
        thread::sleep(Duration::from_millis(5));
        Say::Status(200)
    }));
    let mut stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (second, _serving) = stage.another();
    stage.subscribe(&receiver.url("/"), &[]);
    thread::scope(|scope| {
        scope.spawn(|| (0..20).for_each(|n| note(&stage.desk, &n.to_string())));
        scope.spawn(|| (0..20).for_each(|n| note(&second, &n.to_string())));
    });
    receiver.at_least(40);
    assert_eq!((receiver.heard().len(), receiver.most_at_once()), (40, 1));
    // Whoever served it lets it go when it ends; the clock stands, so that no claim ends by itself.
    stage.stop();
    (0..5).for_each(|n| note(&second, &n.to_string()));
    receiver.at_least(45);
    assert_eq!(told(&receiver.heard()), cursors(&stage.changes(from)));
    assert_eq!(receiver.most_at_once(), 1);
}

fn a_process_that_died_is_followed_when_its_claim_ends(which: Which) {
    let receiver = Receiver::start(always(200));
    let stage = Stage::open(which, &[&receiver]);
    let (id, _) = stage.subscribe(&receiver.url("/"), &[]);
    let (now, micros) = (stage.clock.now(), serving::claim_micros(1));
    assert!(stage.desk.act(move |tx, _| serving::claim(tx, id, "died", now, micros)).unwrap().is_some());
    assert!(stage.desk.act(move |tx, _| serving::claim(tx, id, "other", now, micros)).unwrap().is_none());
    stage.note("one");
    thread::sleep(Duration::from_millis(1_300));
    assert_eq!(receiver.heard().len(), 0);
    stage.turn(micros / MICROS_PER_SECOND + 1);
    receiver.at_least(1);
    assert_eq!(stage.until(id, "settled", |hook| hook.last_success_at.is_some()).claimed_by.as_deref(), Some("first"));
}

fn what_another_key_sealed_is_not_sent(which: Which) {
    let receiver = Receiver::start(always(200));
    let mut stage = Stage::open(which, &[&receiver]);
    let (id, _) = stage.subscribe(&receiver.url("/"), &[]);
    stage.with_another_key();
    stage.turn(60);
    stage.note("one");
    let hook = stage.until(id, "trouble", |hook| hook.last_failure.is_some());
    assert!(hook.last_failure.unwrap().contains("another key"));
    assert_eq!((receiver.connections(), hook.tries), (0, 0));
    let (secret, now) = (fresh_secret(stage.desk.webhooks(), &chance()).unwrap(), stage.clock.now());
    let written = read_secret(&secret.written).unwrap();
    stage.desk.act(move |tx, _| webhooks::rotate(tx, &actor(), now, id, &secret, 24)).unwrap();
    stage.signed(&written, &receiver.at_least(1));
}

fn what_a_manager_may_not_say_is_refused(which: Which) {
    let receiver = Receiver::start(always(200));
    let stage = Stage::open(which, &[&receiver]);
    let code = |failure: Failure| match failure {
        Failure::Refused(refusal) => refusal.code,
        Failure::Store(error) => panic!("{error}"),
    };
    assert_eq!(code(stage.draft("http://127.0.0.1:1/", &[]).unwrap_err()), Code::AddressRefused);
    assert_eq!(code(stage.draft(&receiver.url("/"), &["webhook.test"]).unwrap_err()), Code::InvalidValue);
    let (draft, now) = (stage.draft("https://receiver.example/", &[]).unwrap(), stage.clock.now());
    let create = |after: Option<FeedPosition>| {
        let (draft, secret) = (draft.clone(), stage.secret());
        stage.desk.act(move |tx, _| webhooks::create(tx, &actor(), now, &draft, after, &secret))
    };
    assert_eq!(code(create(Some(FeedPosition { xact: 1, id: i64::MAX })).unwrap_err()), Code::InvalidValue);
    let first = create(Some(FeedPosition::START)).unwrap();
    assert_eq!(first.position, (0, 0));
    (1..MOST).for_each(|_| drop(create(None).unwrap()));
    assert_eq!(code(create(None).unwrap_err()), Code::WebhookLimit);
    let id = first.id;
    let change = |expected: Expected| {
        let draft = draft.clone();
        stage.desk.act(move |tx, _| webhooks::change(tx, &actor(), now, id, &draft, Switch::Off, expected))
    };
    assert_eq!(code(change(Expected::Version(2)).unwrap_err()), Code::VersionMismatch);
    assert_eq!(code(change(Expected::New).unwrap_err()), Code::AlreadyExists);
    assert_eq!(change(Expected::Version(1)).unwrap().version, 2);
    assert_eq!(code(stage.desk.act(move |tx, _| webhooks::ask_for_test(tx, now, id)).unwrap_err()), Code::InvalidValue);
    let deleted = stage.desk.act(move |tx, _| webhooks::delete(tx, &actor(), now, id)).unwrap();
    assert_eq!(code(stage.desk.look(|reading, _| webhooks::one(reading, deleted.id)).unwrap_err()), Code::NotFound);
    assert!(create(None).unwrap().id > i64::try_from(MOST).unwrap(), "a number is never given out again");
}

/// A certificate of nobody's, of another name, and a right one: to a receiver of the shop, whose own authority speaks for it.
#[test]
fn tls_is_what_the_shop_trusts_or_nothing_is_said() {
    let (ours, other) = (Authority::new(), Authority::new());
    let unknown = Receiver::with_tls(always(200), other.server("127.0.0.1"));
    let misnamed = Receiver::with_tls(always(200), ours.server("receiver.example"));
    let right = Receiver::with_tls(always(200), ours.server("127.0.0.1"));
    let stage = Stage::trusting(Which::Sqlite, &[&unknown, &misnamed, &right], vec![ours.der.clone()]);
    let ids = [&unknown, &misnamed, &right].map(|receiver| stage.subscribe(&receiver.url("/"), &[]));
    stage.note("one");
    stage.signed(&ids[2].1, &right.at_least(1));
    let stranger = "TLS: its certificate is of no authority that is trusted";
    for ((id, _), words) in ids.iter().zip([stranger, "TLS: its certificate is for another name"]) {
        assert_eq!(stage.until(*id, "a failure", |hook| hook.tries == 1).last_failure.as_deref(), Some(words));
    }
    for receiver in [&unknown, &misnamed] {
        assert!(receiver.connections() > 0 && receiver.heard().is_empty(), "it was reached, and told nothing");
    }
    let untrusting = Stage::open(Which::Sqlite, &[&right]);
    let (id, _) = untrusting.subscribe(&right.url("/"), &[]);
    untrusting.note("one");
    assert_eq!(untrusting.until(id, "a failure", |hook| hook.tries == 1).last_failure.as_deref(), Some(stranger));
    assert_eq!(right.heard().len(), 1, "without the authority it is a stranger too");
}

/// Nobody listens.
#[test]
fn a_receiver_that_is_not_there_is_tried_again() {
    let receiver = Receiver::start(always(200));
    let (at, url) = (receiver.at, receiver.url("/"));
    let stage = Stage::open(Which::Sqlite, &[&receiver]);
    drop(receiver);
    until("the port is free", || std::net::TcpListener::bind(at).ok());
    let (id, _) = stage.subscribe(&url, &[]);
    stage.note("one");
    let hook = stage.until(id, "a failure", |hook| hook.tries == 1);
    assert!(hook.last_failure.unwrap().contains("the connection failed"));
    let again = Receiver::on(&at.to_string(), always(200), None);
    stage.turn_to_next_try(id);
    again.at_least(1);
}

impl Stage {
    /// A place to receive into.
    fn stop_and_place(&self) {
        use sakudana::ops::edit_catalogue::put_place;
        let draft = chill(0, 2_000);
        let put = move |tx: &mut sakudana::store::Tx<'_>, shop: &_| {
            put_place(tx, shop, &actor(), start(), "case", &draft, Expected::New).map(drop)
        };
        self.desk.act(put).unwrap();
    }
}
