//! What is known of one lane over the whole record: spans, reach, blind pauses, answers.
//!
//! Says what the lane did between two moments; does not say why.

use crate::judge::facts::Lane;
use crate::judge::facts::{Micros, Moment};
use crate::judge::lanes::span::{LaneState, Oddity, Span};
use crate::judge::lanes::timeline::Timeline;

/// What the explainer needs to know of a lane.
#[derive(Clone, Debug)]
pub struct LaneRecord {
    /// Which.
    pub lane: Lane,
    /// Its spans.
    pub spans: Vec<Span>,
    /// First and last moment observed.
    pub reach: Option<(Moment, Moment)>,
    /// Blind pauses.
    pub blind: Vec<(Moment, Moment)>,
    /// Unbroken runs of answers, by the times the first and the last came; empty for lanes that are not asked.
    pub answers: Vec<(Moment, Moment)>,
    /// Where much was lost, and too little for a trouble; empty for lanes that are not asked.
    pub patches: Vec<(Moment, Moment)>,
    /// Two turns: any longer stretch of a run has an answer in it.
    pub two_turns: Micros,
}

/// How far inside a span an answer must lie to count as one during it.
const INSIDE: Micros = Micros::from_millis(500);

impl LaneRecord {
    /// Whether the lane is known by asking targets.
    pub fn is_asked(&self) -> bool {
        matches!(self.lane, Lane::Router | Lane::Names | Lane::Outside | Lane::Receiver)
    }

    /// Whether something of the lane was asked between two moments and answered.
    pub fn answered_between(&self, from: Moment, to: Moment) -> bool {
        // The runs are in order and disjoint: only the first that ends in or after the time can reach into it first.
        let first = self.answers.partition_point(|(_, end)| *end < from);
        self.answers.get(first).is_some_and(|(a, b)| {
            let (begins, ends) = (from <= *a && *a <= to, *b <= to);
            begins || ends || (*a < from && to - from > self.two_turns)
        })
    }

    /// Whether something was answered well inside a span: an answer at its very edge says nothing.
    pub fn answered_inside(&self, span: &Span, now: Moment) -> bool {
        let (from, to) = (span.start.latest + INSIDE, span.end.map_or(now, |e| e.earliest) - INSIDE);
        from <= to && self.answered_between(from, to)
    }

    /// Whether the lane was bad for more than half of the time between two moments.
    pub fn mostly_bad(&self, spans: &Timeline, from: Moment, to: Moment, now: Moment) -> bool {
        let bad = self.during(spans, from, to).filter(|s| s.oddity.state() == LaneState::Bad);
        let shared = |s: &Span| (s.end_or(now).min(to) - s.start.midpoint().max(from)).max(Micros::ZERO);
        bad.map(shared).sum::<Micros>().times(2) > to - from
    }

    /// Where the spans lie, each at its longest.
    pub fn timeline(&self, now: Moment) -> Timeline {
        self.spans.iter().map(|s| s.at_longest(now)).collect()
    }

    /// Spans that reach into a stretch by more than an edge, found by the lane's timeline.
    pub fn during<'a>(&'a self, spans: &'a Timeline, from: Moment, to: Moment) -> impl Iterator<Item = &'a Span> {
        spans.within(from, to).map(|place| &self.spans[place])
    }

    /// Whether much was lost for a while between two moments, as a burst or as less; `None` when not observed then.
    pub fn lossy_between(&self, spans: &Timeline, from: Moment, to: Moment) -> Option<bool> {
        let (first, last) = self.reach?;
        if !self.is_asked() || to < first || from > last {
            return None;
        }
        // In order of closing, which within a lane is the order of time.
        let patch = self.patches.get(self.patches.partition_point(|(_, end)| *end < from));
        let patchy = patch.is_some_and(|(begin, _)| *begin <= to);
        // One of several that was missing for a moment lost what it was asked as well.
        let lossy = |s: &Span| match s.oddity {
            Oddity::LossBurst => true,
            Oddity::TargetMissing(_) => s.end.is_some() && s.is_short_run(),
            _ => false,
        };
        Some(patchy || self.during(spans, from, to).any(lossy))
    }

    /// Whether the lane carried between two moments: `None` when it was not observed then, false when it was bad or lost
    /// much of what was asked. Conditions that merely stand beside it are left out.
    pub fn carried_between(&self, spans: &Timeline, from: Moment, to: Moment) -> Option<bool> {
        let ((first, last), middle) = (self.reach?, from.midpoint(to));
        // Blind pauses are in order and disjoint.
        let pause = self.blind.get(self.blind.partition_point(|(_, end)| *end < middle));
        if to < first || from > last || pause.is_some_and(|(begin, _)| *begin <= middle) {
            return None;
        }
        let bad = |s: &Span| s.oddity.state() == LaneState::Bad || s.oddity == Oddity::LossBurst;
        if self.during(spans, from, to).any(bad) {
            return Some(false);
        }
        // Nothing bad enough to be a trouble and nothing answered either: not known to be good.
        (!self.is_asked() || self.answered_between(from, to)).then_some(true)
    }
}
