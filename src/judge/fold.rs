//! The fold: one entry at a time, live, replayed or simulated.

mod look;

use crate::judge::causes::look::Look;
use crate::judge::decide::detection::Rhythm;
use crate::judge::decide::drill::{self, DrillResult, Drills};
use crate::judge::decide::settings::{Known, Settings};
use crate::judge::decide::verdict::{self, Judgement};
use crate::judge::facts::stretches;
use crate::judge::facts::{Detail, Ending, Entry, Lane, NotAsked, Observation, Outcome, Question, Session};
use crate::judge::facts::{Micros, Moment, WallTime};
use crate::judge::lanes::ground::Ground;
use crate::judge::lanes::lane::{LaneTracker, Sample};
use crate::judge::lanes::link::LinkTracker;
use crate::judge::lanes::power::Power;
use crate::judge::lanes::span::Cut;
use crate::judge::lanes::standing::Standings;
use crate::judge::lanes::tally::Tallies;
use crate::judge::stats::loss_series::LossSeries;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Starts of the agent kept; only the latest tell something of the present clock.
const MOST_SESSIONS: usize = 1_024;
/// Resolvers watched for hollow answers: more than a roster holds.
const MOST_RESOLVERS: usize = 64;

/// Lanes judged by asking targets.
const ASKED: [Lane; 4] = [Lane::Router, Lane::Names, Lane::Outside, Lane::Receiver];

/// The streaming judge. Feed it [`Entry`]s in the order they became known; look at any time with [`Judge::look`].
#[derive(Clone, Debug)]
pub struct Judge {
    settings: Settings,
    folded: Folded,
}

/// All that a judge keeps of what it was fed. Written down and read again, it goes on as if it had never been away.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Folded {
    by: FoldedBy,
    link: LinkTracker,
    standings: Standings,
    power: Power,
    ground: Ground,
    asked: [LaneTracker; 4],
    tallies: Tallies,
    sessions: Vec<Session>,
    began: Option<WallTime>,
    now: Moment,
    ended: Option<Ending>,
    alive: Option<Moment>,
    blind: Vec<(Moment, Moment)>,
    /// Resolvers whose last answer about a name that exists was a failure.
    names_failing: Vec<Arc<str>>,
    drills: Drills,
    /// The wall time last known, and when that was.
    anchor: Option<(Moment, WallTime)>,
}

/// The settings that have a say in folding; the others are asked only when somebody looks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct FoldedBy {
    tls_receivers: BTreeSet<Arc<str>>,
    patience: Micros,
    cadence: [(Lane, Micros); 7],
    supervision: Option<Micros>,
}

impl FoldedBy {
    fn of(settings: &Settings) -> Self {
        Self {
            tls_receivers: settings.tls_receivers.clone(),
            patience: settings.patience,
            cadence: settings.cadence,
            supervision: settings.supervision,
        }
    }
}

impl Judge {
    /// A judge that has seen nothing.
    pub fn new(settings: Settings) -> Self {
        let asked = ASKED.map(|lane| LaneTracker::new(lane, settings.gap_of(lane), settings.patience));
        let folded = Folded {
            by: FoldedBy::of(&settings),
            link: LinkTracker::new(settings.gap_of(Lane::Link)),
            standings: Standings::new(settings.gap_of(Lane::Address)),
            power: Power::new(settings.gap_of(Lane::Power)),
            ground: Ground::default(),
            asked,
            tallies: Tallies::default(),
            sessions: Vec::new(),
            began: None,
            now: Moment(0),
            ended: None,
            alive: None,
            blind: Vec::new(),
            names_failing: Vec::new(),
            drills: Drills::default(),
            anchor: None,
        };
        Self { settings, folded }
    }

    /// A judge that goes on from what another has folded; `None` where that one folded by other settings.
    pub fn resume(settings: Settings, folded: Folded) -> Option<Self> {
        (folded.by == FoldedBy::of(&settings)).then_some(Self { settings, folded })
    }

    /// All that it keeps of what it was fed.
    pub fn folded(&self) -> &Folded {
        &self.folded
    }

    /// Takes in one entry.
    pub fn take(&mut self, entry: &Entry) {
        let known = entry.known();
        self.folded.now = self.folded.now.max(known);
        match entry {
            Entry::Began(s) => {
                if let Some(last) = self.folded.alive {
                    self.folded.blind.push((last, s.at));
                    let anew = self.folded.sessions.last().is_some_and(|before| before.boot_id != s.boot_id);
                    self.folded.drills.began_again(last, s, anew, self.folded.ended.is_some());
                    if let (None, Some(before)) = (self.folded.ended, self.folded.sessions.last()) {
                        let boot_anew = before.boot_id != s.boot_id;
                        let booted = boot_anew.then_some(s.at - s.boot);
                        self.folded.power.cut(last, s.at, Cut { boot_anew, booted });
                    }
                }
                self.folded.began.get_or_insert(WallTime(s.wall.0.saturating_sub(s.at.0)));
                if self.folded.sessions.len() >= MOST_SESSIONS {
                    self.folded.sessions.drain(..MOST_SESSIONS / 2);
                }
                self.folded.sessions.push(s.clone());
                self.folded.anchor = Some((s.at, s.wall));
                self.folded.ended = None;
            }
            Entry::Seen(o) => self.observe(o),
            Entry::Stepped { at, wall } => self.folded.anchor = Some((*at, *wall)),
            Entry::Alive { .. } => {}
            Entry::Drill { at, step } => self.folded.drills.mark(*at, *step, self.folded.alive),
            Entry::Ended { at, how } => {
                self.folded.ended = Some(*how);
                self.folded.drills.session_ended(*at);
            }
        }
        self.folded.alive = Some(self.folded.alive.map_or(known, |a| a.max(known)));
        for lane in &mut self.folded.asked {
            lane.advance(self.folded.now);
        }
    }

    fn observe(&mut self, o: &Observation) {
        self.folded.tallies.count(o);
        if o.lane() == Lane::Link && o.question.carries_lane() {
            self.folded.link.observe(o);
            return;
        }
        match o.question {
            Question::Mains | Question::RouterLife | Question::Neighbours => self.folded.power.observe(o),
            _ => self.folded.ground.observe(o, self.settings.supervision),
        }
        // Conditions of the address lane stand; the other facts beside a lane are kept with the tallies.
        self.folded.standings.observe(o);
        if let Some(place) = ASKED.iter().position(|lane| *lane == o.lane())
            && o.question.carries_lane()
            && let Some(good) = self.usable(o)
            && !self.hollow(o, good)
        {
            let sample = Sample { asked: o.asked, known: o.known, good, outcome: o.outcome };
            self.folded.asked[place].queue_as(o.question, &o.target, sample);
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

    /// Whether an answer says nothing: many resolvers answer for the name that must not exist by themselves (RFC 6761
    /// section 6.4), so they do not work for that while they fail at names that exist.
    fn hollow(&mut self, o: &Observation, good: bool) -> bool {
        let at = self.folded.names_failing.iter().position(|t| *t == o.target);
        match (o.question, at) {
            (Question::Name, Some(at)) if good => drop(self.folded.names_failing.swap_remove(at)),
            (Question::Name, None) if !good && self.folded.names_failing.len() < MOST_RESOLVERS => {
                self.folded.names_failing.push(Arc::clone(&o.target));
            }
            _ => {}
        }
        o.question == Question::ControlName && good && at.is_some()
    }

    /// The settings it judges by.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Counts and times per target.
    pub fn tallies(&self) -> &Tallies {
        &self.folded.tallies
    }

    /// The last observation with more to say than its outcome, by question and target.
    pub fn last_details(&self) -> impl Iterator<Item = &Observation> {
        self.folded.tallies.iter().filter_map(|(_, _, tally)| tally.last_detail.as_ref())
    }

    /// Starts of the agent, in order; the latest where there were very many.
    pub fn sessions(&self) -> &[Session] {
        &self.folded.sessions
    }

    /// Wall time at the axis's zero, from the first session.
    pub fn began(&self) -> Option<WallTime> {
        self.folded.began
    }

    /// The wall time last known, from a start or a step of the clock, and when that was.
    pub fn anchor(&self) -> Option<(Moment, WallTime)> {
        self.folded.anchor
    }

    /// How the last session ended; `None` while it runs or when it was cut off.
    pub fn ended(&self) -> Option<Ending> {
        self.folded.ended
    }

    /// The link lane's last look.
    pub fn link(&self) -> &LinkTracker {
        &self.folded.link
    }

    /// The standing conditions.
    pub fn standings(&self) -> &Standings {
        &self.folded.standings
    }

    /// Mains, the router's life, neighbours.
    pub fn power(&self) -> &Power {
        &self.folded.power
    }

    /// What each target lost, in the order of asking, everything still waited for taken in.
    pub fn losses(&self) -> Vec<(Question, Arc<str>, LossSeries)> {
        let settled = self.folded.asked.iter().map(LaneTracker::settled);
        settled.flat_map(|t| t.series().map(|(q, n, s)| (q, Arc::clone(n), s)).collect::<Vec<_>>()).collect()
    }

    /// The lane the path is judged by: the receiver's where one was asked, else the reference points'.
    fn path_tracker(&self) -> Option<&LaneTracker> {
        let of = |lane| self.folded.asked.iter().find(|t| t.lane() == lane && t.reach().is_some());
        if self.settings.receivers.is_empty() { of(Lane::Outside) } else { of(Lane::Receiver) }
    }

    /// How the lane the path is judged by is asked; `None` while it has not been.
    pub fn path_rhythm(&self) -> Option<Rhythm> {
        Rhythm::of(self.path_tracker()?, &self.settings)
    }

    /// What was seen so far without holding any requirement against it: cheap enough for every second.
    pub fn glance(&self) -> Judgement {
        verdict::judge(self.look(), &self.settings, &[])
    }

    /// The verdict on what was seen so far.
    pub fn judgement(&self) -> Judgement {
        verdict::judge(self.look(), &self.settings, &self.settings.requirements.require)
    }

    /// The drills of the record.
    pub fn drills(&self) -> &Drills {
        &self.folded.drills
    }

    /// The moment of the last entry.
    pub fn now(&self) -> Moment {
        self.folded.now
    }

    /// What each drill measured, by a look at this judge.
    pub fn drill_results(&self, look: &Look) -> Vec<DrillResult> {
        let mains = self.folded.tallies.iter().any(|(q, _, t)| q == Question::Mains && t.answered() > 0);
        drill::results(&self.folded.drills, look, &self.settings.receivers, self.folded.began, mains)
    }

    /// Takes what is known of the site anew: a drill has measured what was worked out before.
    pub fn know(&mut self, known: Known) {
        self.settings.known = known;
    }

    /// Planned spans and drills on the record's axis, as far as it reaches.
    fn planned(&self) -> Vec<(Moment, Moment)> {
        let Some(WallTime(zero)) = self.folded.began else { return Vec::new() };
        let on_axis = |w: WallTime| Moment(w.0.saturating_sub(zero)).max(Moment(0)).min(self.folded.now);
        let spans = self.settings.known.planned.iter().map(|p| (on_axis(p.from), on_axis(p.to)));
        stretches::merged(spans.chain(self.folded.drills.spans(self.folded.now)).filter(|(a, b)| a < b).collect())
    }

    /// Whether a single question that used to be answered was not, a moment ago: the time to look closer, before anything
    /// can be said.
    pub fn in_doubt(&self) -> bool {
        self.folded.asked.iter().any(LaneTracker::is_in_doubt)
    }

    /// Whether any lane is bad or strained right now.
    pub fn anything_wrong(&self) -> bool {
        self.folded.standings.own_is_off()
            || self.folded.power.is_off()
            || self.folded.link.is_off()
            || self.folded.asked.iter().any(LaneTracker::is_off)
    }
}

#[cfg(test)]
#[path = "fold_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "mixed_tests.rs"]
mod mixed_tests;
