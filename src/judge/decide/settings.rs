//! What the judge is told about the site besides observations.

use crate::judge::decide::ask::RequirementSet;
use crate::judge::decide::outlook::Assumed;
use crate::judge::decide::prior::Prior;
use crate::judge::decide::signalling::Signalling;
use crate::judge::decide::thresholds::Caution;
use crate::judge::facts::Lane;
use crate::judge::facts::{Micros, WallTime};
use std::collections::BTreeSet;
use std::sync::Arc;

/// The judge's settings.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Receivers by name; the path is theirs.
    pub receivers: BTreeSet<Arc<str>>,
    /// Receivers judged by their TLS handshake.
    pub tls_receivers: BTreeSet<Arc<str>>,
    /// Longest wait for any answer; failures are known no later than this after the question.
    pub patience: Micros,
    /// Longest interval between two questions of the slowest probe in each lane.
    pub cadence: [(Lane, Micros); 7],
    /// The station's supervision interval, where known.
    pub supervision: Option<Micros>,
    /// What is required.
    pub requirements: RequirementSet,
    /// Signalling uses that this tool must not judge (fire, CO, medical, hold-up).
    pub out_of_scope: Vec<String>,
    /// What is known of the site besides.
    pub known: Known,
}

/// What no probe can find out and the verdict or the figures use.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// The line, before it is watched.
    pub prior: Prior,
    /// How the communicator tries.
    pub signalling: Signalling,
    /// What the outlook takes as given.
    pub assumed: Assumed,
    /// Spans to leave out of every statistic.
    pub planned: Vec<Planned>,
    /// How careful the choice is.
    pub caution: Caution,
    /// How the path stands without mains; `None`: what is needed or how long it lasts is not known.
    pub standby: Option<Standby>,
}

/// Whether the path stands without mains as long as it must.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stands {
    /// Long enough.
    LongEnough,
    /// Not long enough; a battery mends it.
    BatteryMends,
    /// Not long enough, and the provider's street equipment ends first: no battery on site mends it.
    NoBatteryMends,
}

/// How the path stands without mains: worked out or drilled, never watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standby {
    /// Against what is needed.
    pub stands: Stands,
    /// How long it must.
    pub needed: Micros,
    /// How long it does, as far as that is known.
    pub holds: Option<Micros>,
    /// The day a drill measured that; `None`: worked out or entered.
    pub drilled: Option<String>,
}

/// A drill or planned work: what happens in it is neither for nor against the path.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Planned {
    /// From.
    pub from: WallTime,
    /// To.
    pub to: WallTime,
    /// What was planned.
    pub what: String,
}

impl Settings {
    /// The pause after which a lane counts as blind: three turns and the patience.
    pub fn gap_of(&self, lane: Lane) -> Micros {
        let every = self.cadence.iter().find(|(l, _)| *l == lane).map_or(Micros::from_secs(60), |(_, c)| *c);
        every.times(3) + self.patience
    }
}
