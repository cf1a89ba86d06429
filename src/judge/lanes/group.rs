//! A group of losses: what it holds, and whether it is silence, a burst or no more than chance.

use super::measured::Measured;
use super::roster::Places;
use super::span::{Oddity, Span};
use super::thresholds::{BURST_ANSWERS, BURST_DENSITY};
use crate::judge::facts::{Edge, Lane, Moment, Outcome};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A group of losses that may become a span.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Group {
    /// Per target: its first failure in the group and how many.
    pub(super) losses: BTreeMap<usize, (Edge, u32)>,
    pub(super) failures: BTreeMap<Outcome, u32>,
    pub(super) answers: u32,
    /// How often answers came between failures: scattered answers are a burst, one short return is not.
    pub(super) returns: u32,
    /// Answers since the last failure.
    pub(super) pending: u32,
    /// Failures in a row right now, and by which targets.
    pub(super) run: u32,
    pub(super) run_targets: Places,
    pub(super) silent: bool,
    pub(super) from_first_look: bool,
    pub(super) last_bad: Moment,
    pub(super) end: Option<Edge>,
}

impl Group {
    /// A group that opens with a failure.
    pub(super) fn opened(from_first_look: bool, last_bad: Moment) -> Self {
        Self {
            losses: BTreeMap::new(),
            failures: BTreeMap::new(),
            answers: 0,
            returns: 0,
            pending: 0,
            run: 0,
            run_targets: Places::default(),
            silent: false,
            from_first_look,
            last_bad,
            end: None,
        }
    }

    /// Takes out the last `run` failures of a target: it is missing, the lane is not. What it lost before them it lost
    /// like the others.
    pub(super) fn forget(&mut self, place: usize, run: u32) {
        if let Some((_, n)) = self.losses.get_mut(&place) {
            *n = n.saturating_sub(run);
            if *n == 0 {
                self.losses.remove(&place);
            }
        }
        self.run_targets.remove(place);
    }

    /// Failures in it.
    pub(super) fn lost(&self) -> u32 {
        self.losses.values().map(|(_, n)| n).sum()
    }

    /// The group as a span, if it is more than chance.
    pub(super) fn span(&self, lane: Lane, measured: &Measured) -> Option<Span> {
        let losses = self.lost();
        let share = f64::from(self.answers) / f64::from((self.answers + losses).max(1));
        // Where hardly anything came back it was silence, however often a stray answer did.
        let scattered = share >= BURST_ANSWERS;
        let oddity = if self.silent && !scattered {
            Oddity::Silent
        } else if losses >= measured.losses_needed() && 1.0 - share >= BURST_DENSITY.max(3.0 * measured.loss()) {
            Oddity::LossBurst
        } else {
            return None;
        };
        let start = self.losses.values().map(|(e, _)| *e).min_by_key(|e| e.latest)?;
        let mut span = Span::new(lane, oddity, start);
        span.from_first_look = self.from_first_look;
        span.failures.clone_from(&self.failures);
        span.answers = self.answers;
        Some(span)
    }
}
