//! One asked lane (router, names, outside, receiver): from answers and failures to spans.
//!
//! Works in the order of asking. Failures are known late (after the patience), so samples wait in a short queue until
//! nothing asked earlier can still arrive. Declares a span silent after k failures in a row over every target of the
//! lane, k from the measured loss so that false ones stay under one a year (success-run rule); groups lesser losses
//! after RFC 3611 section 4.7.2. Does not say why.

use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::facts::{Lane, Outcome, Question};
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::roster::{Places, Roster};
use crate::judge::lanes::runs;
use crate::judge::lanes::span::{Oddity, Span, joined};
use crate::judge::lanes::tempo::Tempo;
use crate::judge::lanes::thresholds::{
    BURST_ANSWERS, BURST_DENSITY, BURST_LOSSES, CLEAR_AFTER, CLEAR_ANSWERS, LEAST_RUN, MOST_RUN, TRIED_AGAIN,
};
use crate::judge::stats::loss_series::LossSeries;
use crate::judge::stats::run_length;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};
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

/// A target of the lane.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Target {
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
    series: LossSeries,
}

impl Target {
    fn first_asked(at: Moment) -> Self {
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

/// A group of losses that may become a span.
#[derive(Clone, Debug, Serialize, Deserialize)]
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
    run_targets: Places,
    silent: bool,
    from_first_look: bool,
    last_bad: Moment,
    end: Option<Edge>,
}

impl Group {
    fn lost(&self) -> u32 {
        self.losses.values().map(|(_, n)| n).sum()
    }
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
    spans: Vec<Span>,
    first: Option<Moment>,
    last: Option<Moment>,
    last_good: Option<Moment>,
    /// The last question before a pause, until the first answer after it.
    before_gap: Option<Moment>,
    /// Unbroken runs of answers: when the first and the last came.
    answers: Vec<(Moment, Moment)>,
    /// Where much was lost, and too little for a trouble.
    patches: Vec<(Moment, Moment)>,
    blind: Vec<(Moment, Moment)>,
    good: u64,
    random_losses: u64,
    unbroken: bool,
    tempo: Tempo,
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
            spans: Vec::new(),
            first: None,
            last: None,
            last_good: None,
            before_gap: None,
            answers: Vec::new(),
            patches: Vec::new(),
            blind: Vec::new(),
            good: 0,
            random_losses: 0,
            unbroken: false,
            tempo: Tempo::default(),
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
        self.tempo.forget(place);
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
        copy.spans = joined(std::mem::take(&mut copy.spans));
        copy.spans.extend(copy.tempo.spans());
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
            spans: Vec::new(),
            first: self.first,
            last: self.last,
            last_good: self.last_good,
            before_gap: self.before_gap,
            answers: Vec::new(),
            patches: Vec::new(),
            blind: Vec::new(),
            good: self.good,
            random_losses: self.random_losses,
            unbroken: self.unbroken,
            tempo: Tempo::default(),
            since_failure: self.since_failure,
        };
        present.settle();
        present.spans.iter().any(|s| s.end.is_none())
    }

    fn settle(&mut self) {
        while let Some((place, sample)) = self.waiting.pop_front() {
            self.take(place, sample);
        }
        if let Some(group) = self.group.take() {
            match self.judge(&group) {
                Some(mut span) => {
                    span.end = if group.pending >= 2 { group.end } else { None };
                    self.spans.push(span);
                }
                None => self.keep_patch(&group),
            }
        }
        for place in 0..self.targets.len() {
            self.spans.extend(self.missing_span(place));
        }
    }

    /// The lane as the explainer wants it.
    pub fn into_record(self) -> LaneRecord {
        let reach = self.reach();
        LaneRecord {
            lane: self.lane,
            spans: self.spans,
            reach,
            blind: self.blind,
            answers: self.answers,
            patches: self.patches,
            two_turns: Micros((self.gap - self.patience).0 * 2 / 3),
        }
    }

    /// First and last moment asked, where anything was.
    pub fn reach(&self) -> Option<(Moment, Moment)> {
        self.first.zip(self.last)
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
        (self.random_losses, self.good + self.random_losses)
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
            self.spans.push(span);
        }
    }

    fn take(&mut self, place: usize, s: Sample) {
        if let Some(last) = self.last
            && s.asked - last > self.gap
        {
            self.blind.push((last, s.asked));
            self.unbroken = false;
            self.close_at_gap(s.asked);
        }
        self.first.get_or_insert(s.asked);
        self.last = Some(self.last.map_or(s.asked, |l| l.max(s.asked)));
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
        self.good += 1;
        // Slow names and receivers are known by their own questions: a resolver may be slow by itself. A neighbour entry
        // tells how long ago it was confirmed, not how long that took.
        if matches!(self.lane, Lane::Router | Lane::Outside) && self.roster.at(place).0 != Question::GatewayNeighbour {
            self.tempo.answered(self.lane, place, s.asked, s.known);
        }
        // By when it came: a connection asked for during an outage may be answered by a retry after it.
        match self.answers.last_mut() {
            Some(run) if self.unbroken => run.1 = run.1.max(s.known),
            last => {
                let at = last.map_or(s.known, |run| run.1.max(s.known));
                self.answers.push((at, at));
            }
        }
        runs::thin(&mut self.answers, &self.spans, &self.blind);
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
        let group = self.group.get_or_insert_with(|| Group {
            losses: BTreeMap::new(),
            failures: BTreeMap::new(),
            answers: 0,
            returns: 0,
            pending: 0,
            run: 0,
            run_targets: Places::default(),
            silent: false,
            from_first_look: never_good,
            last_bad,
            end: None,
        });
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

    /// k: failures in a row that declare silence, so that chance does it less than once a year.
    pub fn run_needed(&self) -> u32 {
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
    fn forget(&mut self, place: usize) {
        let Some(group) = &mut self.group else { return };
        // What it lost before its present run it lost like the others.
        let run = self.targets[place].run;
        if let Some((_, n)) = group.losses.get_mut(&place) {
            *n = n.saturating_sub(run);
            if *n == 0 {
                group.losses.remove(&place);
            }
        }
        group.run_targets.remove(place);
        if group.losses.is_empty() {
            self.group = None;
        }
    }

    fn close(&mut self) {
        let Some(group) = self.group.take() else { return };
        if let Some(mut span) = self.judge(&group) {
            span.end = group.end;
            self.spans.push(span);
        } else {
            self.random_losses += u64::from(group.lost());
            self.keep_patch(&group);
        }
    }

    fn keep_patch(&mut self, group: &Group) {
        let Some(from) = group.losses.values().map(|(e, _)| e.earliest).min() else { return };
        runs::keep_patch(&mut self.patches, (group.lost(), group.answers), from, group.last_bad);
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
        self.before_gap = self.last;
    }

    /// The group as a span, if it is more than chance.
    fn judge(&self, group: &Group) -> Option<Span> {
        let losses = group.lost();
        let share = f64::from(group.answers) / f64::from((group.answers + losses).max(1));
        // Where hardly anything came back it was silence, however often a stray answer did.
        let scattered = share >= BURST_ANSWERS;
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

#[cfg(test)]
#[path = "lane_tests.rs"]
mod tests;
