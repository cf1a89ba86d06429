//! The power lane: mains as a battery's own source sees them, restarts of the router by its own account, neighbours that
//! leave together, and the agent being cut off.
//!
//! A counter of the time since the start that reads less than it must have grown to tells of a restart, and when it was:
//! the time known less the counter (the uptime rule of [PADMAN16]).
//! Mains and battery words after RFC 9271; `sysUpTime` wraps after 2^32 hundredths of a second (RFC 3418). Does not say
//! why anything happened.

use crate::judge::facts::{Detail, Lane, Mac, Mains, Observation, Outcome, Question};
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::lanes::span::{Cut, Oddity, Span};
use crate::judge::lanes::standing::Standing;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Most restarts, changes and looks kept; a site with more has told enough.
const MOST: usize = 4_096;
/// How far two accounts of the router's start may lie apart and be one (choice: whole seconds, a slow answer).
const START_SLACK: Micros = Micros::from_secs(5);
/// ... and this share of the time between the accounts, for a clock that runs off (choice: ten times a poor crystal).
const DRIFT: i64 = 1_000;
/// Longest count of `sysUpTime`, seconds: 2^32 hundredths.
const WRAP_S: f64 = 42_949_672.96;
/// Fewest neighbours that must leave between two looks to be "together" (choice) ...
const LEAVE_LEAST: usize = 3;
/// ... and their least share of all, in tenths (choice).
const LEAVE_TENTHS: usize = 6;
/// From the cut of the mains, how long the last word of a session may be old: the record is written every few seconds
/// and an idle agent says each minute that it lives.
const ALIVE_EVERY: Micros = Micros::from_secs(60);

/// The router's life by one source: from one start to the next.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
struct Life {
    start: Moment,
    last: Moment,
    of_connection: bool,
}

/// Everything seen of power.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Power {
    gap: Micros,
    mains: Standing,
    /// What each source of mains said last.
    said: BTreeMap<Arc<str>, bool>,
    battery: Option<(Moment, Mains)>,
    first: Option<Moment>,
    last: Option<Moment>,
    blind: Vec<(Moment, Moment)>,
    lives: BTreeMap<Arc<str>, Vec<Life>>,
    connected: Vec<(Moment, bool)>,
    neighbours: Vec<Mac>,
    looks: Vec<(Moment, bool)>,
    cuts: Vec<Span>,
}

impl Power {
    /// Nothing seen yet; a pause longer than `gap` is blind.
    pub fn new(gap: Micros) -> Self {
        Self {
            gap,
            mains: Standing::default(),
            said: BTreeMap::new(),
            battery: None,
            first: None,
            last: None,
            blind: Vec::new(),
            lives: BTreeMap::new(),
            connected: Vec::new(),
            neighbours: Vec::new(),
            looks: Vec::new(),
            cuts: Vec::new(),
        }
    }

    /// Takes in an observation; those of other questions are ignored.
    pub fn observe(&mut self, o: &Observation) {
        if o.outcome != Outcome::Answered {
            return;
        }
        match (o.question, &o.detail) {
            (Question::Mains, Detail::Mains(m)) => {
                self.battery = Some((o.known, m.clone()));
                if let Some(present) = m.present {
                    self.seen(o.known);
                    // Any one source that lost them: each sees its own outlet.
                    if self.said.len() < 8 || self.said.contains_key(&o.target) {
                        self.said.insert(Arc::clone(&o.target), present);
                    }
                    let lost = self.said.values().any(|p| !p);
                    self.mains.look(Lane::Power, o.asked, o.known, lost.then_some(Oddity::MainsLost));
                }
            }
            (Question::RouterLife, Detail::RouterLife(life)) => {
                if let Some(up) = life.up_s {
                    self.seen(o.known);
                    self.life(&o.target, o.known, up, life.of_connection);
                }
                if let Some(connected) = life.connected
                    && self.connected.last().is_none_or(|(_, c)| *c != connected || !connected)
                {
                    push(&mut self.connected, (o.known, connected));
                }
            }
            (Question::Neighbours, Detail::Neighbours(now)) => {
                let before = std::mem::replace(&mut self.neighbours, now.clone());
                let gone = before.iter().filter(|m| !now.contains(m)).count();
                let left = gone >= LEAVE_LEAST && gone * 10 >= before.len() * LEAVE_TENTHS;
                if left || now.len() >= LEAVE_LEAST {
                    push(&mut self.looks, (o.known, !left));
                }
            }
            _ => {}
        }
    }

    /// The agent was cut off: alive at `last`, begun again at `began`.
    pub fn cut(&mut self, last: Moment, began: Moment, cut: Cut) {
        let latest = (last + ALIVE_EVERY).min(cut.booted.unwrap_or(began).max(last)).min(began);
        let mut span = Span::new(Lane::Power, Oddity::CutOff(cut), Edge::between(last, latest));
        span.end = Some(Edge::exact(began));
        push(&mut self.cuts, span);
    }

    fn seen(&mut self, at: Moment) {
        if let Some(last) = self.last
            && at - last > self.gap
        {
            push(&mut self.blind, (last, at));
        }
        self.first.get_or_insert(at);
        self.last = Some(at);
    }

    fn life(&mut self, source: &Arc<str>, at: Moment, up_s: u64, of_connection: bool) {
        let start = at - Micros(i64::try_from(up_s).unwrap_or(i64::MAX).saturating_mul(1_000_000));
        // Sources come from the network's own answers: no more of them than a site has boxes.
        if !self.lives.contains_key(source) && self.lives.len() >= 8 {
            return;
        }
        let lives = self.lives.entry(Arc::clone(source)).or_default();
        if let Some(life) = lives.last_mut().filter(|l| l.of_connection == of_connection) {
            let slack = START_SLACK + Micros((at - life.last).0 / DRIFT);
            let wrapped = ((at - life.start).secs() - WRAP_S - up_s as f64).abs() < slack.secs().max(60.0);
            if start - life.start <= slack || wrapped {
                life.last = at;
                // Follow a clock that runs off.
                if !wrapped {
                    life.start = start;
                }
                return;
            }
        }
        push(lives, Life { start, last: at, of_connection });
    }

    /// Spans of mains lost and of the agent cut off.
    pub fn spans(&self) -> Vec<Span> {
        self.mains.spans().chain(self.cuts.iter().cloned()).collect()
    }

    /// Whether the mains are gone right now.
    pub fn is_off(&self) -> bool {
        self.said.values().any(|present| !present)
    }

    /// First and last look at mains or at the router's life.
    pub fn reach(&self) -> Option<(Moment, Moment)> {
        self.first.zip(self.last)
    }

    /// Pauses between looks too long to count as observed.
    pub fn blind(&self) -> &[(Moment, Moment)] {
        &self.blind
    }

    /// Mains and battery as last seen.
    pub fn battery(&self) -> Option<&(Moment, Mains)> {
        self.battery.as_ref()
    }

    /// Starts of the router (or of its outer connection) that happened while it was known, in order.
    pub fn restarts(&self, of_connection: bool) -> Vec<Moment> {
        let mut out: Vec<Moment> = self
            .lives
            .values()
            .flat_map(|l| l.iter().skip(1))
            .filter(|l| l.of_connection == of_connection)
            .map(|l| l.start)
            .collect();
        out.sort_unstable();
        out
    }

    /// When the router last said how long it has been up, and since when that is.
    pub fn router_up(&self) -> Option<(Moment, Moment)> {
        self.lives.values().filter_map(|l| l.last()).filter(|l| !l.of_connection).map(|l| (l.last, l.start)).max()
    }

    /// Whether the router (or its outer connection) started between two moments; `None` where nobody can say: to say that
    /// it did not, it must have told of the same life before and at `after`.
    pub fn started_between(&self, from: Moment, to: Moment, after: Moment, of_connection: bool) -> Option<bool> {
        let lives = || self.lives.values().flatten().filter(|l| l.of_connection == of_connection);
        if lives().any(|l| from <= l.start && l.start <= to) {
            return Some(true);
        }
        lives().any(|l| l.start < from && l.last >= after).then_some(false)
    }

    /// Whether the router called its outer side connected at some look between two moments.
    pub fn connected_between(&self, from: Moment, to: Moment) -> Option<bool> {
        let at = self.connected.partition_point(|(m, _)| *m < from);
        self.connected[at..].iter().take_while(|(m, _)| *m <= to).map(|(_, c)| *c).reduce(|a, b| a && b)
    }

    /// Whether the mains were there all the while; `None` where nobody looked.
    pub fn mains_between(&self, from: Moment, to: Moment) -> Option<bool> {
        if self.mains.spans().any(|s| s.start.earliest < to && s.end.is_none_or(|e| e.latest > from)) {
            return Some(false);
        }
        let last = self.mains.last?;
        (last >= from && self.first.is_some_and(|f| f <= to)).then_some(true)
    }

    /// Whether the mains were lost when this host was last heard of before `at`.
    pub fn on_battery_at(&self, at: Moment) -> Option<bool> {
        let last = self.mains.last?;
        let without = self.mains.spans().any(|s| s.start.earliest <= at && s.end.is_none_or(|e| e.latest >= at));
        (without || last >= at - self.gap).then_some(without)
    }

    /// Whether the neighbours stayed: false when several left between two looks around then; `None` when nobody looked
    /// or there are too few.
    pub fn neighbours_stayed(&self, from: Moment, to: Moment) -> Option<bool> {
        let at = self.looks.partition_point(|(m, _)| *m < from);
        self.looks[at..].iter().take_while(|(m, _)| *m <= to).map(|(_, stayed)| *stayed).reduce(|a, b| a && b)
    }
}

/// Adds to a list that must not grow without end: the older half goes.
pub(crate) fn push<T>(list: &mut Vec<T>, item: T) {
    if list.len() >= MOST {
        list.drain(..MOST / 2);
    }
    list.push(item);
}

#[cfg(test)]
#[path = "power_tests.rs"]
mod tests;
