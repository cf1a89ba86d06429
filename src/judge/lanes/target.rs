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
    /// Failures in a row, and when the first of them began.
    pub(super) run: u32,
    pub(super) run_start: Edge,
    /// What the other targets did during that run.
    pub(super) others_good: u32,
    pub(super) others_bad: u32,
    pub(super) missing: bool,
    /// Failures of the present run, by outcome, and when the last was asked.
    pub(super) failures: BTreeMap<Outcome, u32>,
    pub(super) last_bad: Moment,
    pub(super) series: LossSeries,
}

impl Target {
    /// Asked for the first time.
    pub(super) fn first_asked(at: Moment) -> Self {
        Self {
            ever_good: false,
            last_asked: at,
            run: 0,
            run_start: Edge::exact(at),
            others_good: 0,
            others_bad: 0,
            missing: false,
            failures: BTreeMap::new(),
            last_bad: at,
            series: LossSeries::default(),
        }
    }
}
