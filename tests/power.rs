//! The power goes, again and again, while tills sell: what was acknowledged is there once, the books hold, and what was not answered is
//! settled by its key. On a disk of our own under the real store (`power/disk.rs` says what a cut leaves), so that every call is a moment
//! at which it can go.
//!
//! `SAKUDANA_POWER_CUTS` sets how many cuts (200), `SAKUDANA_POWER_SEED` the seed (1). The threads run as they like, so a seed repeats what is
//! asked and how the disk falls, not their order: a disk found wrong is written to a folder that the failure names.
//!
//! The controls run the same under `synchronous` NORMAL and OFF, which must lose acknowledged acts: the test can see.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "model/dice.rs"]
mod dice;
#[path = "power/disk.rs"]
mod disk;
#[path = "model/ground.rs"]
mod ground;
#[path = "power/load.rs"]
mod load;
mod support;
#[path = "power/vfs.rs"]
mod vfs;

use dice::Dice;
use disk::{Cut, Disk, Files, Synchronous};
use load::{Record, Sent, Stocked, Wrong, judge, known_at, open_desk, trade};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

const CUTS: u64 = 200;
/// Cuts of one shop: then it has sold out.
const A_SHOP: usize = 50;
const THREADS: usize = 6;
const ACTS_EACH: usize = 60;
/// Changing calls between two cuts, on average: of the trade above, about so many come that A_SHOP cuts fall into it.
const GAP: i64 = 70;
/// The same while a shop comes back.
const GAP_AGAIN: i64 = 25;

fn number_from(variable: &str, otherwise: u64) -> u64 {
    match std::env::var(variable) {
        Ok(text) => text.parse().unwrap_or_else(|_| panic!("{variable} is not a whole number: {text}")),
        Err(_) => otherwise,
    }
}

/// A disk found after a cut, with what must be on it.
struct Found {
    name: String,
    files: Files,
    /// It was cut while the log was being copied into the database.
    in_checkpoint: bool,
    acknowledged: Vec<(Sent, String)>,
    open: Vec<Sent>,
}

/// Trades on one shop, and gives the disks of its cuts.
fn cuts_of_a_shop(seed: u64, synchronous: Synchronous) -> Vec<Found> {
    let stocked = Stocked::open(synchronous, 120);
    let record = Arc::new(Record::default());
    let disk = stocked.disk();
    disk.cut_now_and_then(seed, GAP, record.progress());
    trade(&stocked, &record, seed, THREADS, ACTS_EACH);
    let cuts = disk.take_cuts();
    drop(stocked);
    assert!(cuts.len() > A_SHOP / 2, "only {} cuts: the shop did not trade", cuts.len());
    let find = |(index, cut): (usize, &Cut)| {
        let number = u64::try_from(index).unwrap();
        let files = cut.files.after_power_cut(&mut Dice::new(seed * 10_000 + number));
        let (acknowledged, open) = known_at(cut, &record);
        let in_checkpoint = cut.files.is_open_to_loss(".db");
        Found { name: format!("seed {seed}, cut {number}"), files, in_checkpoint, acknowledged, open }
    };
    cuts.iter().enumerate().map(find).take(A_SHOP).collect()
}

/// Judges disks, two at a time.
fn judge_all(found: Vec<Found>) -> Vec<(String, Vec<Wrong>)> {
    let (next, wrong) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let found = &found;
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some(one) = found.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let here = judge(one.files.clone(), &one.acknowledged, &one.open);
                    if !here.is_empty() {
                        wrong.lock().unwrap().push((one.name.clone(), here));
                    }
                }
            });
        }
    });
    wrong.into_inner().unwrap()
}

/// The shop comes back on a disk that is cut meanwhile, sends again what was open, and closes: the disks of those cuts.
fn cut_again(seed: u64, first: &Found) -> Vec<Found> {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().to_str().unwrap();
    let disk = Disk::new(first.files.clone().moved(name), Synchronous::Full, Duration::ZERO);
    vfs::insert(name, Arc::clone(&disk));
    let answered = Arc::new(Mutex::new(first.acknowledged.clone()));
    let told = Arc::clone(&answered);
    let begun = first.open.len();
    disk.cut_now_and_then(seed, GAP_AGAIN, Arc::new(move || (begun, told.lock().unwrap().len())));
    let desk = open_desk(folder.path()).unwrap();
    for sent in &first.open {
        if let Ok(answer) = sent.send(&desk) {
            answered.lock().unwrap().push((sent.clone(), answer.body));
        }
    }
    drop(desk);
    vfs::remove(name);
    let answered = answered.lock().unwrap().clone();
    let again = |(index, cut): (usize, Cut)| {
        let number = u64::try_from(index).unwrap();
        Found {
            name: format!("{}, and again {number}", first.name),
            files: cut.files.after_power_cut(&mut Dice::new(seed * 100 + number)),
            in_checkpoint: cut.files.is_open_to_loss(".db"),
            acknowledged: answered[..cut.acknowledged].to_vec(),
            open: first.open.clone(),
        }
    };
    disk.take_cuts().into_iter().enumerate().map(again).collect()
}

#[test]
fn what_was_acknowledged_is_there_after_every_cut() {
    let wanted = usize::try_from(number_from("SAKUDANA_POWER_CUTS", CUTS)).unwrap();
    let mut seed = number_from("SAKUDANA_POWER_SEED", 1);
    let (mut cuts, mut again, mut acts, mut open, mut copied) = (0, 0, 0, 0, 0);
    while cuts < wanted {
        let found = cuts_of_a_shop(seed, Synchronous::Full);
        let mut second = Vec::new();
        for (number, one) in (0..).zip(&found).filter(|(number, _)| number % 10 == 0) {
            second.extend(cut_again(seed * 1_000 + number, one));
        }
        cuts += found.len();
        again += second.len();
        copied += found.iter().filter(|one| one.in_checkpoint).count();
        acts += found.iter().map(|one| one.acknowledged.len()).sum::<usize>();
        open += found.iter().map(|one| one.open.len()).sum::<usize>();
        for found in [found, second] {
            let kept: Vec<(String, Files)> = found.iter().map(|one| (one.name.clone(), one.files.clone())).collect();
            complain(&judge_all(found), &kept);
        }
        seed += 1;
    }
    println!("{cuts} cuts ({copied} in a checkpoint) and {again} while coming back");
    println!("{acts} acknowledged acts looked for, {open} open ones settled");
    assert!(acts > 50 * cuts && open > cuts && copied > cuts / 50, "the shop traded while the power went");
}

/// Fails with what was found, the disk of the first beside it.
fn complain(wrong: &[(String, Vec<Wrong>)], kept: &[(String, Files)]) {
    let Some((name, _)) = wrong.first() else { return };
    let folder = tempfile::tempdir().unwrap().keep();
    if let Some((_, files)) = kept.iter().find(|(other, _)| other == name) {
        files.save(&folder);
    }
    panic!("{} disks are wrong, the first stands in {}: {wrong:#?}", wrong.len(), folder.display());
}

/// With less than FULL the same trade must be seen to lose acts: SQLite keeps the books whole under NORMAL, and promises nothing under OFF.
#[test]
fn with_normal_acknowledged_acts_are_lost_and_this_test_sees_it() {
    let wrong = judge_all(cuts_of_a_shop(1, Synchronous::Normal));
    let (mut lost, mut broken) = (0, 0);
    for each in wrong.iter().flat_map(|(_, wrong)| wrong) {
        match each {
            Wrong::Lost(_) => lost += 1,
            Wrong::Broken(_) | Wrong::Unsettled(_) => broken += 1,
        }
    }
    println!("NORMAL: {} of {A_SHOP} disks had lost something, {lost} acts in all", wrong.len());
    assert!(lost > 0, "NORMAL lost nothing: this test cannot see");
    assert_eq!(broken, 0, "{wrong:#?}");
}

#[test]
fn with_off_the_books_break_and_this_test_sees_it() {
    let wrong = judge_all(cuts_of_a_shop(1, Synchronous::Off));
    let broken = wrong.iter().filter(|(_, wrong)| wrong.iter().any(|each| matches!(each, Wrong::Broken(_)))).count();
    println!("OFF: {} of {A_SHOP} disks were wrong, {broken} of them broken", wrong.len());
    assert!(broken > 0, "OFF broke nothing: this test cannot see");
}

/// The power goes during the very first start: what is there then opens, or is a start that can be made again.
#[test]
fn a_cut_first_start_can_be_made_again() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().to_str().unwrap();
    let disk = Disk::new(Files::default(), Synchronous::Full, Duration::ZERO);
    vfs::insert(name, Arc::clone(&disk));
    disk.cut_now_and_then(7, 25, Arc::new(|| (0, 0)));
    drop(open_desk(folder.path()).unwrap());
    let cuts = disk.take_cuts();
    assert!(cuts.len() > 3, "{} cuts", cuts.len());
    let found = |(number, cut): (u64, &Cut)| Found {
        name: format!("first start, cut {number}"),
        files: cut.files.after_power_cut(&mut Dice::new(number)),
        in_checkpoint: false,
        acknowledged: Vec::new(),
        open: Vec::new(),
    };
    let wrong = judge_all((0..).zip(&cuts).map(found).collect());
    assert!(wrong.is_empty(), "{wrong:#?}");
}
