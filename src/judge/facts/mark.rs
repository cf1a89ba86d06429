//! Marks of drills: what somebody does to the site on purpose. Does not say what was measured.

use crate::judge::facts::time::Micros;
use serde::{Deserialize, Serialize};

/// The four drills.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Drill {
    /// Mains is taken from the network gear: how long do gear and path last on their backup?
    MainsOff,
    /// The router is started anew: how long until the path carries again?
    RouterRestart,
    /// A network lead is pulled and put back: is it noticed, and when does the path carry again?
    CablePull,
    /// Nothing is touched: is every named receiver reached (again)?
    ReceiverPath,
}

impl Drill {
    /// Its word on the command line and in records.
    pub const fn word(self) -> &'static str {
        match self {
            Self::MainsOff => "mains-off",
            Self::RouterRestart => "router-restart",
            Self::CablePull => "cable-pull",
            Self::ReceiverPath => "receiver-path",
        }
    }
}

/// Something done at the site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Act {
    /// Mains taken away, the lead pulled.
    Off,
    /// Mains given back, the lead put back, the router started.
    On,
}

/// Why a drill ended before it had measured what it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CutShort {
    /// Somebody stopped it.
    Stopped,
    /// Nobody answered any more.
    NobodyThere,
    /// The path did not carry at the beginning, so nothing would have been measured.
    PathNotUp,
    /// The path was never seen to go, so there was no return to time.
    NeverWentDown,
    /// The path did not come back in the time a drill waits.
    NotBack,
    /// The agent itself was cut off and did not go on with it.
    AgentCutOff,
}

impl CutShort {
    /// The reason in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Stopped => "it was stopped by hand",
            Self::NobodyThere => "nobody answered any more",
            Self::PathNotUp => "the path did not carry at its beginning",
            Self::NeverWentDown => "the path was never seen to go down",
            Self::NotBack => "the path did not come back while it waited",
            Self::AgentCutOff => "this host was cut off in it, and it was not gone on with",
        }
    }
}

/// How a drill ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DrillEnd {
    /// It measured what it is for.
    Complete,
    /// It did not, and why.
    CutShort(CutShort),
}

/// What a mark says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// A drill begins.
    Began {
        /// Which.
        drill: Drill,
        /// How long the path must last, where that was named.
        needed: Option<Micros>,
    },
    /// Something was done.
    Acted(Act),
    /// It is over.
    Ended(DrillEnd),
}
