//! Would an alarm raised at a random moment get through?
//!
//! Decides, exactly over a trace of outages, the probability that an alarm is not delivered within its time or its
//! retries, and how long delivered ones wait. Does not decide what an outage is, nor adds the latency of a successful
//! attempt. No model of the outages is needed. What lies after the trace, and blind spans in it, bound the answer from
//! both sides. The terms mean, 95th percentile and maximum are those EN 50136-1 grades (from memory) [EN50136].

/// A half-open span of seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// First second.
    pub from: f64,
    /// End, not included.
    pub to: f64,
}

/// What was seen of a path.
#[derive(Clone, Copy, Debug)]
pub struct Trace<'a> {
    /// Length of the observation, seconds, from zero.
    pub length: f64,
    /// Outages; may overlap or be out of order.
    pub outages: &'a [Span],
    /// Spans not measured: no alarm is raised there, and an attempt there may go either way.
    pub blind: &'a [Span],
}

/// How an alarm fares on a retry schedule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outcome {
    /// Probability that no attempt gets through.
    pub miss: f64,
    /// Mean wait of those that do, seconds; `None` if none does.
    pub mean: Option<f64>,
    /// Wait that 95 % of those do not exceed.
    pub q95: Option<f64>,
    /// Longest wait of those.
    pub longest: Option<f64>,
}

/// The two answers between which the truth lies: unseen moments all up, or all down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bracket {
    /// If blind spans and everything after the trace were up.
    pub best: Outcome,
    /// If they were down.
    pub worst: Outcome,
}

/// Sorted, disjoint, inside [0, `end`].
fn tidy(spans: impl Iterator<Item = Span>, end: f64) -> Vec<Span> {
    let mut sorted: Vec<Span> =
        spans.map(|s| Span { from: s.from.max(0.0), to: s.to.min(end) }).filter(|s| s.from < s.to).collect();
    sorted.sort_by(|a, b| a.from.total_cmp(&b.from));
    let mut merged: Vec<Span> = Vec::with_capacity(sorted.len());
    for span in sorted {
        match merged.last_mut() {
            Some(last) if span.from <= last.to => last.to = last.to.max(span.to),
            _ => merged.push(span),
        }
    }
    merged
}

fn total(spans: &[Span]) -> f64 {
    spans.iter().map(|s| s.to - s.from).sum()
}

impl Trace<'_> {
    /// Alarm at a uniform random seen moment; attempts `offsets` seconds after it, ascending, each lost with chance
    /// `attempt_loss` while the path is up. Sweep over the shifted ends of outages: O(n m (log n + m)).
    ///
    /// `None` if nothing was seen or there is no attempt.
    pub fn on_schedule(self, offsets: &[f64], attempt_loss: f64) -> Option<Bracket> {
        let blind = tidy(self.blind.iter().copied(), self.length);
        if offsets.is_empty() || self.length - total(&blind) <= 0.0 {
            return None;
        }
        let best = tidy(self.outages.iter().copied(), self.length);
        let after = Span { from: self.length, to: f64::INFINITY };
        let unseen = blind.iter().copied().chain([after]);
        let worst = tidy(self.outages.iter().copied().chain(unseen), f64::INFINITY);
        Some(Bracket {
            best: self.sweep(&best, &blind, offsets, attempt_loss),
            worst: self.sweep(&worst, &blind, offsets, attempt_loss),
        })
    }

    fn sweep(self, down: &[Span], blind: &[Span], offsets: &[f64], loss: f64) -> Outcome {
        // (moment, which, enters): which < m is an attempt meeting an outage, m is the alarm's own moment being blind.
        let m = offsets.len();
        let mut edges: Vec<(f64, usize, bool)> = Vec::with_capacity(2 * (down.len() * m + blind.len()));
        for (j, offset) in offsets.iter().enumerate() {
            for s in down {
                edges.push((s.from - offset, j, true));
                edges.push((s.to - offset, j, false));
            }
        }
        for s in blind {
            edges.push((s.from, m, true));
            edges.push((s.to, m, false));
        }
        // Ends first at one moment, so that touching spans do not count twice.
        edges.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        edges.push((self.length, m, false));
        let mut hit = vec![false; m + 1];
        let mut delivered = vec![0.0; m];
        let (mut missed, mut seen, mut from) = (0.0, 0.0, 0.0);
        for (at, which, enters) in edges {
            let to = at.clamp(from, self.length);
            if to > from && !hit[m] {
                seen += to - from;
                let mut left = to - from;
                for (share, blocked) in delivered.iter_mut().zip(&hit) {
                    let passes = if *blocked { 0.0 } else { 1.0 - loss };
                    *share += left * passes;
                    left *= 1.0 - passes;
                }
                missed += left;
            }
            from = to;
            hit[which] = enters;
        }
        let through: f64 = delivered.iter().sum();
        let some = (through > 0.0).then_some(());
        let mut sum = 0.0;
        Outcome {
            miss: missed / seen,
            mean: some.map(|()| delivered.iter().zip(offsets).map(|(d, s)| d * s).sum::<f64>() / through),
            q95: some.and_then(|()| {
                delivered.iter().zip(offsets).find_map(|(d, s)| {
                    sum += d;
                    (sum >= 0.95 * through).then_some(*s)
                })
            }),
            longest: delivered.iter().zip(offsets).rev().find(|(d, _)| **d > 0.0).map(|(_, s)| *s),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Lcg, TRACE_A, TRACE_A_LENGTH, close, near};
    use super::*;
    use proptest::prelude::*;

    fn spans(list: &[(f64, f64)]) -> Vec<Span> {
        list.iter().map(|(from, length)| Span { from: *from, to: from + length }).collect()
    }

    #[test]
    fn schedules_match() {
        // Worked out elsewhere [CALC26].
        let outages = spans(&TRACE_A);
        let a = Trace { length: TRACE_A_LENGTH, outages: &outages, blind: &[] };
        let five = [0.0, 5.0, 15.0, 35.0, 75.0];
        let best = |offsets: &[f64], q| a.on_schedule(offsets, q).expect("seen").best;
        for (q, want) in [(0.0, 0.015_525_793_65), (0.01, 0.015_528_960_35), (0.05, 0.015_542_464_72)] {
            close(best(&five, q).miss, want, 1e-9);
        }
        close(best(&[0.0], 0.01).miss, 0.025_968_006, 1e-8);
        let outcome = best(&five, 0.0);
        assert_eq!((outcome.q95, outcome.longest), (Some(0.0), Some(75.0)));
        // TRACE-B: attempts can fall into two different outages.
        let b_outages = spans(&[(100.0, 30.0), (140.0, 30.0), (400.0, 100.0)]);
        let b = Trace { length: 1000.0, outages: &b_outages, blind: &[] };
        close(b.on_schedule(&[0.0, 40.0], 0.0).expect("seen").best.miss, 0.09, 1e-12);
        close(b.on_schedule(&[0.0, 20.0, 40.0], 0.0).expect("seen").best.miss, 0.08, 1e-12);
    }

    #[test]
    fn what_was_not_seen_brackets_the_answer() {
        // One outage open at the end: alarms of its last 40 s may or may not have got through.
        let outages = spans(&[(900.0, 100.0)]);
        let open = Trace { length: 1000.0, outages: &outages, blind: &[] };
        let b = open.on_schedule(&[0.0, 40.0], 0.0).expect("seen");
        close(b.best.miss, 0.06, 1e-12);
        close(b.worst.miss, 0.10, 1e-12);
        // A blind half halves the seen time, and attempts out of [360, 400) into it may fail.
        let blind = spans(&[(400.0, 500.0)]);
        let half = Trace { blind: &blind, ..open };
        let b = half.on_schedule(&[0.0, 40.0], 0.0).expect("seen");
        close(b.best.miss, 60.0 / 500.0, 1e-12);
        close(b.worst.miss, 100.0 / 500.0, 1e-12);
        let nothing = spans(&[(0.0, 1000.0)]);
        assert_eq!(Trace { blind: &nothing, ..open }.on_schedule(&[0.0], 0.0), None);
        assert_eq!(open.on_schedule(&[], 0.0), None);
        // Down throughout: nobody waits, nobody is served.
        let b = Trace { length: 1000.0, outages: &nothing, blind: &[] }.on_schedule(&[0.0], 0.0).expect("seen");
        assert_eq!((b.best.mean, b.best.q95, b.best.longest), (None, None, None));
        close(b.best.miss, 1.0, 1e-12);
    }

    #[test]
    fn the_sweep_agrees_with_brute_force() {
        // 50 seeded traces on whole seconds; every second tried (alarm at its middle).
        let mut draw = Lcg(77);
        for _ in 0..50 {
            let pick = |top: f64, draw: &mut Lcg| (draw.uniform() * top).floor();
            let outages: Vec<Span> = (0..6)
                .map(|_| {
                    let from = pick(900.0, &mut draw);
                    Span { from, to: from + 1.0 + pick(80.0, &mut draw) }
                })
                .collect();
            let offsets = [0.0, 1.0 + pick(20.0, &mut draw), 30.0, 30.0 + pick(60.0, &mut draw)];
            let trace = Trace { length: 1000.0, outages: &outages, blind: &[] };
            let got = trace.on_schedule(&offsets, 0.0).expect("seen").best;
            let (mut missed, mut waits) = (0u32, Vec::new());
            for second in 0..1000 {
                let at = f64::from(second) + 0.5;
                let up = |t: f64| t >= 1000.0 || !outages.iter().any(|o| o.from <= t && t < o.to);
                match offsets.iter().find(|s| up(at + **s)) {
                    Some(s) => waits.push(*s),
                    None => missed += 1,
                }
            }
            close(got.miss, f64::from(missed) / 1000.0, 1e-9);
            let mean = waits.iter().sum::<f64>() / waits.len() as f64;
            near(got.mean.expect("some get through"), mean, 1e-9);
            assert_eq!(got.longest, waits.iter().copied().reduce(f64::max));
        }
    }

    proptest! {
        #[test]
        fn more_attempts_help_and_more_outage_hurts(
            list in proptest::collection::vec((0.0f64..900.0, 1.0f64..90.0), 1..12), extra in 0.0f64..100.0, q in 0.0f64..0.5
        ) {
            let outages = spans(&list);
            let trace = Trace { length: 1000.0, outages: &outages, blind: &[] };
            let miss = |t: Trace<'_>, offsets: &[f64]| t.on_schedule(offsets, q).map_or(1.0, |b| b.best.miss);
            let one = miss(trace, &[0.0]);
            prop_assert!(miss(trace, &[0.0, extra]) <= one + 1e-12);
            let fewer = Trace { outages: &outages[1..], ..trace };
            prop_assert!(miss(fewer, &[0.0]) <= one + 1e-12);
            let b = trace.on_schedule(&[0.0, extra], q).expect("seen");
            prop_assert!(b.best.miss <= b.worst.miss + 1e-12);
        }
    }
}
