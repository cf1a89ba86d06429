//! Opening a record for writing: whose file it is, whether somebody else writes to it, whether it is whole.
//!
//! Decides before `SQLite` sees the file that it is ours (the header's application id, file format section 1.3.1), so
//! that a foreign one is not touched. One writer: the file itself is locked (flock(2)) for as long as it is held; the
//! lock ends with the process, however that ends.

use super::checkpoint::{self, Fed, Seal};
use super::file::{PATIENCE, Store, fresh, lock, make, set_up};
use super::{RecordError, entries, mend, reader, rolling, schema};
use crate::judge::{Entry, Moment, Settings};
use rusqlite::{Connection, OpenFlags};
use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// Length of the header of an `SQLite` file.
const HEADER: usize = 100;

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
        entries::replay(&self.store.db, entries::ALL, take)
    }

    /// Rolls up every chunk that ends before a moment, in groups as the writer does it; gives how many groups.
    pub fn roll_up(&mut self, before: Moment) -> Result<usize, RecordError> {
        let mut groups = 0;
        while rolling::roll_group(&mut self.store.db, before, false)? {
            groups += 1;
        }
        Ok(groups)
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
