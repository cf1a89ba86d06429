//! The fault script: what goes wrong on the practice site, when, and for how long.
//!
//! Decides the file format (`--script FILE`, TOML), what a script may not say, and the script a seed stands for. Does not
//! play it. Pure: the seed is the only source of chance, and the generator is one whose numbers are fixed for good
//! (xoshiro256++), so that a seed means the same script on every build.

mod read;

pub use read::ScriptError;

use crate::judge::Cause;
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use serde::{Deserialize, Serialize};
use std::fmt;

/// How a name service that fails behaves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NameFailure {
    /// Takes the question and never answers.
    #[default]
    Silent,
    /// Answers with response code 5, refused (RFC 1035).
    Refuse,
    /// Answers with response code 2, server failure.
    Servfail,
}

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// The switch port of the host goes down and comes back.
    LinkFlap,
    /// The router's two sides go down and its services stop.
    RouterRestart,
    /// The access line carries nothing.
    AccessCut,
    /// The router's name service fails.
    ResolverFailure {
        /// In which way.
        how: NameFailure,
    },
    /// A stray box on the LAN answers discovers.
    SecondAddressServer,
    /// The receiver's listener is closed.
    ReceiverRefusing,
    /// The access line loses frames.
    LossBurst {
        /// Share of round trips lost, each direction taking its part independently.
        loss: f64,
    },
    /// The host's address is taken from its interface.
    AddressRemoved,
    /// The host's default route is taken away.
    RouteRemoved,
    /// The access line is as slow as one that is full.
    LineCongested,
    /// What goes from the LAN to the reference points, or comes back, is dropped on the way.
    ReferencesFiltered,
    /// The same for the receiver.
    ReceiverSilent,
    /// The router's name service makes up an address for names that do not exist.
    NamesRewritten,
}

/// What can go wrong, without its parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// [`Fault::LinkFlap`]
    LinkFlap,
    /// [`Fault::RouterRestart`]
    RouterRestart,
    /// [`Fault::AccessCut`]
    AccessCut,
    /// [`Fault::ResolverFailure`]
    ResolverFailure,
    /// [`Fault::SecondAddressServer`]
    SecondAddressServer,
    /// [`Fault::ReceiverRefusing`]
    ReceiverRefusing,
    /// [`Fault::LossBurst`]
    LossBurst,
    /// [`Fault::AddressRemoved`]
    AddressRemoved,
    /// [`Fault::RouteRemoved`]
    RouteRemoved,
    /// [`Fault::LineCongested`]
    LineCongested,
    /// [`Fault::ReferencesFiltered`]
    ReferencesFiltered,
    /// [`Fault::ReceiverSilent`]
    ReceiverSilent,
    /// [`Fault::NamesRewritten`]
    NamesRewritten,
}

impl FaultKind {
    /// Every kind, in the order of the lanes.
    pub const ALL: [Self; 13] = [
        Self::LinkFlap,
        Self::AddressRemoved,
        Self::RouteRemoved,
        Self::SecondAddressServer,
        Self::RouterRestart,
        Self::AccessCut,
        Self::LineCongested,
        Self::ReferencesFiltered,
        Self::ResolverFailure,
        Self::NamesRewritten,
        Self::LossBurst,
        Self::ReceiverRefusing,
        Self::ReceiverSilent,
    ];

    /// The word for it in script files and tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::LinkFlap => "link-flap",
            Self::RouterRestart => "router-restart",
            Self::AccessCut => "access-cut",
            Self::ResolverFailure => "resolver-failure",
            Self::SecondAddressServer => "second-address-server",
            Self::ReceiverRefusing => "receiver-refusing",
            Self::LossBurst => "loss-burst",
            Self::AddressRemoved => "address-removed",
            Self::RouteRemoved => "route-removed",
            Self::LineCongested => "line-congested",
            Self::ReferencesFiltered => "references-filtered",
            Self::ReceiverSilent => "receiver-silent",
            Self::NamesRewritten => "names-rewritten",
        }
    }

    /// The cause the judge should name for it.
    pub const fn cause(self) -> Cause {
        match self {
            Self::LinkFlap => Cause::OwnLink,
            Self::RouterRestart => Cause::RouterRestart,
            Self::AccessCut => Cause::AccessLine,
            Self::ResolverFailure => Cause::NameService,
            Self::SecondAddressServer => Cause::SecondAddressServer,
            Self::ReceiverRefusing => Cause::ReceiverRefusing,
            Self::LossBurst => Cause::LossBurst,
            Self::AddressRemoved => Cause::AddressLost,
            Self::RouteRemoved => Cause::RouteLost,
            Self::LineCongested => Cause::Congestion,
            Self::ReferencesFiltered => Cause::ReferencesFiltered,
            Self::ReceiverSilent => Cause::ReceiverSilent,
            Self::NamesRewritten => Cause::NamesRewritten,
        }
    }

    /// The fault of this kind, with the parameters that are usual.
    const fn usual(self) -> Fault {
        match self {
            Self::LinkFlap => Fault::LinkFlap,
            Self::RouterRestart => Fault::RouterRestart,
            Self::AccessCut => Fault::AccessCut,
            Self::ResolverFailure => Fault::ResolverFailure { how: NameFailure::Silent },
            Self::SecondAddressServer => Fault::SecondAddressServer,
            Self::ReceiverRefusing => Fault::ReceiverRefusing,
            Self::LossBurst => Fault::LossBurst { loss: BURST_LOSS },
            Self::AddressRemoved => Fault::AddressRemoved,
            Self::RouteRemoved => Fault::RouteRemoved,
            Self::LineCongested => Fault::LineCongested,
            Self::ReferencesFiltered => Fault::ReferencesFiltered,
            Self::ReceiverSilent => Fault::ReceiverSilent,
            Self::NamesRewritten => Fault::NamesRewritten,
        }
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

impl Fault {
    /// The fault without its parameters.
    pub const fn kind(self) -> FaultKind {
        match self {
            Self::LinkFlap => FaultKind::LinkFlap,
            Self::RouterRestart => FaultKind::RouterRestart,
            Self::AccessCut => FaultKind::AccessCut,
            Self::ResolverFailure { .. } => FaultKind::ResolverFailure,
            Self::SecondAddressServer => FaultKind::SecondAddressServer,
            Self::ReceiverRefusing => FaultKind::ReceiverRefusing,
            Self::LossBurst { .. } => FaultKind::LossBurst,
            Self::AddressRemoved => FaultKind::AddressRemoved,
            Self::RouteRemoved => FaultKind::RouteRemoved,
            Self::LineCongested => FaultKind::LineCongested,
            Self::ReferencesFiltered => FaultKind::ReferencesFiltered,
            Self::ReceiverSilent => FaultKind::ReceiverSilent,
            Self::NamesRewritten => FaultKind::NamesRewritten,
        }
    }
}

/// One fault of the script. Seconds from the start of the script.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// When it begins.
    pub at_s: f64,
    /// How long it lasts.
    pub for_s: f64,
    /// What it is.
    pub fault: Fault,
}

impl Step {
    /// When it is over.
    pub fn until_s(&self) -> f64 {
        self.at_s + self.for_s
    }
}

/// A whole script.
#[derive(Clone, Debug, PartialEq)]
pub struct Script {
    /// For what is left to chance while it runs: jitter and which frames are lost.
    pub seed: u64,
    /// Length with the quiet spells, seconds.
    pub length_s: f64,
    /// The faults in order of time.
    pub steps: Vec<Step>,
}

impl NameFailure {
    const ALL: [Self; 3] = [Self::Silent, Self::Refuse, Self::Servfail];

    /// The word for it in script files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Silent => "silent",
            Self::Refuse => "refuse",
            Self::Servfail => "servfail",
        }
    }
}

/// Share of round trips a burst loses where none is named.
const BURST_LOSS: f64 = 0.75;
/// Quiet at the start, seconds.
pub const QUIET_START_S: f64 = 6.0;
/// Least quiet between two faults and at the end, seconds.
pub const QUIET_S: f64 = 4.0;
/// The second address server may run this far into the quiet spell after it, seconds.
const STRAY_INTO_QUIET_S: f64 = 2.0;
/// Seconds handed out at random over lengths and quiet spells; keeps every script to the same length.
const SLACK_S: f64 = 7.0;

/// Least and most seconds of each fault in a generated script.
const fn bounds(kind: FaultKind) -> (f64, f64) {
    match kind {
        FaultKind::LinkFlap => (1.0, 2.0),
        FaultKind::RouterRestart | FaultKind::AddressRemoved | FaultKind::RouteRemoved => (6.0, 10.0),
        FaultKind::AccessCut
        | FaultKind::ResolverFailure
        | FaultKind::ReceiverRefusing
        | FaultKind::ReceiverSilent
        | FaultKind::ReferencesFiltered => (8.0, 12.0),
        // Ten seconds of slow answers make congestion; a made-up name is asked for each six seconds, and one is none.
        FaultKind::LineCongested | FaultKind::NamesRewritten => (15.0, 17.0),
        FaultKind::SecondAddressServer => (25.0, 27.0),
        FaultKind::LossBurst => (8.0, 10.0),
    }
}

/// Faults in a generated script.
const IN_A_SCRIPT: usize = 7;

/// The script a seed stands for: seven of the faults, which, in what order and how long drawn from the seed, quiet spells
/// between. About 100 seconds.
pub fn generate(seed: u64) -> Script {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut kinds = FaultKind::ALL;
    kinds.shuffle(&mut rng);
    // What is usual must be known before anything can be slow.
    if let Some(at @ ..3) = kinds.iter().position(|k| *k == FaultKind::LineCongested) {
        kinds.swap(at, 3);
    }
    let kinds = &kinds[..IN_A_SCRIPT];
    // Shares of the slack: one for each length and one for each quiet spell.
    let weights: [f64; 15] = std::array::from_fn(|_| rng.random::<f64>());
    let total: f64 = weights.iter().sum();
    let share = |i: usize| SLACK_S * weights[i] / total;
    let mut at = QUIET_START_S + share(14);
    let mut steps = Vec::with_capacity(kinds.len());
    for (i, kind) in kinds.iter().copied().enumerate() {
        let (least, most) = bounds(kind);
        let at_s = tenths(at);
        let for_s = tenths((least + share(i)).min(most));
        let fault = match kind {
            FaultKind::ResolverFailure => {
                Fault::ResolverFailure { how: NameFailure::ALL[rng.random_range(0..NameFailure::ALL.len())] }
            }
            other => other.usual(),
        };
        steps.push(Step { at_s, for_s, fault });
        let into = if kind == FaultKind::SecondAddressServer { STRAY_INTO_QUIET_S } else { 0.0 };
        at = at_s + for_s - into + QUIET_S + share(7 + i) + 0.05;
    }
    let length_s = tenths(at + STRAY_INTO_QUIET_S);
    Script { seed, length_s, steps }
}

fn tenths(s: f64) -> f64 {
    (s * 10.0).round() / 10.0
}

#[cfg(test)]
#[path = "script_tests.rs"]
mod tests;
