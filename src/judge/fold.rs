//! The fold: one entry at a time, live, replayed or simulated.

use super::cause::{self, Cause, LaneRecord, Trouble};
use super::lane::{LaneTracker, Sample};
use super::link::LinkTracker;
use super::observation::{Detail, Ending, Entry, Lane, NotAsked, Observation, Outcome, Question, Session};
use super::outage::{self, merged};
use super::settings::Settings;
use super::standing::Standings;
use super::tally::Tallies;
use super::time::{Micros, Moment, WallTime};
use std::sync::Arc;

/// Facts kept as last seen, by question and target, for the report; capped.
const MOST_FACTS: usize = 64;

/// Lanes judged by asking targets.
const ASKED: [Lane; 4] = [Lane::Router, Lane::Names, Lane::Outside, Lane::Receiver];

/// The streaming judge. Feed it [`Entry`]s in the order they became known; look at any time with [`Judge::look`].
#[derive(Clone, Debug)]
pub struct Judge {
    settings: Settings,
    link: LinkTracker,
    standings: Standings,
    asked: [LaneTracker; 4],
    tallies: Tallies,
    /// Sorted by question and target.
    last_details: Vec<Observation>,
    sessions: Vec<Session>,
    began: Option<WallTime>,
    now: Moment,
    ended: Option<Ending>,
    alive: Option<Moment>,
    blind: Vec<(Moment, Moment)>,
}

/// What the judge makes of the record so far.
#[derive(Clone, Debug)]
pub struct Look {
    /// The last entry's moment.
    pub now: Moment,
    /// Every lane, inside out; power is blind until it has probes.
    pub lanes: Vec<LaneRecord>,
    /// What happened, in order of time.
    pub troubles: Vec<Trouble>,
    /// Time in which the path was observed, planned spans left out.
    pub observed: Micros,
    /// When that was: spans in order.
    pub seen: Vec<(Moment, Moment)>,
    /// Planned spans on the record's axis, in order.
    pub planned: Vec<(Moment, Moment)>,
    /// Targets that never answered while others of their lane did.
    pub never_answered: Vec<(Question, String)>,
    /// Random loss outside spans, per asked lane: failures and questions.
    pub random_loss: Vec<(Lane, u64, u64)>,
}

impl Judge {
    /// A judge that has seen nothing.
    pub fn new(settings: Settings) -> Self {
        let asked = ASKED.map(|lane| LaneTracker::new(lane, settings.gap_of(lane), settings.patience));
        Self {
            link: LinkTracker::new(settings.gap_of(Lane::Link)),
            standings: Standings::new(settings.gap_of(Lane::Address)),
            asked,
            tallies: Tallies::default(),
            last_details: Vec::new(),
            sessions: Vec::new(),
            began: None,
            now: Moment(0),
            ended: None,
            alive: None,
            blind: Vec::new(),
            settings,
        }
    }

    /// Takes in one entry.
    pub fn take(&mut self, entry: &Entry) {
        let known = entry.known();
        self.now = self.now.max(known);
        match entry {
            Entry::Began(s) => {
                if let Some(last) = self.alive {
                    self.blind.push((last, s.at));
                }
                self.began.get_or_insert(WallTime(s.wall.0.saturating_sub(s.at.0)));
                self.sessions.push(s.clone());
                self.ended = None;
            }
            Entry::Seen(o) => self.observe(o),
            Entry::Stepped { .. } | Entry::Alive { .. } => {}
            Entry::Ended { how, .. } => self.ended = Some(*how),
        }
        self.alive = Some(self.alive.map_or(known, |a| a.max(known)));
        for lane in &mut self.asked {
            lane.advance(self.now);
        }
    }

    fn observe(&mut self, o: &Observation) {
        self.tallies.count(o);
        if o.detail != Detail::None || !o.outcome.was_asked() {
            self.note(o);
        }
        match o.lane() {
            Lane::Link => self.link.observe(o),
            Lane::Address => self.standings.observe(o),
            _ => {
                self.standings.observe(o);
                if let (Some(good), Some(lane)) = (self.usable(o), self.asked.iter_mut().find(|l| l.lane() == o.lane()))
                {
                    let target = o.target.clone();
                    lane.queue_as(
                        o.question,
                        &target,
                        Sample { asked: o.asked, known: o.known, good, outcome: o.outcome },
                    );
                }
            }
        }
    }

    /// Keeps an observation that has more to say than its outcome. Answers repeat: what is the same is not copied again.
    fn note(&mut self, o: &Observation) {
        let same =
            |d: &Observation| d.question == o.question && (Arc::ptr_eq(&d.target, &o.target) || d.target == o.target);
        if let Some(d) = self.last_details.iter_mut().find(|d| same(d)) {
            (d.asked, d.known, d.outcome, d.rtt) = (o.asked, o.known, o.outcome, o.rtt);
            if d.detail != o.detail {
                d.detail.clone_from(&o.detail);
            }
        } else if self.last_details.len() < MOST_FACTS {
            let at = self.last_details.partition_point(|d| (d.question, &d.target) < (o.question, &o.target));
            self.last_details.insert(at, o.clone());
        }
    }

    /// Whether an answer is usable; `None` when it says nothing of the lane.
    fn usable(&self, o: &Observation) -> Option<bool> {
        // A receiver whose name can't be looked up can't be reached, whoever is to blame.
        if (o.question, o.outcome) == (Question::Connect, Outcome::NotAsked(NotAsked::Unresolved)) {
            return Some(false);
        }
        if !o.outcome.was_asked() {
            return None;
        }
        let answered = o.outcome == Outcome::Answered;
        match (o.question, &o.detail) {
            // The name that must not exist tells as well whether the resolver answers; what it answers is a condition.
            (Question::Name | Question::ControlName, Detail::Name(a)) => Some(answered && matches!(a.code, 0 | 3)),
            // Any DNS answer, a refusal too, proves that the internet between here and there works.
            (Question::Reference, Detail::Name(_)) => Some(answered || o.outcome == Outcome::Refused),
            // Behind TLS, an open port alone is no answer; the handshake that follows is the sample.
            (Question::Connect, _) if self.settings.tls_receivers.contains(&o.target) => (!answered).then_some(false),
            _ => Some(answered),
        }
    }

    /// The settings it judges by.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Counts and times per target.
    pub fn tallies(&self) -> &Tallies {
        &self.tallies
    }

    /// The last observation with more to say than its outcome, by question and target.
    pub fn last_details(&self) -> impl Iterator<Item = &Observation> {
        self.last_details.iter()
    }

    /// Starts of the agent, in order.
    pub fn sessions(&self) -> &[Session] {
        &self.sessions
    }

    /// Wall time at the axis's zero, from the first session.
    pub fn began(&self) -> Option<WallTime> {
        self.began
    }

    /// How the last session ended; `None` while it runs or when it was cut off.
    pub fn ended(&self) -> Option<Ending> {
        self.ended
    }

    /// The link lane's last look.
    pub fn link(&self) -> &LinkTracker {
        &self.link
    }

    /// The standing conditions.
    pub fn standings(&self) -> &Standings {
        &self.standings
    }

    /// Planned spans on the record's axis, as far as it reaches.
    fn planned(&self) -> Vec<(Moment, Moment)> {
        let Some(WallTime(zero)) = self.began else { return Vec::new() };
        let on_axis = |w: WallTime| Moment(w.0.saturating_sub(zero)).max(Moment(0)).min(self.now);
        let spans = self.settings.known.planned.iter().map(|p| (on_axis(p.from), on_axis(p.to)));
        merged(spans.filter(|(a, b)| a < b).collect())
    }

    /// Whether any lane is bad or strained right now: the time to look closer.
    pub fn anything_wrong(&self) -> bool {
        let standing = self.standings.own_spans().into_iter().chain(self.link.spans());
        let asked = self.asked.iter().flat_map(|t| t.settled().spans().to_vec());
        standing.chain(asked).any(|s| s.end.is_none())
    }

    /// Judges what was seen so far. Does not change the judge.
    pub fn look(&self) -> Look {
        let settled: Vec<LaneTracker> = self.asked.iter().map(LaneTracker::settled).collect();
        let conditions = self.standings.condition_spans();
        let mut lanes = Vec::with_capacity(Lane::ALL.len());
        for lane in Lane::ALL {
            let (mut spans, reach, mut blind) = match lane {
                Lane::Power => (Vec::new(), None, Vec::new()),
                Lane::Link => (self.link.spans(), self.link.reach(), self.link.blind().to_vec()),
                Lane::Address => (self.standings.own_spans(), self.standings.reach(), self.standings.blind().to_vec()),
                _ => settled
                    .iter()
                    .find(|t| t.lane() == lane)
                    .map_or((Vec::new(), None, Vec::new()), |t| (t.spans().to_vec(), t.reach(), t.blind().to_vec())),
            };
            spans.extend(conditions.iter().filter(|s| s.lane == lane).cloned());
            spans.sort_by_key(|s| s.start.midpoint());
            blind.extend(self.blind.iter().copied());
            // Nobody has looked for a while and has not looked again since.
            if let Some((_, last)) = reach
                && self.now - last > self.settings.gap_of(lane)
            {
                blind.push((last, self.now));
            }
            let answers = settled.iter().find(|t| t.lane() == lane).map_or(Vec::new(), |t| t.answers().to_vec());
            lanes.push(LaneRecord { lane, spans, reach, blind: merged(blind), answers });
        }
        let troubles = cause::explain(&lanes, &self.settings, self.now);
        // With a receiver named, the path is seen only where that receiver was asked.
        let end = if self.settings.receivers.is_empty() { Lane::Outside } else { Lane::Receiver };
        let path: Vec<&LaneRecord> = lanes.iter().filter(|l| l.lane == end && l.reach.is_some()).collect();
        let planned = self.planned();
        let seen = outage::less(&observed(&path), &planned);
        Look {
            now: self.now,
            observed: outage::total(&seen),
            seen,
            planned,
            troubles,
            never_answered: settled
                .iter()
                .flat_map(|t| t.never_answered().map(|(q, n)| (q, n.to_string())).collect::<Vec<_>>())
                .collect(),
            random_loss: settled.iter().map(|t| (t.lane(), t.random_loss().0, t.random_loss().1)).collect(),
            lanes,
        }
    }
}

impl Look {
    /// How long the path was down because of a cause, in all.
    pub fn down_by(&self, cause: Cause) -> Micros {
        Micros(self.troubles.iter().filter(|t| t.cause == cause).map(|t| t.down_for(self.now).0).sum())
    }

    /// Random loss of the lane the path is judged by: failures and questions.
    pub fn path_loss(&self) -> (u64, u64) {
        let of = |lane| self.random_loss.iter().find(|(l, ..)| *l == lane).map_or((0, 0), |(_, a, b)| (*a, *b));
        match of(Lane::Receiver) {
            (_, 0) => of(Lane::Outside),
            receiver => receiver,
        }
    }
}

/// Time in which the path was observed.
fn observed(path: &[&LaneRecord]) -> Vec<(Moment, Moment)> {
    let mut seen: Vec<(Moment, Moment)> = Vec::new();
    for lane in path {
        let Some((first, last)) = lane.reach else { continue };
        let mut from = first;
        for (a, b) in &lane.blind {
            seen.push((from, (*a).max(from)));
            from = from.max(*b);
        }
        seen.push((from, last.max(from)));
    }
    merged(seen)
}

#[cfg(test)]
#[path = "fold_tests.rs"]
mod tests;
