//! Probes: one file per question. Each is a pure machine (`on_timer`, `on_…` -> actions) and a thin task that owns the
//! socket and the timer.
//!
//! All tasks share a [`Context`]. A task never ends the agent: what it can't ask it reports as `NotPermitted` or
//! `NotAsked`, and it tries again at its next turn.

pub mod address;
pub mod clock_offset;
pub mod communicator;
pub mod conflict;
mod datagram;
mod dns_ask;
pub(crate) mod errno;
pub mod gateway_arp;
pub mod gateway_echo;
mod gateway_table;
mod host;
pub mod idle;
pub(crate) mod idle_search;
mod idle_trial;
pub mod link;
mod lookup;
pub mod mains;
pub mod names;
pub mod neighbours;
pub mod nut;
pub mod offers;
pub mod outside;
pub mod path_mtu;
pub mod portal;
pub mod radio;
pub mod receiver;
mod receiver_tls;
pub mod second_hop;
pub mod seen_from;
pub mod snmp;
pub mod translation;
pub(crate) mod turns;
pub mod upnp;
mod upnp_machine;

use crate::judge::Observation;
pub use crate::site::cadence::Pace;

use crate::site::Plan;
use crate::sys::clock::Clock;
use crate::sys::way::Way;
use std::sync::Arc;
use tokio::sync::{mpsc, watch};

/// What a probe's machine wants done; none of it where it wants nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Action<Q, R = Observation> {
    /// Ask this.
    Ask(Q),
    /// Say this.
    Report(R),
}

/// What every probe task is given.
#[derive(Clone)]
pub struct Context {
    /// The clock, on the record's axis.
    pub clock: Clock,
    /// The plan.
    pub plan: Arc<Plan>,
    /// Where observations go. Bounded; a full queue makes the task wait.
    pub seen: mpsc::Sender<Observation>,
    /// The present pace.
    pub pace: watch::Receiver<Pace>,
}

impl Context {
    /// Hands an observation to the agent. False once the agent is gone: the task should end.
    pub async fn report(&self, o: Observation) -> bool {
        self.seen.send(o).await.is_ok()
    }

    /// The way out for a task's sockets; left to routing where the plan is of loopback alone.
    fn way(&self) -> Way {
        Way::new(self.plan.interface.as_deref().filter(|_| !self.plan.loopback))
    }
}
