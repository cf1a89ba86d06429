//! What can come back of a question. Keeps timeout, refusal, unreachable, "not permitted" and "could not be asked" apart.
//!
//! Does not judge: a refusal is a fact, not a fault.

use serde::{Deserialize, Serialize};

/// What an ICMP or kernel "unreachable" named (RFC 792, RFC 4443).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unreachable {
    /// No route to the network.
    Net,
    /// Host did not answer on its own network (often: ARP unanswered).
    Host,
    /// Port closed.
    Port,
    /// Forbidden by a filter.
    Prohibited,
    /// Any other code.
    Other,
}

/// Why a question could not be asked at all.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotAsked {
    /// The interface is gone or down.
    NoInterface,
    /// This host has no usable address of the family.
    NoAddress,
    /// The kernel has no route to the target.
    NoRoute,
    /// The target's name did not resolve.
    Unresolved,
    /// Nobody is configured to be asked.
    NoTarget,
    /// The kernel or this build does not offer it.
    Unsupported,
    /// A local error; the words are in [`Detail::Why`].
    Local,
}

/// What came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// A valid answer; what it says is in the detail.
    Answered,
    /// Nothing within the waiting time.
    Timeout,
    /// The target said no (TCP reset to a connect, ICMP port unreachable, DNS REFUSED).
    Refused,
    /// An established connection was torn down.
    Reset,
    /// A router or the kernel said the target can't be reached.
    Unreachable(Unreachable),
    /// Something came back that is not a valid answer.
    Malformed,
    /// This host may not ask: blind, never good or bad.
    NotPermitted,
    /// Could not be asked: blind, never good or bad.
    NotAsked(NotAsked),
}

impl Outcome {
    /// Whether the question was really put: blind outcomes are not.
    pub const fn was_asked(self) -> bool {
        !matches!(self, Self::NotPermitted | Self::NotAsked(_))
    }

    /// The outcome in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Answered => "answered",
            Self::Timeout => "no answer",
            Self::Refused => "refused",
            Self::Reset => "connection torn down",
            Self::Unreachable(Unreachable::Prohibited) => "forbidden by a filter",
            Self::Unreachable(_) => "unreachable",
            Self::Malformed => "answer makes no sense",
            Self::NotPermitted => "not permitted here",
            Self::NotAsked(NotAsked::NoInterface) => "not asked: no interface",
            Self::NotAsked(NotAsked::NoAddress) => "not asked: no address",
            Self::NotAsked(NotAsked::NoRoute) => "not asked: no route",
            Self::NotAsked(NotAsked::Unresolved) => "not asked: name did not resolve",
            Self::NotAsked(NotAsked::NoTarget) => "not asked: no target",
            Self::NotAsked(NotAsked::Unsupported) => "not asked: not supported here",
            Self::NotAsked(NotAsked::Local) => "not asked: local error",
        }
    }
}
