//! One asked lane (router, names, outside, receiver): from answers and failures to spans.
//!
//! Works in the order of asking. Failures are known late (after the patience), so samples wait in a short queue until
//! nothing asked earlier can still arrive. Declares a span silent after k failures in a row over every target of the
//! lane, k from the measured loss so that false ones stay under one a year (success-run rule); groups lesser losses
//! after RFC 3611 section 4.7.2. Does not say why.

use super::observation::{Lane, Outcome, Question};
use super::settings::{
    BURST_ANSWERS, BURST_DENSITY, BURST_LOSSES, CLEAR_AFTER, CLEAR_ANSWERS, LEAST_RUN, MOST_RUN, RECOVERY,
};
use super::span::{Oddity, Span};
use super::stats::run_length;
use super::time::{Edge, Micros, Moment};
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

/// Fewest failures in a row that call one target missing (choice: one more than call the lane silent).
const LEAST_MISSING: u32 = 4;
/// Runs of answers kept; they only tell what went on during recent troubles.
const MOST_RUNS_OF_ANSWERS: usize = 8_192;

/// One question's result as the lane sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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

/// A target of the lane.
#[derive(Clone, Debug)]
struct Target {
    name: Arc<str>,
    /// One gateway asked in two ways is two targets of its lane; a TLS receiver's connect and handshake are one,
    /// and so are a resolver's two names.
    way: Question,
    ever_good: bool,
    last_asked: Moment,
    /// Failures in a row, and when the first of them began.
    run: u32,
    run_start: Edge,
    /// What the other targets did during that run.
    others_good: u32,
    others_bad: u32,
    missing: bool,
    /// Failures of the present run, by outcome, and when the last was asked.
    failures: BTreeMap<Outcome, u32>,
    last_bad: Moment,
}

impl Target {
    /// The span of its being missing, still open; none where it is there, or where never answering is no trouble.
    fn missing_span(&self, lane: Lane, stands_alone: bool) -> Option<Span> {
        if !self.missing || !(self.ever_good || stands_alone) {
            return None;
        }
        let mut span = Span::new(lane, Oddity::TargetMissing(Arc::clone(&self.name)), self.run_start);
        span.from_first_look = !self.ever_good;
        span.failures.clone_from(&self.failures);
        Some(span)
    }
}

/// A group of losses that may become a span.
#[derive(Clone, Debug)]
struct Group {
    /// Per target: its first failure in the group and how many.
    losses: BTreeMap<usize, (Edge, u32)>,
    failures: BTreeMap<Outcome, u32>,
    answers: u32,
    /// How often answers came between failures: scattered answers are a burst, one short return is not.
    returns: u32,
    /// Answers since the last failure.
    pending: u32,
    /// Failures in a row right now, and by which targets.
    run: u32,
    run_targets: Vec<usize>,
    silent: bool,
    from_first_look: bool,
    last_bad: Moment,
    end: Option<Edge>,
}

/// The tracker of one lane.
#[derive(Clone, Debug)]
pub struct LaneTracker {
    lane: Lane,
    gap: Micros,
    hold: Micros,
    /// In the order of asking; among those asked at one moment, in the order heard of.
    waiting: VecDeque<(usize, Sample)>,
    targets: Vec<Target>,
    group: Option<Group>,
    spans: Vec<Span>,
    first: Option<Moment>,
    last: Option<Moment>,
    last_good: Option<Moment>,
    /// The last question before a pause, until the first answer after it.
    before_gap: Option<Moment>,
    /// Unbroken runs of answers: when the first and the last was asked.
    answers: Vec<(Moment, Moment)>,
    blind: Vec<(Moment, Moment)>,
    good: u64,
    random_losses: u64,
    unbroken: bool,
}

impl LaneTracker {
    /// A tracker for `lane`; a pause longer than `gap` is blind; every outcome is known at most `patience` after it was
    /// asked.
    pub fn new(lane: Lane, gap: Micros, patience: Micros) -> Self {
        Self {
            lane,
            gap,
            hold: patience + Micros::from_secs(1),
            waiting: VecDeque::new(),
            targets: Vec::new(),
            group: None,
            spans: Vec::new(),
            first: None,
            last: None,
            last_good: None,
            before_gap: None,
            answers: Vec::new(),
            blind: Vec::new(),
            good: 0,
            random_losses: 0,
            unbroken: false,
        }
    }

    /// Which lane.
    pub fn lane(&self) -> Lane {
        self.lane
    }

    /// Queues a sample of `target`, asked in the way of `question`. Call [`Self::advance`] with the time it became known.
    pub fn queue_as(&mut self, question: Question, target: &Arc<str>, sample: Sample) {
        let way = match question {
            Question::Handshake => Question::Connect,
            Question::ControlName => Question::Name,
            other => other,
        };
        let index = self
            .targets
            .iter()
            .position(|t| t.way == way && (Arc::ptr_eq(&t.name, target) || t.name == *target))
            .unwrap_or_else(|| {
                self.targets.push(Target {
                    way,
                    name: Arc::clone(target),
                    ever_good: false,
                    last_asked: sample.asked,
                    run: 0,
                    run_start: Edge::exact(sample.asked),
                    others_good: 0,
                    others_bad: 0,
                    missing: false,
                    failures: BTreeMap::new(),
                    last_bad: sample.asked,
                });
                self.targets.len() - 1
            });
        // Samples come nearly in order: the place is at or near the end.
        let mut at = self.waiting.len();
        while at > 0 && self.waiting[at - 1].1.asked > sample.asked {
            at -= 1;
        }
        self.waiting.insert(at, (index, sample));
    }

    /// Takes in every queued sample that nothing earlier can overtake any more.
    pub fn advance(&mut self, now: Moment) {
        let ripe = now - self.hold;
        while let Some((index, sample)) = self.waiting.front().copied()
            && sample.asked <= ripe
        {
            self.waiting.pop_front();
            self.take(index, sample);
        }
    }

    /// The lane as it stands: everything queued taken in, the open group included if it qualifies.
    pub fn settled(&self) -> Self {
        let mut copy = self.clone();
        while let Some((index, sample)) = copy.waiting.pop_front() {
            copy.take(index, sample);
        }
        if let Some(group) = copy.group.take() {
            let end = if group.pending >= 2 { group.end } else { None };
            if let Some(mut span) = copy.judge(&group) {
                span.end = end;
                copy.spans.push(span);
            }
        }
        let stands = copy.stands_alone();
        copy.spans.extend(copy.targets.iter().filter_map(|t| t.missing_span(copy.lane, stands)));
        copy.spans = joined(std::mem::take(&mut copy.spans));
        copy
    }

    /// Spans found so far, in the order they were closed.
    pub fn spans(&self) -> &[Span] {
        &self.spans
    }

    /// First and last moment asked, where anything was.
    pub fn reach(&self) -> Option<(Moment, Moment)> {
        self.first.zip(self.last)
    }

    /// Unbroken runs of answers, by the times of asking the first and the last.
    pub fn answers(&self) -> &[(Moment, Moment)] {
        &self.answers
    }

    /// Pauses between questions too long to count as observed.
    pub fn blind(&self) -> &[(Moment, Moment)] {
        &self.blind
    }

    /// Targets that never answered while others did, with the way they were asked, where that is a fact and no trouble:
    /// a gateway may ignore echo, a reference point may be filtered. A resolver or receiver that never answers is one.
    pub fn never_answered(&self) -> impl Iterator<Item = (Question, &Arc<str>)> {
        let stands = self.stands_alone();
        self.targets.iter().filter(move |t| t.missing && !t.ever_good && !stands).map(|t| (t.way, &t.name))
    }

    /// Whether each target of the lane matters by itself.
    fn stands_alone(&self) -> bool {
        matches!(self.lane, Lane::Names | Lane::Receiver)
    }

    /// Loss outside spans: failures and questions.
    pub fn random_loss(&self) -> (u64, u64) {
        (self.random_losses, self.good + self.random_losses)
    }

    fn take(&mut self, index: usize, s: Sample) {
        if let Some(last) = self.last
            && s.asked - last > self.gap
        {
            self.blind.push((last, s.asked));
            self.unbroken = false;
            self.close_at_gap(s.asked);
        }
        self.first.get_or_insert(s.asked);
        self.last = Some(self.last.map_or(s.asked, |l| l.max(s.asked)));
        self.targets[index].last_asked = s.asked;
        if s.good { self.take_good(index, s) } else { self.take_bad(index, s) }
    }

    fn take_good(&mut self, index: usize, s: Sample) {
        for (i, t) in self.targets.iter_mut().enumerate() {
            if i != index && t.run > 0 {
                t.others_good += 1;
            }
        }
        let stands = self.stands_alone();
        let t = &mut self.targets[index];
        if let Some(mut span) = t.missing_span(self.lane, stands) {
            span.end = Some(Edge::between(t.last_bad, s.known));
            self.spans.push(span);
        }
        (t.missing, t.ever_good, t.run) = (false, true, 0);
        self.good += 1;
        match self.answers.last_mut() {
            Some(run) if self.unbroken => run.1 = s.asked,
            _ => self.answers.push((s.asked, s.asked)),
        }
        if self.answers.len() > MOST_RUNS_OF_ANSWERS {
            self.answers.drain(..MOST_RUNS_OF_ANSWERS / 2);
        }
        self.unbroken = true;
        self.last_good = Some(self.last_good.map_or(s.known, |l| l.max(s.known)));
        let Some(group) = &mut self.group else { return };
        group.pending += 1;
        (group.run, group.run_targets) = (0, Vec::new());
        if group.pending == 1 {
            group.end = Some(Edge::between(group.last_bad, s.known));
        }
        if group.pending >= CLEAR_ANSWERS && s.asked - group.last_bad >= CLEAR_AFTER {
            self.close();
        }
    }

    fn take_bad(&mut self, index: usize, s: Sample) {
        self.unbroken = false;
        // A target known to be missing says nothing about the others.
        let counts = !self.targets[index].missing;
        for (i, t) in self.targets.iter_mut().enumerate() {
            if counts && i != index && t.run > 0 {
                t.others_bad += 1;
            }
        }
        // After a pause nobody knows the last good moment: the failure began somewhere in it.
        let before = self.last_good.or(self.before_gap);
        let start = Edge::between(before.map_or(s.asked, |g| g.min(s.asked)), s.asked);
        let never_good = before.is_none();
        let need = self.run_needed();
        let t = &mut self.targets[index];
        t.run += 1;
        if t.run == 1 {
            (t.run_start, t.others_good, t.others_bad) = (start, 0, 0);
            t.failures.clear();
        }
        *t.failures.entry(s.outcome).or_insert(0) += 1;
        t.last_bad = s.asked;
        if !t.missing && t.run >= need.max(LEAST_MISSING) && t.others_good >= 3 && t.others_good >= 2 * t.others_bad {
            t.missing = true;
            self.forget(index);
        }
        if self.targets[index].missing {
            return;
        }
        let group = self.group.get_or_insert_with(|| Group {
            losses: BTreeMap::new(),
            failures: BTreeMap::new(),
            answers: 0,
            returns: 0,
            pending: 0,
            run: 0,
            run_targets: Vec::new(),
            silent: false,
            from_first_look: never_good,
            last_bad: s.asked,
            end: None,
        });
        group.returns += u32::from(group.pending > 0);
        group.answers += std::mem::take(&mut group.pending);
        group.losses.entry(index).or_insert((start, 0)).1 += 1;
        *group.failures.entry(s.outcome).or_insert(0) += 1;
        group.run += 1;
        if !group.run_targets.contains(&index) {
            group.run_targets.push(index);
        }
        (group.last_bad, group.end) = (s.asked, None);
        let recent = s.asked - self.gap;
        let all = self.targets.iter().enumerate().filter(|(_, t)| !t.missing && t.last_asked >= recent);
        if group.run >= need && all.into_iter().all(|(i, _)| group.run_targets.contains(&i)) {
            group.silent = true;
        }
    }

    /// k: failures in a row that declare silence, so that chance does it less than once a year.
    fn run_needed(&self) -> u32 {
        let asked = self.good + self.random_losses;
        let (Some(first), Some(last)) = (self.first, self.last) else { return LEAST_RUN };
        // Before some hundred questions the loss is not measured well enough to raise k.
        if asked < 100 || last <= first {
            return LEAST_RUN;
        }
        let per_year = asked as f64 / (last - first).secs() * 365.25 * 86_400.0;
        let loss = self.random_losses as f64 / asked as f64;
        run_length::failures_needed(loss, per_year, 1.0).unwrap_or(MOST_RUN).clamp(LEAST_RUN, MOST_RUN)
    }

    /// Random loss measured so far; a half is added so that none seen is not none.
    fn loss(&self) -> f64 {
        (self.random_losses as f64 + 0.5) / ((self.good + self.random_losses) as f64 + 1.0)
    }

    /// Failures that make a burst, so that chance makes fewer than one a year: at random loss p and r questions a
    /// second, a group goes on past a failure with probability 1 - (1 - p)^(3 s r).
    fn losses_needed(&self) -> u32 {
        let asked = self.good + self.random_losses;
        let (Some(first), Some(last)) = (self.first, self.last) else { return BURST_LOSSES };
        if asked < 100 || last <= first {
            return BURST_LOSSES;
        }
        let (rate, p) = (asked as f64 / (last - first).secs(), self.loss().min(0.9));
        let on = 1.0 - (1.0 - p).powf((rate * CLEAR_AFTER.secs()).max(f64::from(CLEAR_ANSWERS)));
        let failures_a_year = rate * 365.25 * 86_400.0 * p;
        let more = failures_a_year.max(1.0).ln() / -on.ln();
        (1.0 + more.ceil()).clamp(f64::from(BURST_LOSSES), 1e6) as u32
    }

    /// Takes a target's failures out of the group: the target is missing, the lane is not.
    fn forget(&mut self, index: usize) {
        let Some(group) = &mut self.group else { return };
        group.losses.remove(&index);
        group.run_targets.retain(|i| *i != index);
        if group.losses.is_empty() {
            self.group = None;
        }
    }

    fn close(&mut self) {
        let Some(group) = self.group.take() else { return };
        match self.judge(&group) {
            Some(mut span) => {
                span.end = group.end;
                self.spans.push(span);
            }
            None => self.random_losses += group.losses.values().map(|(_, n)| u64::from(*n)).sum::<u64>(),
        }
    }

    /// Nobody looked for a while: what was open ends somewhere in the pause.
    fn close_at_gap(&mut self, next: Moment) {
        if let Some(group) = &mut self.group
            && group.end.is_none()
        {
            group.end = Some(Edge::between(group.last_bad, next));
        }
        self.close();
        self.last_good = None;
        self.before_gap = self.last;
    }

    /// The group as a span, if it is more than chance.
    fn judge(&self, group: &Group) -> Option<Span> {
        let losses: u32 = group.losses.values().map(|(_, n)| n).sum();
        let share = f64::from(group.answers) / f64::from((group.answers + losses).max(1));
        let scattered = group.returns >= 2 || share >= BURST_ANSWERS;
        let oddity = if group.silent && !scattered {
            Oddity::Silent
        } else if losses >= self.losses_needed() && 1.0 - share >= BURST_DENSITY.max(3.0 * self.loss()) {
            Oddity::LossBurst
        } else {
            return None;
        };
        let start = group.losses.values().map(|(e, _)| *e).min_by_key(|e| e.latest)?;
        let mut span = Span::new(self.lane, oddity, start);
        span.from_first_look = group.from_first_look;
        span.failures.clone_from(&group.failures);
        span.answers = group.answers;
        Some(span)
    }
}

/// Loss bursts close together are one: between random losses, a few seconds without one come by chance.
fn joined(spans: Vec<Span>) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::with_capacity(spans.len());
    for span in spans {
        let near = |last: &Span| last.end.is_some_and(|e| span.start.earliest - e.latest < RECOVERY);
        match out.iter_mut().rev().find(|s| s.oddity == Oddity::LossBurst) {
            Some(last) if span.oddity == Oddity::LossBurst && near(last) => {
                last.end = span.end;
                last.answers += span.answers;
                for (outcome, n) in span.failures {
                    *last.failures.entry(outcome).or_insert(0) += n;
                }
            }
            _ => out.push(span),
        }
    }
    out
}
