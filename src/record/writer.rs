//! The writer: one thread owns the only writing connection and commits once a second.

use super::{RecordError, codes, schema};
use crate::judge::{Detail, Entry, Observation};
use rusqlite::{Connection, params};
use std::collections::HashMap;
use std::fs::File;
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Entries that may wait for the disk; beyond this the newest are dropped and counted.
const QUEUE: usize = 16_384;
/// Longest time an entry waits for its commit.
const COMMIT_EVERY: Duration = Duration::from_secs(1);

/// A record being written.
#[derive(Debug)]
pub struct Writer {
    queue: Option<SyncSender<Entry>>,
    thread: Option<JoinHandle<Result<(), RecordError>>>,
    dropped: u64,
}

impl Writer {
    /// Creates a record. `about` is what it says of itself (JSON). Refuses a file that exists.
    pub fn create(path: &Path, about: &str) -> Result<Self, RecordError> {
        // Made here and not by SQLite, which would open one that exists and does not tell why it can't.
        File::create_new(path).map_err(|why| match why.kind() {
            io::ErrorKind::AlreadyExists => RecordError::Exists(path.to_owned()),
            io::ErrorKind::PermissionDenied => RecordError::NotPermitted(path.to_owned()),
            _ => RecordError::NotMade { path: path.to_owned(), why },
        })?;
        let mut db = Connection::open(path)?;
        db.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
        db.pragma_update_and_check(None, "journal_mode", "WAL", |r| r.get::<_, String>(0))?;
        db.pragma_update(None, "synchronous", "NORMAL")?;
        db.pragma_update(None, "journal_size_limit", 4 << 20)?;
        if let Err(found) = schema::migrate(&mut db)? {
            return Err(RecordError::Newer { path: path.to_owned(), found, known: schema::VERSION });
        }
        db.execute("INSERT INTO about (name, value) VALUES ('survey', ?1)", [about])?;
        let (queue, entries) = sync_channel(QUEUE);
        let thread = std::thread::Builder::new()
            .name("record".into())
            .spawn(move || write(&mut db, &entries))
            .map_err(|why| RecordError::NotMade { path: path.to_owned(), why })?;
        Ok(Self { queue: Some(queue), thread: Some(thread), dropped: 0 })
    }

    /// Queues an entry; never waits for the disk. False when it had to be dropped or the writer has failed.
    pub fn keep(&mut self, entry: Entry) -> bool {
        let Some(queue) = &self.queue else { return false };
        match queue.try_send(entry) {
            Ok(()) => true,
            Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {
                self.dropped += 1;
                false
            }
        }
    }

    /// Entries that could not be kept.
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Writes what is queued and closes the file.
    pub fn finish(mut self) -> Result<(), RecordError> {
        self.queue = None;
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            Some(Err(_)) => Err(RecordError::Header("the writer stopped".into())),
            None => Ok(()),
        }
    }
}

fn write(db: &mut Connection, entries: &Receiver<Entry>) -> Result<(), RecordError> {
    let mut targets: HashMap<Arc<str>, i64> = HashMap::new();
    while let Ok(first) = entries.recv() {
        let until = Instant::now() + COMMIT_EVERY;
        let tx = db.transaction()?;
        insert(&tx, &mut targets, &first)?;
        let open = loop {
            match entries.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(entry) => insert(&tx, &mut targets, &entry)?,
                Err(RecvTimeoutError::Timeout) => break true,
                Err(RecvTimeoutError::Disconnected) => break false,
            }
        };
        tx.commit()?;
        if !open {
            break;
        }
    }
    // Fold the log into the file so that one file can be copied away, and leave nothing that makes a reader start another.
    db.pragma_update_and_check(None, "wal_checkpoint", "TRUNCATE", |_| Ok(()))?;
    // Refused while somebody is reading: then the log stays, and the record is no worse.
    drop(db.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(())));
    Ok(())
}

fn insert(db: &Connection, targets: &mut HashMap<Arc<str>, i64>, entry: &Entry) -> Result<(), RecordError> {
    if let Entry::Seen(o) = entry {
        return insert_seen(db, targets, o);
    }
    let (kind, detail) = match entry {
        Entry::Began(s) => (1, json(s)?),
        Entry::Stepped { wall, .. } => (2, json(wall)?),
        Entry::Ended { how, .. } => (4, json(how)?),
        Entry::Alive { .. } | Entry::Seen(_) => (3, None),
    };
    db.prepare_cached("INSERT INTO entry (kind, known_us, detail) VALUES (?1, ?2, ?3)")?.execute(params![
        kind,
        entry.known().0,
        detail
    ])?;
    Ok(())
}

fn insert_seen(db: &Connection, targets: &mut HashMap<Arc<str>, i64>, o: &Observation) -> Result<(), RecordError> {
    let target = if let Some(id) = targets.get(&o.target) {
        *id
    } else {
        db.execute("INSERT OR IGNORE INTO target (name) VALUES (?1)", [&*o.target])?;
        let id = db.query_row("SELECT id FROM target WHERE name = ?1", [&*o.target], |r| r.get(0))?;
        targets.insert(Arc::clone(&o.target), id);
        id
    };
    let detail = if o.detail == Detail::None { None } else { json(&o.detail)? };
    db.prepare_cached(
        "INSERT INTO entry (kind, known_us, took_us, question, target, outcome, rtt_us, rtt_kernel, detail)
         VALUES (0, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?
    .execute(params![
        o.known.0,
        (o.known - o.asked).0,
        codes::question_code(o.question),
        target,
        codes::outcome_code(o.outcome),
        o.rtt.map(|r| r.took.0),
        o.rtt.map(|r| r.kernel),
        detail
    ])?;
    Ok(())
}

fn json<T: serde::Serialize>(value: &T) -> Result<Option<String>, RecordError> {
    serde_json::to_string(value).map(Some).map_err(|e| RecordError::Header(e.to_string()))
}
