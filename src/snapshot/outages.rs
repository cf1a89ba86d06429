//! Outages as everybody counts them: each with its edges, over the whole record or a window of it.
//!
//! Counts and adds only what the snapshot holds. The path is down between the middles of its edges; where two troubles
//! cut the path at once, that time counts once.

use super::{LaneState, LaneView, Snapshot, Trouble};
use crate::judge::{Edge, Lane, Micros, Moment, Outage, supervision};

/// One outage.
#[derive(Clone, Copy, Debug)]
pub struct Bout<'a> {
    /// The trouble that cut the path.
    pub trouble: &'a Trouble,
    /// Since when: earliest, middle, latest, seconds on the record's axis.
    pub from_s: [f64; 3],
    /// Until when likewise; `None` while it lasts.
    pub to_s: Option<[f64; 3]>,
}

impl<'a> Bout<'a> {
    /// The outage a trouble was; `None` where the path still carried.
    pub fn of(trouble: &'a Trouble) -> Option<Self> {
        trouble.outage.then(|| Self {
            trouble,
            from_s: trouble.down_from_s.unwrap_or(trouble.start_s),
            to_s: if trouble.down_from_s.is_some() { trouble.down_to_s } else { trouble.end_s },
        })
    }

    /// Length in seconds: at least, between the middles, at most. While it lasts, up to `now_s`.
    pub fn length_s(&self, now_s: f64) -> [f64; 3] {
        let to = self.to_s.unwrap_or([now_s; 3]);
        [to[0] - self.from_s[2], to[1] - self.from_s[1], to[2] - self.from_s[0]].map(|l| l.max(0.0))
    }

    /// Whether it was longer than a station waits in silence (`interval_s`); `None` where the edges leave it open.
    pub fn noticed(&self, interval_s: f64, now_s: f64) -> Option<bool> {
        let moment = |s: f64| Moment((s * 1e6) as i64);
        let edge = |[a, _, b]: [f64; 3]| Edge::between(moment(a), moment(b));
        let outage = Outage { from: edge(self.from_s), to: self.to_s.map(edge) };
        supervision::known(&outage, Micros((interval_s * 1e6) as i64), moment(now_s))
    }

    /// The chance that such a station noticed it where the communicator checks in every `check_in_s`: at least, at most.
    pub fn chance(&self, interval_s: f64, check_in_s: f64, now_s: f64) -> [f64; 2] {
        let micros = |s: f64| Micros((s * 1e6) as i64);
        let [least, _, most] = self.length_s(now_s);
        [least, most].map(|l| supervision::chance(micros(l), micros(interval_s), micros(check_in_s)))
    }
}

/// A stretch of the record and the outages that touch it.
#[derive(Clone, Debug)]
pub struct Window<'a> {
    /// From, seconds on the record's axis.
    pub from_s: f64,
    /// To.
    pub to_s: f64,
    /// Outages that touch it, in order of time.
    pub bouts: Vec<Bout<'a>>,
    /// Seconds of it in which the path was seen.
    pub seen_s: f64,
    /// Troubles that began in it and did not cut the path.
    pub others: usize,
}

impl<'a> Window<'a> {
    /// The last `length_s` of the record, or all of it where it is no longer.
    pub fn last(s: &'a Snapshot, length_s: f64) -> Self {
        let to_s = s.watch.elapsed_s;
        let from_s = (to_s - length_s).max(0.0);
        let mut bouts: Vec<Bout> = s.troubles.iter().filter_map(Bout::of).collect();
        bouts.retain(|b| b.from_s[1] < to_s && b.to_s.is_none_or(|t| t[1] > from_s));
        bouts.sort_by(|a, b| a.from_s[1].total_cmp(&b.from_s[1]));
        let others = s.troubles.iter().filter(|t| !t.outage && t.start_s[1] >= from_s).count();
        Self { from_s, to_s, bouts, seen_s: seen(s, from_s, to_s), others }
    }

    /// How long it is, seconds.
    pub fn length_s(&self) -> f64 {
        self.to_s - self.from_s
    }

    /// Seconds of it in which the path was down.
    pub fn down_s(&self) -> f64 {
        down_s(&self.bouts, self.from_s, self.to_s)
    }

    /// The longest outage of it.
    pub fn longest(&self) -> Option<&Bout<'a>> {
        let length = |b: &Bout| b.length_s(self.to_s)[1];
        self.bouts.iter().max_by(|a, b| length(a).total_cmp(&length(b)))
    }
}

/// Seconds between two moments in which one or more of the outages, in order of time, cut the path: time that two share
/// counts once.
pub fn down_s(bouts: &[Bout<'_>], from_s: f64, to_s: f64) -> f64 {
    union(bouts.iter().map(|b| [b.from_s[1].max(from_s), b.to_s.map_or(to_s, |t| t[1]).min(to_s)]))
}

/// Length of spans together, in order of their beginnings: what two share counts once.
pub fn union(spans: impl Iterator<Item = [f64; 2]>) -> f64 {
    let add = |(total, reached): (f64, f64), [from, to]: [f64; 2]| {
        let from = from.max(reached);
        if to > from { (total + to - from, to) } else { (total, reached) }
    };
    spans.fold((0.0, f64::NEG_INFINITY), add).0
}

/// Seconds of a stretch in which the outermost lane that was seen at all was seen.
fn seen(s: &Snapshot, from_s: f64, to_s: f64) -> f64 {
    if from_s <= 0.0 {
        return s.watch.observed_s;
    }
    let lanes = s.lanes.iter().filter(|l| matches!(l.lane, Lane::Outside | Lane::Receiver));
    let looked = |l: &LaneView| -> f64 {
        let seen = l.stretches.iter().filter(|x| x.state != LaneState::Blind);
        seen.map(|x| (x.to_s.min(to_s) - x.from_s.max(from_s)).max(0.0)).sum()
    };
    lanes.map(looked).rfind(|s| *s > 0.0).unwrap_or(0.0).min(s.watch.observed_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Actor, Cause};

    fn trouble(from: f64, to: Option<f64>) -> Trouble {
        let around = |x: f64| [x - 2.0, x, x + 2.0];
        Trouble {
            number: 1,
            lane: Lane::Outside,
            cause: Cause::AccessLine,
            sentence: String::new(),
            start_s: around(from),
            end_s: to.map(around),
            outage: true,
            down_from_s: Some(around(from)),
            down_to_s: to.map(around),
            unwatched: false,
            confidence: 0.9,
            evidence: Vec::new(),
            evidence_for: Vec::new(),
            evidence_against: Vec::new(),
            not_excluded: Vec::new(),
            alternatives: Vec::new(),
            technician: String::new(),
            step: String::new(),
            proof: String::new(),
            who: Actor::Provider,
            station_would_know: None,
        }
    }

    #[test]
    fn time_that_two_troubles_share_counts_once_and_windows_cut() {
        let mut s = Snapshot::default();
        s.watch.elapsed_s = 1_000.0;
        s.watch.observed_s = 990.0;
        s.troubles = vec![trouble(100.0, Some(200.0)), trouble(150.0, Some(260.0)), trouble(900.0, None)];
        let all = Window::last(&s, 1e9);
        assert_eq!((all.bouts.len(), all.down_s()), (3, 260.0));
        let late = Window::last(&s, 770.0);
        assert_eq!((late.from_s, late.bouts.len(), late.down_s()), (230.0, 2, 130.0));
        assert_eq!(all.longest().map(|b| b.from_s[1]), Some(150.0));
    }

    #[test]
    fn the_station_knows_what_is_surely_longer_and_not_what_is_surely_shorter() {
        let t = trouble(100.0, Some(200.0));
        let b = Bout::of(&t).expect("an outage");
        assert!(b.length_s(1_000.0).iter().zip([96.0, 100.0, 104.0]).all(|(a, b)| (a - b).abs() < 1e-9));
        assert_eq!([90.0, 100.0, 104.0].map(|i| b.noticed(i, 1_000.0)), [Some(true), None, Some(false)]);
        let open = trouble(900.0, None);
        let b = Bout::of(&open).expect("an outage");
        assert_eq!([90.0, 200.0].map(|i| b.noticed(i, 1_000.0)), [Some(true), None]);
    }

    #[test]
    fn troubles_that_cut_nothing_count_where_they_began() {
        let mut s = Snapshot::default();
        s.watch.elapsed_s = 1_000.0;
        let mild = |from| Trouble { outage: false, down_from_s: None, down_to_s: None, ..trouble(from, None) };
        s.troubles = vec![mild(100.0), mild(700.0), mild(800.0), trouble(900.0, None)];
        assert_eq!((Window::last(&s, 500.0).others, Window::last(&s, 1e9).others), (2, 3));
    }
}
