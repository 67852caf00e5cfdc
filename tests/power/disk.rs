//! A disk in memory that knows what was synced: what it looks like after the power went, and calls that fail when they are told to.
//! Knows nothing of SQLite and nothing of fish.
//!
//! After a cut all that was synced stands. Of the rest, as the dice fall, all is gone, all is there, what came first is there, or each
//! write, or each sector of 512 bytes of it, is there or not, whatever order they came in; where a file grew and the bytes did not come,
//! there are zeros or rubbish. A sync that fails leaves what it could not write readable, and no later sync brings it to the disk: so do
//! systems that mark pages clean after a failure.
#![allow(dead_code, reason = "two test programs share this file and each uses part of it")]

use crate::dice::Dice;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

const SECTOR: usize = 512;

#[derive(Debug, Clone)]
enum Change {
    Write { at: usize, bytes: Vec<u8> },
    Truncate(usize),
}

/// A change that no sync has covered yet.
#[derive(Debug, Clone)]
struct Pending {
    order: u64,
    change: Change,
    /// A sync failed on it: readable, and perhaps never on the disk.
    forgotten: bool,
}

#[derive(Debug, Clone, Default)]
struct File {
    durable: Vec<u8>,
    live: Vec<u8>,
    pending: Vec<Pending>,
}

#[derive(Debug, Clone)]
enum NameChange {
    Create(String, usize),
    Delete(String),
}

/// Everything on a disk, as it is read and as it would be found.
#[derive(Debug, Clone, Default)]
pub struct Files {
    files: Vec<File>,
    names: BTreeMap<String, usize>,
    durable_names: BTreeMap<String, usize>,
    pending_names: Vec<NameChange>,
}

fn put(bytes: &mut Vec<u8>, at: usize, new: &[u8], filler: u8) {
    if bytes.len() < at + new.len() {
        bytes.resize(at + new.len(), filler);
    }
    bytes[at..at + new.len()].copy_from_slice(new);
}

fn apply(bytes: &mut Vec<u8>, change: &Change, filler: u8) {
    match change {
        Change::Write { at, bytes: new } => put(bytes, *at, new, filler),
        Change::Truncate(size) => bytes.resize(*size, filler),
    }
}

fn name(names: &mut BTreeMap<String, usize>, change: &NameChange) {
    match change {
        NameChange::Create(name, file) => drop(names.insert(name.clone(), *file)),
        NameChange::Delete(name) => drop(names.remove(name)),
    }
}

impl File {
    fn sync(&mut self) {
        let (kept, due): (Vec<Pending>, Vec<Pending>) = self.pending.drain(..).partition(|p| p.forgotten);
        for pending in &due {
            apply(&mut self.durable, &pending.change, 0);
        }
        // What was written over since is not forgotten any more.
        let covered = |old: &Pending| due.iter().any(|new| overlap(&old.change, &new.change));
        self.pending = kept.into_iter().filter(|old| !covered(old)).collect();
    }

    /// The bytes after the power went; `keep` says of a change in its order how much of it came.
    fn after_cut(&self, dice: &mut Dice, fate: &Fate) -> Vec<u8> {
        let mut bytes = self.durable.clone();
        let filler = if dice.one_in(3) { 0xa5 } else { 0 };
        for pending in &self.pending {
            match fate {
                Fate::Gone => {}
                Fate::There => apply(&mut bytes, &pending.change, filler),
                Fate::First(order) if pending.order <= *order => apply(&mut bytes, &pending.change, filler),
                Fate::First(_) => {}
                Fate::Some(percent) if dice.between(1, 100) <= *percent => apply(&mut bytes, &pending.change, filler),
                Fate::Some(_) => {}
                Fate::Sectors(percent) => tear(&mut bytes, &pending.change, dice, *percent, filler),
            }
        }
        bytes
    }
}

fn overlap(a: &Change, b: &Change) -> bool {
    match (a, b) {
        (Change::Write { at, bytes }, Change::Write { at: other, bytes: more }) => {
            *at < other + more.len() && *other < at + bytes.len()
        }
        _ => true,
    }
}

/// Each sector of a write comes or does not; where one at the end does not come, the file may have grown all the same.
fn tear(bytes: &mut Vec<u8>, change: &Change, dice: &mut Dice, percent: i64, filler: u8) {
    let Change::Write { at, bytes: new } = change else {
        if dice.between(1, 100) <= percent {
            apply(bytes, change, filler);
        }
        return;
    };
    let mut done = 0;
    while done < new.len() {
        let to_next = SECTOR - (at + done) % SECTOR;
        let end = (done + to_next).min(new.len());
        if dice.between(1, 100) <= percent {
            put(bytes, at + done, &new[done..end], filler);
        } else if bytes.len() < at + end && dice.one_in(2) {
            bytes.resize(at + end, filler);
        }
        done = end;
    }
}

/// What becomes of that which was not synced.
enum Fate {
    Gone,
    There,
    /// All up to this change, over all files.
    First(u64),
    /// Each with this chance in a hundred.
    Some(i64),
    Sectors(i64),
}

impl Files {
    fn file_of(&self, name: &str) -> Option<usize> {
        self.names.get(name).copied()
    }

    fn synced_names(&mut self) {
        for change in self.pending_names.drain(..) {
            name(&mut self.durable_names, &change);
        }
    }

    fn fate(&self, dice: &mut Dice) -> Fate {
        let percent = *dice.pick(&[10, 50, 90]);
        match dice.between(0, 9) {
            0 => Fate::Gone,
            1 => Fate::There,
            2 | 3 => {
                let orders: Vec<u64> = self.files.iter().flat_map(|f| &f.pending).map(|p| p.order).collect();
                Fate::First(if orders.is_empty() { 0 } else { *dice.pick(&orders) })
            }
            4 | 5 => Fate::Some(percent),
            _ => Fate::Sectors(percent),
        }
    }

    /// What is found when the power is back.
    pub fn after_power_cut(&self, dice: &mut Dice) -> Files {
        let fate = self.fate(dice);
        self.after(dice, &fate)
    }

    /// What is found when nothing came that was not synced.
    pub fn only_what_was_synced(&self) -> Files {
        self.after(&mut Dice::new(0), &Fate::Gone)
    }

    /// What is found when only the program was ended: the system still writes what it was given.
    pub fn after_the_program_ended(&self) -> Files {
        let mut all = self.clone();
        all.pending_names.clear();
        all.durable_names = all.names.clone();
        for file in &mut all.files {
            file.pending.clear();
            file.durable = file.live.clone();
        }
        all
    }

    fn after(&self, dice: &mut Dice, fate: &Fate) -> Files {
        let mut names = self.durable_names.clone();
        let kept = match fate {
            Fate::Gone => 0,
            Fate::There => self.pending_names.len(),
            _ => dice.below(self.pending_names.len() + 1),
        };
        for change in &self.pending_names[..kept] {
            name(&mut names, change);
        }
        let mut found = Files::default();
        for (name, file) in names {
            let bytes = self.files[file].after_cut(dice, fate);
            found.names.insert(name, found.files.len());
            found.files.push(File { durable: bytes.clone(), live: bytes, pending: Vec::new() });
        }
        found.durable_names = found.names.clone();
        found
    }

    /// Whether a file whose name ends so holds what no sync has covered.
    pub fn is_open_to_loss(&self, end: &str) -> bool {
        self.names.iter().any(|(name, file)| name.ends_with(end) && !self.files[*file].pending.is_empty())
    }

    /// The size of the file whose name ends so; none there is nothing.
    pub fn size_of(&self, end: &str) -> usize {
        let file = self.names.iter().find(|(name, _)| name.ends_with(end));
        file.map_or(0, |(_, file)| self.files[*file].live.len())
    }

    /// Writes all files into a folder of the real system, for whoever looks for the cause.
    pub fn save(&self, folder: &std::path::Path) {
        for (name, file) in &self.names {
            let last = name.rsplit('/').next().unwrap_or(name);
            std::fs::write(folder.join(last), &self.files[*file].durable).unwrap();
        }
    }

    /// The same files under another folder.
    pub fn moved(mut self, to: &str) -> Files {
        let last = |name: &str| format!("{to}/{}", name.rsplit('/').next().unwrap_or(name));
        self.names = self.names.iter().map(|(name, file)| (last(name), *file)).collect();
        self.durable_names = self.names.clone();
        self
    }
}

/// What a call on the disk does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Call {
    Open,
    Read,
    Write,
    Truncate,
    Sync,
    Delete,
    Map,
}

/// What it answers when it is told to fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Errno {
    Io,
    NoSpace,
}

/// Which calls fail: the `nth` that is counted, alone or with all that follow.
#[derive(Debug, Clone)]
pub struct Fault {
    pub nth: u64,
    pub from_then_on: bool,
    pub errno: Errno,
    pub calls: BTreeSet<Call>,
}

/// The disk as it was at a cut, and how many acts had been acknowledged before.
pub struct Cut {
    pub files: Files,
    pub acknowledged: usize,
    pub begun: usize,
}

/// How many acts were begun and acknowledged so far.
pub type Progress = Arc<dyn Fn() -> (usize, usize) + Send + Sync>;

#[derive(Default)]
struct State {
    files: Files,
    /// Changing calls so far.
    calls: u64,
    next_cut: Option<u64>,
    gap: i64,
    dice: Option<Dice>,
    cuts: Vec<Cut>,
    progress: Option<Progress>,
    fault: Option<Fault>,
    counted: u64,
    hits: Vec<Call>,
    seen: BTreeMap<Call, u64>,
}

/// How much of `synchronous` the connections on a disk really get; the shop asks for FULL.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Synchronous {
    Full,
    Normal,
    Off,
}

/// A disk that several connections use.
pub struct Disk {
    pub synchronous: Synchronous,
    /// How long a sync takes: while one waits for it, others line up.
    pub sync_takes: Duration,
    state: Mutex<State>,
}

/// Why a call did not do what it should.
pub type Outcome<T> = Result<T, Errno>;

impl Disk {
    pub fn new(files: Files, synchronous: Synchronous, sync_takes: Duration) -> Arc<Disk> {
        let state = Mutex::new(State { files, ..State::default() });
        Arc::new(Disk { synchronous, sync_takes, state })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// From now on the power goes again and again, on average every `gap` changing calls; the shop goes on, and each cut is kept.
    pub fn cut_now_and_then(&self, seed: u64, gap: i64, progress: Progress) {
        let mut state = self.state();
        let mut dice = Dice::new(seed);
        state.next_cut = Some(state.calls + u64::try_from(dice.between(0, 2 * gap)).unwrap());
        (state.gap, state.dice, state.progress) = (gap, Some(dice), Some(progress));
    }

    /// The cuts so far, and no more of them.
    pub fn take_cuts(&self) -> Vec<Cut> {
        let mut state = self.state();
        state.next_cut = None;
        std::mem::take(&mut state.cuts)
    }

    pub fn files(&self) -> Files {
        self.state().files.clone()
    }

    /// Calls are counted from here, and fail as told.
    pub fn set_fault(&self, fault: Option<Fault>) {
        let mut state = self.state();
        (state.fault, state.counted) = (fault, 0);
        state.hits.clear();
        state.seen.clear();
    }

    /// Which calls failed since the fault was set.
    pub fn hits(&self) -> Vec<Call> {
        self.state().hits.clone()
    }

    /// Calls of each kind since the fault was set or taken away.
    pub fn seen(&self) -> BTreeMap<Call, u64> {
        self.state().seen.clone()
    }

    /// The file of a name, made when it is not there and `create` says so.
    pub fn open(&self, path: &str, create: Create) -> Outcome<Option<usize>> {
        let mut state = self.state();
        state.count(Call::Open)?;
        if let Some(file) = state.files.file_of(path) {
            return Ok(Some(file));
        }
        if create == Create::No {
            return Ok(None);
        }
        state.turn();
        let file = state.files.files.len();
        state.files.files.push(File::default());
        let change = NameChange::Create(path.to_owned(), file);
        name(&mut state.files.names, &change);
        state.files.pending_names.push(change);
        Ok(Some(file))
    }

    pub fn exists(&self, path: &str) -> bool {
        let state = self.state();
        // As in SQLite's own way to files: an empty journal counts for none.
        state.files.file_of(path).is_some_and(|file| !state.files.files[file].live.is_empty())
    }

    /// Takes a name away; for good only when the folder is synced with it.
    pub fn delete(&self, path: &str, folder: FolderSync) -> Outcome<bool> {
        let mut state = self.state();
        state.count(Call::Delete)?;
        if state.files.file_of(path).is_none() {
            return Ok(false);
        }
        state.turn();
        let change = NameChange::Delete(path.to_owned());
        name(&mut state.files.names, &change);
        state.files.pending_names.push(change);
        if folder == FolderSync::Yes {
            state.files.synced_names();
        }
        Ok(true)
    }

    /// Reads what there is; the rest is zeros. Gives how many bytes there were.
    pub fn read(&self, file: usize, at: usize, into: &mut [u8]) -> Outcome<usize> {
        let mut state = self.state();
        state.count(Call::Read)?;
        let live = &state.files.files[file].live;
        let there = live.len().saturating_sub(at).min(into.len());
        into[..there].copy_from_slice(&live[at.min(live.len())..][..there]);
        into[there..].fill(0);
        Ok(there)
    }

    /// A write that fails has come half way.
    pub fn write(&self, file: usize, at: usize, bytes: &[u8]) -> Outcome<()> {
        let mut state = self.state();
        let counted = state.count(Call::Write);
        let came = if counted.is_ok() { bytes.len() } else { bytes.len() / 2 };
        state.change(file, Change::Write { at, bytes: bytes[..came].to_vec() });
        counted
    }

    pub fn truncate(&self, file: usize, size: usize) -> Outcome<()> {
        let mut state = self.state();
        state.count(Call::Truncate)?;
        state.change(file, Change::Truncate(size));
        Ok(())
    }

    /// Makes a file durable, and the names of its folder where SQLite syncs the folder too: after it made a journal.
    pub fn sync(&self, file: usize, folder: FolderSync) -> Outcome<()> {
        std::thread::sleep(self.sync_takes);
        let mut state = self.state();
        state.turn();
        if let Err(errno) = state.count(Call::Sync) {
            for pending in &mut state.files.files[file].pending {
                pending.forgotten = true;
            }
            return Err(errno);
        }
        state.files.files[file].sync();
        if folder == FolderSync::Yes {
            state.files.synced_names();
        }
        Ok(())
    }

    pub fn size(&self, file: usize) -> usize {
        self.state().files.files[file].live.len()
    }

    /// Room for memory that several share is asked for.
    pub fn map(&self) -> Outcome<()> {
        self.state().count(Call::Map)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Create {
    Yes,
    No,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FolderSync {
    Yes,
    No,
}

impl State {
    fn change(&mut self, file: usize, change: Change) {
        self.turn();
        let order = self.calls;
        let file = &mut self.files.files[file];
        apply(&mut file.live, &change, 0);
        file.pending.push(Pending { order, change, forgotten: false });
    }

    /// A changing call begins: perhaps the power goes just before.
    fn turn(&mut self) {
        if self.next_cut == Some(self.calls)
            && let (Some(dice), Some(progress)) = (&mut self.dice, &self.progress)
        {
            let (begun, acknowledged) = progress();
            self.cuts.push(Cut { files: self.files.clone(), acknowledged, begun });
            self.next_cut = Some(self.calls + u64::try_from(dice.between(1, 2 * self.gap)).unwrap());
        }
        self.calls += 1;
    }

    fn count(&mut self, call: Call) -> Outcome<()> {
        *self.seen.entry(call).or_default() += 1;
        let Some(fault) = self.fault.as_ref().filter(|fault| fault.calls.contains(&call)) else { return Ok(()) };
        self.counted += 1;
        if self.counted == fault.nth || (fault.from_then_on && self.counted > fault.nth) {
            self.hits.push(call);
            return Err(fault.errno);
        }
        Ok(())
    }
}
