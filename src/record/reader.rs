//! The reader: a record opened to be read, and what may be asked of it. Nothing in the file is touched.

use super::checkpoint::{self, Fed, Seal};
use super::entries::{ALL, chunks, replay};
use super::{RecordError, beside, rows, schema};
use crate::judge::{Entry, Moment, Settings};
use rusqlite::{Connection, OpenFlags};
use std::fs::File;
use std::io;
use std::ops::RangeInclusive;
use std::path::Path;
use tempfile::TempDir;

/// A record opened for reading.
#[derive(Debug)]
pub struct Record {
    db: Connection,
    about: String,
    /// Where the file was copied to, if it was; removed after the connection is closed.
    _copy: Option<TempDir>,
}

/// Opens a record. Checks that it is ours before reading anything else; touches nothing.
pub fn read(path: &Path) -> Result<Record, RecordError> {
    let foreign = |why: String| RecordError::Foreign { path: path.to_owned(), why };
    let unreadable = |e: io::Error| match e.kind() {
        io::ErrorKind::PermissionDenied => RecordError::NotPermitted(path.to_owned()),
        _ => RecordError::NoFile { path: path.to_owned(), why: e.to_string() },
    };
    if !std::fs::metadata(path).map_err(unreadable)?.is_file() {
        return Err(foreign("it is no file".into()));
    }
    // SQLite does not tell why it can't open one.
    if nix::unistd::access(path, nix::unistd::AccessFlags::R_OK).is_err() {
        File::open(path).map_err(unreadable)?;
    }
    let (db, copy) = open(path)?;
    let id: i32 = db.pragma_query_value(None, "application_id", |r| r.get(0)).map_err(|e| foreign(e.to_string()))?;
    if id != schema::APPLICATION_ID {
        return Err(foreign("it carries another program's mark, or none".into()));
    }
    // A record has no views and no triggers; somebody else's could keep a reader busy for ever.
    let odd = "SELECT count(*) FROM sqlite_schema WHERE type NOT IN ('table', 'index')";
    if db.query_row(odd, [], |r| r.get::<_, i64>(0))? > 0 {
        return Err(foreign("it holds more than tables".into()));
    }
    let version: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
    if version > schema::VERSION {
        return Err(RecordError::Newer { path: path.to_owned(), found: version, known: schema::VERSION });
    }
    let about = about(&db).map_err(|e| match e {
        rusqlite::Error::QueryReturnedNoRows => {
            RecordError::Header(format!("{} says nothing of itself", path.display()))
        }
        e => e.into(),
    })?;
    Ok(Record { db, about, _copy: copy })
}

/// What the record says of itself.
pub(super) fn about(db: &Connection) -> rusqlite::Result<String> {
    db.query_row("SELECT value FROM about WHERE name = 'survey'", [], |r| r.get(0))
}

/// Read-only where that works. A record whose writer was killed still has its log beside it, which reading folds in.
/// Where the folder may not be written, file and log are read from a copy; a file alone is read as it is.
fn open(path: &Path) -> Result<(Connection, Option<TempDir>), RecordError> {
    let unopened = |why: String| RecordError::NoFile { path: path.to_owned(), why };
    let open = |at: &Path, flags| Connection::open_with_flags(at, flags).map_err(|e| unopened(e.to_string()));
    let db = open(path, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    if db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0)).is_ok() {
        return Ok((db, None));
    }
    let log = beside(path, "-wal");
    if std::fs::metadata(&log).is_ok_and(|m| m.is_file() && m.len() > 0) {
        let copied = |e: io::Error| match e.kind() {
            io::ErrorKind::PermissionDenied => RecordError::NotPermitted(log.clone()),
            _ => unopened(format!("its log can't be copied to be read: {e}")),
        };
        let dir = tempfile::Builder::new().prefix("pathproof-").tempdir().map_err(copied)?;
        let copy = dir.path().join("record");
        // Contents alone: the copy must not inherit that it may not be written.
        for (from, to) in [(path, &copy), (&log, &beside(&copy, "-wal"))] {
            File::open(from).and_then(|mut f| io::copy(&mut f, &mut File::create(to)?)).map_err(copied)?;
        }
        return Ok((open(&copy, OpenFlags::SQLITE_OPEN_READ_WRITE)?, Some(dir)));
    }
    // Percent-encode what a file URI would read as its own (RFC 3986).
    let plain = path.to_string_lossy().replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    Ok((open(Path::new(&format!("file:{plain}?immutable=1")), flags)?, None))
}

impl Record {
    /// What the record says of itself (JSON).
    pub fn about(&self) -> &str {
        &self.about
    }

    pub(super) fn connection(&self) -> &Connection {
        &self.db
    }

    /// Copies the record, as it stands at this moment, into a file that must not exist yet.
    pub(super) fn copy_into(&self, to: &Path) -> Result<(), RecordError> {
        self.db.execute("VACUUM INTO ?1", [to.to_string_lossy()])?;
        Ok(())
    }

    /// A judge fed with all of it, from the newest checkpoint on where one carries this machine's seal and fits the
    /// settings. `fed` is called for each entry.
    pub fn judge(&self, settings: Settings, seal: Option<&Seal>, fed: impl FnMut()) -> Result<Fed, RecordError> {
        checkpoint::feed(&self.db, settings, seal, fed)
    }

    /// Hands every entry to `take`, in order. What makes no sense is passed over and counted.
    pub fn replay(&self, take: impl FnMut(&Entry)) -> Result<u64, RecordError> {
        replay(&self.db, ALL, take)
    }

    /// Hands every entry known within the span to `take`, in order, reading no more than the chunks that hold it.
    pub fn replay_span(&self, span: RangeInclusive<Moment>, take: impl FnMut(&Entry)) -> Result<u64, RecordError> {
        replay(&self.db, span, take)
    }

    /// Hands every start, end, step of the clock and mark of a drill to `take`, reading no more than the chunks that hold one.
    pub fn marks(&self, mut take: impl FnMut(&Entry)) -> Result<(), RecordError> {
        let mut only = |e: &Entry| {
            if !matches!(e, Entry::Seen(_) | Entry::Alive { .. }) {
                take(e);
            }
        };
        let version: u32 = self.db.pragma_query_value(None, "user_version", |r| r.get(0))?;
        if version < 2 {
            rows::each(&self.db, only)?;
        } else {
            chunks(
                &self.db,
                "SELECT kind, entries, sum, bytes FROM chunk WHERE marks > 0 AND ?1 < ?2 ORDER BY id",
                [0, 1],
                &mut only,
            )?;
        }
        Ok(())
    }
}
