//! The reader: entries in the order they became known, one at a time.

use super::{RecordError, codes, schema};
use crate::judge::{Detail, Entry, Micros, Moment, Observation, Rtt};
use rusqlite::{Connection, OpenFlags, Row};
use std::collections::HashMap;
use std::fs::File;
use std::io;
use std::path::Path;
use std::sync::Arc;

/// A record opened for reading.
#[derive(Debug)]
pub struct Record {
    db: Connection,
    about: String,
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
    let db = open(path).map_err(|e| RecordError::NoFile { path: path.to_owned(), why: e.to_string() })?;
    let id: i32 = db.pragma_query_value(None, "application_id", |r| r.get(0)).map_err(|e| foreign(e.to_string()))?;
    if id != schema::APPLICATION_ID {
        return Err(foreign("it carries another program's mark, or none".into()));
    }
    let version: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
    if version > schema::VERSION {
        return Err(RecordError::Newer { path: path.to_owned(), found: version, known: schema::VERSION });
    }
    let about = db.query_row("SELECT value FROM about WHERE name = 'survey'", [], |r| r.get(0))?;
    Ok(Record { db, about })
}

/// Read-only where that works. A record whose writer was killed still has its log beside it, which reading folds in;
/// on a read-only medium the file alone is read as it is.
fn open(path: &Path) -> rusqlite::Result<Connection> {
    let db = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    if db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0)).is_ok() {
        return Ok(db);
    }
    // Percent-encode what a file URI would read as its own (RFC 3986).
    let plain = path.to_string_lossy().replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    Connection::open_with_flags(
        format!("file:{plain}?immutable=1"),
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI,
    )
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
    let at = Moment(row.get(1).ok()?);
    let detail: Option<String> = row.get(8).ok()?;
    match row.get::<_, i64>(0).ok()? {
        0 => {
            let took: i64 = row.get(2).ok()?;
            let rtt_us: Option<i64> = row.get(6).ok()?;
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
        1 => Some(Entry::Began(serde_json::from_str(&detail?).ok()?)),
        2 => Some(Entry::Stepped { at, wall: serde_json::from_str(&detail?).ok()? }),
        3 => Some(Entry::Alive { at }),
        4 => Some(Entry::Ended { at, how: serde_json::from_str(&detail?).ok()? }),
        _ => None,
    }
}
