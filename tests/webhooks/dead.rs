//! Letters that could not be delivered: kept, passed by, sent again when somebody asks; and replays from a place in the feed.

use crate::ground::{Which, on_both};
use crate::receiver::{Receiver, Say, until};
use crate::served::{Stage, cursors, told};
use sakudana::domain::webhook::DEAD_IN_A_ROW;
use sakudana::ops::verify::verify;
use sakudana::ops::webhooks::{self, Fares, Replay};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

on_both!(
    a_letter_nobody_takes_dies_and_the_next_follows,
    a_receiver_that_takes_nothing_is_left_alone_at_last,
    a_replay_sends_all_from_a_place_on_under_the_same_numbers,
);

fn fares(stage: &Stage, id: i64) -> Fares {
    stage.desk.look(|reading, _| webhooks::fares(reading, id, None, 100)).unwrap()
}

/// Turns the clock until the letter under way is given up.
fn wear_out(stage: &Stage, id: i64, dead: i64) {
    let mut tries = 0;
    loop {
        let settled = until("a try", || {
            let fares = fares(stage, id);
            (fares.letter_count == dead || fares.hook.tries > tries).then_some(fares)
        });
        if settled.letter_count == dead {
            assert_eq!(tries, 9, "the tenth try is the last");
            return;
        }
        tries = settled.hook.tries;
        stage.turn_to_next_try(id);
    }
}

fn sound(stage: &Stage) {
    let findings = stage.desk.look(|reading, _| verify(reading)).unwrap();
    let question = findings.iter().find(|finding| finding.name.starts_with("webhooks:")).unwrap();
    assert!(question.checked > 0 && question.wrong.is_empty(), "{question:?}");
}

fn a_letter_nobody_takes_dies_and_the_next_follows(which: Which) {
    let mended = Arc::new(AtomicBool::new(false));
    let seen = Arc::clone(&mended);
    // It chokes on the first letter alone, until it is mended.
    let first = Mutex::new(None::<String>);
    let receiver = Receiver::start(Arc::new(move |_, heard| {
        let mut first = first.lock().unwrap();
        let chokes = *first.get_or_insert_with(|| heard.id().to_owned()) == heard.id();
        Say::Status(if chokes && !seen.load(Ordering::SeqCst) { 422 } else { 200 })
    }));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (id, secret) = stage.subscribe(&receiver.url("/"), &[]);
    ["one", "two", "three"].iter().for_each(|said| stage.note(said));
    wear_out(&stage, id, 1);
    let heard = receiver.at_least(12);
    let expected = cursors(&stage.changes(from));
    assert_eq!(told(&heard[9..]), expected);
    let hook = stage.until(id, "all is settled", |hook| hook.dead_in_a_row == 0);
    assert!(hook.disabled.is_none());
    let letters = fares(&stage, id).letters;
    assert_eq!((letters.len(), letters[0].tries), (1, 10));
    assert_eq!(letters[0].reason, "the receiver answered 422");
    sound(&stage);
    mended.store(true, Ordering::SeqCst);
    stage.replay(id, Replay::Letter(letters[0].id));
    let heard = receiver.at_least(13);
    assert_eq!((heard[12].id(), &heard[12].body), (heard[0].id(), &heard[0].body), "the same letter");
    stage.signed(&secret, &heard);
    until("the letter is gone", || (fares(&stage, id).letter_count == 0).then_some(()));
}

fn a_receiver_that_takes_nothing_is_left_alone_at_last(which: Which) {
    let mended = Arc::new(AtomicBool::new(false));
    let seen = Arc::clone(&mended);
    let receiver =
        Receiver::start(Arc::new(move |_, _| Say::Status(if seen.load(Ordering::SeqCst) { 200 } else { 500 })));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (id, _) = stage.subscribe(&receiver.url("/"), &[]);
    (0..5).for_each(|n| stage.note(&n.to_string()));
    (1..=DEAD_IN_A_ROW).for_each(|dead| wear_out(&stage, id, dead));
    let hook = stage.until(id, "disabled", |hook| hook.disabled.is_some());
    assert!(hook.disabled.as_ref().unwrap().why.contains("3 letters in a row"));
    assert_eq!(receiver.heard().len(), 30);
    let all = stage.changes(from);
    assert_eq!(hook.position.1, all[2].position.id, "it stands where it stopped");
    // A replay that fails leaves the letter where it is.
    let (draft, now) = (stage.draft(&receiver.url("/"), &[]).unwrap(), stage.clock.now());
    let version = hook.version;
    let on = move |tx: &mut sakudana::store::Tx<'_>, _: &_| {
        use sakudana::ops::edit_catalogue::Expected;
        webhooks::change(tx, &crate::ground::actor(), now, id, &draft, webhooks::Switch::On, Expected::Version(version))
    };
    stage.desk.act(on).unwrap();
    let letter = fares(&stage, id).letters[0].clone();
    stage.replay(id, Replay::Letter(letter.id));
    let after = until("the replay's end", || {
        let found = fares(&stage, id).letters.into_iter().find(|one| one.id == letter.id).unwrap();
        (found.tries == letter.tries + 1).then_some(found)
    });
    assert_eq!(after.replay_asked_at, None, "asked for once, sent once");
    // It waits for its next try, so that the letters come before it.
    stage.until(id, "the fourth is tried", |hook| hook.tries > 0);
    mended.store(true, Ordering::SeqCst);
    stage.replay(id, Replay::AllLetters);
    until("all letters are gone", || (fares(&stage, id).letter_count == 0).then_some(()));
    let expected = cursors(&all);
    let taken = until("the rest", || {
        // A try under way when the receiver was mended may fail yet.
        stage.turn_to_next_try(id);
        let all = told(&receiver.heard());
        all.ends_with(&expected[3..]).then_some(all)
    });
    let replayed: Vec<String> = taken[taken.len() - 5..taken.len() - 2].to_vec();
    assert_eq!(replayed, expected[..3], "the dead in their own order, before what waits");
    sound(&stage);
}

fn a_replay_sends_all_from_a_place_on_under_the_same_numbers(which: Which) {
    let receiver = Receiver::start(Arc::new(|_, _| Say::Status(200)));
    let stage = Stage::open(which, &[&receiver]);
    let from = stage.newest();
    let (id, _) = stage.subscribe(&receiver.url("/"), &[]);
    (0..6).for_each(|n| stage.note(&n.to_string()));
    let first = receiver.at_least(6);
    let all = stage.changes(from);
    stage.until(id, "settled", |hook| hook.position.1 == all[5].position.id);
    stage.replay(id, Replay::Changes(all[1].position));
    let heard = receiver.at_least(10);
    let numbers = |some: &[crate::receiver::Heard]| some.iter().map(|one| one.id().to_owned()).collect::<Vec<_>>();
    assert_eq!(numbers(&heard[6..]), numbers(&first[2..]));
    assert_eq!(told(&heard[6..]), cursors(&all[2..]));
}
