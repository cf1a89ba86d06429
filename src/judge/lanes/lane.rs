//! One asked lane (router, names, outside, receiver): from answers and failures to spans.
//!
//! Works in the order of asking. Failures are known late (after the patience), so samples wait in a short queue until
//! nothing asked earlier can still arrive. Declares a span silent after k failures in a row over every target of the
//! lane, k from the measured loss so that false ones stay under one a year (success-run rule); groups lesser losses
//! after RFC 3611 section 4.7.2. Does not say why.

use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::facts::{Lane, Outcome, Question};
use crate::judge::lanes::group::Group;
use crate::judge::lanes::measured::Measured;
use crate::judge::lanes::phase::Phase;
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::roster::{Places, Roster};
use crate::judge::lanes::runs;
use crate::judge::lanes::span::{Oddity, Span, joined};
use crate::judge::lanes::target::{Run, Target};
use crate::judge::lanes::tempo::Tempo;
use crate::judge::lanes::thresholds::{CLEAR_AFTER, CLEAR_ANSWERS, TRIED_AGAIN};
use crate::judge::lanes::waiting::Waiting;
use crate::judge::stats::loss_series::LossSeries;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Fewest failures in a row that call one target missing (choice: one more than call the lane silent).
const LEAST_MISSING: u32 = 4;

/// An outcome may be heard of this much after the patience.
const LATE_BY: Micros = Micros::from_secs(1);

pub use crate::judge::lanes::waiting::Sample;

/// What is over. It grows, and the present is told without it.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
struct Past {
    spans: Vec<Span>,
    /// Unbroken runs of answers: when the first and the last came.
    answers: Vec<(Moment, Moment)>,
    /// Where much was lost, and too little for a trouble.
    patches: Vec<(Moment, Moment)>,
    blind: Vec<(Moment, Moment)>,
    tempo: Tempo,
}

/// The tracker of one lane.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct LaneTracker {
    lane: Lane,
    gap: Micros,
    patience: Micros,
    waiting: Waiting,
    /// One gateway asked in two ways is two targets of its lane; a TLS receiver's connect and handshake are one, and so
    /// are a resolver's two names.
    roster: Roster,
    /// By place in the roster.
    targets: Vec<Target>,
    /// Targets whose last answer was a failure.
    failing: Places,
    group: Option<Group>,
    measured: Measured,
    phase: Phase,
    past: Past,
    /// Answers heard since a target that used to answer last failed, in the order of hearing.
    since_failure: u32,
}

impl LaneTracker {
    /// A tracker for `lane`; a pause longer than `gap` is blind; every outcome is known at most `patience` after it was
    /// asked.
    pub fn new(lane: Lane, gap: Micros, patience: Micros) -> Self {
        Self {
            lane,
            gap,
            patience,
            waiting: Waiting::default(),
            roster: Roster::default(),
            targets: Vec::new(),
            failing: Places::default(),
            group: None,
            measured: Measured::default(),
            phase: Phase::default(),
            past: Past::default(),
            since_failure: CLEAR_ANSWERS,
        }
    }

    /// Which lane.
    pub fn lane(&self) -> Lane {
        self.lane
    }

    /// Queues a sample of `target`, asked in the way of `question`. Call [`Self::advance`] with the time it became known.
    ///
    /// A target beyond those a roster holds takes the place of one that has not been asked for longer than a pause; while
    /// there is none, it is passed over.
    pub fn queue_as(&mut self, question: Question, target: &Arc<str>, sample: Sample) {
        let way = match question {
            Question::Handshake => Question::Connect,
            Question::ControlName => Question::Name,
            other => other,
        };
        let known = self.roster.place(way, target);
        let Some(place) = known.or_else(|| self.enrol(way, target, sample.asked)) else { return };
        let heard = &self.targets[place];
        if sample.good {
            self.since_failure = self.since_failure.saturating_add(1);
        } else if heard.ever_good && !heard.is_missing() {
            self.since_failure = 0;
        }
        if let Some((place, oldest)) = self.waiting.add(place, sample) {
            self.take(place, oldest);
        }
    }

    /// A place for a new target.
    fn enrol(&mut self, way: Question, target: &Arc<str>, asked: Moment) -> Option<usize> {
        if let Some(place) = self.roster.add(way, target) {
            self.targets.push(Target::first_asked(asked));
            return Some(place);
        }
        let idle = |place: &usize| asked - self.targets[*place].last_asked > self.gap && !self.waiting.holds(*place);
        let place = (0..self.targets.len()).filter(idle).min_by_key(|p| self.targets[*p].last_asked)?;
        self.no_longer_missing(place, asked);
        self.failing.remove(place);
        if let Some(group) = &mut self.group {
            group.gone(place);
        }
        self.roster.replace(place, way, target);
        self.targets[place] = Target::first_asked(asked);
        self.past.tempo.forget(place);
        Some(place)
    }

    /// Takes in every queued sample that nothing earlier can overtake any more.
    #[inline]
    pub fn advance(&mut self, now: Moment) {
        let ripe = now - self.patience - LATE_BY;
        while let Some((place, sample)) = self.waiting.next(ripe) {
            self.take(place, sample);
        }
    }

    /// The lane as it stands: everything queued taken in, the open group included if it qualifies.
    pub fn settled(&self) -> Self {
        let mut copy = self.clone();
        copy.settle();
        copy.past.spans = joined(std::mem::take(&mut copy.past.spans));
        copy.past.spans.extend(copy.past.tempo.spans());
        copy
    }

    /// Whether a target that used to answer failed a moment ago: too little to say anything, enough to look closer. What
    /// never answered, or is known to be missing, raises no doubt.
    pub fn is_in_doubt(&self) -> bool {
        self.since_failure < CLEAR_ANSWERS
    }

    /// Whether the lane is bad or strained right now.
    pub fn is_off(&self) -> bool {
        // What is over is of no matter here, and may be long: only the present is copied.
        let mut present = Self {
            lane: self.lane,
            gap: self.gap,
            patience: self.patience,
            waiting: self.waiting.clone(),
            roster: self.roster.clone(),
            targets: self.targets.clone(),
            failing: self.failing,
            group: self.group.clone(),
            measured: self.measured,
            phase: self.phase,
            past: Past::default(),
            since_failure: self.since_failure,
        };
        present.settle();
        present.past.spans.iter().any(|s| s.end.is_none())
    }

    fn settle(&mut self) {
        while let Some((place, sample)) = self.waiting.next(Moment(i64::MAX)) {
            self.take(place, sample);
        }
        if let Some(group) = self.group.take() {
            match group.span(self.lane, &self.measured) {
                Some(mut span) => {
                    span.end = group.end(2);
                    self.past.spans.push(span);
                }
                None => self.keep_patch(&group),
            }
        }
        for place in 0..self.targets.len() {
            self.past.spans.extend(self.missing_span(place));
        }
    }

    /// The lane as the explainer wants it.
    pub fn into_record(self) -> LaneRecord {
        let reach = self.reach();
        LaneRecord {
            lane: self.lane,
            spans: self.past.spans,
            reach,
            blind: self.past.blind,
            answers: self.past.answers,
            patches: self.past.patches,
            two_turns: Micros((self.gap - self.patience).0 * 2 / 3),
        }
    }

    /// First and last moment asked, where anything was.
    pub fn reach(&self) -> Option<(Moment, Moment)> {
        self.measured.reach()
    }

    /// Targets that never answered while others did, with the way they were asked, where that is a fact and no trouble:
    /// a gateway may ignore echo, a reference point may be filtered. A resolver or receiver that never answers is one.
    pub fn never_answered(&self) -> impl Iterator<Item = (Question, &Arc<str>)> {
        let stands = self.stands_alone();
        let silent = move |t: &Target| t.is_missing() && !t.ever_good && !stands;
        self.targets.iter().enumerate().filter(move |(_, t)| silent(t)).map(|(place, _)| self.roster.at(place))
    }

    /// Whether each target of the lane matters by itself.
    fn stands_alone(&self) -> bool {
        matches!(self.lane, Lane::Names | Lane::Receiver)
    }

    /// Loss outside spans: failures and questions.
    pub fn random_loss(&self) -> (u64, u64) {
        (self.measured.lost, self.measured.asked())
    }

    /// Every target with the way it is asked and what it lost, in the order first asked.
    pub fn series(&self) -> impl Iterator<Item = (Question, &Arc<str>, LossSeries)> {
        self.targets.iter().enumerate().map(|(place, t)| {
            let (way, name) = self.roster.at(place);
            (way, name, t.series)
        })
    }

    /// Targets that must all fail before the lane is called silent.
    pub fn targets_there(&self) -> usize {
        self.targets.iter().filter(|t| !t.is_missing()).count()
    }

    /// The span of a target's being missing, still open; none where it is there, or where never answering is no trouble.
    fn missing_span(&self, place: usize) -> Option<Span> {
        let t = &self.targets[place];
        let run = t.run.as_ref().filter(|run| run.missing && (t.ever_good || self.stands_alone()))?;
        let (_, name) = self.roster.at(place);
        let mut span = Span::new(self.lane, Oddity::TargetMissing(Arc::clone(name)), run.start);
        span.from_first_look = !t.ever_good;
        span.failures.clone_from(&run.failures);
        Some(span)
    }

    /// Closes the span of a target's being missing, if it was; its run of failures is over.
    fn no_longer_missing(&mut self, place: usize, seen: Moment) {
        let span = self.missing_span(place);
        if let (Some(mut span), Some(run)) = (span, self.targets[place].run.take()) {
            span.end = Some(Edge::between(run.last_bad.min(seen), seen));
            self.past.spans.push(span);
        }
    }

    fn take(&mut self, place: usize, s: Sample) {
        if let Some(last) = self.measured.last
            && s.asked - last > self.gap
        {
            self.past.blind.push((last, s.asked));
            self.close_at_gap(last, s.asked);
        }
        self.measured.first.get_or_insert(s.asked);
        self.measured.last = Some(self.measured.last.map_or(s.asked, |l| l.max(s.asked)));
        let target = &mut self.targets[place];
        // After a pause that nobody looked into it stands for no time.
        let since = Some(s.asked - target.last_asked).filter(|t| (Micros::ZERO..=self.gap).contains(t));
        target.last_asked = s.asked;
        target.series.count(!s.good, since.map_or(0, |t| t.0.unsigned_abs()));
        if s.good { self.take_good(place, s) } else { self.take_bad(place, s) }
    }

    fn take_good(&mut self, place: usize, s: Sample) {
        for other in self.failing.others(place) {
            self.targets[other].beside(true);
        }
        if self.failing.has(place) {
            self.failing.remove(place);
            self.no_longer_missing(place, s.known);
        }
        let t = &mut self.targets[place];
        (t.ever_good, t.run) = (true, None);
        self.measured.good += 1;
        // Slow names and receivers are known by their own questions: a resolver may be slow by itself. A neighbour entry
        // tells how long ago it was confirmed, not how long that took.
        if matches!(self.lane, Lane::Router | Lane::Outside) && self.roster.at(place).0 != Question::GatewayNeighbour {
            self.past.tempo.answered(self.lane, place, s.asked, s.known);
        }
        // By when it came: a connection asked for during an outage may be answered by a retry after it.
        match self.past.answers.last_mut() {
            Some(run) if matches!(self.phase, Phase::Answering(_)) => run.1 = run.1.max(s.known),
            last => {
                let at = last.map_or(s.known, |run| run.1.max(s.known));
                self.past.answers.push((at, at));
            }
        }
        runs::thin(&mut self.past.answers, &self.past.spans, &self.past.blind);
        self.phase.answered(s.known);
        let Some(group) = &mut self.group else { return };
        let answers = group.answered(s.known);
        if answers >= CLEAR_ANSWERS && s.asked - group.last_bad >= CLEAR_AFTER {
            let end = group.end(1);
            self.close(end);
        }
    }

    fn take_bad(&mut self, place: usize, s: Sample) {
        self.phase.failed();
        // A target known to be missing says nothing about the others.
        if !self.targets[place].is_missing() {
            for other in self.failing.others(place) {
                self.targets[other].beside(false);
            }
        }
        self.failing.insert(place);
        // After a pause nobody knows the last good moment: the failure began somewhere in it.
        let before = self.phase.before_failure();
        let start = Edge::between(before.map_or(s.asked, |g| g.min(s.asked)), s.asked);
        let need = self.run_needed();
        // The kernel asks again for a connection; that went unanswered as well.
        let again = self.roster.at(place).0 == Question::Connect && s.outcome == Outcome::Timeout;
        let last_bad = if again && s.known - s.asked > TRIED_AGAIN { s.asked + TRIED_AGAIN } else { s.asked };
        let run = self.targets[place].run.get_or_insert_with(|| Run::from(start));
        run.failed(s.outcome, last_bad);
        if !run.missing && run.lost >= need.max(LEAST_MISSING) && run.is_alone() {
            run.missing = true;
            let lost = run.lost;
            self.forget(place, lost);
        }
        if self.targets[place].is_missing() {
            return;
        }
        let group = self.group.get_or_insert_with(|| Group::opened(before.is_none(), last_bad));
        let in_a_row = group.failed(place, start, s.outcome, last_bad);
        let recent = s.asked - self.gap;
        let all = self.targets.iter().enumerate().filter(|(_, t)| !t.is_missing() && t.last_asked >= recent);
        if in_a_row >= need && all.into_iter().all(|(i, _)| group.fails(i)) {
            group.silent = true;
        }
    }

    /// k: failures in a row that declare silence.
    pub fn run_needed(&self) -> u32 {
        self.measured.run_needed()
    }

    /// Takes a target's failures out of the group: the target is missing, the lane is not.
    fn forget(&mut self, place: usize, lost: u32) {
        let Some(group) = &mut self.group else { return };
        group.forget(place, lost);
        if group.losses.is_empty() {
            self.group = None;
        }
    }

    /// Ends the open group, if there is one.
    fn close(&mut self, end: Option<Edge>) {
        let Some(group) = self.group.take() else { return };
        if let Some(mut span) = group.span(self.lane, &self.measured) {
            span.end = end;
            self.past.spans.push(span);
        } else {
            self.measured.lost += u64::from(group.lost());
            self.keep_patch(&group);
        }
    }

    fn keep_patch(&mut self, group: &Group) {
        let Some(from) = group.losses.values().map(|(e, _)| e.earliest).min() else { return };
        runs::keep_patch(&mut self.past.patches, (group.lost(), group.answers), from, group.last_bad);
    }

    /// Nobody looked between `last` and `next`: what was open ends somewhere in the pause.
    fn close_at_gap(&mut self, last: Moment, next: Moment) {
        let end = self.group.as_ref().map(|g| g.end(1).unwrap_or_else(|| Edge::between(g.last_bad.min(next), next)));
        self.close(end);
        self.phase = Phase::Paused(last);
    }
}

#[cfg(test)]
#[path = "lane_tests.rs"]
mod tests;
