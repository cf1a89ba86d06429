//! The look: what every lane held so far, explained, and the time in which the path was seen.
//!
//! Decides which lanes show the path and what counts as seen of it. Judges no requirement.

use super::Judge;
use crate::judge::causes::look::Look;
use crate::judge::causes::pattern::Days;
use crate::judge::causes::{self, Around, LaneRecord};
use crate::judge::facts::stretches;
use crate::judge::facts::{Lane, Micros, Moment};
use crate::judge::lanes::lane::LaneTracker;
use crate::judge::lanes::span::Oddity;

impl Judge {
    /// Judges what was seen so far. Does not change the judge.
    pub fn look(&self) -> Look {
        let settled = self.folded.asked.each_ref().map(LaneTracker::settled);
        let never_answered = settled.iter().flat_map(|t| t.never_answered().map(|(q, n)| (q, n.to_string()))).collect();
        let random_loss = settled.iter().map(|t| (t.lane(), t.random_loss().0, t.random_loss().1)).collect();
        let mut asked = settled.map(LaneTracker::into_record);
        let mut conditions = self.folded.standings.condition_spans();
        conditions.extend(self.folded.ground.spans());
        let mut lanes = Vec::with_capacity(Lane::ALL.len());
        for lane in Lane::ALL {
            let standing = |spans, reach, blind: &[_]| LaneRecord {
                lane,
                spans,
                reach,
                blind: blind.to_vec(),
                answers: Vec::new(),
                patches: Vec::new(),
                two_turns: Micros::ZERO,
            };
            let mut record = match lane {
                Lane::Power => {
                    standing(self.folded.power.spans(), self.folded.power.reach(), self.folded.power.blind())
                }
                Lane::Link => standing(self.folded.link.spans(), self.folded.link.reach(), self.folded.link.blind()),
                Lane::Address => standing(
                    self.folded.standings.own_spans(),
                    self.folded.standings.reach(),
                    self.folded.standings.blind(),
                ),
                _ => match asked.iter_mut().find(|r| r.lane == lane) {
                    Some(record) => std::mem::replace(record, standing(Vec::new(), None, &[])),
                    None => standing(Vec::new(), None, &[]),
                },
            };
            record.spans.extend(conditions.iter().filter(|s| s.lane == lane).cloned());
            record.spans.sort_by_key(|s| s.start.midpoint());
            record.blind.extend(self.folded.blind.iter().copied());
            // Nobody has looked for a while and has not looked again since.
            if let Some((_, last)) = record.reach
                && self.folded.now - last > self.settings.gap_of(lane)
            {
                record.blind.push((last, self.folded.now));
            }
            record.blind = stretches::merged(record.blind);
            lanes.push(record);
        }
        // With a receiver named, the path is seen only where that receiver was asked.
        let end = if self.settings.receivers.is_empty() { Lane::Outside } else { Lane::Receiver };
        let path: Vec<&LaneRecord> = lanes.iter().filter(|l| l.lane == end && l.reach.is_some()).collect();
        let planned = self.planned();
        let seen = stretches::less(&observed(&path), &planned);
        let observed = stretches::total(&seen);
        let around = Around {
            lanes: &lanes,
            spans: &lanes.iter().map(|l| l.timeline(self.folded.now)).collect::<Vec<_>>(),
            has_receivers: !self.settings.receivers.is_empty(),
            power: &self.folded.power,
            ground: &self.folded.ground,
            patterns: &[],
            now: self.folded.now,
        };
        let mains: Vec<_> = self.folded.power.spans().into_iter().filter(|s| s.oddity == Oddity::MainsLost).collect();
        let lease_age = |at| self.folded.ground.lease_age_at(at);
        let days = Days { zero: self.folded.began, mains: &mains, lease_age: &lease_age, watched: observed };
        let (troubles, patterns) = causes::explain(&around, &days);
        let (rehearsed, troubles) = troubles.into_iter().partition(|t| t.within(&planned, self.folded.now));
        Look {
            now: self.folded.now,
            observed,
            seen,
            planned,
            troubles,
            rehearsed,
            patterns,
            changes: self.folded.ground.changes().to_vec(),
            never_answered,
            random_loss,
            lanes,
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
    stretches::merged(seen)
}
