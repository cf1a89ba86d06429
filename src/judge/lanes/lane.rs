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
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::roster::{Places, Roster};
use crate::judge::lanes::runs;
use crate::judge::lanes::span::{Oddity, Span, joined};
use crate::judge::lanes::target::Target;
use crate::judge::lanes::tempo::Tempo;
use crate::judge::lanes::thresholds::{CLEAR_AFTER, CLEAR_ANSWERS, TRIED_AGAIN};
use crate::judge::stats::loss_series::LossSeries;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::sync::Arc;

/// Fewest failures in a row that call one target missing (choice: one more than call the lane silent).
const LEAST_MISSING: u32 = 4;
/// Samples that may wait for earlier ones: many times what a full roster asks within the patience. A record that holds
/// more has its oldest taken in at once.
const MOST_WAITING: usize = 4_096;

/// An outcome may be heard of this much after the patience.
const LATE_BY: Micros = Micros::from_secs(1);

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
    /// In the order of asking; among those asked at one moment, in the order heard of.
    waiting: VecDeque<(usize, Sample)>,
    /// One gateway asked in two ways is two targets of its lane; a TLS receiver's connect and handshake are one, and so
    /// are a resolver's two names.
    roster: Roster,
    /// By place in the roster.
    targets: Vec<Target>,
    /// Targets whose last answer was a failure.
    failing: Places,
    group: Option<Group>,
    measured: Measured,
    last_good: Option<Moment>,
    /// The last question before a pause, until the first answer after it.
    before_gap: Option<Moment>,
    /// Whether the last run of answers goes on.
    unbroken: bool,
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
            waiting: VecDeque::new(),
            roster: Roster::default(),
            targets: Vec::new(),
            failing: Places::default(),
            group: None,
            measured: Measured::default(),
            last_good: None,
            before_gap: None,
            unbroken: false,
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
        } else if heard.ever_good && !heard.missing {
            self.since_failure = 0;
        }
        if self.waiting.len() >= MOST_WAITING
            && let Some((place, oldest)) = self.waiting.pop_front()
        {
            self.take(place, oldest);
        }
        // Samples come nearly in order: the place is nearly always at the end.
        if self.waiting.back().is_some_and(|(_, last)| last.asked > sample.asked) {
            let at = self.waiting.partition_point(|(_, waiting)| waiting.asked <= sample.asked);
            self.waiting.insert(at, (place, sample));
        } else {
            self.waiting.push_back((place, sample));
        }
    }

    /// A place for a new target.
    fn enrol(&mut self, way: Question, target: &Arc<str>, asked: Moment) -> Option<usize> {
        if let Some(place) = self.roster.add(way, target) {
            self.targets.push(Target::first_asked(asked));
            return Some(place);
        }
        let idle = |place: &usize| {
            asked - self.targets[*place].last_asked > self.gap && self.waiting.iter().all(|(p, _)| p != place)
        };
        let place = (0..self.targets.len()).filter(idle).min_by_key(|p| self.targets[*p].last_asked)?;
        self.no_longer_missing(place, asked);
        self.failing.remove(place);
        if let Some(group) = &mut self.group {
            group.run_targets.remove(place);
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
        while self.waiting.front().is_some_and(|(_, sample)| sample.asked <= ripe)
            && let Some((place, sample)) = self.waiting.pop_front()
        {
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
            last_good: self.last_good,
            before_gap: self.before_gap,
            unbroken: self.unbroken,
            past: Past::default(),
            since_failure: self.since_failure,
        };
        present.settle();
        present.past.spans.iter().any(|s| s.end.is_none())
    }

    fn settle(&mut self) {
        while let Some((place, sample)) = self.waiting.pop_front() {
            self.take(place, sample);
        }
        if let Some(group) = self.group.take() {
            match group.span(self.lane, &self.measured) {
                Some(mut span) => {
                    span.end = if group.pending >= 2 { group.end } else { None };
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
        let silent = move |t: &Target| t.missing && !t.ever_good && !stands;
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
        self.targets.iter().filter(|t| !t.missing).count()
    }

    /// The span of a target's being missing, still open; none where it is there, or where never answering is no trouble.
    fn missing_span(&self, place: usize) -> Option<Span> {
        let t = &self.targets[place];
        if !t.missing || !(t.ever_good || self.stands_alone()) {
            return None;
        }
        let (_, name) = self.roster.at(place);
        let mut span = Span::new(self.lane, Oddity::TargetMissing(Arc::clone(name)), t.run_start);
        span.from_first_look = !t.ever_good;
        span.failures.clone_from(&t.failures);
        Some(span)
    }

    /// Closes the span of a target's being missing, if it was.
    fn no_longer_missing(&mut self, place: usize, seen: Moment) {
        if let Some(mut span) = self.missing_span(place) {
            span.end = Some(Edge::between(self.targets[place].last_bad.min(seen), seen));
            self.past.spans.push(span);
        }
    }

    fn take(&mut self, place: usize, s: Sample) {
        if let Some(last) = self.measured.last
            && s.asked - last > self.gap
        {
            self.past.blind.push((last, s.asked));
            self.unbroken = false;
            self.close_at_gap(s.asked);
        }
        self.measured.first.get_or_insert(s.asked);
        self.measured.last = Some(self.measured.last.map_or(s.asked, |l| l.max(s.asked)));
        let target = &mut self.targets[place];
        target.last_asked = s.asked;
        target.series.count(!s.good);
        if s.good { self.take_good(place, s) } else { self.take_bad(place, s) }
    }

    fn take_good(&mut self, place: usize, s: Sample) {
        for other in self.failing.others(place) {
            self.targets[other].others_good += 1;
        }
        if self.failing.has(place) {
            self.failing.remove(place);
            self.no_longer_missing(place, s.known);
        }
        let t = &mut self.targets[place];
        (t.missing, t.ever_good, t.run) = (false, true, 0);
        self.measured.good += 1;
        // Slow names and receivers are known by their own questions: a resolver may be slow by itself. A neighbour entry
        // tells how long ago it was confirmed, not how long that took.
        if matches!(self.lane, Lane::Router | Lane::Outside) && self.roster.at(place).0 != Question::GatewayNeighbour {
            self.past.tempo.answered(self.lane, place, s.asked, s.known);
        }
        // By when it came: a connection asked for during an outage may be answered by a retry after it.
        match self.past.answers.last_mut() {
            Some(run) if self.unbroken => run.1 = run.1.max(s.known),
            last => {
                let at = last.map_or(s.known, |run| run.1.max(s.known));
                self.past.answers.push((at, at));
            }
        }
        runs::thin(&mut self.past.answers, &self.past.spans, &self.past.blind);
        self.unbroken = true;
        self.last_good = Some(self.last_good.map_or(s.known, |l| l.max(s.known)));
        let Some(group) = &mut self.group else { return };
        group.pending += 1;
        (group.run, group.run_targets) = (0, Places::default());
        if group.pending == 1 {
            group.end = Some(Edge::between(group.last_bad.min(s.known), s.known));
        }
        if group.pending >= CLEAR_ANSWERS && s.asked - group.last_bad >= CLEAR_AFTER {
            self.close();
        }
    }

    fn take_bad(&mut self, place: usize, s: Sample) {
        self.unbroken = false;
        // A target known to be missing says nothing about the others.
        if !self.targets[place].missing {
            for other in self.failing.others(place) {
                self.targets[other].others_bad += 1;
            }
        }
        self.failing.insert(place);
        // After a pause nobody knows the last good moment: the failure began somewhere in it.
        let before = self.last_good.or(self.before_gap);
        let start = Edge::between(before.map_or(s.asked, |g| g.min(s.asked)), s.asked);
        let never_good = before.is_none();
        let need = self.run_needed();
        let t = &mut self.targets[place];
        t.run += 1;
        if t.run == 1 {
            (t.run_start, t.others_good, t.others_bad) = (start, 0, 0);
            t.failures.clear();
        }
        *t.failures.entry(s.outcome).or_insert(0) += 1;
        // The kernel asks again for a connection; that went unanswered as well.
        let again = self.roster.at(place).0 == Question::Connect && s.outcome == Outcome::Timeout;
        let last_bad = if again && s.known - s.asked > TRIED_AGAIN { s.asked + TRIED_AGAIN } else { s.asked };
        t.last_bad = last_bad;
        if !t.missing && t.run >= need.max(LEAST_MISSING) && t.others_good >= 3 && t.others_good >= 2 * t.others_bad {
            t.missing = true;
            self.forget(place);
        }
        if self.targets[place].missing {
            return;
        }
        let group = self.group.get_or_insert_with(|| Group::opened(never_good, last_bad));
        group.returns += u32::from(group.pending > 0);
        group.answers += std::mem::take(&mut group.pending);
        group.losses.entry(place).or_insert((start, 0)).1 += 1;
        *group.failures.entry(s.outcome).or_insert(0) += 1;
        group.run += 1;
        group.run_targets.insert(place);
        (group.last_bad, group.end) = (last_bad, None);
        let recent = s.asked - self.gap;
        let all = self.targets.iter().enumerate().filter(|(_, t)| !t.missing && t.last_asked >= recent);
        if group.run >= need && all.into_iter().all(|(i, _)| group.run_targets.has(i)) {
            group.silent = true;
        }
    }

    /// k: failures in a row that declare silence.
    pub fn run_needed(&self) -> u32 {
        self.measured.run_needed()
    }

    /// Takes a target's failures out of the group: the target is missing, the lane is not.
    fn forget(&mut self, place: usize) {
        let Some(group) = &mut self.group else { return };
        group.forget(place, self.targets[place].run);
        if group.losses.is_empty() {
            self.group = None;
        }
    }

    fn close(&mut self) {
        let Some(group) = self.group.take() else { return };
        if let Some(mut span) = group.span(self.lane, &self.measured) {
            span.end = group.end;
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

    /// Nobody looked for a while: what was open ends somewhere in the pause.
    fn close_at_gap(&mut self, next: Moment) {
        if let Some(group) = &mut self.group
            && group.end.is_none()
        {
            group.end = Some(Edge::between(group.last_bad.min(next), next));
        }
        self.close();
        self.last_good = None;
        self.before_gap = self.measured.last;
    }
}

#[cfg(test)]
#[path = "lane_tests.rs"]
mod tests;
