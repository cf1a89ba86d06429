//! What every local probe shares: the interface it follows and its turns.
//!
//! Decides which interface is ours when it is renamed (the index stays) or re-created (the name comes back with a new
//! index), and when the next turn is due. Asks no question of its own.

use super::{Context, Pace};
use crate::judge::{Detail, Micros, Moment, NotAsked, Observation, Outcome, Question};
use crate::sys::netlink::{Interface, Kernel, NetlinkError};
use std::sync::Arc;
use tokio::sync::watch;
use tokio::time::Instant;

/// The target of an observation where the plan names no interface.
const NO_INTERFACE: &str = "no interface";

/// Why a question could not be put.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Blind {
    /// Because of this.
    NotAsked(NotAsked),
    /// The kernel has no such interface (any more).
    Gone,
    /// This process may not.
    NotPermitted,
    /// A system call failed before anything was sent.
    Failed(NotAsked, String),
}

impl Blind {
    /// A system call that failed before anything was sent.
    pub(super) fn failed(error: &std::io::Error) -> Self {
        match error.raw_os_error() {
            Some(libc::EPERM | libc::EACCES) => Self::NotPermitted,
            Some(libc::ENETDOWN | libc::ENODEV | libc::ENXIO) => Self::NotAsked(NotAsked::NoInterface),
            Some(libc::EAFNOSUPPORT | libc::EPROTONOSUPPORT | libc::ENOSYS) => {
                Self::Failed(NotAsked::Unsupported, error.to_string())
            }
            _ => Self::Failed(NotAsked::Local, error.to_string()),
        }
    }

    pub(super) fn observed(self, question: Question, target: Arc<str>, at: Moment) -> Observation {
        let (outcome, detail) = match self {
            Self::NotAsked(why) => (Outcome::NotAsked(why), Detail::None),
            Self::Gone => (Outcome::NotAsked(NotAsked::NoInterface), Detail::Gone),
            Self::NotPermitted => (Outcome::NotPermitted, Detail::None),
            Self::Failed(why, words) => (Outcome::NotAsked(why), Detail::Why(words)),
        };
        Observation { asked: at, known: at, question, target, outcome, rtt: None, detail }
    }
}

impl From<NetlinkError> for Blind {
    fn from(e: NetlinkError) -> Self {
        match e {
            NetlinkError::NotPermitted => Self::NotPermitted,
            NetlinkError::Kernel(e) => Self::failed(&e),
            NetlinkError::Closed => Self::Failed(NotAsked::Local, e.to_string()),
        }
    }
}

/// The host's side of the path: a connection to the kernel and the interface followed.
#[derive(Debug)]
pub(super) struct Host {
    kernel: Option<Kernel>,
    planned: Option<String>,
    follow: Follow,
}

/// Which interface is ours.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Follow {
    index: Option<u32>,
    name: String,
}

impl Host {
    pub(super) fn new(ctx: &Context) -> Self {
        Self { kernel: None, planned: ctx.plan.interface.clone(), follow: Follow::default() }
    }

    /// The interface's name in the plan: the observations' target.
    pub(super) fn target(&self) -> Arc<str> {
        self.planned.as_deref().unwrap_or(NO_INTERFACE).into()
    }

    /// Index last seen.
    pub(super) fn index(&self) -> Option<u32> {
        self.follow.index
    }

    /// The connection to the kernel, made anew where it broke.
    pub(super) fn kernel(&mut self) -> Result<&Kernel, Blind> {
        if self.kernel.is_none() {
            self.kernel = Some(Kernel::connect()?);
        }
        self.kernel.as_ref().ok_or(Blind::NotAsked(NotAsked::Local))
    }

    /// Asks something of the kernel; a broken connection is dropped, to be made anew at the next question.
    pub(super) async fn ask<T>(
        &mut self,
        question: impl AsyncFnOnce(&Kernel) -> Result<T, NetlinkError>,
    ) -> Result<T, Blind> {
        let answer = question(self.kernel()?).await;
        if matches!(answer, Err(NetlinkError::Closed)) {
            self.kernel = None;
        }
        Ok(answer?)
    }

    /// The interface as it is now; blind if it is gone or the plan has none.
    pub(super) async fn interface(&mut self) -> Result<Interface, Blind> {
        let planned = self.planned.clone().ok_or(Blind::NotAsked(NotAsked::NoInterface))?;
        let Follow { index, name } = self.follow.clone();
        let found = self
            .ask(async |kernel| {
                if let Some(index) = index
                    && let Some(found) = kernel.interface(index).await?
                {
                    return Ok(Some(found));
                }
                if let Some(found) = kernel.interface_named(&planned).await? {
                    return Ok(Some(found));
                }
                // Renamed, then re-created under the new name.
                if name.is_empty() || name == planned { Ok(None) } else { kernel.interface_named(&name).await }
            })
            .await?;
        if let Some(found) = &found {
            self.follow = Follow { index: Some(found.carrier.index), name: found.carrier.name.clone() };
        } else {
            self.follow.index = None;
        }
        found.ok_or(Blind::Gone)
    }

    /// The interface, if a frame can leave it now; blind without carrier, for nothing would be sent.
    pub(super) async fn carrying(&mut self) -> Result<Interface, Blind> {
        let interface = self.interface().await?;
        if interface.carrier.up { Ok(interface) } else { Err(Blind::NotAsked(NotAsked::NoInterface)) }
    }
}

/// When a probe's next turn is due; closes in with the pace.
#[derive(Debug)]
pub(super) struct Turns {
    steady: Micros,
    close_in: Micros,
    last: Instant,
    first_at: Option<Instant>,
    pace: Option<watch::Receiver<Pace>>,
}

impl Turns {
    /// The first turn after `first`, then every `steady`, or every `close_in` (never longer) while closing in.
    pub(super) fn new(ctx: &Context, first: Micros, steady: Micros, close_in: Micros) -> Self {
        let now = Instant::now();
        let first_at = Some(now + first.to_std());
        // A zero cadence would spin; the plan's floors are far above this.
        let least = Micros::from_millis(10);
        let steady = steady.max(least);
        let close_in = close_in.min(steady).max(least);
        Self { steady, close_in, last: now, first_at, pace: Some(ctx.pace.clone()) }
    }

    /// The present length between turns.
    pub(super) fn every(&self) -> Micros {
        match self.pace.as_ref().map(|p| *p.borrow()) {
            Some(Pace::CloseIn) => self.close_in,
            _ => self.steady,
        }
    }

    /// Waits for the next turn. Nothing is lost when the wait is dropped; late turns are not made up for.
    pub(super) async fn next(&mut self) {
        loop {
            let due = self.first_at.unwrap_or(self.last + self.every().to_std());
            tokio::select! {
                () = tokio::time::sleep_until(due) => {
                    let now = Instant::now();
                    // Keeps its rhythm when a timer is a little late, and delays when it is very late.
                    self.last = if now.duration_since(due) < self.every().to_std() / 2 { due } else { now };
                    self.first_at = None;
                    return;
                }
                closed = changed(self.pace.as_mut()) => if closed { self.pace = None },
            }
        }
    }
}

/// Waits for a new pace; true when there will be none any more.
async fn changed(pace: Option<&mut watch::Receiver<Pace>>) -> bool {
    match pace {
        Some(pace) => pace.changed().await.is_err(),
        None => std::future::pending().await,
    }
}

/// Waits until a moment; for ever when there is none.
pub(super) async fn until(ctx: &Context, at: Option<Moment>) {
    match at {
        Some(at) => tokio::time::sleep_until(ctx.clock.instant(at)).await,
        None => std::future::pending().await,
    }
}
