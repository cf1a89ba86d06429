//! Would an alarm raised at a random moment get through in time, on this site's retry schedule?
//!
//! Decides the figure, bracketed by what the edges of outages leave open, and from which moments no attempt gets
//! through, so that a bound can be put on it. The sums are `stats::delivery`. Mean, 95th percentile and maximum of the
//! wait are the terms EN 50136-1 grades transmission times by (from memory) [EN50136]; the latency of an attempt is not in them.

use crate::judge::decide::evidence::Evidence;
use crate::judge::decide::outage::Reading;
pub use crate::judge::decide::signalling::{DEFAULT_RETRIES, DEFAULT_WITHIN, Signalling};
use crate::judge::facts::{Micros, Moment};
use crate::judge::stats::delivery::{Outcome, Span, Trace};
use crate::judge::stats::duration::Lasted;

/// The figure: two outcomes between which the truth lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delivery {
    /// The time it is about.
    pub within: Micros,
    /// Outages as short as their edges allow, everything unseen up.
    pub best: Outcome,
    /// As long as their edges allow, everything unseen down.
    pub worst: Outcome,
}

/// The figure for the evidence; `None` if nothing was seen.
pub fn delivery(e: &Evidence, within: Micros) -> Option<Delivery> {
    let offsets = e.signalling.offsets(within);
    let blind = spans(&e.unseen);
    let sweep = |reading| {
        let outages: Vec<Span> = e.outages.iter().map(|o| o.seconds(reading, e.now())).collect();
        Trace { length: e.elapsed.secs(), outages: &outages, blind: &blind }.on_schedule(&offsets, e.attempt_loss)
    };
    Some(Delivery { within, best: sweep(Reading::Shortest)?.best, worst: sweep(Reading::Longest)?.worst })
}

/// The moments from which every attempt meets an outage, as spans of time, with their lengths: outages of delivery.
///
/// Attempts may meet two different outages, so this is the common part of the outages shifted by each attempt.
pub fn undelivered(e: &Evidence, within: Micros) -> Vec<Lasted> {
    let now = e.now();
    let down: Vec<Span> = e.outages.iter().map(|o| o.seconds(Reading::Middle, now)).collect();
    let open = e.outages.iter().any(|o| o.to.is_none());
    let mut common: Option<Vec<Span>> = None;
    for offset in e.signalling.offsets(within) {
        let shifted: Vec<Span> = down
            .iter()
            .map(|s| Span { from: (s.from - offset).max(0.0), to: s.to - offset })
            .filter(|s| s.to > s.from)
            .collect();
        common = Some(match common {
            None => shifted,
            Some(before) => both(&before, &shifted),
        });
    }
    let common = common.unwrap_or_default();
    let last = common.len().saturating_sub(1);
    // Only the one at the end can still be running.
    common.iter().enumerate().map(|(i, s)| Lasted { seconds: s.to - s.from, ended: !(open && i == last) }).collect()
}

/// The common part of two lists of spans, each in order and disjoint.
fn both(a: &[Span], b: &[Span]) -> Vec<Span> {
    let (mut i, mut j, mut out) = (0, 0, Vec::new());
    while let (Some(x), Some(y)) = (a.get(i), b.get(j)) {
        let (from, to) = (x.from.max(y.from), x.to.min(y.to));
        if from < to {
            out.push(Span { from, to });
        }
        if x.to < y.to { i += 1 } else { j += 1 }
    }
    out
}

fn spans(blind: &[(Moment, Moment)]) -> Vec<Span> {
    blind.iter().map(|(a, b)| Span { from: a.secs(), to: b.secs() }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::outage::Outage;
    use crate::judge::decide::signalling::{DEFAULT_WITHIN, Signalling};
    use crate::judge::facts::Edge;
    use crate::judge::stats::testing::{TRACE_A, TRACE_A_LENGTH, close};
    use proptest::prelude::*;

    fn m(s: f64) -> Moment {
        Moment((s * 1e6) as i64)
    }

    fn evidence(length: f64, outages: &[(f64, f64)]) -> Evidence {
        let outages = outages.iter().map(|(from, l)| Outage::exact(m(*from), Some(m(from + l)))).collect();
        Evidence::new(Micros((length * 1e6) as i64), outages)
    }

    #[test]
    fn the_default_schedule_gives_the_published_figure() {
        // TRACE-A, schedule 0, 5, 15, 35, 75 s -> 0.01552579365 [CALC26].
        let e = evidence(TRACE_A_LENGTH, &TRACE_A);
        let d = delivery(&e, DEFAULT_WITHIN).expect("seen");
        close(d.best.miss, 0.015_525_793_65, 1e-9);
        assert_eq!((d.best.q95, d.best.longest), (Some(0.0), Some(75.0)));
        let missed: f64 = undelivered(&e, DEFAULT_WITHIN).iter().map(|x| x.seconds).sum();
        close(missed / TRACE_A_LENGTH, 0.015_525_793_65, 1e-9);
    }

    #[test]
    fn attempts_that_meet_two_outages_are_counted() {
        // TRACE-B, schedule 0, 40 -> 0.09; 0, 20, 40 -> 0.08 [CALC26].
        let mut e = evidence(1000.0, &[(100.0, 30.0), (140.0, 30.0), (400.0, 100.0)]);
        for (retries, want) in [(&[0, 40][..], 0.09), (&[0, 20, 40], 0.08)] {
            e.signalling.retries = retries.iter().map(|s| Micros::from_secs(*s)).collect();
            close(delivery(&e, DEFAULT_WITHIN).expect("seen").best.miss, want, 1e-12);
            let missed: f64 = undelivered(&e, DEFAULT_WITHIN).iter().map(|x| x.seconds).sum();
            close(missed / 1000.0, want, 1e-12);
        }
    }

    #[test]
    fn dull_edges_widen_the_bracket() {
        let mut e = evidence(1000.0, &[(100.0, 200.0)]);
        e.signalling.retries = vec![Micros::ZERO];
        e.outages[0].from = Edge::between(m(90.0), m(110.0));
        let d = delivery(&e, DEFAULT_WITHIN).expect("seen");
        close(d.best.miss, 0.19, 1e-9);
        close(d.worst.miss, 0.21, 1e-9);
    }

    #[test]
    fn a_retry_after_the_deadline_does_not_count() {
        let s =
            Signalling { retries: [0, 30, 120].map(Micros::from_secs).to_vec(), within: DEFAULT_WITHIN, named: true };
        assert_eq!(s.offsets(Micros::from_secs(90)), [0.0, 30.0]);
        assert_eq!(s.offsets(Micros::from_secs(120)), [0.0, 30.0, 120.0]);
    }

    proptest! {
        #[test]
        fn the_spans_and_the_sweep_agree(outages in prop::collection::vec((0i64..900, 1i64..80), 0..10)) {
            let seconds: Vec<(f64, f64)> = outages.iter().map(|(a, l)| (*a as f64, *l as f64)).collect();
            let mut e = evidence(2_000.0, &seconds);
            e.outages = crate::judge::decide::outage::joined(e.outages, m(2_000.0));
            let missed: f64 = undelivered(&e, DEFAULT_WITHIN).iter().map(|x| x.seconds).sum();
            prop_assert!((missed / 2_000.0 - delivery(&e, DEFAULT_WITHIN).expect("seen").best.miss).abs() < 1e-9);
        }
    }
}
