//! A tap between `SQLite` and the disk: it writes down every write, cut and sync, and can make them fail.
//!
//! It stands before the usual disk layer for the whole process, so whoever uses it runs in a process of its
//! own (see [`super::alone`]).

use rusqlite::ffi;
use std::collections::HashMap;
use std::ffi::{CStr, c_char, c_int, c_void};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

/// Something that was asked of the disk, or said to a person, in order.
#[derive(Clone, Debug)]
pub(super) enum Op {
    /// Bytes at a place of a file.
    Write(PathBuf, u64, Vec<u8>),
    /// A file cut or stretched to a length.
    Cut(PathBuf, u64),
    /// Everything written to a file so far is on the disk.
    Sync(PathBuf),
    /// A sync that failed: what it was to keep may be lost, even if a later sync is said to be good.
    FailedSync(PathBuf),
    /// Somebody was told that event is recorded.
    Told(u128),
}

impl Op {
    /// The file that it is about.
    pub(super) fn path(&self) -> Option<&Path> {
        match self {
            Self::Write(path, ..)
            | Self::Cut(path, _)
            | Self::Sync(path)
            | Self::FailedSync(path) => Some(path),
            Self::Told(_) => None,
        }
    }
}

/// What goes wrong.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fault {
    /// Which operation fails, from 1.
    pub(super) at: u64,
    /// All after it fail too.
    pub(super) for_ever: bool,
    /// The disk says that it is full, and not that it is broken.
    pub(super) full: bool,
    /// A write that fails leaves its first half.
    pub(super) torn: bool,
}

/// Which read fails.
#[derive(Clone, Copy, Debug)]
pub(super) struct ReadFault {
    /// Its number, from 1.
    pub(super) at: u64,
    /// All after it fail too.
    pub(super) for_ever: bool,
}

#[derive(Default)]
struct Tap {
    paths: HashMap<usize, PathBuf>,
    recording: bool,
    ops: Vec<Op>,
    count: u64,
    fault: Option<Fault>,
    failed: u64,
    reads: u64,
    read_fault: Option<ReadFault>,
    failed_reads: u64,
}

static TAP: Mutex<Option<Tap>> = Mutex::new(None);
static UNIX: OnceLock<usize> = OnceLock::new();
/// The disk layer's own methods: of the database, and of every other file.
static METHODS: [OnceLock<ffi::sqlite3_io_methods>; 2] = [OnceLock::new(), OnceLock::new()];
static TAPPED: [OnceLock<ffi::sqlite3_io_methods>; 2] = [OnceLock::new(), OnceLock::new()];

fn with<T>(take: impl FnOnce(&mut Tap) -> T) -> T {
    let mut tap: MutexGuard<'_, Option<Tap>> = TAP.lock().unwrap_or_else(PoisonError::into_inner);
    take(tap.get_or_insert_with(Tap::default))
}

/// Puts the tap before the disk, for all files that are opened from now on.
#[expect(unsafe_code, reason = "the disk layer is a table of C functions")]
pub(super) fn install() {
    // SAFETY: the usual layer lives as long as the process; its copy is registered once and never freed.
    UNIX.get_or_init(|| unsafe {
        let unix = ffi::sqlite3_vfs_find(std::ptr::null());
        let mut tapped = Box::new(std::ptr::read(unix));
        tapped.zName = c"tapped".as_ptr();
        tapped.xOpen = Some(open);
        let code = ffi::sqlite3_vfs_register(Box::into_raw(tapped), 1);
        assert_eq!(code, ffi::SQLITE_OK);
        unix as usize
    });
}

/// Writes down from now on, from nothing.
pub(super) fn record() {
    with(|tap| {
        tap.ops.clear();
        tap.recording = true;
    });
}

/// What was written down; nothing more is.
pub(super) fn recorded() -> Vec<Op> {
    with(|tap| {
        tap.recording = false;
        std::mem::take(&mut tap.ops)
    })
}

/// Writes down that somebody was told.
pub(super) fn told(id: u128) {
    with(|tap| {
        if tap.recording {
            tap.ops.push(Op::Told(id));
        }
    });
}

/// Lets something go wrong from now on, or nothing any more.
pub(super) fn fail(fault: Option<Fault>) {
    with(|tap| {
        tap.fault = fault;
        tap.count = 0;
        tap.failed = 0;
    });
}

/// How many operations there were, and how many of them failed, since [`fail`].
pub(super) fn counted() -> (u64, u64) {
    with(|tap| (tap.count, tap.failed))
}

/// Lets reads go wrong from now on, or none any more.
pub(super) fn fail_reads(fault: Option<ReadFault>) {
    with(|tap| {
        tap.read_fault = fault;
        tap.reads = 0;
        tap.failed_reads = 0;
    });
}

/// How many reads have failed since [`fail_reads`].
pub(super) fn failed_reads() -> u64 {
    with(|tap| tap.failed_reads)
}

#[expect(unsafe_code, reason = "called from C")]
unsafe extern "C" fn open(
    _own: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out: *mut c_int,
) -> c_int {
    // SAFETY: all pointers come from the library and are handed on as they are; the table of methods is
    // replaced by one that differs in four entries, which call the ones replaced.
    unsafe {
        let unix = *UNIX.get().expect("it is installed") as *mut ffi::sqlite3_vfs;
        let own_open = (*unix).xOpen.expect("every layer can open");
        let code = own_open(unix, name, file, flags, out);
        if code != ffi::SQLITE_OK || name.is_null() || (*file).pMethods.is_null() {
            return code;
        }
        let kind = usize::from(flags & ffi::SQLITE_OPEN_MAIN_DB == 0);
        let plain = METHODS[kind].get_or_init(|| std::ptr::read((*file).pMethods));
        let tapped = TAPPED[kind].get_or_init(|| {
            let mut own = std::ptr::read(plain);
            own.xRead = Some([read::<0>, read::<1>][kind]);
            own.xWrite = Some([write::<0>, write::<1>][kind]);
            own.xTruncate = Some([truncate::<0>, truncate::<1>][kind]);
            own.xSync = Some([sync::<0>, sync::<1>][kind]);
            own
        });
        (*file).pMethods = tapped;
        let path = CStr::from_ptr(name).to_str().expect("a path of the tests");
        with(|tap| tap.paths.insert(file as usize, PathBuf::from(path)));
        code
    }
}

/// Counts an operation; the fault where it is to fail, and the file where it is written down.
fn next(file: usize) -> (Option<Fault>, Option<PathBuf>) {
    with(|tap| {
        tap.count += 1;
        let count = tap.count;
        let hit = |fault: &Fault| count == fault.at || fault.for_ever && count > fault.at;
        let fault = tap.fault.filter(hit);
        tap.failed += u64::from(fault.is_some());
        let path = tap.paths.get(&file).filter(|_| tap.recording);
        (fault, path.cloned())
    })
}

fn note(op: Op) {
    with(|tap| tap.ops.push(op));
}

/// Counts a read; true where it is to fail.
fn read_fails() -> bool {
    with(|tap| {
        tap.reads += 1;
        let count = tap.reads;
        let hit = |fault: &ReadFault| count == fault.at || fault.for_ever && count > fault.at;
        let fails = tap.read_fault.as_ref().is_some_and(hit);
        tap.failed_reads += u64::from(fails);
        fails
    })
}

#[expect(unsafe_code, reason = "called from C")]
unsafe extern "C" fn read<const KIND: usize>(
    file: *mut ffi::sqlite3_file,
    bytes: *mut c_void,
    count: c_int,
    at: i64,
) -> c_int {
    if read_fails() {
        return ffi::SQLITE_IOERR_READ;
    }
    let methods = METHODS[KIND].get().expect("it is installed");
    let own = methods.xRead.expect("every layer can read");
    // SAFETY: handed on as it came.
    unsafe { own(file, bytes, count, at) }
}

#[expect(unsafe_code, reason = "called from C")]
unsafe extern "C" fn write<const KIND: usize>(
    file: *mut ffi::sqlite3_file,
    bytes: *const c_void,
    count: c_int,
    at: i64,
) -> c_int {
    let (fault, path) = next(file as usize);
    let length = usize::try_from(count).expect("a length");
    let kept = match fault {
        None => length,
        Some(fault) if fault.torn => length / 2,
        Some(_) => 0,
    };
    // SAFETY: the library hands over `count` bytes, of which no more are read.
    let code = unsafe {
        if let Some(path) = path {
            let bytes = std::slice::from_raw_parts(bytes.cast::<u8>(), kept).to_vec();
            let at = u64::try_from(at).expect("a place in a file");
            note(Op::Write(path, at, bytes));
        }
        let methods = METHODS[KIND].get().expect("it is installed");
        let own = methods.xWrite.expect("every layer can write");
        let kept = c_int::try_from(kept).expect("at most what was given");
        if kept > 0 {
            own(file, bytes, kept, at)
        } else {
            ffi::SQLITE_OK
        }
    };
    match fault {
        None => code,
        Some(fault) if fault.full => ffi::SQLITE_FULL,
        Some(_) => ffi::SQLITE_IOERR_WRITE,
    }
}

#[expect(unsafe_code, reason = "called from C")]
unsafe extern "C" fn truncate<const KIND: usize>(file: *mut ffi::sqlite3_file, size: i64) -> c_int {
    let (fault, path) = next(file as usize);
    if fault.is_some() {
        return ffi::SQLITE_IOERR_TRUNCATE;
    }
    if let Some(path) = path {
        note(Op::Cut(path, u64::try_from(size).expect("a length")));
    }
    let methods = METHODS[KIND].get().expect("it is installed");
    let own = methods.xTruncate.expect("every layer can cut");
    // SAFETY: handed on as it came.
    unsafe { own(file, size) }
}

#[expect(unsafe_code, reason = "called from C")]
unsafe extern "C" fn sync<const KIND: usize>(file: *mut ffi::sqlite3_file, flags: c_int) -> c_int {
    let (fault, path) = next(file as usize);
    if let Some(path) = path {
        note(if fault.is_some() {
            Op::FailedSync(path)
        } else {
            Op::Sync(path)
        });
    }
    if fault.is_some() {
        return ffi::SQLITE_IOERR_FSYNC;
    }
    // What the tests are about is the order of these calls, which is written down; the waiting itself is
    // left out, as a test's own disk may be lost.
    let _ = (file, flags, KIND);
    ffi::SQLITE_OK
}

/// A file as the disk may have it.
#[derive(Clone, Default)]
struct Disk {
    /// What was certainly there before the changes.
    kept: Vec<u8>,
    /// What was asked since, in order.
    changes: Vec<(Change, Fate)>,
}

/// What a power cut does to a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    /// Nothing: a good sync came after it.
    Sure,
    /// Anything: no sync has come yet.
    Pending,
    /// Anything: the sync that came failed, and later ones do not know of it any more.
    Doubtful,
}

impl Disk {
    /// A sync has come: what was pending has its fate.
    fn decide(&mut self, fate: Fate) {
        for (_, own) in &mut self.changes {
            if *own == Fate::Pending {
                *own = fate;
            }
        }
        if self.changes.iter().all(|(_, own)| *own == Fate::Sure) {
            for (change, _) in std::mem::take(&mut self.changes) {
                change.apply(&mut self.kept, || true);
            }
        }
    }
}

#[derive(Clone)]
enum Change {
    Write(u64, Vec<u8>),
    Cut(u64),
}

impl Change {
    /// Applies it; of a write only those sectors of 512 bytes that `keep` wants.
    fn apply(&self, bytes: &mut Vec<u8>, mut keep: impl FnMut() -> bool) {
        const SECTOR: usize = 512;
        match self {
            Self::Cut(length) => {
                if keep() {
                    bytes.resize(usize::try_from(*length).expect("a small file"), 0);
                }
            }
            Self::Write(at, data) => {
                let at = usize::try_from(*at).expect("a small file");
                let mut from = 0;
                while from < data.len() {
                    let to = data.len().min(from + SECTOR - (at + from) % SECTOR);
                    if keep() {
                        if bytes.len() < at + to {
                            bytes.resize(at + to, 0);
                        }
                        bytes[at + from..at + to].copy_from_slice(&data[from..to]);
                    }
                    from = to;
                }
            }
        }
    }
}

/// What the files of a folder may look like after a power cut.
#[derive(Clone, Default)]
pub(super) struct Disks(HashMap<PathBuf, Disk>);

/// How much of what was not synced is there after a power cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Left {
    /// Nothing.
    Nothing,
    /// All of it.
    All,
    /// Any sector of it.
    Some,
}

impl Disks {
    /// As the files lie there now.
    pub(super) fn of_files(paths: &[&Path]) -> Self {
        let disk = |path: &&Path| {
            let kept = std::fs::read(path).unwrap_or_default();
            (
                path.to_path_buf(),
                Disk {
                    kept,
                    ..Disk::default()
                },
            )
        };
        Self(paths.iter().map(disk).collect())
    }

    /// Takes in what was asked next.
    pub(super) fn take(&mut self, op: &Op) {
        let Some(path) = op.path() else {
            return;
        };
        let disk = self.0.entry(path.to_path_buf()).or_default();
        let mut ask = |change| disk.changes.push((change, Fate::Pending));
        match op {
            Op::Write(_, at, bytes) => ask(Change::Write(*at, bytes.clone())),
            Op::Cut(_, length) => ask(Change::Cut(*length)),
            Op::Sync(_) => disk.decide(Fate::Sure),
            Op::FailedSync(_) => disk.decide(Fate::Doubtful),
            Op::Told(_) => {}
        }
    }

    /// The files after a power cut now; `choose` decides where chance does.
    pub(super) fn image(
        &self,
        left: Left,
        choose: &mut dyn FnMut() -> bool,
    ) -> Vec<(PathBuf, Vec<u8>)> {
        let mut all: Vec<_> = self.0.iter().collect();
        all.sort_by_key(|(path, _)| path.as_path());
        let bytes = |disk: &Disk, choose: &mut dyn FnMut() -> bool| {
            let mut bytes = disk.kept.clone();
            for (change, fate) in &disk.changes {
                change.apply(&mut bytes, || match left {
                    Left::All => true,
                    _ if *fate == Fate::Sure => true,
                    Left::Nothing => false,
                    Left::Some => choose(),
                });
            }
            bytes
        };
        all.into_iter()
            .map(|(path, disk)| (path.clone(), bytes(disk, choose)))
            .collect()
    }
}
