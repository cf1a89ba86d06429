//! The file of a record: made, locked, set up. One writer at a time; the lock ends with the process, however that ends.

use super::{RecordError, schema};
use rusqlite::Connection;
use std::fs::{File, TryLockError};
use std::io;
use std::path::Path;

/// Bytes a page. Small: a commit of a few seconds' answers writes one page, and there are 28,800 of them a day.
const PAGE: u32 = 1_024;
/// Bytes of log kept for use again after it was folded into the file.
const LOG_KEPT: u32 = 4 << 20;
/// How long to wait for a reader that is in the way.
pub(super) const PATIENCE: std::time::Duration = std::time::Duration::from_secs(5);

/// A connection that may write, and the lock that lets it.
#[derive(Debug)]
pub(super) struct Store {
    // Before the lock: closing any handle of a file takes a process's other locks on it along (fcntl(2)).
    pub(super) db: Connection,
    pub(super) _lock: File,
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

pub(super) fn lock(path: &Path, file: &File) -> Result<(), RecordError> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(RecordError::Busy(path.to_owned())),
        // A file system without locks: one writer is then the keeper's own care.
        Err(TryLockError::Error(e)) if e.kind() == io::ErrorKind::Unsupported => Ok(()),
        Err(TryLockError::Error(why)) => Err(RecordError::NoFile { path: path.to_owned(), why: why.to_string() }),
    }
}

/// Folds the log into the file so that one file can be copied away, and leaves nothing that makes a reader start another.
pub(super) fn fold_log(db: &Connection) -> Result<(), RecordError> {
    db.pragma_update_and_check(None, "wal_checkpoint", "TRUNCATE", |_| Ok(()))?;
    // Refused while somebody is reading: then the log stays, and the record is no worse.
    drop(db.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(())));
    Ok(())
}
