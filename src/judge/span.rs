//! Spans: stretches in which a lane did not behave, before anyone says why.

use super::observation::{Lane, Mac, Outcome};
use super::time::{Edge, Micros, Moment};
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Arc;

/// State of a lane over a span, or now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LaneState {
    /// Answering.
    Good,
    /// Answering in part: losses or a target missing, but the lane carries.
    Strained,
    /// Not answering.
    Bad,
    /// Not measured.
    #[default]
    Blind,
}

/// What was odd about a span.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Oddity {
    /// Nothing and nobody of the lane answered.
    Silent,
    /// Answers and losses mixed (grouped after RFC 3611 section 4.7.2: no long run of answers inside).
    LossBurst,
    /// One target of several stopped answering while the others went on.
    TargetMissing(Arc<str>),
    /// The carrier was lost; how many times in this span.
    CarrierLost {
        /// Losses counted, by the kernel's counters where it has them.
        times: u32,
    },
    /// The interface was gone from the kernel.
    InterfaceGone,
    /// No usable address on the interface.
    NoAddress,
    /// No default route through the interface.
    NoRoute,
    /// More than one address server answered.
    SecondAddressServer(Vec<(Option<IpAddr>, Option<Mac>)>),
    /// Another host claims our address.
    AddressConflict(Vec<Mac>),
    /// More than one host answers for the gateway's address.
    GatewayTwice(Vec<Mac>),
    /// A resolver invents answers for a name that must not exist.
    NamesRewritten(Arc<str>),
}

impl Oddity {
    /// The state of the lane meanwhile.
    pub const fn state(&self) -> LaneState {
        match self {
            Self::Silent | Self::CarrierLost { .. } | Self::InterfaceGone | Self::NoAddress | Self::NoRoute => {
                LaneState::Bad
            }
            _ => LaneState::Strained,
        }
    }
}

/// A stretch in which a lane did not behave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// Which lane.
    pub lane: Lane,
    /// What was odd.
    pub oddity: Oddity,
    /// When it began.
    pub start: Edge,
    /// When it ended; `None` while it lasts.
    pub end: Option<Edge>,
    /// True when it was already so at the first look: the start is unknown.
    pub from_first_look: bool,
    /// Failed questions inside, by outcome.
    pub failures: BTreeMap<Outcome, u32>,
    /// Answered questions inside.
    pub answers: u32,
}

impl Span {
    /// A span without counts.
    pub fn new(lane: Lane, oddity: Oddity, start: Edge) -> Self {
        Self { lane, oddity, start, end: None, from_first_look: false, failures: BTreeMap::new(), answers: 0 }
    }

    /// Middle of the end, or `now` while it lasts.
    pub fn end_or(&self, now: Moment) -> Moment {
        self.end.map_or(now, Edge::midpoint)
    }

    /// Length between the middles of the edges.
    pub fn length(&self, now: Moment) -> Micros {
        Micros((self.end_or(now) - self.start.midpoint()).0.max(0))
    }

    /// The failure seen most often.
    pub fn main_failure(&self) -> Option<Outcome> {
        self.failures.iter().max_by_key(|(_, n)| **n).map(|(o, _)| *o)
    }
}
