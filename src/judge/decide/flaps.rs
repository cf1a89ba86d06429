//! Flaps: how often a lane goes and comes back, and whether so often that single ones are no longer news.
//!
//! Counts every loss and return of a lane that was over within [`FLAP_WITHIN`]; a carrier lost several times in one
//! span counts each time, by the kernel's counters. The penalty is that of RFC 2439 with the constants of
//! `stats::flap`. A longer loss is an outage, not a flap.

use crate::judge::facts::Lane;
use crate::judge::facts::{Micros, Moment};
use crate::judge::lanes::record::LaneRecord;
use crate::judge::lanes::span::{LaneState, Oddity};
use crate::judge::stats::Interval;
use crate::judge::stats::flap::{Damping, Standing};
use crate::judge::stats::rate;

/// A loss that came back within this time is a flap (choice: shorter than any restart of a router; longer than what the
/// retries of a communicator bridge without delay).
pub const FLAP_WITHIN: Micros = Micros::from_secs(30);

/// Flaps of one lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flaps {
    /// Which.
    pub lane: Lane,
    /// How many.
    pub count: u64,
    /// Flaps a day with 95 % Poisson bounds (Garwood).
    pub per_day: (f64, Interval),
    /// Penalty now.
    pub penalty: f64,
    /// The highest it was.
    pub peak: f64,
    /// Whether the lane counts as flapping now.
    pub flapping: bool,
}

/// Flaps of every lane that had one.
pub fn flaps(lanes: &[LaneRecord], planned: &[(Moment, Moment)], now: Moment) -> Vec<Flaps> {
    lanes.iter().filter_map(|l| of_lane(l, planned, now)).collect()
}

fn of_lane(lane: &LaneRecord, planned: &[(Moment, Moment)], now: Moment) -> Option<Flaps> {
    let (first, last) = lane.reach?;
    let rule = Damping::CAREFUL;
    let (mut standing, mut count, mut peak) = (Standing::default(), 0, 0.0_f64);
    for span in lane.spans.iter().filter(|s| s.oddity.state() == LaneState::Bad && !s.from_first_look) {
        let start = span.start.midpoint();
        if span.end.is_none_or(|e| e.midpoint() - start > FLAP_WITHIN)
            || planned.iter().any(|(a, b)| *a <= start && start < *b)
        {
            continue;
        }
        let times = if let Oddity::CarrierLost { times } = span.oddity { u64::from(times).max(1) } else { 1 };
        for _ in 0..times.min(1_000) {
            peak = peak.max(standing.flap(rule, start.secs()));
        }
        count += times;
    }
    if count == 0 {
        return None;
    }
    let days = ((last - first).secs() / 86_400.0).max(1e-9);
    Some(Flaps {
        lane: lane.lane,
        count,
        per_day: (count as f64 / days, rate::garwood(count, days, 0.95)),
        penalty: standing.penalty(rule, now.secs()),
        peak,
        flapping: standing.suppressed(rule, now.secs()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::facts::Edge;
    use crate::judge::lanes::span::Span;
    use crate::judge::stats::testing::close;

    fn m(s: i64) -> Moment {
        Moment(s * 1_000_000)
    }

    fn lane(spans: &[(i64, i64)]) -> LaneRecord {
        let spans = spans
            .iter()
            .map(|(from, length)| {
                let mut s = Span::new(Lane::Link, Oddity::CarrierLost { times: 1 }, Edge::exact(m(*from)));
                s.end = Some(Edge::exact(m(from + length)));
                s
            })
            .collect();
        LaneRecord {
            lane: Lane::Link,
            spans,
            reach: Some((m(0), m(86_400))),
            blind: vec![],
            answers: vec![],
            patches: vec![],
            two_turns: Micros::ZERO,
        }
    }

    #[test]
    fn the_penalty_is_that_of_the_check_values() {
        // Worked out elsewhere [CALC26]: flaps at 0, 60, 120, 180 s with a half-life of 900 s -> 3737.114656.
        let of = flaps(&[lane(&[(0, 1), (60, 1), (120, 1), (180, 1)])], &[], m(180));
        assert_eq!((of[0].count, of[0].flapping), (4, false));
        close(of[0].peak, 3_737.114_656, 1e-9);
    }

    #[test]
    fn a_long_loss_and_a_drill_are_no_flaps() {
        assert!(flaps(&[lane(&[(0, 31)])], &[], m(100)).is_empty());
        assert!(flaps(&[lane(&[(50, 1)])], &[(m(40), m(60))], m(100)).is_empty());
    }
}
