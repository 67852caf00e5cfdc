//! SQLite's way to a `Disk`: a file system of its interface, registered as the default of this test program. Every folder is a disk of
//! its own. The shop's program is not changed for it, and does not know.
//!
//! Locks and the shared memory of the log behave as SQLite's own do within one process.
#![allow(unsafe_code, reason = "SQLite asks a file system through a C interface")]
#![allow(dead_code, reason = "two test programs share this file and each uses part of it")]

use crate::disk::{Create, Disk, Errno, Files, FolderSync, Outcome, Synchronous};
use libsqlite3_sys as ffi;
use std::collections::BTreeMap;
use std::ffi::{CStr, CString, c_char, c_int, c_void};
use std::ptr;
use std::sync::atomic::{Ordering, fence};
use std::sync::{Arc, Mutex, MutexGuard, Once, PoisonError};
use std::time::Duration;

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The disks by their folder.
static DISKS: Mutex<BTreeMap<String, Arc<Disk>>> = Mutex::new(BTreeMap::new());
/// Locks and shared memory by disk and file.
static SHARED: Mutex<BTreeMap<(usize, usize), Shared>> = Mutex::new(BTreeMap::new());

/// Puts a disk under a folder that had none and gets no other: a connection that is late must not find half of one and half of another.
pub fn insert(folder: &str, disk: Arc<Disk>) {
    register();
    locked(&DISKS).insert(folder.to_owned(), disk);
}

/// The disk under a folder.
pub fn disk_of(folder: &str) -> Option<Arc<Disk>> {
    let mut disks = locked(&DISKS);
    if folder == SCRATCH {
        let empty = || Disk::new(Files::default(), Synchronous::Full, Duration::ZERO);
        disks.entry(folder.to_owned()).or_insert_with(empty);
    }
    disks.get(folder).map(Arc::clone)
}

/// Where temporary files go.
const SCRATCH: &str = "scratch";

/// Lets a disk go.
pub fn remove(folder: &str) {
    locked(&DISKS).remove(folder);
}

#[derive(Default)]
struct Slot {
    readers: u32,
    exclusive: bool,
}

#[derive(Default)]
struct Shared {
    readers: u32,
    reserved: bool,
    pending: bool,
    exclusive: bool,
    mappers: u32,
    regions: Vec<Box<[u64]>>,
    slots: [Slot; 8],
}

/// An open file of one connection.
struct Open {
    disk: Arc<Disk>,
    file: usize,
    /// Set until the first sync of a journal: then the folder is synced too.
    fresh_journal: bool,
    delete_on_close: Option<String>,
    lock: c_int,
    mapped: bool,
    read_slots: [bool; 8],
    own_slots: [bool; 8],
}

impl Open {
    fn key(&self) -> (usize, usize) {
        (Arc::as_ptr(&self.disk) as usize, self.file)
    }

    fn with_shared<T>(&mut self, work: impl FnOnce(&mut Open, &mut Shared) -> T) -> T {
        let key = self.key();
        let mut all = locked(&SHARED);
        work(self, all.entry(key).or_default())
    }
}

/// What SQLite allocates: its head, and ours.
#[repr(C)]
struct Handle {
    base: ffi::sqlite3_file,
    open: *mut Open,
}

/// # Safety
/// `file` is one that `open` has filled and `close` has not yet seen.
unsafe fn of<'a>(file: *mut ffi::sqlite3_file) -> &'a mut Open {
    // SAFETY: by the contract above; SQLite uses a file from one thread at a time.
    unsafe { &mut *(*file.cast::<Handle>()).open }
}

fn code(outcome: Outcome<()>, of_call: c_int) -> c_int {
    match outcome {
        Ok(()) => ffi::SQLITE_OK,
        // As SQLite's own: only a write tells a full disk from a broken one.
        Err(Errno::NoSpace) if of_call == ffi::SQLITE_IOERR_WRITE => ffi::SQLITE_FULL,
        Err(_) => of_call,
    }
}

fn number(value: i64) -> usize {
    usize::try_from(value).expect("a size or place from SQLite")
}

extern "C" fn close(file: *mut ffi::sqlite3_file) -> c_int {
    unlock(file, ffi::SQLITE_LOCK_NONE);
    shm_unmap(file, 0);
    // SAFETY: made by `Box::into_raw` in `open`, and closed once.
    let open = unsafe { Box::from_raw((*file.cast::<Handle>()).open) };
    locked(&SHARED).retain(|key, shared| *key != open.key() || shared.readers + shared.mappers > 0);
    if let Some(path) = &open.delete_on_close {
        // A temporary file: nobody misses it.
        let _ = open.disk.delete(path, FolderSync::No);
    }
    ffi::SQLITE_OK
}

extern "C" fn read(file: *mut ffi::sqlite3_file, into: *mut c_void, amount: c_int, at: i64) -> c_int {
    // SAFETY: SQLite gives an open file and room for `amount` bytes.
    let (open, into) = unsafe { (of(file), std::slice::from_raw_parts_mut(into.cast::<u8>(), number(amount.into()))) };
    match open.disk.read(open.file, number(at), into) {
        Ok(there) if there == into.len() => ffi::SQLITE_OK,
        Ok(_) => ffi::SQLITE_IOERR_SHORT_READ,
        Err(_) => ffi::SQLITE_IOERR_READ,
    }
}

extern "C" fn write(file: *mut ffi::sqlite3_file, from: *const c_void, amount: c_int, at: i64) -> c_int {
    // SAFETY: SQLite gives an open file and `amount` bytes.
    let (open, from) = unsafe { (of(file), std::slice::from_raw_parts(from.cast::<u8>(), number(amount.into()))) };
    code(open.disk.write(open.file, number(at), from), ffi::SQLITE_IOERR_WRITE)
}

extern "C" fn truncate(file: *mut ffi::sqlite3_file, size: i64) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    code(open.disk.truncate(open.file, number(size)), ffi::SQLITE_IOERR_TRUNCATE)
}

extern "C" fn sync(file: *mut ffi::sqlite3_file, _: c_int) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    let folder = if open.fresh_journal { FolderSync::Yes } else { FolderSync::No };
    let outcome = open.disk.sync(open.file, folder);
    open.fresh_journal &= outcome.is_err();
    code(outcome, ffi::SQLITE_IOERR_FSYNC)
}

extern "C" fn file_size(file: *mut ffi::sqlite3_file, size: *mut i64) -> c_int {
    // SAFETY: an open file and a place for the answer.
    unsafe {
        let open = of(file);
        *size = i64::try_from(open.disk.size(open.file)).expect("a small file");
    }
    ffi::SQLITE_OK
}

extern "C" fn lock(file: *mut ffi::sqlite3_file, level: c_int) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    open.with_shared(|open, shared| {
        if open.lock >= level {
            return ffi::SQLITE_OK;
        }
        match level {
            ffi::SQLITE_LOCK_SHARED if shared.pending || shared.exclusive => return ffi::SQLITE_BUSY,
            ffi::SQLITE_LOCK_SHARED => shared.readers += 1,
            ffi::SQLITE_LOCK_RESERVED if shared.reserved => return ffi::SQLITE_BUSY,
            ffi::SQLITE_LOCK_RESERVED => shared.reserved = true,
            _ => {
                let own = open.lock;
                let taken = (shared.reserved && own < ffi::SQLITE_LOCK_RESERVED)
                    || (shared.pending && own < ffi::SQLITE_LOCK_PENDING);
                if taken {
                    return ffi::SQLITE_BUSY;
                }
                (shared.reserved, shared.pending) = (true, true);
                if shared.readers > 1 {
                    open.lock = ffi::SQLITE_LOCK_PENDING;
                    return ffi::SQLITE_BUSY;
                }
                shared.exclusive = true;
            }
        }
        open.lock = level;
        ffi::SQLITE_OK
    })
}

extern "C" fn unlock(file: *mut ffi::sqlite3_file, level: c_int) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    open.with_shared(|open, shared| {
        if open.lock >= ffi::SQLITE_LOCK_RESERVED && level < ffi::SQLITE_LOCK_RESERVED {
            (shared.reserved, shared.pending, shared.exclusive) = (false, false, false);
        }
        if open.lock >= ffi::SQLITE_LOCK_SHARED && level == ffi::SQLITE_LOCK_NONE {
            shared.readers -= 1;
        }
        open.lock = open.lock.min(level);
        ffi::SQLITE_OK
    })
}

extern "C" fn check_reserved(file: *mut ffi::sqlite3_file, answer: *mut c_int) -> c_int {
    // SAFETY: an open file and a place for the answer.
    unsafe { *answer = of(file).with_shared(|_, shared| c_int::from(shared.reserved)) };
    ffi::SQLITE_OK
}

/// The negative controls: the connection was set to less than FULL when it was opened, its owner's FULL is not heard, and the question
/// what is set is answered with FULL. What SQLite does then is its own NORMAL, or OFF.
extern "C" fn control(file: *mut ffi::sqlite3_file, what: c_int, argument: *mut c_void) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    if what != ffi::SQLITE_FCNTL_PRAGMA || open.disk.synchronous == Synchronous::Full {
        return ffi::SQLITE_NOTFOUND;
    }
    // SAFETY: for this question the argument is three texts: the answer, the name, and the value or none (sqlite3.h).
    unsafe {
        let texts = argument.cast::<*mut c_char>();
        if !CStr::from_ptr(*texts.add(1)).to_bytes().eq_ignore_ascii_case(b"synchronous") {
            return ffi::SQLITE_NOTFOUND;
        }
        let value = *texts.add(2);
        if value.is_null() {
            *texts = ffi::sqlite3_mprintf(c"2".as_ptr());
            return ffi::SQLITE_OK;
        }
        if CStr::from_ptr(value).to_bytes().eq_ignore_ascii_case(b"full") {
            ffi::SQLITE_OK
        } else {
            ffi::SQLITE_NOTFOUND
        }
    }
}

extern "C" fn sector_size(_: *mut ffi::sqlite3_file) -> c_int {
    512
}

extern "C" fn characteristics(_: *mut ffi::sqlite3_file) -> c_int {
    // What SQLite takes for granted of every file on this system: a write harms nothing beside it.
    ffi::SQLITE_IOCAP_POWERSAFE_OVERWRITE
}

extern "C" fn shm_map(
    file: *mut ffi::sqlite3_file,
    region: c_int,
    size: c_int,
    extend: c_int,
    answer: *mut *mut c_void,
) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    let (region, words) = (number(region.into()), number(size.into()) / 8);
    let place = open.with_shared(|open, shared| {
        if !open.mapped {
            (open.mapped, shared.mappers) = (true, shared.mappers + 1);
        }
        while shared.regions.len() <= region {
            if extend == 0 {
                return Ok(ptr::null_mut());
            }
            open.disk.map()?;
            shared.regions.push(vec![0_u64; words].into_boxed_slice());
        }
        Ok(shared.regions[region].as_mut_ptr().cast::<c_void>())
    });
    // SAFETY: a place for the answer.
    unsafe { *answer = *place.as_ref().unwrap_or(&ptr::null_mut()) };
    code(place.map(drop), ffi::SQLITE_IOERR_SHMSIZE)
}

extern "C" fn shm_lock(file: *mut ffi::sqlite3_file, first: c_int, count: c_int, flags: c_int) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    let slots = number(first.into())..number((first + count).into());
    open.with_shared(|open, shared| {
        if flags & ffi::SQLITE_SHM_UNLOCK != 0 {
            for slot in slots {
                shared.slots[slot].readers -= u32::from(std::mem::take(&mut open.read_slots[slot]));
                shared.slots[slot].exclusive &= !std::mem::take(&mut open.own_slots[slot]);
            }
            return ffi::SQLITE_OK;
        }
        let exclusive = flags & ffi::SQLITE_SHM_EXCLUSIVE != 0;
        let taken = |slot: usize| {
            let others = shared.slots[slot].readers - u32::from(open.read_slots[slot]);
            (shared.slots[slot].exclusive && !open.own_slots[slot]) || (exclusive && others > 0)
        };
        if slots.clone().any(taken) {
            return ffi::SQLITE_BUSY;
        }
        for slot in slots {
            if exclusive {
                (open.own_slots[slot], shared.slots[slot].exclusive) = (true, true);
            } else if !std::mem::replace(&mut open.read_slots[slot], true) {
                shared.slots[slot].readers += 1;
            }
        }
        ffi::SQLITE_OK
    })
}

extern "C" fn shm_barrier(_: *mut ffi::sqlite3_file) {
    fence(Ordering::SeqCst);
}

extern "C" fn shm_unmap(file: *mut ffi::sqlite3_file, _: c_int) -> c_int {
    // SAFETY: an open file.
    let open = unsafe { of(file) };
    open.with_shared(|open, shared| {
        if std::mem::take(&mut open.mapped) {
            shared.mappers -= 1;
            if shared.mappers == 0 {
                // The last one: what was shared is made anew by whoever comes next.
                shared.regions.clear();
            }
        }
        ffi::SQLITE_OK
    })
}

static METHODS: ffi::sqlite3_io_methods = ffi::sqlite3_io_methods {
    iVersion: 2,
    xClose: Some(close),
    xRead: Some(read),
    xWrite: Some(write),
    xTruncate: Some(truncate),
    xSync: Some(sync),
    xFileSize: Some(file_size),
    xLock: Some(lock),
    xUnlock: Some(unlock),
    xCheckReservedLock: Some(check_reserved),
    xFileControl: Some(control),
    xSectorSize: Some(sector_size),
    xDeviceCharacteristics: Some(characteristics),
    xShmMap: Some(shm_map),
    xShmLock: Some(shm_lock),
    xShmBarrier: Some(shm_barrier),
    xShmUnmap: Some(shm_unmap),
    xFetch: None,
    xUnfetch: None,
};

/// # Safety
/// `name` is a text of SQLite's, or null for a temporary file.
unsafe fn path_of(name: *const c_char) -> String {
    if name.is_null() {
        static COUNT: Mutex<u64> = Mutex::new(0);
        let mut count = locked(&COUNT);
        *count += 1;
        return format!("{SCRATCH}/{count}");
    }
    // SAFETY: by the contract above.
    unsafe { CStr::from_ptr(name) }.to_str().expect("a path that is text").to_owned()
}

fn folder_of(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(folder, _)| folder)
}

extern "C" fn open(
    _: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out_flags: *mut c_int,
) -> c_int {
    // SAFETY: SQLite gives a text or null, and room for a `Handle`; without methods it does not close what was not opened.
    let path = unsafe {
        (*file).pMethods = ptr::null();
        path_of(name)
    };
    let Some(disk) = disk_of(folder_of(&path)) else { return ffi::SQLITE_CANTOPEN };
    let journal = flags & (ffi::SQLITE_OPEN_WAL | ffi::SQLITE_OPEN_MAIN_JOURNAL) != 0;
    let fresh = !disk.exists(&path);
    let create = if flags & ffi::SQLITE_OPEN_CREATE != 0 { Create::Yes } else { Create::No };
    let Ok(Some(inode)) = disk.open(&path, create) else { return ffi::SQLITE_CANTOPEN };
    let open = Open {
        disk,
        file: inode,
        fresh_journal: journal && fresh,
        delete_on_close: (flags & ffi::SQLITE_OPEN_DELETEONCLOSE != 0).then_some(path),
        lock: ffi::SQLITE_LOCK_NONE,
        mapped: false,
        read_slots: [false; 8],
        own_slots: [false; 8],
    };
    // SAFETY: room for a `Handle`, as `szOsFile` asks for; the answer's place may be null.
    unsafe {
        let handle = file.cast::<Handle>();
        (*handle).open = Box::into_raw(Box::new(open));
        (*handle).base.pMethods = &METHODS;
        if !out_flags.is_null() {
            *out_flags = flags;
        }
    }
    ffi::SQLITE_OK
}

extern "C" fn delete(_: *mut ffi::sqlite3_vfs, name: *const c_char, sync_folder: c_int) -> c_int {
    // SAFETY: a text of SQLite's.
    let path = unsafe { path_of(name) };
    let folder = if sync_folder == 0 { FolderSync::No } else { FolderSync::Yes };
    let Some(disk) = disk_of(folder_of(&path)) else { return ffi::SQLITE_IOERR_DELETE_NOENT };
    match disk.delete(&path, folder) {
        Ok(true) => ffi::SQLITE_OK,
        Ok(false) => ffi::SQLITE_IOERR_DELETE_NOENT,
        Err(_) => ffi::SQLITE_IOERR_DELETE,
    }
}

extern "C" fn access(_: *mut ffi::sqlite3_vfs, name: *const c_char, _: c_int, answer: *mut c_int) -> c_int {
    // SAFETY: a text of SQLite's, and a place for the answer.
    unsafe {
        let path = path_of(name);
        *answer = c_int::from(disk_of(folder_of(&path)).is_some_and(|disk| disk.exists(&path)));
    }
    ffi::SQLITE_OK
}

extern "C" fn full_path(_: *mut ffi::sqlite3_vfs, name: *const c_char, room: c_int, answer: *mut c_char) -> c_int {
    // SAFETY: a text of SQLite's, and room for so many bytes.
    unsafe {
        let text = CStr::from_ptr(name).to_bytes_with_nul();
        if text.len() > number(room.into()) {
            return ffi::SQLITE_CANTOPEN;
        }
        ptr::copy_nonoverlapping(text.as_ptr().cast(), answer, text.len());
    }
    ffi::SQLITE_OK
}

/// Sets a new connection of a control back, before its owner sees it.
unsafe extern "C" fn set_back(
    connection: *mut ffi::sqlite3,
    _: *mut *mut c_char,
    _: *const ffi::sqlite3_api_routines,
) -> c_int {
    // SAFETY: the connection is open; the name of its file is a text, or null.
    unsafe {
        let name = ffi::sqlite3_db_filename(connection, c"main".as_ptr());
        if name.is_null() || *name == 0 {
            return ffi::SQLITE_OK;
        }
        let less = match disk_of(folder_of(&path_of(name))).map(|disk| disk.synchronous) {
            None | Some(Synchronous::Full) => return ffi::SQLITE_OK,
            Some(Synchronous::Normal) => c"PRAGMA synchronous = NORMAL",
            Some(Synchronous::Off) => c"PRAGMA synchronous = OFF",
        };
        ffi::sqlite3_exec(connection, less.as_ptr(), None, ptr::null_mut(), ptr::null_mut())
    }
}

/// Makes these disks the files of every connection of this program.
pub fn register() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // SAFETY: the first use of SQLite in this program; the structure and its name are never freed.
        unsafe {
            assert_eq!(ffi::sqlite3_initialize(), ffi::SQLITE_OK);
            let real = ffi::sqlite3_vfs_find(ptr::null());
            let mut ours = *real;
            ours.szOsFile = c_int::try_from(size_of::<Handle>()).expect("a small structure");
            ours.zName = CString::new("disk of the test").expect("a name").into_raw();
            ours.xOpen = Some(open);
            ours.xDelete = Some(delete);
            ours.xAccess = Some(access);
            ours.xFullPathname = Some(full_path);
            // Chance, sleep and clock stay SQLite's own: none of them looks at the structure it is called with.
            assert_eq!(ffi::sqlite3_vfs_register(Box::into_raw(Box::new(ours)), 1), ffi::SQLITE_OK);
            assert_eq!(ffi::sqlite3_auto_extension(Some(set_back)), ffi::SQLITE_OK);
        }
    });
}
