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
    failures: BTreeMap<Outcome, u32>,
    pub(super) answers: u32,
    now: Now,
    pub(super) silent: bool,
    from_first_look: bool,
    pub(super) last_bad: Moment,
}

/// What came last.
#[derive(Clone, Debug, Serialize, Deserialize)]
enum Now {
    /// Failures in a row, and by which targets.
    Failing { run: u32, by: Places },
    /// Answers since the last failure, and between which moments the losses ended.
    Clearing { answers: u32, end: Edge },
}

impl Group {
    /// A group that opens with a failure.
    pub(super) fn opened(from_first_look: bool, last_bad: Moment) -> Self {
        Self {
            losses: BTreeMap::new(),
            failures: BTreeMap::new(),
            answers: 0,
            now: Now::Failing { run: 0, by: Places::default() },
            silent: false,
            from_first_look,
            last_bad,
        }
    }

    /// Takes in an answer that came at a moment; gives the number since the last failure.
    pub(super) fn answered(&mut self, at: Moment) -> u32 {
        match &mut self.now {
            Now::Clearing { answers, .. } => {
                *answers += 1;
                *answers
            }
            Now::Failing { .. } => {
                self.now = Now::Clearing { answers: 1, end: Edge::between(self.last_bad.min(at), at) };
                1
            }
        }
    }

    /// Takes in a failure of a target, whose run began at `start`; gives the number in a row.
    pub(super) fn failed(&mut self, place: usize, start: Edge, outcome: Outcome, last_bad: Moment) -> u32 {
        if let Now::Clearing { answers, .. } = self.now {
            self.answers += answers;
            self.now = Now::Failing { run: 0, by: Places::default() };
        }
        self.losses.entry(place).or_insert((start, 0)).1 += 1;
        *self.failures.entry(outcome).or_insert(0) += 1;
        self.last_bad = last_bad;
        let Now::Failing { run, by } = &mut self.now else { return 0 };
        *run += 1;
        by.insert(place);
        *run
    }

    /// Whether a target is among those that fail now.
    pub(super) fn fails(&self, place: usize) -> bool {
        matches!(&self.now, Now::Failing { by, .. } if by.has(place))
    }

    /// Between which moments the losses ended, if so many answers have come since.
    pub(super) fn end(&self, least: u32) -> Option<Edge> {
        match self.now {
            Now::Clearing { answers, end } if answers >= least => Some(end),
            _ => None,
        }
    }

    /// A target is not asked any more.
    pub(super) fn gone(&mut self, place: usize) {
        if let Now::Failing { by, .. } = &mut self.now {
            by.remove(place);
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
        self.gone(place);
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
