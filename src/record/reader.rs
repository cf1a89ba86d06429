//! The reader: entries in the order they became known, one at a time.

use super::{RecordError, codes, schema};
use crate::judge::{Detail, Entry, Micros, Moment, Observation, Rtt, Session, WallTime};
use rusqlite::{Connection, OpenFlags, Row};
use std::collections::HashMap;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tempfile::TempDir;

/// Times farther than this from the record's beginning, or from the epoch, make no sense: 200 years (choice).
pub const FARTHEST: Micros = Micros::from_secs(200 * 31_557_600);

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
    File::open(path).map_err(unreadable)?;
    let (db, copy) = open(path)?;
    let id: i32 = db.pragma_query_value(None, "application_id", |r| r.get(0)).map_err(|e| foreign(e.to_string()))?;
    if id != schema::APPLICATION_ID {
        return Err(foreign("it carries another program's mark, or none".into()));
    }
    let version: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
    if version > schema::VERSION {
        return Err(RecordError::Newer { path: path.to_owned(), found: version, known: schema::VERSION });
    }
    let about = db.query_row("SELECT value FROM about WHERE name = 'survey'", [], |r| r.get(0))?;
    Ok(Record { db, about, _copy: copy })
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

/// The file whose name is this one's with `end` after it.
fn beside(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    name.into()
}

impl Record {
    /// What the record says of itself (JSON).
    pub fn about(&self) -> &str {
        &self.about
    }

    /// Hands every entry to `take`, in order. Rows that make no sense are passed over and counted.
    pub fn replay(&self, mut take: impl FnMut(&Entry)) -> Result<u64, RecordError> {
        let mut names: HashMap<i64, Arc<str>> = HashMap::new();
        let mut targets = self.db.prepare("SELECT id, name FROM target")?;
        for row in targets.query_map([], |r| Ok((r.get::<_, i64>(0)?, r.get::<_, String>(1)?)))? {
            let (id, name) = row?;
            names.insert(id, name.into());
        }
        let mut entries = self.db.prepare(
            "SELECT kind, known_us, took_us, question, target, outcome, rtt_us, rtt_kernel, detail FROM entry ORDER BY id",
        )?;
        let mut rows = entries.query([])?;
        let mut passed_over = 0;
        while let Some(row) = rows.next()? {
            match entry(row, &names) {
                Some(entry) => take(&entry),
                None => passed_over += 1,
            }
        }
        Ok(passed_over)
    }
}

fn entry(row: &Row<'_>, names: &HashMap<i64, Arc<str>>) -> Option<Entry> {
    let near = |t: i64| t.unsigned_abs() <= FARTHEST.0.unsigned_abs();
    let lasts = |t: i64| t >= 0 && near(t);
    let known: i64 = row.get(1).ok()?;
    let at = near(known).then_some(Moment(known))?;
    let detail: Option<String> = row.get(8).ok()?;
    match row.get::<_, i64>(0).ok()? {
        0 => {
            let took: i64 = row.get(2).ok()?;
            let rtt_us: Option<i64> = row.get(6).ok()?;
            if !lasts(took) || rtt_us.is_some_and(|us| !lasts(us)) {
                return None;
            }
            let kernel: Option<bool> = row.get(7).ok()?;
            Some(Entry::Seen(Observation {
                asked: at - Micros(took),
                known: at,
                question: codes::question(row.get(3).ok()?)?,
                target: Arc::clone(names.get(&row.get(4).ok()?)?),
                outcome: codes::outcome(row.get(5).ok()?)?,
                rtt: rtt_us.map(|us| Rtt { took: Micros(us), kernel: kernel.unwrap_or(false) }),
                detail: match detail {
                    Some(text) => serde_json::from_str(&text).ok()?,
                    None => Detail::None,
                },
            }))
        }
        1 => {
            let session: Session = serde_json::from_str(&detail?).ok()?;
            let sound = near(session.at.0) && near(session.wall.0) && near(session.boot.0);
            sound.then_some(Entry::Began(session))
        }
        2 => {
            let wall: WallTime = serde_json::from_str(&detail?).ok()?;
            near(wall.0).then_some(Entry::Stepped { at, wall })
        }
        3 => Some(Entry::Alive { at }),
        4 => Some(Entry::Ended { at, how: serde_json::from_str(&detail?).ok()? }),
        _ => None,
    }
}
