//! The one place that makes a connection, and the only one that knows the path.
//!
//! A file that is newer, foreign, damaged or on a network disk is never written. No code but `SQLite`'s
//! opens the ledger file while a connection is open: closing it again would drop `SQLite`'s locks.

use super::LedgerError;
use super::env::Env;
use super::history::HISTORY_INDEXES;
use super::migrate::{ROLES_INDEX, migrate};
use super::sqlite::SqliteLedger;
use rusqlite::config::DbConfig;
use rusqlite::limits::Limit;
use rusqlite::{Connection, FileControl, OpenFlags};
use std::fs::OpenOptions;
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Marks the file as ours: "RGDY".
const APPLICATION_ID: i64 = 0x5247_4459;
/// Older ones could reset the write-ahead log while it was needed.
const OLDEST_SQLITE: i32 = 3_051_003;
/// How often a busy store is tried again at first, in steps of a few milliseconds: for about 30 ms.
const PATIENT_TRIES: i32 = 17;
/// How often at all: for about ten seconds.
const BUSY_TRIES: i32 = 20_000;
/// The same where whoever asks tries again: about ten milliseconds.
const HURRIED_TRIES: i32 = 6;
/// How many links are checked whenever a ledger is opened.
const LINKS_AT_START: u64 = 1000;

/// The version of the file that this program writes.
pub(super) const VERSION: i64 = 3;
/// The version from which on roles are found by an index.
pub(super) const ROLES_VERSION: i64 = 2;
/// The version from which on the history of a unit or a rig is found by indexes.
pub(super) const HISTORY_VERSION: i64 = 3;
/// The oldest version that it brings forward.
const OLDEST: i64 = 1;

/// Everything in the file's schema since version 1, by name, in the order of its making.
const SCHEMA: [(&str, &str); 6] = [
    (
        "ledger",
        "CREATE TABLE ledger (one INTEGER PRIMARY KEY CHECK (one = 1), id BLOB NOT NULL CHECK (length(id) = 16), site TEXT NOT NULL, created_ms INTEGER NOT NULL) STRICT",
    ),
    (
        "event",
        "CREATE TABLE event (seq INTEGER PRIMARY KEY, id BLOB NOT NULL UNIQUE CHECK (length(id) = 16), ledger BLOB NOT NULL CHECK (length(ledger) = 16), site TEXT NOT NULL, happened_ms INTEGER NOT NULL, recorded_ms INTEGER NOT NULL, zone TEXT NOT NULL, offset_min INTEGER NOT NULL, uid INTEGER NOT NULL, login TEXT NOT NULL, person TEXT NOT NULL, host TEXT NOT NULL, session TEXT NOT NULL, program TEXT NOT NULL, clock_back INTEGER NOT NULL, kind TEXT NOT NULL, ver INTEGER NOT NULL, body TEXT NOT NULL, leaf BLOB NOT NULL CHECK (length(leaf) = 32), link BLOB NOT NULL CHECK (length(link) = 32)) STRICT",
    ),
    (
        "event_is_not_changed",
        "CREATE TRIGGER event_is_not_changed BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'events are not changed'); END",
    ),
    (
        "event_is_not_removed",
        "CREATE TRIGGER event_is_not_removed BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'events are not removed'); END",
    ),
    (
        "event_follows",
        "CREATE TRIGGER event_follows BEFORE INSERT ON event WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM event) BEGIN SELECT RAISE(ABORT, 'events follow each other without a gap'); END",
    ),
    // Without it `INSERT OR REPLACE` of a known id would take that event away, unseen by the guard above.
    (
        "event_is_new",
        "CREATE TRIGGER event_is_new BEFORE INSERT ON event WHEN EXISTS (SELECT 1 FROM event WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'an event is recorded once'); END",
    ),
];

/// Who may read a new file besides the owner's group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Readers {
    /// Nobody.
    Group,
    /// Every user of the host.
    Everyone,
}

impl Readers {
    /// The mode of the file.
    const fn file_mode(self) -> u32 {
        match self {
            Self::Group => 0o660,
            Self::Everyone => 0o664,
        }
    }

    /// The mode of a folder made for it: what is put in belongs to the folder's group.
    pub const fn folder_mode(self) -> u32 {
        match self {
            Self::Group => 0o2770,
            Self::Everyone => 0o2775,
        }
    }
}

/// Makes a new ledger for its group. The file must not be there yet; it appears whole or not at all.
///
/// # Errors
/// Where the file exists, or its folder is not safe.
pub fn create(path: &Path, env: Env) -> Result<SqliteLedger, LedgerError> {
    create_for(path, env, Readers::Group)
}

/// Makes a new ledger, as [`create`].
///
/// # Errors
/// As [`create`].
pub fn create_for(path: &Path, env: Env, readers: Readers) -> Result<SqliteLedger, LedgerError> {
    let path = absolute(path)?;
    safe_folder(&path)?;
    let mut half = path.clone().into_os_string();
    half.push(format!(".new-{}", std::process::id()));
    let half = PathBuf::from(half);
    let made = fill(&half, &env, readers).and_then(|()| into_place(&half, &path));
    if made.is_err() {
        remove_half(&half);
    }
    made?;
    open(&path, env)
}

/// Takes away what is half made, and what a disk that failed has left beside it.
pub(super) fn remove_half(half: &Path) {
    for end in ["", "-journal", "-wal", "-shm"] {
        let mut path = half.to_owned().into_os_string();
        path.push(end);
        // It is ours; where it cannot be removed the first error says more.
        let _removed = std::fs::remove_file(path);
    }
}

/// A new file with our schema and an id of its own.
fn fill(path: &Path, env: &Env, readers: Readers) -> Result<(), LedgerError> {
    let mode = readers.file_mode();
    let file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(mode)
        .custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed())
        .open(path)?;
    // Whatever the umask says.
    file.set_permissions(std::fs::Permissions::from_mode(mode))?;
    drop(file);
    let connection = connect(path, false)?;
    let id = env.ids.next().0;
    let made_ms = env.clock.now_ms();
    connection.execute_batch("BEGIN IMMEDIATE")?;
    for (_, sql) in schema(VERSION) {
        connection.execute_batch(sql)?;
    }
    connection.pragma_update(None, "application_id", APPLICATION_ID)?;
    connection.pragma_update(None, "user_version", VERSION)?;
    connection.execute(
        "INSERT INTO ledger (one, id, site, created_ms) VALUES (1, ?1, ?2, ?3)",
        (&id[..], &env.site, made_ms),
    )?;
    connection.execute_batch("COMMIT")?;
    Ok(())
}

/// What a file of that version holds.
fn schema(version: i64) -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    SCHEMA.iter().chain(added(OLDEST, version))
}

/// What versions after `from` up to `to` have added to the file.
pub(super) fn added(
    from: i64,
    to: i64,
) -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    let steps: [(i64, &'static [(&str, &str)]); 2] = [
        (ROLES_VERSION, &ROLES_INDEX),
        (HISTORY_VERSION, &HISTORY_INDEXES),
    ];
    let within = move |(version, _): &(i64, _)| from < *version && *version <= to;
    steps.into_iter().filter(within).flat_map(|(_, own)| own)
}

/// Gives a finished file its name, never over another file, and makes that last.
pub(super) fn into_place(half: &Path, path: &Path) -> Result<(), LedgerError> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    std::fs::File::open(half)?.sync_all()?;
    renameat_with(CWD, half, CWD, path, RenameFlags::NOREPLACE).map_err(std::io::Error::from)?;
    let folder = path.parent().unwrap_or(Path::new("/"));
    std::fs::File::open(folder)?.sync_all()?;
    Ok(())
}

/// Opens a ledger for reading and writing; an older one is brought to our version, with a copy beside it.
///
/// # Errors
/// Where it is missing, not safe, not ours, newer, damaged at its end, or lacks what the user has seen.
pub fn open(path: &Path, env: Env) -> Result<SqliteLedger, LedgerError> {
    let (path, connection, version) = for_writing(path)?;
    let mut ledger = SqliteLedger::new(connection, env, path)?;
    ledger.check_end(LINKS_AT_START)?;
    if let Some(seq) = ledger.cut_off() {
        let path = ledger.path().display().to_string();
        return Err(LedgerError::CutOff { path, seq });
    }
    durable(ledger.connection(), ledger.path())?;
    if version < VERSION {
        migrate(&ledger, version)?;
    }
    ledger.begin_writing();
    Ok(ledger)
}

/// Opens the file of a ledger anew after its disk failed. What the log holds is brought into the file first:
/// the disk may have forgotten what it failed to keep.
pub(super) fn open_anew(path: &Path, env: Env) -> Result<SqliteLedger, LedgerError> {
    let ledger = open(path, env)?;
    let merged = ledger
        .connection()
        .query_row("PRAGMA wal_checkpoint(FULL)", (), |row| {
            Ok((
                row.get::<_, i64>(0)?,
                row.get::<_, i64>(1)?,
                row.get::<_, i64>(2)?,
            ))
        })?;
    let (busy, log, moved) = merged;
    if busy != 0 || log != moved {
        let why = "others read it, so that it cannot be made sure; try again".to_owned();
        let path = path.display().to_string();
        return Err(LedgerError::Unsafe { path, why });
    }
    Ok(ledger)
}

/// A checked path, a connection to it, and the version of the file.
fn for_writing(path: &Path) -> Result<(PathBuf, Connection, i64), LedgerError> {
    let path = checked(path)?;
    safe_folder(&path)?;
    let connection = connect(&path, false)?;
    let version = ours(&connection, &path)?;
    Ok((path, connection, version))
}

/// Opens a ledger for looking only.
///
/// # Errors
/// Where it is missing, not ours, newer, or damaged at its end.
pub fn open_read_only(path: &Path, env: Env) -> Result<SqliteLedger, LedgerError> {
    let ledger = inspect(path, env)?;
    ledger.check_end(LINKS_AT_START)?;
    Ok(ledger)
}

/// Opens a ledger for looking only, even where its events are damaged.
///
/// # Errors
/// Where it is missing, not ours, or newer.
pub fn inspect(path: &Path, env: Env) -> Result<SqliteLedger, LedgerError> {
    let path = checked(path)?;
    let connection = second_look(&path)?;
    SqliteLedger::new(connection, env, path)
}

/// A connection for looking only to a file that is ours.
pub(super) fn second_look(path: &Path) -> Result<Connection, LedgerError> {
    let connection = connect(path, true)?;
    ours(&connection, path)?;
    connection.pragma_update(None, "query_only", true)?;
    keep_log(&connection)?;
    Ok(connection)
}

/// The log stays when the last connection closes: without it, somebody who may only read could not look
/// while nobody writes.
fn keep_log(connection: &Connection) -> Result<(), LedgerError> {
    let mut on = 1;
    connection.file_control(None::<&str>, FileControl::PersistWal(&mut on))?;
    Ok(())
}

/// Whether the place of the file is fit for writing.
pub(super) fn writable(path: &Path) -> Result<(), LedgerError> {
    safe_folder(path)
}

pub(super) fn absolute(path: &Path) -> Result<PathBuf, LedgerError> {
    Ok(std::path::absolute(path)?)
}

/// The absolute path of a regular file with one name that others may not write.
fn checked(path: &Path) -> Result<PathBuf, LedgerError> {
    let path = absolute(path)?;
    let shown = path.display().to_string();
    let found = match std::fs::symlink_metadata(&path) {
        Ok(found) => found,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err(LedgerError::Missing { path: shown });
        }
        Err(error) => return Err(error.into()),
    };
    let fault = |why: &str| {
        Err(LedgerError::Unsafe {
            path: shown.clone(),
            why: why.to_owned(),
        })
    };
    if !found.is_file() {
        return fault("it is no regular file");
    }
    if found.nlink() != 1 {
        return fault("it has a second name (hard link); copies must go through `rigday backup`");
    }
    if found.mode() & 0o002 != 0 {
        return fault("everybody may write it; take that right away (chmod o-w)");
    }
    Ok(path)
}

/// The folder is on a local disk, and not everybody may rename what is in it.
fn safe_folder(path: &Path) -> Result<(), LedgerError> {
    const STICKY: u32 = 0o1000;
    let folder = path.parent().unwrap_or(Path::new("/"));
    let mode = std::fs::metadata(folder)?.mode();
    if mode & 0o002 != 0 && mode & STICKY == 0 {
        let why = "everybody may write its folder; take that right away (chmod o-w)".to_owned();
        return Err(LedgerError::Unsafe {
            path: path.display().to_string(),
            why,
        });
    }
    safe_disk(path)
}

/// The folder's disk is a local one.
fn safe_disk(path: &Path) -> Result<(), LedgerError> {
    let folder = path.parent().unwrap_or(Path::new("/"));
    let disk = rustix::fs::statfs(folder).map_err(std::io::Error::from)?;
    local(disk.f_type, path)
}

/// Refuses the kinds of file systems whose locks cannot be trusted: NFS, SMB, CIFS and its second version, 9p,
/// and FUSE, which may be anything.
fn local(kind: i64, path: &Path) -> Result<(), LedgerError> {
    const NETWORK: [i64; 6] = [
        0x6969,
        0x517b,
        0xff53_4d42,
        0xfe53_4d42,
        0x0102_1997,
        0x6573_5546,
    ];
    if NETWORK.contains(&(kind & 0xffff_ffff)) {
        let why = "the disk is a network disk, where locks cannot be trusted; use a local one";
        return Err(LedgerError::Unsafe {
            path: path.display().to_string(),
            why: why.to_owned(),
        });
    }
    Ok(())
}

#[expect(
    clippy::disallowed_methods,
    reason = "the one place that makes a connection"
)]
pub(super) fn connect(path: &Path, read_only: bool) -> Result<Connection, LedgerError> {
    if rusqlite::version_number() < OLDEST_SQLITE {
        let why = format!(
            "SQLite {} has a fault that can lose events; 3.51.3 is needed",
            rusqlite::version()
        );
        return Err(LedgerError::Unsafe {
            path: path.display().to_string(),
            why,
        });
    }
    let access = if read_only {
        OpenFlags::SQLITE_OPEN_READ_ONLY
    } else {
        OpenFlags::SQLITE_OPEN_READ_WRITE
    };
    let flags = access | OpenFlags::SQLITE_OPEN_NO_MUTEX | OpenFlags::SQLITE_OPEN_NOFOLLOW;
    let mut connection = Connection::open_with_flags(path, flags)?;
    connection.busy_handler(Some(wait_a_little))?;
    for (setting, on) in [
        // A file that turns out not to be ours must not be written by closing it again.
        (DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true),
        (DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true),
        (DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_VIEW, false),
        (DbConfig::SQLITE_DBCONFIG_DQS_DML, false),
        (DbConfig::SQLITE_DBCONFIG_DQS_DDL, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_ATTACH_CREATE, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_ATTACH_WRITE, false),
    ] {
        connection.set_db_config(setting, on)?;
    }
    for (limit, most) in [
        (Limit::SQLITE_LIMIT_ATTACHED, 0),
        (Limit::SQLITE_LIMIT_LENGTH, 1_000_000),
        (Limit::SQLITE_LIMIT_SQL_LENGTH, 100_000),
        (Limit::SQLITE_LIMIT_EXPR_DEPTH, 50),
        (Limit::SQLITE_LIMIT_TRIGGER_DEPTH, 10),
    ] {
        connection.set_limit(limit, most)?;
    }
    for (pragma, value) in [
        ("mmap_size", "0"),
        ("cell_size_check", "ON"),
        ("recursive_triggers", "ON"),
        ("foreign_keys", "ON"),
        ("temp_store", "MEMORY"),
    ] {
        connection.pragma_update(None, pragma, value)?;
    }
    Ok(connection)
}

/// From now on a busy store is given a few moments only.
pub(super) fn hurry(connection: &mut Connection) -> Result<(), LedgerError> {
    connection.busy_handler(Some(|tries| tries < HURRIED_TRIES && wait_a_little(tries)))?;
    Ok(())
}

/// Sleeps a moment of uneven length, and gives up after about ten seconds. Who has waited for long asks more
/// often than those who have just come, and so gets its turn before them.
fn wait_a_little(tries: i32) -> bool {
    let (least, spread) = if tries < PATIENT_TRIES {
        (500, 2_500)
    } else {
        (200, 600)
    };
    let uneven = getrandom::u32().unwrap_or(0).checked_rem(spread);
    std::thread::sleep(Duration::from_micros(u64::from(
        uneven.map_or(least, |uneven| uneven.saturating_add(least)),
    )));
    tries < BUSY_TRIES
}

/// The file says that it is ours, of a version we know, with exactly the schema of that version; which.
fn ours(connection: &Connection, path: &Path) -> Result<i64, LedgerError> {
    let shown = path.display().to_string();
    let foreign = |why: String| LedgerError::Foreign {
        path: shown.clone(),
        why,
    };
    let number = |pragma: &str| {
        let value = connection.pragma_query_value(None, pragma, |row| row.get::<_, i64>(0));
        value.map_err(|error| foreign(error.to_string()))
    };
    let id = number("application_id")?;
    if id != APPLICATION_ID {
        return Err(foreign(format!(
            "its application id is {id}, not {APPLICATION_ID}"
        )));
    }
    let found = number("user_version")?;
    if found > VERSION {
        return Err(LedgerError::Newer {
            path: shown,
            found,
            known: VERSION,
        });
    }
    if found < OLDEST {
        return Err(foreign(format!(
            "its version is {found}, which no rigday has written"
        )));
    }
    let mut objects =
        connection.prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL")?;
    let objects = objects.query_map((), |row| Ok((row.get(0)?, row.get(1)?)))?;
    let objects: Vec<(String, String)> = objects.collect::<Result<_, _>>()?;
    for (name, sql) in &objects {
        if !schema(found).any(|(own, text)| own == name && text == sql) {
            return Err(foreign(format!("`{name}` in its schema is not ours")));
        }
    }
    let missing = schema(found).find(|(own, _)| objects.iter().all(|(name, _)| name != own));
    missing.map_or(Ok(found), |(own, _)| {
        Err(foreign(format!("`{own}` is missing in its schema")))
    })
}

/// Write-ahead log, and every commit waits for the disk; both read back.
fn durable(connection: &Connection, path: &Path) -> Result<(), LedgerError> {
    let unsafe_file = |why: String| LedgerError::Unsafe {
        path: path.display().to_string(),
        why,
    };
    let mode: String = connection.query_row("PRAGMA journal_mode = WAL", (), |row| row.get(0))?;
    connection.execute_batch("PRAGMA synchronous = FULL")?;
    let sync: i64 = connection.query_row("PRAGMA synchronous", (), |row| row.get(0))?;
    if mode != "wal" || sync != 2 {
        return Err(unsafe_file(format!(
            "journal mode {mode}, synchronous {sync}: a power cut could lose events"
        )));
    }
    keep_log(connection)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn t78_a_network_disk_is_for_looking_only() {
        let path = Path::new("lab/rigday.db");
        // As the kernel numbers them: NFS, SMB, CIFS with its sign kept, 9p, FUSE; and ext4, btrfs, tmpfs.
        for kind in [0x6969, 0x517b, -0x00ac_b2be, 0x0102_1997, 0x6573_5546] {
            let refused = local(kind, path).expect_err("no local disk").to_string();
            assert!(refused.contains("network disk"), "{refused}");
        }
        for kind in [0xef53, 0x9123_683e, 0x0102_1994] {
            local(kind, path).expect("a local disk");
        }
    }
}
