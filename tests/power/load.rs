//! What the shop does while the power goes: several threads that sell blocks, draw from tubs and put mis-scans back, each act under a key
//! of its own, and the record of what was acknowledged. And the judgement of a disk found afterwards.
#![allow(dead_code, reason = "two test programs share this file and each uses part of it")]

use crate::dice::Dice;
use crate::disk::{Cut, Disk, Files, Progress, Synchronous};
use crate::ground::{Ground, Which, actor, chill, shop, start};
use crate::vfs;
use sakudana::ops::desk::Desk;
use sakudana::ops::failure::Failure;
use sakudana::ops::once::{Answer, Request};
use sakudana::ops::sell::group::Order;
use sakudana::ops::sell::{Charged, ChargedLine, LineDraft, Sold, find, reverse};
use sakudana::ops::verify::verify;
use sakudana::store::idempotency::{self, RequestKey};
use sakudana::store::{StoreOptions, acts};
use sakudana::units::instant::{Instant, MICROS_PER_SECOND};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// One request of a till, as it can be sent again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ask {
    Sell { trays: Vec<String>, grams: Option<i64> },
    Reverse { sale: i64 },
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sent {
    pub number: usize,
    pub ask: Ask,
}

fn now() -> Instant {
    start().plus_micros(3_600 * MICROS_PER_SECOND)
}

impl Sent {
    fn request(&self) -> Request {
        Request {
            client: "till 1".into(),
            route: "POST /v1/sales".into(),
            key: format!("power-{:08}", self.number),
            fingerprint: format!("{:?}", self.ask),
        }
    }

    pub fn key(&self) -> RequestKey {
        let Request { client, route, key, .. } = self.request();
        RequestKey { client, route, key }
    }

    /// Sends it to a shop, for the first time or again.
    pub fn send(&self, desk: &Desk) -> Result<Answer, Failure> {
        match &self.ask {
            Ask::Sell { trays, grams } => desk.sell_now(self.order(trays, *grams)),
            Ask::Reverse { sale } => {
                let sale = *sale;
                desk.act_once(self.request(), now(), move |tx, shop| {
                    Ok(spoken(reverse(tx, shop, &actor(), now(), sale, "scanned by mistake")?))
                })
            }
        }
    }

    fn order(&self, trays: &[String], grams: Option<i64>) -> Order {
        let line =
            |tray: &String| ChargedLine { line: LineDraft { tray: tray.clone(), grams }, charged: Charged::default() };
        let lines = trays.iter().map(line).collect();
        Order { request: self.request(), actor: actor(), now: now(), lines, speak: spoken }
    }
}

fn spoken(sold: Sold) -> (u16, String) {
    (201, sold.sale.id.to_string())
}

/// A sync of the trading shop: meanwhile others line up, and go into the next commit together.
const SYNC: Duration = Duration::from_micros(200);

/// A shop with something to sell.
pub struct Stocked {
    pub ground: Ground,
    pub blocks: Vec<String>,
    pub tubs: Vec<String>,
}

impl Stocked {
    /// Opens a shop on a fresh disk and cuts fish for it.
    pub fn open(synchronous: Synchronous, blocks: usize) -> Stocked {
        vfs::register();
        let ground = Ground::on(shop(), Which::Sqlite, 2, |folder| {
            vfs::insert(folder, Disk::new(Files::default(), synchronous, SYNC));
        });
        ground.place("case", chill(0, 2_000));
        let tubs = ground.trays("scrape", 4, 5_000);
        let blocks = ground.trays("saku", blocks, 200);
        Stocked { ground, blocks, tubs }
    }

    pub fn folder(&self) -> String {
        let address = self.ground.address();
        address.rsplit_once('/').expect("a file in a folder").0.to_owned()
    }

    pub fn disk(&self) -> Arc<Disk> {
        vfs::disk_of(&self.folder()).unwrap()
    }
}

impl Drop for Stocked {
    fn drop(&mut self) {
        // The shop keeps what it has open; others find the folder empty.
        vfs::remove(&self.folder());
    }
}

/// What was sent, and what was acknowledged with which words, in this order.
#[derive(Default)]
pub struct Record {
    begun: Mutex<Vec<Sent>>,
    acknowledged: Mutex<Vec<(Sent, String)>>,
}

impl Record {
    pub fn progress(self: &Arc<Record>) -> Progress {
        let record = Arc::clone(self);
        // Read while no sync can end: what was acknowledged before is on the disk.
        Arc::new(move || {
            let acknowledged = record.acknowledged.lock().unwrap().len();
            (record.begun.lock().unwrap().len(), acknowledged)
        })
    }

    pub fn acknowledged(&self) -> Vec<(Sent, String)> {
        self.acknowledged.lock().unwrap().clone()
    }

    pub fn begun(&self) -> Vec<Sent> {
        self.begun.lock().unwrap().clone()
    }

    fn begin(&self, ask: Ask) -> Sent {
        let mut begun = self.begun.lock().unwrap();
        let sent = Sent { number: begun.len(), ask };
        begun.push(sent.clone());
        sent
    }

    /// One act; gives the number of its sale when it was done.
    pub fn act(&self, desk: &Desk, ask: Ask) -> Option<i64> {
        let sent = self.begin(ask);
        match sent.send(desk) {
            Ok(answer) => {
                let sale = answer.body.parse().unwrap();
                self.acknowledged.lock().unwrap().push((sent, answer.body));
                Some(sale)
            }
            Err(Failure::Refused(_)) => None,
            Err(Failure::Store(error)) => panic!("the store failed: {error}"),
        }
    }
}

/// Trades for a while: `threads` at once, `each` acts of each.
pub fn trade(stocked: &Stocked, record: &Record, seed: u64, threads: usize, each: usize) {
    let desk = &stocked.ground.desk;
    std::thread::scope(|scope| {
        for thread in 0..threads {
            let (blocks, tubs) = (&stocked.blocks, &stocked.tubs);
            let mut dice = Dice::new(seed * 1_000 + u64::try_from(thread).unwrap());
            scope.spawn(move || {
                let mut own = Vec::new();
                for _ in 0..each {
                    let ask = match dice.between(0, 9) {
                        // Any block, also one that another thread sells just now.
                        0..=4 => Ask::Sell { trays: vec![dice.pick(blocks).clone()], grams: None },
                        5 => Ask::Sell { trays: two_of(blocks, &mut dice), grams: None },
                        6 | 7 if !own.is_empty() => Ask::Reverse { sale: own.remove(dice.below(own.len())) },
                        _ => Ask::Sell { trays: vec![dice.pick(tubs).clone()], grams: Some(dice.between(1, 9)) },
                    };
                    let puts_back = matches!(ask, Ask::Reverse { .. });
                    own.extend(record.act(desk, ask).filter(|_| !puts_back));
                }
            });
        }
    });
}

fn two_of(blocks: &[String], dice: &mut Dice) -> Vec<String> {
    let first = dice.below(blocks.len() - 1);
    vec![blocks[first].clone(), blocks[first + 1].clone()]
}

/// What is wrong with a shop found after a cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wrong {
    /// It does not open, or an invariant is broken.
    Broken(String),
    /// It was acknowledged and is not there, or not as it was.
    Lost(String),
    /// What was not acknowledged cannot be settled by its key.
    Unsettled(String),
}

/// Opens a shop on what was found, and looks for every acknowledged act. What was sent and not answered is sent again.
pub fn judge(found: Files, acknowledged: &[(Sent, String)], open_asks: &[Sent]) -> Vec<Wrong> {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let name = folder.to_str().unwrap();
    vfs::insert(name, Disk::new(found.moved(name), Synchronous::Full, Duration::ZERO));
    let wrong = match open_desk(folder) {
        Err(failure) => vec![Wrong::Broken(failure.to_string())],
        Ok(desk) => {
            let mut wrong = broken(&desk);
            wrong.extend(lost(&desk, acknowledged));
            if wrong.is_empty() {
                wrong.extend(unsettled(&desk, open_asks));
            }
            wrong
        }
    };
    vfs::remove(name);
    wrong
}

pub fn open_desk(folder: &Path) -> Result<Desk, Failure> {
    let database = folder.join("shop.db").to_str().unwrap().to_owned();
    Desk::open(&StoreOptions { database, readers: 1 }, shop())
}

pub fn broken(desk: &Desk) -> Vec<Wrong> {
    match desk.look(|reading, _| verify(reading)) {
        Err(failure) => vec![Wrong::Broken(failure.to_string())],
        Ok(findings) => {
            let wrong = findings.into_iter().filter(|finding| !finding.wrong.is_empty());
            wrong.map(|finding| Wrong::Broken(format!("{}: {:?}", finding.name, finding.wrong))).collect()
        }
    }
}

/// Every acknowledged act has its answer, its sale and, for what was put back, the mark of it.
pub fn lost(desk: &Desk, acknowledged: &[(Sent, String)]) -> Vec<Wrong> {
    let missing = desk.look(|reading, _| {
        let mut missing = Vec::new();
        for (sent, body) in acknowledged {
            let given = idempotency::find(reading, &sent.key())?;
            let there = given.is_some_and(|given| given.body == *body)
                && find(reading, body.parse().unwrap()).is_ok_and(|sold| match &sent.ask {
                    Ask::Sell { trays, .. } => trays.len() == sold.lines.len(),
                    Ask::Reverse { .. } => sold.sale.reversed_by_act_id.is_some(),
                });
            if !there {
                missing.push(Wrong::Lost(format!("{sent:?}")));
            }
        }
        Ok(missing)
    });
    missing.unwrap_or_else(|failure| vec![Wrong::Broken(failure.to_string())])
}

/// Sent again, an act is answered or refused; sent once more, it is the same answer and no further act.
fn unsettled(desk: &Desk, open_asks: &[Sent]) -> Vec<Wrong> {
    let count = |desk: &Desk| desk.look(|reading, _| Ok(acts::count(reading)?)).unwrap();
    let mut wrong = Vec::new();
    for sent in open_asks {
        let first = sent.send(desk);
        let acts = count(desk);
        let second = sent.send(desk);
        let same = match (&first, &second) {
            (Ok(first), Ok(second)) => first.body == second.body && second.replayed,
            (Err(Failure::Refused(_)), Err(Failure::Refused(_))) => true,
            _ => false,
        };
        if !same || count(desk) != acts {
            wrong.push(Wrong::Unsettled(format!("{sent:?}: {first:?}, then {second:?}")));
        }
    }
    wrong.extend(broken(desk));
    wrong
}

/// What a cut knows of the record.
pub fn known_at(cut: &Cut, record: &Record) -> (Vec<(Sent, String)>, Vec<Sent>) {
    let acknowledged = record.acknowledged()[..cut.acknowledged].to_vec();
    let answered: Vec<usize> = acknowledged.iter().map(|(sent, _)| sent.number).collect();
    let begun = record.begun()[..cut.begun].to_vec();
    let open = begun.into_iter().rev().take(24).filter(|sent| !answered.contains(&sent.number)).collect();
    (acknowledged, open)
}
