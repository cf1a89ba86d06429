//! The writer: what an agent holds to have a record written. Nothing here waits for the disk: a thread (`keeper`) owns the
//! only writing connection.

use super::RecordError;
use super::checkpoint::Seal;
use super::file::{Store, fresh, make, set_up};
use super::keeper::{Keeper, Message, lock, set_about};
use super::status::{Keeping, Status};
use super::store::Held;
use crate::judge::{Entry, Judge};
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Entries that may wait for the writer's thread; beyond this the newest are dropped and counted.
const QUEUE: usize = 16_384;
/// Longest time an entry waits for its commit.
const COMMIT_EVERY: Duration = Duration::from_secs(1);
/// The same for a watch, which has a year to wear a card out; a kill loses no more than this.
const COMMIT_EVERY_WATCH: Duration = Duration::from_secs(3);

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
        let mut keeper = Keeper::new(path, store, about, Arc::clone(&status));
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
