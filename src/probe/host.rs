//! What every local probe shares: the interface it follows.
//!
//! Decides which interface is ours when it is renamed (the index stays) or re-created (the name comes back with a new
//! index). Asks no question of its own.

use super::Context;
use crate::judge::{Detail, Moment, NotAsked, Observation, Outcome, Question};
use crate::sys::netlink::{Interface, Kernel, NetlinkError};
use std::sync::Arc;

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
