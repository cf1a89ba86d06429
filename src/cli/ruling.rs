//! The verdict of a watch that runs: a whole judgement costs more than a look, so a thread works it out on a copy.
//!
//! Decides when one is due: a while after the last, and soon after the troubles have changed.

use crate::judge::{Judge, Micros, Moment};
use crate::snapshot::{self, Ruling, Snapshot};
use crate::sys::memory;
use std::borrow::Cow;
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, TrySendError, sync_channel};

/// A judgement is due this long after the last ...
const EVERY: Micros = Micros::from_secs(15 * 60);
/// ... and no sooner than this where the troubles have changed (choice: an outage is told of within seconds by itself).
const SOON: Micros = Micros::from_secs(10);

/// What the verdict hangs on between two judgements: troubles, those open, and those that took the path down.
pub(super) type Mark = (usize, usize, usize);

/// The thread that judges, and what it said last.
#[derive(Debug)]
pub(super) struct Rulings {
    asks: Option<SyncSender<Box<Judge>>>,
    says: Receiver<Box<Ruling>>,
    /// When the last question was put, and the mark then.
    asked: Option<(Moment, Mark)>,
    /// The last answer.
    pub(super) last: Option<Box<Ruling>>,
}

impl Rulings {
    /// Starts the thread. Where it can't be started no verdict is told, only said to be unknown.
    pub(super) fn new() -> Self {
        let (asks, asked) = sync_channel::<Box<Judge>>(0);
        let (tells, says) = sync_channel(1);
        let run = move || {
            for judge in asked {
                let ruling = Box::new(snapshot::rule(&judge));
                drop(judge);
                memory::give_back();
                if tells.send(ruling).is_err() {
                    return;
                }
            }
        };
        let started = std::thread::Builder::new().name("verdict".into()).spawn(run);
        if let Err(e) = &started {
            tracing::warn!("the verdict will not be worked out while watching: {e}");
        }
        Self { asks: started.is_ok().then_some(asks), says, asked: None, last: None }
    }

    /// Asks for a judgement where one is due. True where the verdict has become another one.
    pub(super) fn turn(&mut self, judge: &Judge, mark: Mark, now: Moment) -> bool {
        let changed = match self.says.try_recv() {
            Ok(new) => {
                let kind = new.verdict.kind;
                self.last.replace(new).is_none_or(|old| old.verdict.kind != kind)
            }
            Err(TryRecvError::Empty | TryRecvError::Disconnected) => false,
        };
        // A record that is young changes its verdict sooner: the first ones are due after as long again.
        let quiet = |at: Moment| (at - Moment(0)).clamp(SOON, EVERY);
        let due = self.asked.is_none_or(|(at, then)| now - at >= if then == mark { quiet(at) } else { SOON });
        if let (true, Some(asks)) = (due, &self.asks) {
            // Whoever is at work on the last one is not waited for.
            match asks.try_send(Box::new(judge.clone())) {
                Ok(()) => self.asked = Some((now, mark)),
                Err(TrySendError::Full(_)) => {}
                Err(TrySendError::Disconnected(_)) => self.asks = None,
            }
        }
        changed
    }

    /// A look with the last ruling.
    pub(super) fn over<'a>(&self, seen: &'a Snapshot) -> Cow<'a, Snapshot> {
        match &self.last {
            Some(ruling) => Cow::Owned(seen.clone().with_ruling(ruling.as_ref().clone())),
            None => Cow::Borrowed(seen),
        }
    }
}
