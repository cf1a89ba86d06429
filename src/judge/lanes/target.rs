//! One target of a lane: whether it answers, and its present run of failures. Decides nothing.

use crate::judge::facts::{Edge, Moment, Outcome};
use crate::judge::stats::loss_series::LossSeries;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A target of the lane.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Target {
    pub(super) ever_good: bool,
    pub(super) last_asked: Moment,
    /// Its failures since it last answered; `None` while it answers.
    pub(super) run: Option<Run>,
    pub(super) series: LossSeries,
}

/// Failures in a row.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Run {
    pub(super) lost: u32,
    /// When the first of them began.
    pub(super) start: Edge,
    /// What the other targets did meanwhile.
    others_good: u32,
    others_bad: u32,
    /// By outcome.
    pub(super) failures: BTreeMap<Outcome, u32>,
    /// When the last was asked.
    pub(super) last_bad: Moment,
    /// The target is called missing: it fails while the others answer.
    pub(super) missing: bool,
}

impl Target {
    /// Asked for the first time.
    pub(super) fn first_asked(at: Moment) -> Self {
        Self { ever_good: false, last_asked: at, run: None, series: LossSeries::default() }
    }

    /// Whether it is called missing.
    pub(super) fn is_missing(&self) -> bool {
        self.run.as_ref().is_some_and(|run| run.missing)
    }

    /// Another target answered, or failed, while this one fails.
    pub(super) fn beside(&mut self, good: bool) {
        if let Some(run) = &mut self.run {
            *(if good { &mut run.others_good } else { &mut run.others_bad }) += 1;
        }
    }
}

impl Run {
    /// A run that began at `start`, without a failure yet.
    pub(super) fn from(start: Edge) -> Self {
        Self {
            lost: 0,
            start,
            others_good: 0,
            others_bad: 0,
            failures: BTreeMap::new(),
            last_bad: start.latest,
            missing: false,
        }
    }

    pub(super) fn failed(&mut self, outcome: Outcome, last_bad: Moment) {
        self.lost += 1;
        *self.failures.entry(outcome).or_insert(0) += 1;
        self.last_bad = last_bad;
    }

    /// Whether the others answer.
    pub(super) fn is_alone(&self) -> bool {
        self.others_good >= 3 && self.others_good >= 2 * self.others_bad
    }
}
