//! The writer: one thread owns the only writing connection and commits every few seconds.
//!
//! A disk that is full or may only be read does not stop the watching: entries wait in memory, encoded and bounded,
//! until it can be written again; everybody is told meanwhile. Old history is rolled up between commits.

use super::checkpoint::{self, Seal};
use super::codec::{Encoder, Piece};
use super::status::{Keeping, Status};
use super::store::{Held, Store, fresh, hold, make, set_up};
use super::{RecordError, reader, roll, schema};
use crate::judge::{Entry, Judge, Micros, Moment, Outcome};
use rusqlite::{Connection, TransactionBehavior, params};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Entries that may wait for the writer's thread; beyond this the newest are dropped and counted.
const QUEUE: usize = 16_384;
/// Longest time an entry waits for its commit.
const COMMIT_EVERY: Duration = Duration::from_secs(1);
/// The same for a watch, which has a year to wear a card out; a kill loses no more than this.
const COMMIT_EVERY_WATCH: Duration = Duration::from_secs(3);
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
/// Entries rolled up together: enough that the names said anew weigh little, few enough for a small memory.
const ROLL_ENTRIES: u64 = 20_000;
/// How often there may be something to roll up.
const ROLL_EVERY: Duration = Duration::from_mins(10);

/// A record being written.
#[derive(Debug)]
pub struct Writer {
    queue: Option<SyncSender<Message>>,
    thread: Option<JoinHandle<Result<(), RecordError>>>,
    status: Arc<Mutex<Status>>,
    dropped: u64,
    /// What checkpoints are sealed with, and how many entries before us made no sense; `None`: none are kept.
    sealed: Option<(Seal, u64)>,
}

/// What the thread is told.
#[derive(Debug)]
enum Message {
    Entry(Entry),
    /// Commit what is there and answer whether it could be.
    Commit(SyncSender<bool>),
    /// The judge that was fed with every entry before this message and every one the record held before.
    Checkpoint(Box<(Judge, Seal, u64)>),
    /// What the record says of itself has changed.
    About(String),
}

impl Writer {
    /// Creates a record. `about` is what it says of itself (JSON). Refuses a file that exists.
    pub fn create(path: &Path, about: &str) -> Result<Self, RecordError> {
        let store = fresh(path, make(path)?, Some(about))?;
        set_up(&store.db)?;
        Self::start(path, Some(store), about, COMMIT_EVERY)
    }

    /// Goes on with a record that is held. `about` is what it says of itself from now on.
    pub fn resume(held: Held, about: &str) -> Result<Self, RecordError> {
        if held.about() != Some(about) {
            set_about(&held.store.db, about)?;
        }
        let path = held.path.clone();
        Self::start(&path, Some(held.store), about, COMMIT_EVERY_WATCH)
    }

    /// Keeps entries in memory until the record, which can't be opened now, can be.
    pub fn waiting(path: &Path, about: &str, why: &RecordError) -> Result<Self, RecordError> {
        let writer = Self::start(path, None, about, COMMIT_EVERY_WATCH)?;
        lock(&writer.status).keeping = Keeping::Waiting { why: why.to_string() };
        Ok(writer)
    }

    fn start(path: &Path, store: Option<Store>, about: &str, commit_every: Duration) -> Result<Self, RecordError> {
        let (queue, messages) = sync_channel(QUEUE);
        let status = Arc::new(Mutex::new(Status::default()));
        let mut keeper = Keeper {
            path: path.to_owned(),
            store,
            about: about.to_owned(),
            encoder: Encoder::default(),
            size: 0,
            reach: None,
            recent: Vec::new(),
            pending: VecDeque::new(),
            failing: false,
            important: false,
            synced: Instant::now(),
            rolled: None,
            newest: Moment(i64::MIN),
            lacks: false,
            status: Arc::clone(&status),
        };
        keeper.failing = keeper.store.is_none();
        keeper.lacks = keeper.failing;
        let thread = std::thread::Builder::new()
            .name("record".into())
            .spawn(move || keeper.run(&messages, commit_every))
            .map_err(|why| RecordError::NotMade { path: path.to_owned(), why })?;
        Ok(Self { queue: Some(queue), thread: Some(thread), status, dropped: 0, sealed: None })
    }

    /// Queues an entry; never waits for the disk. False when it had to be dropped.
    pub fn keep(&mut self, entry: Entry) -> bool {
        self.send(Message::Entry(entry)) || {
            self.dropped += 1;
            lock(&self.status).lost += 1;
            false
        }
    }

    fn send(&self, message: Message) -> bool {
        let Some(queue) = &self.queue else { return false };
        match queue.try_send(message) {
            Ok(()) => true,
            Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => false,
        }
    }

    /// What the record says of itself from now on.
    pub fn describe(&self, about: &str) -> bool {
        self.send(Message::About(about.to_owned()))
    }

    /// Checkpoints will be kept under this seal. The judge they are of was fed with all that the record holds, of which
    /// `passed_over` entries made no sense.
    #[must_use]
    pub fn sealing(mut self, seal: Option<Seal>, passed_over: u64) -> Self {
        self.sealed = seal.map(|seal| (seal, passed_over));
        self
    }

    /// Writes the judge down, as it stands after everything queued so far: the next to judge the record goes on from there.
    /// Nothing happens without a seal, or where the record does not hold all that the judge was fed with.
    pub fn checkpoint(&self, judge: &Judge) {
        if let Some((seal, passed_over)) = &self.sealed
            && self.dropped == 0
        {
            self.send(Message::Checkpoint(Box::new((judge.clone(), seal.clone(), *passed_over))));
        }
    }

    /// A commit of everything queued so far; the receiver is told whether it reached the file.
    pub fn commit(&self) -> Receiver<bool> {
        let (done, told) = sync_channel(1);
        self.send(Message::Commit(done));
        told
    }

    /// Entries that came faster than the thread could take them.
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    /// How the record fares.
    pub fn status(&self) -> Status {
        lock(&self.status).clone()
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

fn lock(status: &Mutex<Status>) -> std::sync::MutexGuard<'_, Status> {
    // Plain data: whoever held it while falling left nothing half done that matters.
    status.lock().unwrap_or_else(PoisonError::into_inner)
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
struct Keeper {
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
    fn run(&mut self, messages: &Receiver<Message>, commit_every: Duration) -> Result<(), RecordError> {
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

/// Folds the log into the file so that one file can be copied away, and leaves nothing that makes a reader start another.
pub(super) fn fold_log(db: &Connection) -> Result<(), RecordError> {
    db.pragma_update_and_check(None, "wal_checkpoint", "TRUNCATE", |_| Ok(()))?;
    // Refused while somebody is reading: then the log stays, and the record is no worse.
    drop(db.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(())));
    Ok(())
}

/// Replaces what the record says of itself; what it said before stays, under the number of its time.
fn set_about(db: &Connection, about: &str) -> Result<(), RecordError> {
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

/// Rolls up the oldest exact chunks that end before `horizon`, as far as they stand together; with `full`, only if they
/// fill a group.
pub(super) fn roll_group(db: &mut Connection, horizon: Moment, full: bool) -> Result<bool, RecordError> {
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut group: Vec<i64> = Vec::new();
    let (mut many, mut filled) = (0u64, false);
    {
        let mut chunks = tx.prepare_cached("SELECT id, kind, entries, to_us FROM chunk WHERE id > ?1 ORDER BY id")?;
        let first: Option<i64> = tx.query_row("SELECT min(id) FROM chunk WHERE kind = 0", [], |r| r.get(0))?;
        let mut rows = chunks.query([first.unwrap_or(i64::MAX) - 1])?;
        while let Some(r) = rows.next()? {
            let (id, kind, entries, to): (i64, i64, u32, i64) = (r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
            if to >= horizon.0 || kind != schema::EXACT {
                break;
            }
            if many + u64::from(entries) > ROLL_ENTRIES && !group.is_empty() {
                filled = true;
                break;
            }
            group.push(id);
            many += u64::from(entries);
        }
    }
    let (Some(first), Some(last)) = (group.first(), group.last()) else { return Ok(false) };
    if full && !filled {
        return Ok(false);
    }
    let mut entries: Vec<Entry> = Vec::with_capacity(many as usize);
    let mut damaged = 0;
    {
        let mut chunks =
            tx.prepare_cached("SELECT entries, bytes, sum FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id")?;
        let mut rows = chunks.query(params![first, last])?;
        while let Some(r) = rows.next()? {
            let (count, bytes, sum): (u32, Vec<u8>, u32) = (r.get(0)?, r.get(1)?, r.get(2)?);
            damaged += if super::bytes::check_sum(&bytes) == sum {
                reader::chunk(schema::EXACT, &bytes, count.into(), &mut |e: &Entry| entries.push(e.clone()))
            } else {
                u64::from(count)
            };
        }
    }
    let mut rolled = roll::up(&entries);
    rolled.entries = rolled.entries.saturating_add(u32::try_from(damaged).unwrap_or(u32::MAX));
    tx.execute("DELETE FROM chunk WHERE id > ?1 AND id <= ?2", params![first, last])?;
    schema::replace_chunk(&tx, *first, schema::ROLLED, &rolled)?;
    tx.commit()?;
    Ok(true)
}
