//! Spans: stretches in which a lane did not behave, before anyone says why.

use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::facts::{Lane, Mac, Outcome, Transport};
use crate::judge::lanes::thresholds::{CLEAR_AFTER, RECOVERY};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Arc;

/// Failures in a row that scattered losses still make by chance (choice: where half is lost, six in a row come once in 64;
/// where two in five are, once in 244).
const SHORT_RUN: u32 = 6;

/// State of a lane over a span, or now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
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
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
    /// The mains were lost.
    MainsLost,
    /// The agent's session ended without a word.
    CutOff(Cut),
    /// Answers took many times as long as usual.
    Slow {
        /// How many times, the worst seen.
        times: u32,
    },
    /// The lease was not renewed when it should have been.
    LeaseNotRenewed,
    /// Addresses held, none of them IPv4; whether translation was offered, where that is known.
    Ipv4Missing {
        /// RFC 7050.
        translated: Option<bool>,
    },
    /// The communicator's hardware address does not answer.
    CommunicatorAbsent(Arc<str>),
    /// The radio signal is weak, dBm.
    WeakRadio(i16),
    /// A plain web request got somebody else's page.
    Intercepted {
        /// The host a redirect named.
        to: Option<String>,
    },
    /// The clock is off by so much, sure.
    ClockOffset(Micros),
    /// Packets over this size vanish and nobody says so.
    MtuBlackHole {
        /// Largest that passed.
        passed: u16,
    },
    /// A quiet connection is forgotten.
    IdleTimeout {
        /// Carried by.
        over: Transport,
        /// Longest idle time that worked, seconds.
        kept_s: u32,
        /// Shortest that did not.
        lost_s: u32,
    },
}

/// How a session was cut off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cut {
    /// Whether the host itself was started anew: another boot id.
    pub boot_anew: bool,
    /// When it was, by its boot-time clock.
    pub booted: Option<Moment>,
}

impl Oddity {
    /// The state of the lane meanwhile.
    pub const fn state(&self) -> LaneState {
        match self {
            Self::Silent
            | Self::CarrierLost { .. }
            | Self::InterfaceGone
            | Self::NoAddress
            | Self::NoRoute
            | Self::MainsLost => LaneState::Bad,
            Self::CutOff(_) => LaneState::Blind,
            _ => LaneState::Strained,
        }
    }
}

/// A stretch in which a lane did not behave.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
    /// Whether so much of what was asked got lost that an alarm could not count on it: more than four in five (choice).
    pub fn is_mostly_lost(&self) -> bool {
        let lost: u64 = self.failures.values().map(|n| u64::from(*n)).sum();
        self.oddity == Oddity::LossBurst && u64::from(self.answers) * 5 < u64::from(self.answers) + lost
    }

    /// Whether so little was lost in it that chance could have done it on a lossy lane.
    pub fn is_short_run(&self) -> bool {
        self.failures.values().sum::<u32>() <= SHORT_RUN
    }

    /// A span without counts.
    pub fn new(lane: Lane, oddity: Oddity, start: Edge) -> Self {
        Self { lane, oddity, start, end: None, from_first_look: false, failures: BTreeMap::new(), answers: 0 }
    }

    /// Adds another's questions.
    fn take_counts(&mut self, other: Self) {
        self.answers = self.answers.saturating_add(other.answers);
        for (outcome, n) in other.failures {
            let count = self.failures.entry(outcome).or_insert(0);
            *count = count.saturating_add(n);
        }
    }

    /// Middle of the end, or `now` while it lasts.
    pub fn end_or(&self, now: Moment) -> Moment {
        self.end.map_or(now, Edge::midpoint)
    }

    /// From its earliest start to its latest end; `now` while it lasts.
    pub fn at_longest(&self, now: Moment) -> (Moment, Moment) {
        (self.start.earliest, self.end.map_or(now, |e| e.latest))
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

/// Loss bursts close together are one: between random losses, a few seconds without one come by chance. So do a few
/// losses in a row: a silence no longer than what clears a lane, shortly before a burst or after it, is part of it.
pub(crate) fn joined(spans: Vec<Span>) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::with_capacity(spans.len());
    let mut last_burst: Option<usize> = None;
    for mut span in spans {
        let start = span.start.earliest;
        let near = |last: &Span| last.end.is_some_and(|e| start - e.latest < RECOVERY);
        let by_chance = |s: &Span| {
            s.oddity == Oddity::Silent && s.end.is_some_and(|e| e.midpoint() - s.start.midpoint() <= CLEAR_AFTER)
        };
        let burst = span.oddity == Oddity::LossBurst;
        if (burst || by_chance(&span))
            && let Some(last) = last_burst.map(|at| &mut out[at])
            && near(last)
        {
            last.end = span.end;
            last.take_counts(span);
            continue;
        }
        if burst {
            // A target that was missing may stand in between.
            let silence = out.iter().rposition(|s| s.oddity == Oddity::Silent);
            if let Some(silence) = silence.filter(|at| by_chance(&out[*at]) && near(&out[*at])) {
                let silence = out.remove(silence);
                (span.start, span.from_first_look) = (silence.start, silence.from_first_look);
                let answers = span.answers;
                span.take_counts(silence);
                span.answers = answers;
            }
            last_burst = Some(out.len());
        }
        out.push(span);
    }
    out
}
