//! Entries: what a record holds, in the order it became known.

use crate::judge::facts::mark::Mark;
use crate::judge::facts::observation::Observation;
use crate::judge::facts::time::{Micros, Moment, WallTime};
use serde::{Deserialize, Serialize};

/// How a session of the agent ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// The time asked for was over.
    Complete,
    /// Somebody stopped it.
    Interrupted,
}

/// One start of the agent: the anchors between its clocks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Session {
    /// When it began, on the record's axis.
    pub at: Moment,
    /// Kernel boot id.
    pub boot_id: String,
    /// Boot-time clock at `at`.
    pub boot: Micros,
    /// Wall clock at `at`.
    pub wall: WallTime,
    /// Whether the wall clock was synchronised; `None` when the kernel would not say.
    pub synced: Option<bool>,
}

/// What the record holds, in the order it became known; the judge folds over it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Entry {
    /// The agent started.
    Began(Session),
    /// An observation.
    Seen(Observation),
    /// The wall clock was stepped: from here on, `wall` belongs to `at`.
    Stepped {
        /// When, on the record's axis.
        at: Moment,
        /// The new wall time.
        wall: WallTime,
    },
    /// The agent was alive and had nothing else to say.
    Alive {
        /// When.
        at: Moment,
    },
    /// Somebody does something to the site on purpose: what happens until the drill's end counts neither way.
    Drill {
        /// When.
        at: Moment,
        /// What is begun, done or ended.
        step: Mark,
    },
    /// The agent ended by intention. A session without this was killed or lost power.
    Ended {
        /// When.
        at: Moment,
        /// How.
        how: Ending,
    },
}

impl Entry {
    /// When this entry became known.
    pub const fn known(&self) -> Moment {
        match self {
            Self::Began(s) => s.at,
            Self::Seen(o) => o.known,
            Self::Stepped { at, .. } | Self::Alive { at } | Self::Drill { at, .. } | Self::Ended { at, .. } => *at,
        }
    }
}
