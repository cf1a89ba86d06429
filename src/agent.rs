//! The agent: wiring only. Probes -> record and judge -> whoever looks. Survey and watch are the same agent.

mod clocks;
mod probes;

use crate::judge::{Detail, Ending, Entry, Judge, Micros, Moment, Observation, Question, Session, Step, WallTime};
use crate::probe::{Context, Pace};
use crate::record::{Status, Writer};
use crate::site::Plan;
use crate::sys::clock::{self, Clock};
use crate::sys::memory;
use clocks::{Clocks, News, Reading};
use std::future::Future;
use std::net::IpAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tokio::sync::{mpsc, watch};
use tokio::time::{Duration, MissedTickBehavior, interval};

/// Observations that may wait for the agent; a full queue makes probes wait, it loses nothing.
const QUEUE: usize = 1_024;
/// How often the record is told that the agent is alive when nothing else was.
const ALIVE_EVERY: Micros = Micros::from_secs(5);

/// A record that is gone on with later is judged on from a checkpoint this old at most (choice: a few tenths of a second's
/// work) ...
const CHECKPOINT_EVERY: Micros = Micros::from_secs(3_600);
/// ... and from one this old where the agent has just begun: what was read to begin with need not be read again.
const FIRST_CHECKPOINT: Micros = Micros::from_secs(60);

/// By then a checkpoint is written, wherever it runs (choice).
const WRITTEN_BY: Micros = Micros::from_secs(10);

/// An agent about to run.
#[derive(Debug)]
pub struct Agent {
    /// What to do.
    pub plan: Arc<Plan>,
    /// The clock, on the record's axis.
    pub clock: Clock,
    /// How the wall clock is read.
    pub wall: fn() -> WallTime,
    /// The judge, fresh or fed from the record.
    pub judge: Judge,
    /// Where entries are kept; `None` keeps nothing.
    pub writer: Option<Writer>,
    /// How long to run; `None` until stopped.
    pub length: Option<Micros>,
    /// True where it goes on from an agent of this process that left: nothing began.
    pub goes_on: bool,
    /// Marks of a drill to take in; the agent ends, as asked, when nobody can send one any more. `None`: no drill.
    pub marks: Option<mpsc::UnboundedReceiver<Mark>>,
}

/// Why an agent is to leave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leave {
    /// It is over.
    Stop,
    /// Another goes on in its place, by another plan.
    Renew,
}

/// Something done at the site on purpose, and when.
#[derive(Clone, Copy, Debug)]
pub struct Mark {
    /// When, on the record's axis; may lie a little back.
    pub at: Moment,
    /// What.
    pub step: Step,
}

/// What is left when the agent has ended.
#[derive(Debug)]
pub struct Finished {
    /// The judge, holding everything seen.
    pub judge: Judge,
    /// What went wrong with the record, if anything.
    pub record_trouble: Option<String>,
}

/// What an agent leaves behind.
#[derive(Debug)]
pub enum Left {
    /// It is over.
    Over(Box<Finished>),
    /// Another is to go on.
    Renewed {
        /// The judge, holding everything seen.
        judge: Box<Judge>,
        /// The record.
        writer: Option<Writer>,
    },
}

/// How the agent fares.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Health {
    /// Probes that ended or fell silent and were started again.
    pub restarts: u64,
    /// Sleeps of the machine.
    pub sleeps: u64,
    /// Steps of the wall clock.
    pub steps: u64,
    /// How the record fares; `None` where none is kept.
    pub record: Option<Status>,
}

/// What is shown each second.
#[derive(Debug)]
pub struct Turn<'a> {
    /// The judge so far.
    pub judge: &'a Judge,
    /// Time left, where the end is known.
    pub left: Option<Micros>,
    /// How the agent fares.
    pub health: &'a Health,
}

impl Agent {
    /// Runs until the length is over or `stop` resolves. `show` is called once a second.
    pub async fn run(self, stop: impl Future<Output = ()>, show: impl FnMut(&Turn<'_>)) -> Finished {
        let stop = async {
            stop.await;
            Leave::Stop
        };
        match self.run_until(stop, show).await {
            Left::Over(finished) => *finished,
            Left::Renewed { .. } => unreachable!("the future above never asks for another agent"),
        }
    }

    /// The same; `leave` may also ask that another agent goes on.
    pub async fn run_until(mut self, leave: impl Future<Output = Leave>, mut show: impl FnMut(&Turn<'_>)) -> Left {
        let (seen, mut entries) = mpsc::channel::<Observation>(QUEUE);
        let (pace, paces) = watch::channel(Pace::Steady);
        let (gateway, gateways) = watch::channel::<Option<IpAddr>>(None);
        let context = Context { clock: self.clock, plan: Arc::clone(&self.plan), seen, pace: paces };
        let restarts = Arc::new(AtomicU64::new(0));
        probes::spawn(context, gateways, Arc::clone(&restarts));

        let start = self.clock.now();
        if !self.goes_on {
            self.take(Entry::Began(Session {
                at: start,
                boot_id: clock::boot_id(),
                boot: clock::boot_time(),
                wall: (self.wall)(),
                synced: clock::wall_synced(),
            }));
        }
        let end = self.length.map(|l| start + l);
        let mut clocks = Clocks::new(self.reading());
        let mut health = Health::default();
        let mut last_entry = start;
        let mut wrong = false;
        let mut checkpoint = start + FIRST_CHECKPOINT;
        let mut tidy = None;
        let mut second = interval(Duration::from_secs(1));
        second.set_missed_tick_behavior(MissedTickBehavior::Delay);
        tokio::pin!(leave);
        let how = loop {
            tokio::select! {
                biased;
                why = &mut leave => match why {
                    Leave::Stop => break Ending::Interrupted,
                    Leave::Renew => {
                        return Left::Renewed { judge: Box::new(self.judge), writer: self.writer };
                    }
                },
                mark = next_mark(&mut self.marks) => match mark {
                    Some(Mark { at, step }) => {
                        self.take(Entry::Drill { at, step });
                        last_entry = last_entry.max(at);
                    }
                    None => break Ending::Complete,
                },
                Some(o) = entries.recv() => {
                    // Before the observation: a sleep tells what its silence means.
                    self.look_at(&mut clocks, &mut health);
                    let o = clocks.honest(o);
                    if let (Question::OwnAddress, Detail::OwnAddress { gateway: g, .. }) = (o.question, &o.detail) {
                        gateway.send_if_modified(|old| std::mem::replace(old, *g) != *g);
                    }
                    last_entry = o.known;
                    self.take(Entry::Seen(o));
                    // Not at the next second: what follows the first failure tells how an outage began.
                    let in_doubt = self.judge.in_doubt();
                    if in_doubt {
                        pace.send_if_modified(|old| std::mem::replace(old, Pace::CloseIn) != Pace::CloseIn);
                    }
                    // Nor is whoever looks kept waiting when something goes wrong or is right again.
                    if (in_doubt || wrong) && std::mem::replace(&mut wrong, self.judge.anything_wrong()) != wrong {
                        second.reset_immediately();
                    }
                }
                _ = second.tick() => {
                    self.look_at(&mut clocks, &mut health);
                    let now = self.clock.now();
                    if now - last_entry >= ALIVE_EVERY {
                        self.take(Entry::Alive { at: now });
                        last_entry = now;
                    }
                    pace.send_if_modified(|old| {
                        let wrong = self.judge.in_doubt() || self.judge.anything_wrong();
                        let new = if wrong { Pace::CloseIn } else { Pace::Steady };
                        std::mem::replace(old, new) != new
                    });
                    if now >= checkpoint {
                        self.checkpoint();
                        checkpoint = now + CHECKPOINT_EVERY;
                        tidy = Some(now + WRITTEN_BY);
                    }
                    // It took a second judge and a packer, which are gone by now.
                    if tidy.is_some_and(|at| now >= at) {
                        memory::give_back();
                        tidy = None;
                    }
                    health.restarts = restarts.load(Ordering::Relaxed);
                    health.record = self.writer.as_ref().map(Writer::status);
                    let left = end.map(|e| Micros((e - now).0.max(0)));
                    show(&Turn { judge: &self.judge, left, health: &health });
                    if end.is_some_and(|e| now >= e) {
                        break Ending::Complete;
                    }
                }
            }
        };
        self.take(Entry::Ended { at: self.clock.now(), how });
        self.checkpoint();
        tracing::info!(?how, "the agent ends");
        let record_trouble = self.close_record();
        Left::Over(Box::new(Finished { judge: self.judge, record_trouble }))
    }

    fn reading(&self) -> Reading {
        Reading { now: self.clock.now(), awake: clock::awake_time(), wall: (self.wall)() }
    }

    fn look_at(&mut self, clocks: &mut Clocks, health: &mut Health) {
        let reading = self.reading();
        for news in clocks.look(reading) {
            match news {
                News::Stepped(wall) => {
                    health.steps += 1;
                    self.take(Entry::Stepped { at: reading.now, wall });
                    tracing::warn!("the wall clock was stepped; lengths of time are not affected");
                }
                News::Slept(length) => {
                    health.sleeps += 1;
                    self.take(Entry::Alive { at: reading.now });
                    tracing::warn!("this machine slept for {length}; nothing was seen meanwhile");
                }
            }
        }
    }

    fn take(&mut self, entry: Entry) {
        self.judge.take(&entry);
        if let Some(writer) = &mut self.writer
            && !writer.keep(entry)
            && writer.dropped() == 1
        {
            tracing::warn!("an observation could not be kept; watching goes on");
        }
    }

    fn checkpoint(&self) {
        if let Some(writer) = &self.writer {
            writer.checkpoint(&self.judge);
        }
    }

    fn close_record(&mut self) -> Option<String> {
        let writer = self.writer.take()?;
        let dropped = writer.dropped();
        match writer.finish() {
            Err(e) => Some(e.to_string()),
            Ok(()) if dropped > 0 => Some(format!("{dropped} observation(s) could not be kept")),
            Ok(()) => None,
        }
    }
}

/// The next mark; never resolves where there is no drill.
async fn next_mark(marks: &mut Option<mpsc::UnboundedReceiver<Mark>>) -> Option<Mark> {
    match marks {
        Some(marks) => marks.recv().await,
        None => std::future::pending().await,
    }
}
