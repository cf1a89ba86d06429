//! Outages of the path with both edges bracketed, and what must be left out of the count.
//!
//! Decides how planned spans (drills, works) are cut from outages. Does not find outages:
//! `causes` does, from the lanes.

pub use crate::judge::facts::stretches::total;
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::stats::delivery;
use crate::judge::stats::duration::Lasted;

/// One outage of the path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outage {
    /// When it began.
    pub from: Edge,
    /// When it ended; `None` while it lasts.
    pub to: Option<Edge>,
}

/// Which reading of the edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reading {
    /// The latest start and the earliest end.
    Shortest,
    /// The middles.
    Middle,
    /// The earliest start and the latest end.
    Longest,
}

impl Outage {
    /// An outage whose edges are known exactly.
    pub fn exact(from: Moment, to: Option<Moment>) -> Self {
        Self { from: Edge::exact(from), to: to.map(Edge::exact) }
    }

    /// From and to by one reading; `now` closes an open one. Never ends before it begins.
    pub fn span(&self, reading: Reading, now: Moment) -> (Moment, Moment) {
        let pick = |e: Edge, late: bool| match reading {
            Reading::Middle => e.midpoint(),
            Reading::Shortest if late => e.earliest,
            Reading::Longest if !late => e.earliest,
            _ => e.latest,
        };
        let from = pick(self.from, false);
        (from, self.to.map_or(now, |e| pick(e, true)).max(from))
    }

    /// Its length by one reading.
    pub fn length(&self, reading: Reading, now: Moment) -> Micros {
        let (from, to) = self.span(reading, now);
        to - from
    }

    /// Its length between the middles of its edges, running on while it lasts.
    pub fn lasted(&self, now: Moment) -> Lasted {
        Lasted { seconds: self.length(Reading::Middle, now).secs(), ended: self.to.is_some() }
    }

    /// The same for the delivery sweep.
    pub fn seconds(&self, reading: Reading, now: Moment) -> delivery::Span {
        let (from, to) = self.span(reading, now);
        delivery::Span { from: from.secs(), to: to.secs() }
    }
}

/// Outages in order, overlapping ones joined: each moment counts once.
pub fn joined(mut outages: Vec<Outage>, now: Moment) -> Vec<Outage> {
    outages.sort_by_key(|o| o.span(Reading::Middle, now));
    let mut out: Vec<Outage> = Vec::with_capacity(outages.len());
    for o in outages {
        match out.last_mut() {
            Some(last) if o.from.midpoint() <= last.span(Reading::Middle, now).1 => {
                last.to = match (last.to, o.to) {
                    (Some(a), Some(b)) => Some(if a.midpoint() >= b.midpoint() { a } else { b }),
                    _ => None,
                };
            }
            _ => out.push(o),
        }
    }
    out
}

/// What is left of outages outside the planned spans. An outage that runs into one ends there as far as anyone can
/// tell; one that runs on after it begins at its end.
pub fn without_planned(outages: &[Outage], planned: &[(Moment, Moment)], now: Moment) -> Vec<Outage> {
    let mut left = outages.to_vec();
    for (from, to) in planned {
        left = left
            .into_iter()
            .flat_map(|o| {
                let (a, b) = o.span(Reading::Middle, now);
                if b <= *from || *to <= a {
                    return [Some(o), None];
                }
                let before = (a < *from).then_some(Outage { from: o.from, to: Some(Edge::exact(*from)) });
                let after = (b > *to).then_some(Outage { from: Edge::exact(*to), to: o.to });
                [before, after]
            })
            .flatten()
            .collect();
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    fn m(s: i64) -> Moment {
        Moment(s * 1_000_000)
    }

    #[test]
    fn a_drill_is_cut_out_of_the_outages_it_meets() {
        let now = m(1_000);
        let all = [Outage::exact(m(10), Some(m(20))), Outage::exact(m(90), Some(m(150))), Outage::exact(m(180), None)];
        let left = without_planned(&all, &[(m(100), m(120)), (m(170), m(300))], now);
        let spans: Vec<_> = left.iter().map(|o| o.span(Reading::Middle, now)).collect();
        assert_eq!(spans, [(m(10), m(20)), (m(90), m(100)), (m(120), m(150)), (m(300), now)]);
        assert!(left[3].to.is_none());
    }

    #[test]
    fn readings_bracket_the_middle_and_never_turn_round() {
        let o = Outage { from: Edge::between(m(10), m(14)), to: Some(Edge::between(m(12), m(20))) };
        assert_eq!(o.span(Reading::Longest, m(99)), (m(10), m(20)));
        assert_eq!(o.span(Reading::Middle, m(99)), (m(12), m(16)));
        assert_eq!(o.span(Reading::Shortest, m(99)), (m(14), m(14)));
    }

    #[test]
    fn outages_that_touch_are_one_that_ends_with_the_last() {
        let spans = |all: &[(i64, i64)]| {
            let all = all.iter().map(|(a, b)| Outage::exact(m(*a), Some(m(*b)))).collect();
            joined(all, m(100)).iter().map(|o| o.span(Reading::Middle, m(100))).collect::<Vec<_>>()
        };
        assert_eq!(spans(&[(10, 20), (20, 30)]), [(m(10), m(30))]);
        assert_eq!(spans(&[(10, 40), (20, 30)]), [(m(10), m(40))]);
        assert_eq!(spans(&[(10, 20), (21, 30)]), [(m(10), m(20)), (m(21), m(30))]);
    }
}
