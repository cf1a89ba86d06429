//! Opening a record for writing: whose file it is, whether somebody else writes to it, whether it is whole.
//!
//! Decides before `SQLite` sees the file that it is ours (the header's application id, file format section 1.3.1), so
//! that a foreign one is not touched. One writer: the file itself is locked (flock(2)) for as long as it is held; the
//! lock ends with the process, however that ends.

use super::checkpoint::{self, Fed, Seal};
use super::{RecordError, mend, reader, schema, writer};
use crate::judge::{Entry, Moment, Settings};
use rusqlite::{Connection, OpenFlags};
use std::fs::{File, TryLockError};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// Bytes a page. Small: a commit of a few seconds' answers writes one page, and there are 28,800 of them a day.
const PAGE: u32 = 1_024;
/// Bytes of log kept for use again after it was folded into the file.
const LOG_KEPT: u32 = 4 << 20;
/// How long to wait for a reader that is in the way.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(5);
/// Length of the header of an `SQLite` file.
const HEADER: usize = 100;

/// A connection that may write, and the lock that lets it.
#[derive(Debug)]
pub(super) struct Store {
    // Before the lock: closing any handle of a file takes a process's other locks on it along (fcntl(2)).
    pub(super) db: Connection,
    _lock: File,
}

/// A record held for writing: nobody else writes to it until this is dropped.
#[derive(Debug)]
pub struct Held {
    pub(super) store: Store,
    pub(super) path: PathBuf,
    about: Option<String>,
    mended: Option<String>,
}

/// Opens or makes a record to write to. Checks that it is ours and whole; brings an older one up to this version; mends
/// one that is damaged, keeping the damaged file.
pub fn hold(path: &Path) -> Result<Held, RecordError> {
    let made = match make(path) {
        Ok(lock) => Some(lock),
        Err(RecordError::Exists(_)) => None,
        Err(e) => return Err(e),
    };
    let (mut store, mended) = match made {
        Some(lock) => (fresh(path, lock, None)?, None),
        None => open(path)?,
    };
    if let Err(found) = schema::migrate(&mut store.db)? {
        return Err(RecordError::Newer { path: path.to_owned(), found, known: schema::VERSION });
    }
    // What an agent before us left open. The next one starts a chunk of its own.
    let tx = store.db.transaction()?;
    schema::close_tail(&tx)?;
    tx.commit()?;
    set_up(&store.db)?;
    let about = reader::about(&store.db).ok();
    Ok(Held { store, path: path.to_owned(), about, mended })
}

impl Held {
    /// What the record says of itself; `None` while it is new.
    pub fn about(&self) -> Option<&str> {
        self.about.as_deref()
    }

    /// What was mended, in words, if it was damaged.
    pub fn mended(&self) -> Option<&str> {
        self.mended.as_deref()
    }

    /// A judge fed with all of it, as [`super::Record::judge`] does it.
    pub fn judge(&self, settings: Settings, seal: Option<&Seal>, fed: impl FnMut()) -> Result<Fed, RecordError> {
        checkpoint::feed(&self.store.db, settings, seal, fed)
    }

    /// Hands every entry to `take`, in order; gives the number of those that make no sense.
    pub fn replay(&self, take: impl FnMut(&Entry)) -> Result<u64, RecordError> {
        reader::replay(&self.store.db, reader::ALL, take)
    }

    /// Rolls up every chunk that ends before a moment, in groups as the writer does it; gives how many groups.
    pub fn roll_up(&mut self, before: Moment) -> Result<usize, RecordError> {
        let mut groups = 0;
        while writer::roll_group(&mut self.store.db, before, false)? {
            groups += 1;
        }
        Ok(groups)
    }
}

/// Makes an empty file and locks it. Not by `SQLite`, which would open one that exists and does not tell why it can't.
pub(super) fn make(path: &Path) -> Result<File, RecordError> {
    let file = File::options().read(true).write(true).create_new(true).open(path).map_err(|why| match why.kind() {
        io::ErrorKind::AlreadyExists => RecordError::Exists(path.to_owned()),
        io::ErrorKind::PermissionDenied => RecordError::NotPermitted(path.to_owned()),
        _ => RecordError::NotMade { path: path.to_owned(), why },
    })?;
    lock(path, &file)?;
    Ok(file)
}

/// Tables in an empty file. Not in the log: a record that is killed young must be told as ours by its first page.
pub(super) fn fresh(path: &Path, lock: File, about: Option<&str>) -> Result<Store, RecordError> {
    let mut db = Connection::open(path)?;
    db.pragma_update(None, "page_size", PAGE)?;
    // There is nothing yet that could be lost: one sync at the end will do.
    db.pragma_update_and_check(None, "journal_mode", "MEMORY", |_| Ok(()))?;
    db.pragma_update(None, "synchronous", "OFF")?;
    if let Err(found) = schema::migrate(&mut db)? {
        return Err(RecordError::Newer { path: path.to_owned(), found, known: schema::VERSION });
    }
    if let Some(about) = about {
        db.execute("INSERT INTO about (name, value) VALUES ('survey', ?1)", [about])?;
    }
    lock.sync_all().map_err(|why| RecordError::NotMade { path: path.to_owned(), why })?;
    Ok(Store { db, _lock: lock })
}

/// The pragmas of a writer.
pub(super) fn set_up(db: &Connection) -> Result<(), RecordError> {
    db.busy_timeout(PATIENCE)?;
    db.pragma_update_and_check(None, "journal_mode", "WAL", |r| r.get::<_, String>(0))?;
    db.pragma_update(None, "synchronous", "NORMAL")?;
    db.pragma_update(None, "journal_size_limit", LOG_KEPT)?;
    // What is forgotten must not stand in the file any more.
    db.pragma_update_and_check(None, "secure_delete", "ON", |_| Ok(()))?;
    Ok(())
}

fn lock(path: &Path, file: &File) -> Result<(), RecordError> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(RecordError::Busy(path.to_owned())),
        // A file system without locks: one writer is then the keeper's own care.
        Err(TryLockError::Error(e)) if e.kind() == io::ErrorKind::Unsupported => Ok(()),
        Err(TryLockError::Error(why)) => Err(RecordError::NoFile { path: path.to_owned(), why: why.to_string() }),
    }
}

fn open(path: &Path) -> Result<(Store, Option<String>), RecordError> {
    let foreign = |why: &str| RecordError::Foreign { path: path.to_owned(), why: why.into() };
    let unread = |e: io::Error| match e.kind() {
        io::ErrorKind::PermissionDenied => RecordError::NotPermitted(path.to_owned()),
        _ => RecordError::NoFile { path: path.to_owned(), why: e.to_string() },
    };
    if !std::fs::metadata(path).map_err(unread)?.is_file() {
        return Err(foreign("it is no file"));
    }
    let mut file = File::open(path).map_err(unread)?;
    lock(path, &file)?;
    let mut header = Vec::new();
    (&mut file).take(HEADER as u64).read_to_end(&mut header).map_err(unread)?;
    if header.is_empty() {
        // Made and left: nothing of anybody's is in it.
        return Ok((fresh(path, file, None)?, None));
    }
    let number = |at: usize| header.get(at..at + 4).and_then(|b| b.try_into().ok()).map_or(0, u32::from_be_bytes);
    if !header.starts_with(b"SQLite format 3\0") {
        return Err(foreign("it is no SQLite file"));
    }
    match number(68) as i32 {
        schema::APPLICATION_ID => {}
        // Version 1 wrote its mark to the log first, which may never have been folded in.
        0 if super::beside(path, "-wal").exists() => drop(reader::read(path)?),
        _ => return Err(foreign("it carries another program's mark, or none")),
    }
    let version = number(60);
    if version > schema::VERSION {
        return Err(RecordError::Newer { path: path.to_owned(), found: version, known: schema::VERSION });
    }
    let opened = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)
        .and_then(|db| {
            db.busy_timeout(PATIENCE)?;
            Ok((mend::whole(&db)?, db))
        });
    match opened {
        Ok((None, db)) => Ok((Store { db, _lock: file }, None)),
        Ok((Some(why), db)) => {
            drop(db);
            mend::salvage(path, file, &why).map(|(s, words)| (s, Some(words)))
        }
        Err(e) if mend::is_damage(&e) => mend::salvage(path, file, &e.to_string()).map(|(s, words)| (s, Some(words))),
        Err(e) => Err(e.into()),
    }
}
