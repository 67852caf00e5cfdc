//! Every call a sale makes on the disk fails once, or from then on, as a broken disk or as a full one. The shop is the real one on the
//! disk of `power/disk.rs`; after a sync that failed, that disk forgets what it could not write.

use crate::dice::Dice;
use crate::disk::{Call, Disk, Errno, Fault, Files, FolderSync, Synchronous};
use crate::ground::start;
use crate::load::{Ask, Sent, Stocked, Wrong, broken, judge, lost, open_desk};
use crate::vfs;
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::{Failure, Trouble};
use sakudana::ops::fitness::{Fitness, Reason};
use sakudana::store::{acts, idempotency};
use sakudana::units::instant::MICROS_PER_MINUTE;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tempfile::TempDir;

const ALL: [Call; 7] = [Call::Open, Call::Read, Call::Write, Call::Truncate, Call::Sync, Call::Delete, Call::Map];

/// A closed shop with something to sell, to be opened again and again.
struct Prepared {
    files: Files,
    sale: Sent,
    /// Another one, to see whether acts are taken.
    other: Sent,
    tub: String,
}

fn sale_of(number: usize, tray: &str, grams: Option<i64>) -> Sent {
    Sent { number, ask: Ask::Sell { trays: vec![tray.to_owned()], grams } }
}

/// How long the log of a prepared shop is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Log {
    Short,
    /// The commit of one more sale makes it so long that it is copied into the database (`wal_autocheckpoint`, 1,000 pages).
    AlmostFull,
}

fn prepared(log: Log) -> Prepared {
    const FRAME: usize = 4_096 + 24;
    let stocked = Stocked::open(Synchronous::Full, 4);
    let (mut number, mut grown) = (100, FRAME);
    let length = || stocked.disk().files().size_of(".db-wal");
    while log == Log::AlmostFull && length() + grown < 1_000 * FRAME {
        let before = length();
        number += 1;
        sale_of(number, &stocked.tubs[0], Some(1)).send(&stocked.ground.desk).unwrap();
        // A block that goes writes no fewer pages than a draw from a tub.
        grown = length() - before;
    }
    Prepared {
        files: stocked.disk().files().after_the_program_ended(),
        sale: sale_of(1, &stocked.blocks[0], None),
        other: sale_of(2, &stocked.blocks[1], None),
        tub: stocked.tubs[1].clone(),
    }
}

/// The prepared shop, open on a disk of its own.
struct Opened {
    desk: Desk,
    disk: Arc<Disk>,
    folder: TempDir,
}

impl Opened {
    fn of(prepared: &Prepared) -> Opened {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().to_str().unwrap();
        let disk = Disk::new(prepared.files.clone().moved(name), Synchronous::Full, Duration::ZERO);
        vfs::insert(name, Arc::clone(&disk));
        let desk = open_desk(folder.path()).unwrap();
        Opened { desk, disk, folder }
    }

    fn reason(&self) -> Option<Reason> {
        match self.desk.fitness(start()) {
            Fitness::Writable => None,
            Fitness::ReadOnly { reason, .. } => Some(reason),
        }
    }

    /// Waits until acts are taken again: nobody but the shop itself does anything for it.
    fn await_recovery(&self) {
        for _ in 0..1_200 {
            self.desk.try_to_recover();
            if self.reason().is_none() {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("the shop does not come back: {:?}", self.reason());
    }
}

impl Drop for Opened {
    fn drop(&mut self) {
        vfs::remove(self.folder.path().to_str().unwrap());
    }
}

fn fault(nth: u64, from_then_on: bool, errno: Errno) -> Fault {
    Fault { nth, from_then_on, errno, calls: ALL.into_iter().collect() }
}

/// The nth sync alone.
fn sync_fault(nth: u64) -> Fault {
    Fault { nth, from_then_on: false, errno: Errno::Io, calls: [Call::Sync].into() }
}

fn was_done(files: Files, sent: &Sent) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().to_str().unwrap();
    vfs::insert(name, Disk::new(files.moved(name), Synchronous::Full, Duration::ZERO));
    let desk = open_desk(folder.path()).unwrap();
    let there = desk.look(|reading, _| Ok(idempotency::find(reading, &sent.key())?.is_some())).unwrap();
    vfs::remove(name);
    there
}

/// How many runs ended how.
type Tally = Mutex<BTreeMap<String, u64>>;

/// One sale with one fault. False when the fault came no more: the sale has fewer calls.
fn run(prepared: &Prepared, fault: Fault, tally: &Tally) -> bool {
    let what = format!("{fault:?}");
    let (nth, errno) = (fault.nth, fault.errno);
    let opened = Opened::of(prepared);
    opened.disk.set_fault(Some(fault));
    let outcome = prepared.sale.send(&opened.desk);
    let hits = opened.disk.hits();
    if hits.is_empty() {
        assert!(outcome.is_ok(), "no fault came, and yet: {outcome:?}");
        return false;
    }
    let files = opened.disk.files();
    let mut dice = Dice::new(nth);
    let word = match outcome {
        Ok(answer) => {
            // Acknowledged: even if the power goes now.
            let acknowledged = [(prepared.sale.clone(), answer.body)];
            let found = judge(files.only_what_was_synced(), &acknowledged, &[]);
            assert_eq!(found, [], "{what}, {hits:?}");
            "done".to_owned()
        }
        Err(failure) => {
            let word = match failure.trouble() {
                Trouble::ReadOnly(reason) => {
                    // Nothing was done: neither now, nor found later in a log.
                    for files in [files.after_the_program_ended(), files.after_power_cut(&mut dice)] {
                        assert!(
                            !was_done(files, &prepared.sale),
                            "{what}, {hits:?}: it was said that nothing was done"
                        );
                    }
                    reason.as_str()
                }
                Trouble::Unknown => "unknown",
                other => panic!("{what}, {hits:?}: {other:?}: {failure}"),
            };
            assert!(opened.reason().is_some(), "{what}: the shop is not read-only");
            assert!(
                errno == Errno::NoSpace || opened.reason() != Some(Reason::DiskFull),
                "{what}: {:?}",
                opened.reason()
            );
            refuses_and_is_read(prepared, &opened, &what);
            word.to_owned()
        }
    };
    // Started again, as after a crash or a cut, the same key does it once.
    let found = match nth % 3 {
        0 => files.after_the_program_ended(),
        1 => files.only_what_was_synced(),
        _ => files.after_power_cut(&mut dice),
    };
    assert_eq!(judge(found, &[], std::slice::from_ref(&prepared.sale)), [], "{what}, {hits:?}, then a start");
    *tally.lock().unwrap().entry(format!("{:?} {errno:?}: {word}", hits[0])).or_default() += 1;
    true
}

/// Acts are refused before anything is tried, and reading goes on.
fn refuses_and_is_read(prepared: &Prepared, opened: &Opened, what: &str) {
    let calls = |opened: &Opened| opened.disk.seen().get(&Call::Write).copied().unwrap_or_default();
    let before = calls(opened);
    let refused = prepared.other.send(&opened.desk).unwrap_err();
    assert!(matches!(refused.trouble(), Trouble::ReadOnly(_)), "{what}: {refused}");
    assert_eq!(calls(opened), before, "{what}: a refused act has written");
    opened.disk.set_fault(None);
    assert!(opened.desk.look(|reading, _| Ok(acts::count(reading)?)).unwrap() > 0, "{what}");
}

fn sweep(prepared: &Prepared, step_after: (u64, u64), seen: &[&str]) {
    let tally = Tally::default();
    let kinds = [(Errno::Io, false), (Errno::Io, true), (Errno::NoSpace, false), (Errno::NoSpace, true)];
    std::thread::scope(|scope| {
        for half in kinds.chunks(2) {
            let tally = &tally;
            scope.spawn(move || {
                for (errno, from_then_on) in half {
                    let mut nth = 1;
                    while run(prepared, fault(nth, *from_then_on, *errno), tally) {
                        nth += if nth < step_after.0 { 1 } else { step_after.1 };
                    }
                    assert!(nth > 15, "a sale makes more calls than {nth}");
                }
            });
        }
    });
    let tally = tally.into_inner().unwrap();
    for (how, times) in &tally {
        println!("{times:5} {how}");
    }
    // The control: faults of each sort hit, and were met in each way.
    for how in seen {
        assert!(tally.contains_key(*how), "never: {how}: {tally:?}");
    }
}

#[test]
fn no_call_of_a_sale_can_fail_unseen() {
    let seen = ["Write Io: unknown", "Sync Io: unknown", "Write NoSpace: disk_full", "Sync NoSpace: unknown"];
    sweep(&prepared(Log::Short), (u64::MAX, 1), &seen);
}

/// The sale whose commit makes the log long enough to be copied into the database.
#[test]
fn no_call_of_a_checkpoint_can_fail_unseen() {
    let step = std::env::var("SAKUDANA_FAULTS_STEP").map_or(3, |text| text.parse().unwrap());
    let prepared = prepared(Log::AlmostFull);
    // What fails in the copy itself fails behind a commit that stands.
    sweep(&prepared, (10, step), &["Write Io: done", "Write NoSpace: done"]);
    let tally = Tally::default();
    let syncs = (1..).take_while(|nth| run(&prepared, sync_fault(*nth), &tally)).count();
    assert!(syncs >= 3, "log, log before the copy, database: {syncs}");
    assert_eq!(
        tally.into_inner().unwrap(),
        BTreeMap::from([("Sync Io: done".into(), 2), ("Sync Io: unknown".into(), 1)])
    );
}

/// The sync of the database itself fails, behind a sale that is acknowledged, and the disk forgets the pages. They are copied again before the
/// log is written over, or the sales in it were lost.
#[test]
fn a_copy_that_failed_is_made_again() {
    let prepared = prepared(Log::AlmostFull);
    let opened = Opened::of(&prepared);
    opened.disk.set_fault(Some(sync_fault(3)));
    let mut acknowledged = vec![(prepared.sale.clone(), prepared.sale.send(&opened.desk).unwrap().body)];
    assert_eq!(opened.disk.hits(), [Call::Sync]);
    opened.disk.set_fault(None);
    for number in 1_000..1_120 {
        let draw = sale_of(number, &prepared.tub, Some(1));
        acknowledged.push((draw.clone(), draw.send(&opened.desk).unwrap().body));
        if number % 10 == 0 {
            let found = opened.disk.files().after_power_cut(&mut Dice::new(u64::try_from(number).unwrap()));
            assert_eq!(judge(found, &acknowledged, &[]), [], "after {number}");
        }
    }
    assert!(opened.disk.seen()[&Call::Sync] > 120 + 2, "nothing was copied again: {:?}", opened.disk.seen());
    assert_eq!(judge(opened.disk.files().only_what_was_synced(), &acknowledged, &[]), []);
}

/// The shop is opened, and a call fails meanwhile: it does not open, or it does; the next start finds it whole.
#[test]
fn no_call_of_a_start_can_fail_unseen() {
    let prepared = prepared(Log::Short);
    let mut refused = 0;
    for nth in (1..).step_by(3) {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().to_str().unwrap();
        let disk = Disk::new(prepared.files.clone().moved(name), Synchronous::Full, Duration::ZERO);
        vfs::insert(name, Arc::clone(&disk));
        disk.set_fault(Some(fault(nth, false, Errno::Io)));
        let opened = open_desk(folder.path());
        let hit = !disk.hits().is_empty();
        refused += u64::from(opened.is_err());
        drop(opened);
        vfs::remove(name);
        if !hit {
            assert!(nth > 15, "a start makes more calls than {nth}");
            break;
        }
        let found = disk.files().after_power_cut(&mut Dice::new(nth));
        assert_eq!(judge(found, &[], std::slice::from_ref(&prepared.sale)), [], "{nth}");
    }
    assert!(refused > 3, "a start over a failing disk went well: {refused}");
}

/// What a person at the till lives through: the disk is full, or a sync fails; then it is mended.
fn it_comes_back(calls: Call, errno: Errno, first: fn(&Failure) -> bool, reason: Reason) {
    let prepared = prepared(Log::Short);
    let opened = Opened::of(&prepared);
    let failing = Fault { nth: 1, from_then_on: true, errno, calls: [calls].into() };
    opened.disk.set_fault(Some(failing));
    let failure = prepared.sale.send(&opened.desk).unwrap_err();
    assert!(first(&failure), "{failure:?}");
    assert_eq!(opened.reason(), Some(reason));
    // The fault is still there: a try finds it, and the shop stays as it is.
    std::thread::sleep(Duration::from_millis(1_100));
    opened.desk.try_to_recover();
    assert!(opened.disk.hits().len() > 1, "nobody tried");
    assert!(opened.reason().is_some());
    opened.disk.set_fault(None);
    opened.await_recovery();
    let answer = prepared.sale.send(&opened.desk).unwrap();
    let again = prepared.sale.send(&opened.desk).unwrap();
    assert!(again.replayed && again.body == answer.body);
    assert_eq!(broken(&opened.desk), []);
    let acknowledged = [(prepared.sale.clone(), answer.body)];
    assert_eq!(lost(&opened.desk, &acknowledged), []);
    assert_eq!(judge(opened.disk.files().only_what_was_synced(), &acknowledged, &[]), []);
}

#[test]
fn a_failed_sync_makes_the_shop_read_only_until_the_disk_has_proved_itself() {
    let unknown = |failure: &Failure| failure.trouble() == Trouble::Unknown;
    it_comes_back(Call::Sync, Errno::Io, unknown, Reason::DiskFailing);
}

#[test]
fn a_full_disk_makes_the_shop_read_only_until_there_is_room() {
    let full = |failure: &Failure| failure.trouble() == Trouble::ReadOnly(Reason::DiskFull);
    it_comes_back(Call::Write, Errno::NoSpace, full, Reason::DiskFull);
}

/// That someone was seen is written down once a minute: where it cannot be, they are let in all the same, and strangers are not.
#[test]
fn who_is_signed_in_looks_on_while_nothing_is_written() {
    let prepared = prepared(Log::Short);
    let opened = Opened::of(&prepared);
    let (name, password) = opened.desk.first_owner(start(), &[7; 32]).unwrap().unwrap();
    let token =
        opened.desk.sign_in(start(), &[8; 32], std::net::Ipv4Addr::LOCALHOST.into(), &name, &password).unwrap().token;
    let later = |minutes: i64| start().plus_micros(minutes * MICROS_PER_MINUTE);
    let failing = Fault { nth: 1, from_then_on: true, errno: Errno::NoSpace, calls: [Call::Write].into() };
    opened.disk.set_fault(Some(failing));
    // The first is the one that finds out that nothing is written.
    for minutes in [2, 3, 4] {
        let known = opened.desk.who(later(minutes), &token).unwrap();
        assert_eq!(known.map(|known| known.actor.name), Some(name.clone()), "after {minutes} minutes");
        assert_eq!(opened.reason(), Some(Reason::DiskFull));
    }
    assert_eq!(opened.desk.who(later(2), "sdt_somebody-else").unwrap(), None);
    assert_eq!(opened.desk.who(later(14 * 60), &token).unwrap(), None, "a sign-in ends all the same");
}

/// A group of acts that commit together: when its sync fails, none of them is acknowledged.
#[test]
fn no_act_of_a_group_is_acknowledged_when_its_sync_fails() {
    let stocked = Stocked::open(Synchronous::Full, 40);
    let (disk, desk) = (stocked.disk(), &stocked.ground.desk);
    let failing = Fault { nth: 2, from_then_on: true, errno: Errno::Io, calls: [Call::Sync].into() };
    disk.set_fault(Some(failing));
    let outcomes: Vec<(Sent, Result<String, Failure>)> = std::thread::scope(|scope| {
        let sending = stocked.blocks.iter().enumerate().map(|(number, tray)| {
            scope.spawn(move || {
                let sent = sale_of(number, tray, None);
                let outcome = sent.send(desk).map(|answer| answer.body);
                (sent, outcome)
            })
        });
        let sending: Vec<_> = sending.collect();
        sending.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    assert!(!disk.hits().is_empty(), "no sync failed");
    let mut acknowledged = Vec::new();
    let mut unknown = 0;
    let mut open = Vec::new();
    for (sent, outcome) in outcomes {
        match outcome {
            Ok(body) => acknowledged.push((sent, body)),
            Err(failure) => {
                assert!(failure.is_of_storage(), "{failure:?}");
                unknown += usize::from(failure.trouble() == Trouble::Unknown);
                open.push(sent);
            }
        }
    }
    assert!(unknown > 0 && !acknowledged.is_empty(), "{unknown} unknown, {} acknowledged", acknowledged.len());
    let found: Vec<Wrong> = judge(disk.files().only_what_was_synced(), &acknowledged, &open);
    assert_eq!(found, []);
}

/// The control of the disk itself: a sync after a failed one says that all is well, and brings nothing of what was forgotten.
#[test]
fn this_disk_forgets_what_it_could_not_sync() {
    let disk = Disk::new(Files::default(), Synchronous::Full, Duration::ZERO);
    let file = disk.open("a/x", crate::disk::Create::Yes).unwrap().unwrap();
    disk.write(file, 0, b"first").unwrap();
    disk.sync(file, FolderSync::Yes).unwrap();
    disk.write(file, 0, b"lost!").unwrap();
    disk.set_fault(Some(Fault { nth: 1, from_then_on: false, errno: Errno::Io, calls: [Call::Sync].into() }));
    assert_eq!(disk.sync(file, FolderSync::No), Err(Errno::Io));
    assert_eq!(disk.sync(file, FolderSync::No), Ok(()));
    let on = |files: Files| {
        let disk = Disk::new(files, Synchronous::Full, Duration::ZERO);
        let mut bytes = [0; 5];
        let file = disk.open("a/x", crate::disk::Create::No).unwrap().unwrap();
        disk.read(file, 0, &mut bytes).unwrap();
        bytes
    };
    assert_eq!(&on(disk.files()), b"lost!", "it is still read");
    assert_eq!(&on(disk.files().only_what_was_synced()), b"first");
}
