//! Which span explains which: from spans to troubles, and when the path could not deliver.
//!
//! Works inside out: a span that began while a more inner lane was bad is that lane's doing. Reference points are asked
//! by literal address, so the outside lane explains the names lane and not the other way round. A refusal is an answer:
//! silence further in never explains it. Does not name the cause: `weigh` does.

use super::around::Around;
use super::trouble::Trouble;
use super::weigh;
use crate::judge::causes::pattern::{self, Pattern};
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::facts::{Lane, Outcome};
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::span::{LaneState, Oddity, Span};
use crate::judge::lanes::thresholds::{RECOVERY, RESTART_WITHIN};
use crate::judge::lanes::timeline::Timeline;

/// Lanes in the order in which one explains the next.
const ORDER: [Lane; 7] =
    [Lane::Power, Lane::Link, Lane::Address, Lane::Router, Lane::Outside, Lane::Names, Lane::Receiver];

/// How far apart two spans may be and still be taken to touch.
const SLACK: Micros = Micros::from_secs(1);

fn rank(lane: Lane) -> usize {
    ORDER.iter().position(|l| *l == lane).unwrap_or(ORDER.len())
}

/// Where a span comes in the order: a communicator that is gone after all that can hide it; slow answers before the
/// losses they bring, and a lane's losses before what they make of single targets.
fn place(span: &Span) -> (usize, u8, Moment) {
    let rank = if matches!(span.oddity, Oddity::CommunicatorAbsent(_)) { ORDER.len() } else { rank(span.lane) };
    let within = match span.oddity {
        Oddity::Slow { .. } => 0,
        Oddity::TargetMissing(_) => 2,
        _ => 1,
    };
    (rank, within, span.start.midpoint())
}

/// Turns spans into troubles, in order of time, each with its cause; and the patterns they follow.
pub fn explain(around: &Around<'_>, days: &pattern::Days<'_>) -> (Vec<Trouble>, Vec<Pattern>) {
    let now = around.now;
    let mut troubles = grouped(around);
    let roots: Vec<&Span> = troubles.iter().map(|t| &t.root).collect();
    let patterns = pattern::patterns(&roots, days);
    let around = Around { patterns: &patterns, ..*around };
    for t in &mut troubles {
        t.path_down = path_down(t, around.lanes, around.has_receivers, now);
        weigh::weigh(t, &around);
    }
    troubles.sort_by_key(|t| (t.root.start.midpoint(), rank(t.root.lane)));
    (troubles, patterns)
}

fn grouped(around: &Around<'_>) -> Vec<Trouble> {
    let now = around.now;
    let mut spans: Vec<&Span> = around.lanes.iter().flat_map(|l| &l.spans).collect();
    spans.sort_by_key(|s| place(s));
    let mut troubles: Vec<Trouble> = Vec::new();
    let mut found = Found::default();
    for span in spans {
        let Some(owner) = found.explaining(span, &troubles, now) else {
            found.add(span, troubles.len(), None, now);
            troubles.push(Trouble::new(span.clone()));
            continue;
        };
        found.add(span, owner, Some(troubles[owner].followers.len()), now);
        troubles[owner].followers.push(span.clone());
        // What goes on long after its explanations ended is a trouble of its own from there on.
        if let Some((end, recovery)) = found.explained_until(owner, span, &troubles, now)
            && span.end_or(now) - end.latest > recovery
            && around.ground.last_measured_from(&span.oddity).is_none_or(|last| last > end.latest)
        {
            let mut rest = span.clone();
            rest.start = end;
            found.add(&rest, troubles.len(), None, now);
            troubles.push(Trouble::new(rest));
        }
    }
    troubles
}

/// How long an outer lane may take to follow a lane back: after the mains everything has to start, and a router that
/// took the carrier with it has to start as well.
fn recovery(inner: &Span, outer: &Span) -> Micros {
    match (inner.lane, outer.lane) {
        (Lane::Power, _) | (Lane::Link, Lane::Router) => RESTART_WITHIN,
        _ => RECOVERY,
    }
}

/// Where the spans so far lie, in the order read: a timeline for each place, as within one they come nearly in order of
/// time.
#[derive(Default)]
struct Found {
    places: Vec<((usize, u8), Place)>,
}

/// The spans of one place in the order of reading.
#[derive(Default)]
struct Place {
    spans: Timeline,
    /// The trouble each belongs to, and as which of its followers; none is its root.
    of: Vec<(usize, Option<usize>)>,
}

impl Found {
    /// Takes in the next span: the root of a trouble or one of its followers.
    fn add(&mut self, span: &Span, trouble: usize, follower: Option<usize>, now: Moment) {
        let (rank, within, _) = place(span);
        if self.places.last().is_none_or(|(last, _)| *last != (rank, within)) {
            self.places.push(((rank, within), Place::default()));
        }
        if let Some((_, place)) = self.places.last_mut() {
            place.spans.push(span.at_longest(now));
            place.of.push((trouble, follower));
        }
    }

    /// What meets a stretch, in order.
    fn meeting(&self, from: Moment, to: Moment) -> impl Iterator<Item = (usize, Option<usize>)> {
        self.places.iter().flat_map(move |(_, place)| place.spans.meeting(from, to).map(|n| place.of[n]))
    }

    /// The first trouble that explains a span.
    fn explaining(&self, span: &Span, troubles: &[Trouble], now: Moment) -> Option<usize> {
        let to = (span.start.latest + SLACK).max(before_a_burst(span).unwrap_or(span.start.latest));
        let near = self.meeting(span.start.earliest - SLACK, to);
        near.filter(|(_, follower)| follower.is_none())
            .map(|(trouble, _)| trouble)
            .find(|t| explains(&troubles[*t].root, span, now))
    }

    /// Until when a span is explained: by its owner, and by what was bad further in and began before the last explanation
    /// had been over for long. `None` when to the end.
    fn explained_until(&self, owner: usize, span: &Span, troubles: &[Trouble], now: Moment) -> Option<(Edge, Micros)> {
        let mut until = troubles[owner].root.end?;
        let mut slack = recovery(&troubles[owner].root, span);
        let which = |(trouble, follower): (usize, Option<usize>)| {
            let trouble = &troubles[trouble];
            follower.map_or(&trouble.root, |f| &trouble.followers[f])
        };
        let goes_on = |until: Edge, slack: Micros| {
            let mut inner = self.meeting(until.latest, until.latest + slack).map(which);
            inner.find(|r| weighs(r) && rank(r.lane) < rank(span.lane) && r.at_longest(now).1 > until.latest)
        };
        while let Some(next) = goes_on(until, slack) {
            until = next.end?;
            slack = recovery(next, span);
        }
        Some((until, slack))
    }
}

/// Whether a span is bad enough to explain others. While the agent was cut off, so may have been all the rest.
fn weighs(span: &Span) -> bool {
    span.oddity.state() == LaneState::Bad || matches!(span.oddity, Oddity::LossBurst | Oddity::CutOff(_))
}

/// Until when a burst may have begun that a span belongs to which began before it: of losses by chance, several in a row
/// can fall to what is asked of one target before enough have fallen to its lane to show. `None` for what is no such
/// run and no burst.
fn before_a_burst(span: &Span) -> Option<Moment> {
    match span.oddity {
        Oddity::LossBurst => Some(span.start.latest + RECOVERY),
        Oddity::Silent | Oddity::TargetMissing(_) => {
            let end = span.end?;
            span.is_short_run().then(|| end.latest + RECOVERY)
        }
        _ => None,
    }
}

/// Whether `inner` explains `outer`: further in, bad enough, and `outer` began while it lasted.
fn explains(inner: &Span, outer: &Span, now: Moment) -> bool {
    let meets = inner.start.earliest - SLACK <= outer.start.latest
        && outer.start.earliest <= inner.end.map_or(now, |e| e.latest) + SLACK;
    if matches!(outer.oddity, Oddity::CommunicatorAbsent(_)) {
        return meets && weighs(inner) && matches!(inner.lane, Lane::Power | Lane::Link | Lane::Router);
    }
    // An address comes back a moment before its route.
    if inner.lane == Lane::Address && outer.lane == Lane::Address {
        return meets && inner.oddity == Oddity::NoAddress && outer.oddity == Oddity::NoRoute;
    }
    // What is asked a few times with larger packets or after longer pauses can be lost like the rest.
    if matches!(outer.oddity, Oddity::MtuBlackHole { .. } | Oddity::IdleTimeout { .. }) {
        return meets && weighs(inner) && rank(inner.lane) < rank(outer.lane);
    }
    if matches!(inner.oddity, Oddity::Slow { .. }) {
        // A full line loses packets as well, and a slow hop makes all beyond it slow.
        let brings = match outer.oddity {
            Oddity::LossBurst => rank(inner.lane) <= rank(outer.lane),
            Oddity::Slow { .. } => rank(inner.lane) < rank(outer.lane),
            _ => false,
        };
        return meets && brings;
    }
    // Two hosts with one address take turns to get what is meant for one of them: losses all along, silence at first.
    if matches!(inner.oddity, Oddity::GatewayTwice(_) | Oddity::AddressConflict(_)) {
        let at_first = outer.start.earliest <= inner.start.latest + RECOVERY;
        let brings = match outer.oddity {
            Oddity::LossBurst => true,
            Oddity::Silent => at_first,
            _ => false,
        };
        return meets && brings && rank(inner.lane) <= rank(outer.lane);
    }
    let answered =
        outer.lane == Lane::Receiver && matches!(outer.main_failure(), Some(Outcome::Refused | Outcome::Reset));
    if inner.oddity == Oddity::LossBurst
        && !answered
        && before_a_burst(outer)
            .is_some_and(|until| outer.start.latest <= inner.start.latest && inner.start.earliest <= until)
    {
        return rank(inner.lane) < rank(outer.lane)
            || (inner.lane == outer.lane && matches!(outer.oddity, Oddity::TargetMissing(_)));
    }
    // While much is lost, one of several may seem to be missing.
    if inner.lane == outer.lane && inner.oddity == Oddity::LossBurst && matches!(outer.oddity, Oddity::TargetMissing(_))
    {
        let over = |s: &Span| s.end.map_or(now, |e| e.latest);
        return meets && over(outer) <= over(inner) + RECOVERY;
    }
    let condition = !matches!(outer.oddity, Oddity::Silent | Oddity::LossBurst | Oddity::TargetMissing(_))
        && outer.oddity.state() != LaneState::Bad;
    // Only what can't have been seen otherwise: a lane that was bad in one look and good in the next was seen.
    let cut = matches!(inner.oddity, Oddity::CutOff(_));
    let unseen = !cut || (outer.start.earliest <= inner.start.latest && outer.start.latest >= inner.start.latest);
    weighs(inner) && !answered && !condition && unseen && rank(inner.lane) < rank(outer.lane) && meets
}

/// When the path could not deliver because of this trouble.
fn path_down(t: &Trouble, lanes: &[LaneRecord], has_receivers: bool, now: Moment) -> Option<(Edge, Option<Edge>)> {
    let receivers_seen = has_receivers && lanes.iter().any(|l| l.lane == Lane::Receiver && l.reach.is_some());
    let last = if receivers_seen { Lane::Receiver } else { Lane::Outside };
    // Where the last lane answered all the same, the path has another way.
    let answered = |s: &Span| lanes.iter().any(|l| l.lane == last && l.answered_inside(s, now));
    let stops = |s: &&Span| {
        (s.oddity.state() == LaneState::Bad || s.is_mostly_lost())
            && (s.lane == last || (matches!(s.lane, Lane::Link | Lane::Address) && !answered(s)))
    };
    // The path goes with the lane it hangs on, but not with the mains: gear may hold out on battery.
    let hangs_on = t.root.lane != Lane::Power;
    let mut down: Option<(Edge, Option<Edge>)> = None;
    for span in std::iter::once(&t.root).chain(&t.followers).filter(stops) {
        // A follower's own edges are duller than the root's: the path went when the root went, but for what was lost
        // before a burst showed.
        let before = span.start.latest < t.root.start.earliest;
        let from = if span.lane == t.root.lane || !hangs_on || before { span.start } else { t.root.start };
        down = Some(match down {
            None => (from, span.end),
            Some((start, end)) => {
                let earlier = if from.midpoint() < start.midpoint() { from } else { start };
                let later = match (end, span.end) {
                    (Some(a), Some(b)) => Some(if a.midpoint() > b.midpoint() { a } else { b }),
                    _ => None,
                };
                (earlier, later)
            }
        });
    }
    down
}

#[cfg(test)]
mod tests {
    use super::*;

    fn m(second: i64) -> Moment {
        Moment(second * 1_000_000)
    }

    fn span(lane: Lane, oddity: Oddity, from: i64, to: i64) -> Span {
        Span { end: Some(Edge::exact(m(to))), ..Span::new(lane, oddity, Edge::exact(m(from))) }
    }

    /// From when to when the path is down by a trouble of the line that the receiver's silences follow.
    fn down(root: i64, silences: &[(i64, i64)]) -> Option<(Moment, Option<Moment>)> {
        let mut trouble = Trouble::new(span(Lane::Outside, Oddity::Silent, root, 160));
        trouble.followers = silences.iter().map(|(a, b)| span(Lane::Receiver, Oddity::Silent, *a, *b)).collect();
        let receiver = LaneRecord {
            lane: Lane::Receiver,
            spans: Vec::new(),
            reach: Some((m(0), m(300))),
            blind: Vec::new(),
            answers: Vec::new(),
            patches: Vec::new(),
            two_turns: Micros::from_secs(10),
        };
        path_down(&trouble, &[receiver], true, m(300)).map(|(a, b)| (a.midpoint(), b.map(Edge::midpoint)))
    }

    #[test]
    fn the_path_is_down_from_where_the_line_went_to_the_last_that_came_back() {
        assert_eq!(down(100, &[(103, 130), (140, 170)]), Some((m(100), Some(m(170)))));
        assert_eq!(down(100, &[(103, 170), (140, 150)]), Some((m(100), Some(m(170)))));
        // What was lost before the line's own losses showed was lost as well.
        assert_eq!(down(100, &[(95, 170)]), Some((m(95), Some(m(170)))));
        assert_eq!(down(100, &[]), None);
    }

    #[test]
    fn a_communicator_may_be_gone_with_the_mains_and_not_with_the_names() {
        let gone = span(Lane::Address, Oddity::CommunicatorAbsent("panel".into()), 120, 200);
        let by = |lane, oddity| explains(&span(lane, oddity, 100, 210), &gone, m(300));
        assert!(by(Lane::Power, Oddity::MainsLost) && by(Lane::Router, Oddity::Silent));
        assert!(!by(Lane::Names, Oddity::Silent) && !by(Lane::Outside, Oddity::Silent));
    }
}
