//! Drills: what somebody does to the site on purpose, marked in the record, and what was measured meanwhile.
//!
//! A mark says what was begun, done and ended, and when; the times are read from the lanes, so a record judged again
//! measures the same. Decides how long gear and path lasted, when the path was back, and what of it can still be said
//! where the agent itself was cut off in between. Does not guide anybody: `cli` does. What happens from a drill's first
//! mark to its last counts neither for nor against the path.

use crate::judge::causes::look::Look;
use crate::judge::decide::outage::{self, Outage};
pub use crate::judge::facts::{Act, CutShort, Drill, DrillEnd, Mark, Mark as Step};
use crate::judge::facts::{Edge, Micros, Moment, WallTime};
use crate::judge::facts::{Lane, Session};
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::span::{LaneState, Oddity};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Drills kept; far above any site (choice).
const MOST: usize = 256;
/// Pauses of the agent kept for one drill (choice).
const MOST_PAUSES: usize = 64;

/// One drill by its marks.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Marked {
    /// Which.
    pub drill: Drill,
    /// How long the path must last, where that was named.
    pub needed: Option<Micros>,
    /// When it began.
    pub from: Moment,
    /// From when on it is left out: its beginning, or the end of the session before where the agent was started for it.
    pub since: Moment,
    /// When things were taken away.
    pub off: Option<Moment>,
    /// When they were given back.
    pub on: Option<Moment>,
    /// When and how it ended; `None` while it runs, or where the agent was cut off in it.
    pub ended: Option<(Moment, DrillEnd)>,
    /// Until when it is left out: the end of its session, which lasts no longer than it must; else its own end.
    pub until: Option<Moment>,
    /// When the agent itself was away meanwhile, and whether this host had started anew.
    pub away: Vec<(Moment, Moment, bool)>,
}

/// All drills of a record, by their marks.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Drills {
    all: Vec<Marked>,
    /// The end of the session before this one, where that ended in order and no drill began since.
    rested: Option<Moment>,
    /// Whether the last drill is one of this session.
    of_this_session: bool,
}

impl Drills {
    /// Takes in a mark. One that makes no sense where it stands is passed over.
    pub fn mark(&mut self, at: Moment, mark: Mark, alive: Option<Moment>) {
        match mark {
            Mark::Began { drill, needed } => {
                // One left open ended when it was last heard of: before the agent was last away, if it was.
                let alive = alive.unwrap_or(at).min(at);
                if let Some(open) = self.open_mut() {
                    let last = open.away.last().map_or(alive, |(from, ..)| *from);
                    open.ended = Some((last, DrillEnd::CutShort(CutShort::AgentCutOff)));
                }
                let since = self.rested.take().unwrap_or(at);
                if self.all.len() < MOST {
                    let away = Vec::new();
                    let (off, on, ended, until) = (None, None, None, None);
                    self.all.push(Marked { drill, needed, from: at, since, off, on, ended, until, away });
                    self.of_this_session = true;
                }
            }
            Mark::Acted(act) => {
                if let Some(open) = self.open_mut() {
                    let place = if act == Act::Off { &mut open.off } else { &mut open.on };
                    place.get_or_insert(at);
                }
            }
            Mark::Ended(how) => {
                if let Some(open) = self.open_mut() {
                    open.ended = Some((at, how));
                }
            }
        }
    }

    /// The agent began again after it was last alive: a drill still open had it away meanwhile.
    pub fn began_again(&mut self, last: Moment, session: &Session, boot_anew: bool, in_order: bool) {
        self.rested = in_order.then_some(last);
        self.of_this_session = self.open().is_some();
        if let Some(open) = self.open_mut().filter(|o| o.away.len() < MOST_PAUSES) {
            open.away.push((last, session.at, boot_anew));
        }
    }

    /// The agent's session ended in order.
    pub fn session_ended(&mut self, at: Moment) {
        if let (true, Some(last)) = (self.of_this_session, self.all.last_mut()) {
            last.until = last.ended.map(|_| at);
        }
    }

    fn open_mut(&mut self) -> Option<&mut Marked> {
        self.all.last_mut().filter(|d| d.ended.is_none())
    }

    /// The drill that has not ended.
    pub fn open(&self) -> Option<&Marked> {
        self.all.last().filter(|d| d.ended.is_none())
    }

    /// All of them, in order.
    pub fn all(&self) -> &[Marked] {
        &self.all
    }

    /// Their spans; one still open reaches to `now`.
    pub fn spans(&self, now: Moment) -> impl Iterator<Item = (Moment, Moment)> {
        self.all.iter().map(move |d| (d.since, d.until.or(d.ended.map(|e| e.0)).unwrap_or(now)))
    }
}

/// A measured length: at least, most likely, at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Length {
    /// At least.
    pub least: Micros,
    /// The middle of the bracket.
    pub middle: Micros,
    /// At most.
    pub most: Micros,
}

impl Length {
    fn since(t: Moment, edge: Edge) -> Self {
        let at = |m: Moment| Micros((m - t).0.max(0));
        Self { least: at(edge.earliest), middle: at(edge.midpoint()), most: at(edge.latest) }
    }
}

/// How long something lasted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lasted {
    /// Until it gave out.
    GaveOut(Length),
    /// It had not when it was last looked at.
    Still(Micros),
}

impl Lasted {
    /// What can be counted on.
    pub const fn at_least(self) -> Micros {
        match self {
            Self::GaveOut(l) => l.least,
            Self::Still(t) => t,
        }
    }
}

/// What a drill measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DrillResult {
    /// Its marks.
    pub marked: Marked,
    /// When it began.
    pub began: Option<WallTime>,
    /// How long the nearest network gear lasted: this host's lead or the router, whichever went first. Mains-off only.
    pub gear: Option<Lasted>,
    /// How long the path lasted. Mains-off only.
    pub path: Option<Lasted>,
    /// Whether a power source that is watched (this host's own, a named server of a backup unit) saw mains go; `None`
    /// where none is watched. Mains-off only.
    pub mains_seen: Option<bool>,
    /// From the lead's pulling until that was seen. Cable-pull only.
    pub seen: Option<Length>,
    /// From the giving back until the path carried again, where it had gone.
    pub back: Option<Length>,
    /// Named receivers, and whether each was reached. Receiver-path only.
    pub reached: Vec<(Arc<str>, bool)>,
}

impl DrillResult {
    /// Whether the path went down in it and is not back.
    pub fn is_down(&self, look: &Look) -> bool {
        downs(look, self.marked.from, look.now).last().is_some_and(|o| o.to.is_none())
    }

    /// Whether it measured that something is not as it must be: the path gave out too soon, or a receiver was not reached.
    pub fn falls_short(&self) -> bool {
        let too_soon = |path: Lasted, needed| matches!(path, Lasted::GaveOut(l) if l.least < needed);
        self.path.zip(self.marked.needed).is_some_and(|(path, needed)| too_soon(path, needed))
            || self.reached.iter().any(|(_, reached)| !reached)
    }

    /// How long the agent itself was away in it.
    pub fn away(&self) -> Micros {
        self.marked.away.iter().map(|(a, b, _)| *b - *a).sum()
    }
}

/// What every drill measured, by the lanes as they look now.
pub fn results(
    drills: &Drills,
    look: &Look,
    receivers: &BTreeSet<Arc<str>>,
    zero: Option<WallTime>,
    mains_watched: bool,
) -> Vec<DrillResult> {
    let watched = |r: DrillResult| DrillResult { mains_seen: r.mains_seen.filter(|_| mains_watched), ..r };
    drills.all().iter().map(|d| watched(measured(d, look, receivers, zero))).collect()
}

fn measured(d: &Marked, look: &Look, receivers: &BTreeSet<Arc<str>>, zero: Option<WallTime>) -> DrillResult {
    let to = d.ended.map_or(look.now, |(at, _)| at);
    let path_lane = if receivers.is_empty() { Lane::Outside } else { Lane::Receiver };
    // Somebody may have been quicker than the mark: what went since the beginning and lasted past it belongs to it.
    let acted = d.off.or(d.on).unwrap_or(d.from);
    let mut down = downs(look, d.from, to);
    down.retain(|o| o.to.is_none_or(|e| e.latest > acted));
    // What goes once mains is back, or by the router's own restart, is no want of power.
    let until = d.on.unwrap_or(to);
    let mains_off = d.off.filter(|_| d.drill == Drill::MainsOff);
    let lasts = |lanes: &[Lane], off: Moment| {
        // Nobody saw it while the agent was away: it is known to have lasted until then.
        let away = d.away.iter().map(|(from, ..)| *from).filter(|from| *from > off).min();
        let last = look.lanes.iter().filter(|l| lanes.contains(&l.lane)).filter_map(|l| l.reach).map(|r| r.1).max()?;
        let last = away.map_or(last, |from| last.min(from));
        Some(gone(look, lanes, (d.from, off), until).map_or_else(
            || Lasted::Still(Micros((last.min(until) - off).0.max(0))),
            |edge| Lasted::GaveOut(Length::since(off, edge)),
        ))
    };
    let gear = mains_off.and_then(|off| lasts(&[Lane::Link, Lane::Router], off));
    let path = mains_off.and_then(|off| match down.iter().find(|o| o.from.earliest < until) {
        Some(o) => Some(Lasted::GaveOut(Length::since(off, o.from))),
        None => lasts(&[path_lane], off),
    });
    let back = d.on.zip(down.last().and_then(|o| o.to.map(|end| sharpened(look, o.from, end))));
    let back = back.map(|(on, end)| Length::since(on, end));
    let seen = d.off.filter(|_| d.drill == Drill::CablePull).and_then(|off| {
        let first = gone(look, &[Lane::Link, Lane::Router, path_lane], (d.from, off), until)?;
        Some(Length::since(off, first))
    });
    let reached = if d.drill == Drill::ReceiverPath { reached(look, receivers, d.from, to) } else { Vec::new() };
    let mains_seen = mains_off.map(|off| {
        let spans = look.lanes.iter().filter(|l| l.lane == Lane::Power).flat_map(|l| &l.spans);
        let mut lost = spans.filter(|s| s.oddity == Oddity::MainsLost);
        lost.any(|s| s.start.earliest < until && s.end.is_none_or(|e| e.latest > off))
    });
    let began = zero.map(|z| WallTime(z.0.saturating_add(d.from.0)));
    DrillResult { marked: d.clone(), began, gear, path, mains_seen, seen, back, reached }
}

/// Spans in which the path was down and which meet the drill, in order. What was down before is none of its doing.
fn downs(look: &Look, from: Moment, to: Moment) -> Vec<Outage> {
    let all = look.troubles.iter().chain(&look.rehearsed).filter_map(|t| t.path_down);
    let all = all.map(|(from, to)| Outage { from, to }).collect();
    outage::joined(all, look.now).into_iter().filter(|o| o.from.latest >= from && o.from.earliest <= to).collect()
}

/// The path's return, not before that of the lead and the router it hangs on: a connection may have been asked for while
/// they were still away and be answered late.
fn sharpened(look: &Look, from: Edge, end: Edge) -> Edge {
    let inner = look.lanes.iter().filter(|l| matches!(l.lane, Lane::Link | Lane::Router)).flat_map(|l| &l.spans);
    let bad = inner.filter(|s| s.oddity.state() == LaneState::Bad && s.start.earliest <= end.latest);
    let ends = bad.filter_map(|s| s.end).map(|e| e.earliest).filter(|e| from.earliest <= *e && *e <= end.latest);
    Edge { earliest: ends.fold(end.earliest, Moment::max), ..end }
}

/// When the first of these lanes went, since the drill's beginning, and was still gone at the act or went before `until`.
fn gone(look: &Look, lanes: &[Lane], (began, acted): (Moment, Moment), until: Moment) -> Option<Edge> {
    let spans = look.lanes.iter().filter(|l| lanes.contains(&l.lane)).flat_map(|l| &l.spans);
    let bad = spans.filter(|s| s.oddity.state() == LaneState::Bad && s.end.is_none_or(|e| e.latest > acted));
    let edges = bad.map(|s| s.start).filter(|e| e.latest >= began && e.earliest < until);
    edges.min_by_key(|e| e.midpoint())
}

fn reached(look: &Look, receivers: &BTreeSet<Arc<str>>, from: Moment, to: Moment) -> Vec<(Arc<str>, bool)> {
    let lane = look.lanes.iter().find(|l| l.lane == Lane::Receiver);
    let carries = lane.is_some_and(|l| carries(l, from, to));
    let missing = |name: &str| {
        let silent = look.never_answered.iter().any(|(q, n)| q.lane() == Lane::Receiver && n == name);
        let gone = lane.is_some_and(|l| {
            let open = l.spans.iter().filter(|s| s.end.is_none_or(|e| e.latest > to));
            open.into_iter().any(|s| matches!(&s.oddity, Oddity::TargetMissing(t) if **t == *name))
        });
        silent || gone
    };
    receivers.iter().map(|name| (Arc::clone(name), carries && !missing(name))).collect()
}

/// Whether the lane answered between two moments and is not bad at the later one.
fn carries(lane: &LaneRecord, from: Moment, to: Moment) -> bool {
    let bad = lane.spans.iter().any(|s| {
        s.oddity.state() == LaneState::Bad && s.start.midpoint() <= to && s.end.is_none_or(|e| e.midpoint() > to)
    });
    !bad && lane.answers.iter().any(|(first, last)| *first <= to && *last >= from)
}

/// Whether the path carries now: nothing of it is bad, and it answered within the last `fresh`.
pub fn carries_now(look: &Look, has_receivers: bool, fresh: Micros) -> bool {
    let path = if has_receivers { Lane::Receiver } else { Lane::Outside };
    let answers = look.lanes.iter().find(|l| l.lane == path).is_some_and(|l| carries(l, look.now - fresh, look.now));
    let down = look.troubles.iter().chain(&look.rehearsed).any(|t| matches!(t.path_down, Some((_, None))));
    answers && !down
}

#[cfg(test)]
#[path = "drill_tests.rs"]
mod tests;
