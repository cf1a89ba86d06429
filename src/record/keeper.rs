//! The writer's thread: owns the only writing connection and commits every few seconds.
//!
//! A disk that is full or may only be read does not stop the watching: entries wait in memory, encoded and bounded,
//! until it can be written again; everybody is told meanwhile. Old history is rolled up between commits.

use super::checkpoint::{self, Seal};
use super::codec::Piece;
use super::encode::Encoder;
use super::file::{Store, fold_log};
use super::rolling::roll_group;
use super::status::{Keeping, Status};
use super::store::hold;
use super::{RecordError, schema};
use crate::judge::{Entry, Judge, Micros, Moment, Outcome};
use rusqlite::{Connection, TransactionBehavior};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A commit reaches the disk itself, and not only the kernel, no rarer than this: what a power cut may take.
const SYNC_EVERY: Duration = Duration::from_secs(30);
/// How long after a failure the disk is tried again.
const AGAIN_AFTER: Duration = Duration::from_secs(3);
/// Bytes of entries that may wait for the disk: half a million of them, some days of a watch.
const MOST_WAITING: usize = 4 << 20;

/// Chunks stay exact for this long, then they are rolled up.
const EXACT_FOR: Micros = Micros::from_secs(92 * 86_400);
/// ... or for this long, where the file is larger than [`LARGE`].
const EXACT_FOR_LARGE: Micros = Micros::from_secs(14 * 86_400);
/// A year of record should not be larger than this.
const LARGE: u64 = 1 << 30;
/// How often there may be something to roll up.
const ROLL_EVERY: Duration = Duration::from_mins(10);

/// What the thread is told.
#[derive(Debug)]
pub(super) enum Message {
    Entry(Entry),
    /// Commit what is there and answer whether it could be.
    Commit(SyncSender<bool>),
    /// The judge that was fed with every entry before this message and every one the record held before.
    Checkpoint(Box<(Judge, Seal, u64)>),
    /// What the record says of itself has changed.
    About(String),
}

/// What is to be done in the file.
#[derive(Debug)]
enum Step {
    /// The chunk being written ends.
    Close,
    /// More of the chunk being written.
    Add(Piece),
    /// A checkpoint of all that was closed.
    Checkpoint(Checkpoint),
}

/// A judge as bytes, and what they are put under.
#[derive(Debug)]
struct Checkpoint {
    bytes: Vec<u8>,
    seal: Seal,
    passed_over: u64,
}

/// The thread's own.
#[derive(Debug)]
pub(super) struct Keeper {
    path: PathBuf,
    store: Option<Store>,
    about: String,
    encoder: Encoder,
    /// Bytes and reach of the chunk being written.
    size: usize,
    reach: Option<(i64, i64)>,
    /// Entries since the last commit, to be encoded anew if it fails.
    recent: Vec<Entry>,
    pending: VecDeque<Step>,
    failing: bool,
    /// Something happened that should reach the disk itself.
    important: bool,
    synced: Instant,
    rolled: Option<Instant>,
    newest: Moment,
    /// The file may lack what the judge was fed with.
    lacks: bool,
    status: Arc<Mutex<Status>>,
}

impl Keeper {
    pub(super) fn new(path: &Path, store: Option<Store>, about: &str, status: Arc<Mutex<Status>>) -> Self {
        let failing = store.is_none();
        Self {
            path: path.to_owned(),
            store,
            about: about.to_owned(),
            encoder: Encoder::default(),
            size: 0,
            reach: None,
            recent: Vec::new(),
            pending: VecDeque::new(),
            failing,
            important: false,
            synced: Instant::now(),
            rolled: None,
            newest: Moment(i64::MIN),
            lacks: failing,
            status,
        }
    }

    pub(super) fn run(&mut self, messages: &Receiver<Message>, commit_every: Duration) -> Result<(), RecordError> {
        let mut until: Option<Instant> = None;
        loop {
            let wait = until.map_or(Duration::from_mins(1), |u| u.saturating_duration_since(Instant::now()));
            match messages.recv_timeout(wait) {
                Ok(Message::Entry(entry)) => {
                    // A drill may take this host's own mains: its marks do not wait.
                    let wait = if matches!(entry, Entry::Drill { .. }) { Duration::ZERO } else { commit_every };
                    self.take(entry);
                    let by = Instant::now() + wait;
                    until = Some(until.map_or(by, |u| u.min(by)));
                }
                Ok(Message::About(about)) => {
                    self.about = about;
                    if let Some(store) = &self.store
                        && let Err(e) = set_about(&store.db, &self.about)
                    {
                        tracing::warn!("what the record says of itself could not be written: {e}");
                    }
                }
                Ok(Message::Checkpoint(of)) => {
                    self.checkpoint(&of);
                    let by = Instant::now() + commit_every;
                    until = Some(until.map_or(by, |u| u.min(by)));
                }
                Ok(Message::Commit(done)) => {
                    let whole = self.commit().is_ok();
                    until = None;
                    // Whoever asked may have gone.
                    let _ = done.try_send(whole);
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            if until.is_some_and(|u| Instant::now() >= u) {
                let failing = self.commit().is_err();
                until = failing.then(|| Instant::now() + AGAIN_AFTER);
                if !failing {
                    self.roll_up();
                }
            }
        }
        self.important = true;
        self.commit()?;
        self.close()
    }

    fn take(&mut self, entry: Entry) {
        if matches!(entry, Entry::Began(_)) || schema::is_full(self.size, self.reach, &entry) {
            self.end_chunk();
        }
        self.newest = self.newest.max(entry.known());
        self.important |= match &entry {
            Entry::Seen(o) => o.outcome != Outcome::Answered && o.outcome.was_asked() && o.question.carries_lane(),
            Entry::Alive { .. } => false,
            Entry::Began(_) | Entry::Stepped { .. } | Entry::Drill { .. } | Entry::Ended { .. } => true,
        };
        self.encode(&entry);
        if !self.failing {
            self.recent.push(entry);
        }
    }

    fn encode(&mut self, entry: &Entry) {
        self.encoder.push(entry);
        let piece = self.encoder.take();
        self.size += piece.bytes.len();
        let known = entry.known().0;
        self.reach = Some(self.reach.map_or((known, known), |(a, b)| (a.min(known), b.max(known))));
        match self.pending.back_mut() {
            Some(Step::Add(last)) => last.append(piece),
            _ => self.pending.push_back(Step::Add(piece)),
        }
    }

    fn checkpoint(&mut self, of: &(Judge, Seal, u64)) {
        if self.failing || self.lacks {
            return;
        }
        let (judge, seal, passed_over) = of;
        if let Some(bytes) = checkpoint::written(judge) {
            self.end_chunk();
            let seal = seal.clone();
            self.pending.push_back(Step::Checkpoint(Checkpoint { bytes, seal, passed_over: *passed_over }));
        }
    }

    fn end_chunk(&mut self) {
        self.encoder = Encoder::default();
        (self.size, self.reach) = (0, None);
        self.pending.push_back(Step::Close);
    }

    fn commit(&mut self) -> Result<(), RecordError> {
        if self.pending.is_empty() {
            return Ok(());
        }
        let done = self.try_commit();
        match &done {
            Ok(()) => {
                if std::mem::take(&mut self.failing) {
                    tracing::warn!(record = %self.path.display(), "the record is written again");
                }
                self.pending.clear();
                self.recent.clear();
                self.important = false;
            }
            Err(e) => self.failed(e),
        }
        let waiting = self.pending.iter().map(|s| if let Step::Add(p) = s { u64::from(p.entries) } else { 0 }).sum();
        let bytes = std::fs::metadata(&self.path).map_or(0, |m| m.len());
        let mut status = lock(&self.status);
        (status.waiting, status.bytes) = (waiting, bytes);
        status.keeping = match &done {
            Ok(()) => Keeping::Writing,
            Err(e) => Keeping::Waiting { why: e.to_string() },
        };
        done
    }

    fn try_commit(&mut self) -> Result<(), RecordError> {
        if self.store.is_none() {
            let held = hold(&self.path)?;
            if held.about() != Some(&self.about) {
                set_about(&held.store.db, &self.about)?;
            }
            if let Some(words) = held.mended() {
                tracing::error!("{words}");
            }
            // Saved in part, or another file where ours was: what was seen before is not all in it.
            self.lacks |= held.mended().is_some() || held.about().is_none();
            self.store = Some(held.store);
        }
        let Some(store) = &mut self.store else { return Err(RecordError::Header("no store".into())) };
        let sync = self.important || self.synced.elapsed() >= SYNC_EVERY;
        store.db.pragma_update(None, "synchronous", if sync { "FULL" } else { "NORMAL" })?;
        let tx = store.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for step in &self.pending {
            match step {
                Step::Close => schema::close_tail(&tx)?,
                Step::Add(piece) => schema::add_piece(&tx, piece)?,
                Step::Checkpoint(c) => {
                    // What was seen is kept all the same.
                    if let Err(e) = checkpoint::put(&tx, &c.seal, &c.bytes, c.passed_over) {
                        tracing::warn!("no checkpoint: {e}");
                    }
                }
            }
        }
        tx.commit()?;
        if sync {
            self.synced = Instant::now();
        }
        Ok(())
    }

    /// What waits is made to stand by itself: chunks that need nothing of what may be in the file already, so that they
    /// fit whatever file there is when it can be written again.
    fn failed(&mut self, e: &RecordError) {
        if !std::mem::replace(&mut self.failing, true) {
            tracing::error!(record = %self.path.display(), "the record can't be written: {e}; watching goes on in memory");
            self.pending.clear();
            self.end_chunk();
            for entry in std::mem::take(&mut self.recent) {
                if schema::is_full(self.size, self.reach, &entry) {
                    self.end_chunk();
                }
                self.encode(&entry);
            }
        }
        // A full disk leaves the connection sound; anything else may not.
        let full = matches!(e, RecordError::Store(e) if e.sqlite_error_code() == Some(rusqlite::ErrorCode::DiskFull));
        if !full {
            self.store = None;
        }
        let size = |s: &Step| if let Step::Add(p) = s { p.bytes.len() } else { 0 };
        let mut held: usize = self.pending.iter().map(size).sum();
        let mut lost = 0;
        // The oldest chunk goes; the last one is still being written.
        while held > MOST_WAITING
            && let Some(at) = self.pending.iter().take(self.pending.len() - 1).position(|s| matches!(s, Step::Add(_)))
            && let Some(Step::Add(piece)) = self.pending.remove(at)
        {
            held -= piece.bytes.len();
            lost += u64::from(piece.entries);
        }
        if lost > 0 {
            tracing::error!(lost, "memory for what waits is used up; the oldest entries are given up");
            self.lacks = true;
            lock(&self.status).lost += lost;
        }
    }

    /// Rolls up one group of old chunks, if there is one.
    fn roll_up(&mut self) {
        if self.rolled.is_some_and(|at| at.elapsed() < ROLL_EVERY) {
            return;
        }
        let Some(store) = &mut self.store else { return };
        let large = lock(&self.status).bytes > LARGE;
        let horizon = self.newest - if large { EXACT_FOR_LARGE } else { EXACT_FOR };
        match roll_group(&mut store.db, horizon, true) {
            // There may be more.
            Ok(true) => {}
            Ok(false) => self.rolled = Some(Instant::now()),
            Err(e) => {
                self.rolled = Some(Instant::now());
                tracing::warn!("old history could not be rolled up: {e}");
            }
        }
    }

    fn close(&mut self) -> Result<(), RecordError> {
        let Some(store) = &mut self.store else { return Ok(()) };
        let tx = store.db.transaction()?;
        schema::close_tail(&tx)?;
        tx.commit()?;
        fold_log(&store.db)
    }
}

pub(super) fn lock(status: &Mutex<Status>) -> std::sync::MutexGuard<'_, Status> {
    // Plain data: whoever held it while falling left nothing half done that matters.
    status.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Replaces what the record says of itself; what it said before stays, under the number of its time.
pub(super) fn set_about(db: &Connection, about: &str) -> Result<(), RecordError> {
    let tx = db.unchecked_transaction()?;
    tx.execute(
        "INSERT INTO about (name, value)
         SELECT 'before ' || (SELECT count(*) FROM about), value FROM about WHERE name = 'survey' AND
         (SELECT count(*) FROM about) < 100",
        [],
    )?;
    tx.execute(
        "INSERT INTO about (name, value) VALUES ('survey', ?1) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        [about],
    )?;
    tx.commit()?;
    Ok(())
}
