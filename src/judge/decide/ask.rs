//! Requirement sets: what is asked, with the source of each number, and whether a set somebody wrote is sound.
//!
//! Holds nothing against the evidence: `requirement` does.

use serde::{Deserialize, Serialize};

/// Most requirements in a set.
const MOST_REQUIREMENTS: usize = 32;

/// A named set of requirements.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RequirementSet {
    /// Its name, as site files use it.
    pub name: String,
    /// What it is for.
    pub words: String,
    /// The requirements.
    pub require: Vec<Require>,
}

/// One requirement.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Require {
    /// Its name.
    pub name: String,
    /// What is asked.
    pub ask: Ask,
    /// Where the number comes from.
    pub source: String,
    /// How well that was checked: V, S, M or choice.
    pub tag: String,
}

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Ask {
    /// Observed share of the elapsed time.
    Coverage {
        /// Least share.
        at_least: f64,
    },
    /// Share of time in which the path could deliver.
    Availability {
        /// Least share.
        at_least: f64,
        /// Probability needed to call it met (and, from the other side, not met).
        sure: f64,
    },
    /// Rate of outages longer than a length.
    LongOutages {
        /// Counted when longer than this, seconds.
        longer_than_s: f64,
        /// Most allowed ...
        at_most: f64,
        /// ... in so many days.
        per_days: f64,
        /// Confidence of the one-sided Poisson bounds.
        sure: f64,
    },
    /// No outage longer than the station's supervision interval.
    Supervision {
        /// The interval when the site file names none, seconds.
        interval_s: f64,
    },
    /// Share of alarms, raised at random moments, that get through in time on the site's retry schedule.
    Delivery {
        /// The time when the site file names none, seconds.
        within_s: f64,
        /// Least share.
        at_least: f64,
        /// Probability needed to call it met (and, from the other side, not met).
        sure: f64,
    },
}

impl Require {
    /// What is wrong with its numbers, if anything.
    fn fault(&self) -> Option<String> {
        let share = |x: f64| x > 0.0 && x < 1.0;
        let sound = match self.ask {
            Ask::Coverage { at_least } => share(at_least),
            Ask::Availability { at_least, sure } => share(at_least) && (0.5..1.0).contains(&sure),
            Ask::Delivery { within_s, at_least, sure } => {
                share(at_least) && (0.5..1.0).contains(&sure) && (1.0..=86_400.0).contains(&within_s)
            }
            Ask::LongOutages { longer_than_s, at_most, per_days, sure } => {
                (0.0..=31_536_000.0).contains(&longer_than_s)
                    && at_most > 0.0
                    && at_most.is_finite()
                    && (1.0..=3_660.0).contains(&per_days)
                    && (0.5..1.0).contains(&sure)
            }
            Ask::Supervision { interval_s } => (10.0..=2_764_800.0).contains(&interval_s),
        };
        if !sound {
            Some(format!("{}: a number is out of range", self.name))
        } else if self.name.trim().is_empty() || self.source.trim().is_empty() {
            Some(format!("{}: name and source must not be empty", self.name))
        } else if !TAGS.contains(&self.tag.as_str()) {
            Some(format!("{}: tag must be one of V, S, M or choice", self.name))
        } else {
            None
        }
    }
}

/// How well a number was checked: read in the source, second-hand, from memory, our own choice.
const TAGS: [&str; 4] = ["V", "S", "M", "choice"];

impl RequirementSet {
    /// Checks a set somebody wrote. The error says what to mend.
    pub fn check(&self) -> Result<(), String> {
        if self.require.is_empty() || self.require.len() > MOST_REQUIREMENTS {
            return Err(format!("a set has 1 to {MOST_REQUIREMENTS} requirements"));
        }
        self.require.iter().find_map(Require::fault).map_or(Ok(()), Err)
    }
}
