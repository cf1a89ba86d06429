//! Samples that wait until nothing asked earlier can still arrive. Decides only their order.

use crate::judge::facts::{Moment, Outcome};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Samples that may wait for earlier ones: many times what a full roster asks within the patience. A record that holds
/// more has its oldest taken in at once.
pub(super) const MOST_WAITING: usize = 4_096;

/// One question's result as the lane sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sample {
    /// When it was asked.
    pub asked: Moment,
    /// When it was known.
    pub known: Moment,
    /// Whether the target answered usably.
    pub good: bool,
    /// What came back.
    pub outcome: Outcome,
}

/// Samples by the place of their target in the roster, in the order of asking; among those asked at one moment, in the
/// order heard of.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(super) struct Waiting(VecDeque<(usize, Sample)>);

impl Waiting {
    /// Puts a sample in its place. Gives the oldest where too many wait.
    pub(super) fn add(&mut self, place: usize, sample: Sample) -> Option<(usize, Sample)> {
        let oldest = if self.0.len() >= MOST_WAITING { self.0.pop_front() } else { None };
        // Samples come nearly in order: the place is nearly always at the end.
        if self.0.back().is_some_and(|(_, last)| last.asked > sample.asked) {
            let at = self.0.partition_point(|(_, waiting)| waiting.asked <= sample.asked);
            self.0.insert(at, (place, sample));
        } else {
            self.0.push_back((place, sample));
        }
        oldest
    }

    /// The next one asked no later than `ripe`.
    #[inline]
    pub(super) fn next(&mut self, ripe: Moment) -> Option<(usize, Sample)> {
        self.0.front().is_some_and(|(_, sample)| sample.asked <= ripe).then(|| self.0.pop_front()).flatten()
    }

    /// How many wait.
    #[cfg(test)]
    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether any is of this target.
    pub(super) fn holds(&self, place: usize) -> bool {
        self.0.iter().any(|(p, _)| *p == place)
    }
}
