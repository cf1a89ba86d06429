//! How many failed probes in a row make an outage, and which outages that rule can see.
//!
//! Decides the run length k at which random loss alone would declare less than a given number of outages a year, the
//! exact chance of such a run, and the chance that an outage of some length is seen at a cadence. Source: success runs,
//! [FELLER68]; RFC 5880's detection multiplier is the same
//! idea (from memory).

use std::collections::VecDeque;

/// Longest run length asked for; more is treated as never.
const LONGEST: u32 = 1000;

/// Smallest k with N (1-p) p^k < `false_outages` a year, for independent loss `p` and N probes a year.
///
/// `None` if loss is so high that no k up to 1000 does it. No loss at all needs one failure.
pub fn failures_needed(loss: f64, probes_per_year: f64, false_outages: f64) -> Option<u32> {
    (1..=LONGEST).find(|k| probes_per_year * (1.0 - loss) * loss.powi(k.cast_signed()) < false_outages)
}

/// The same for bursty loss: N · P(good) · `enter` · (1-`leave`)^(k-1) < `false_outages`, where `enter` is the chance
/// a loss follows an answer and `leave` that an answer follows a loss (see `burst::Gilbert`).
pub fn failures_needed_bursty(enter: f64, leave: f64, probes_per_year: f64, false_outages: f64) -> Option<u32> {
    if enter <= 0.0 {
        return Some(1);
    }
    let good = leave / (enter + leave);
    (1..=LONGEST).find(|k| probes_per_year * good * enter * (1.0 - leave).powi(k.cast_signed() - 1) < false_outages)
}

/// Exact probability of at least one run of `k` failures in `n` independent probes of failure chance `p`.
///
/// a(k) = p^k; a(m) = a(m-1) + (1 - a(m-k-1)) (1-p) p^k. Time proportional to `n`.
pub fn probability_of_run(n: u64, k: u32, p: f64) -> f64 {
    if k == 0 {
        return 1.0;
    }
    if n < u64::from(k) {
        return 0.0;
    }
    let whole = p.powi(k.cast_signed());
    let step = (1.0 - p) * whole;
    // The last k+1 values a(m-k-1)..a(m-1), oldest first.
    let mut recent: VecDeque<f64> = std::iter::repeat_n(0.0, k as usize).chain([whole]).collect();
    let mut now = whole;
    for _ in u64::from(k)..n {
        let oldest = recent.pop_front().unwrap_or(0.0);
        now += (1.0 - oldest) * step;
        recent.push_back(now);
    }
    now
}

/// The same in constant time, for rare runs: 1 - exp(-((n-k)(1-p)p^k + p^k)).
pub fn probability_of_run_approx(n: f64, k: u32, p: f64) -> f64 {
    let whole = p.powi(k.cast_signed());
    -(-((n - f64::from(k)).max(0.0) * (1.0 - p) * whole + whole)).exp_m1()
}

/// Chance that an outage of `length` seconds fails `k` probes in a row at one every `cadence` seconds:
/// x/τ - (k-1), held to 0..1. Probes start at a random phase.
pub fn detection_probability(length: f64, cadence: f64, k: u32) -> f64 {
    (length / cadence - (f64::from(k) - 1.0)).clamp(0.0, 1.0)
}

/// The same, averaged over exponential lengths of this mean: (m/τ) e^(-(k-1)τ/m) (1 - e^(-τ/m)).
///
/// Divide a count of short outages by it when extrapolating.
pub fn mean_detection_probability(mean: f64, cadence: f64, k: u32) -> f64 {
    mean / cadence * (-(f64::from(k) - 1.0) * cadence / mean).exp() * -(-cadence / mean).exp_m1()
}

/// Seconds from the start of an outage to its declaration, (mean, most): (k - 1/2)τ and kτ + the probe's time-out.
pub fn declaration_delay(cadence: f64, k: u32, time_out: f64) -> (f64, f64) {
    let k = f64::from(k);
    ((k - 0.5) * cadence, k * cadence + time_out)
}

#[cfg(test)]
mod tests {
    use super::super::testing::{close, near};
    use super::*;
    use proptest::prelude::*;

    const YEAR: f64 = 365.0 * 86_400.0;

    #[test]
    fn run_lengths_match() {
        // Worked out elsewhere [CALC26]: k at 10 / 30 / 60 s.
        for (p, wants) in [
            (0.001, [3, 3, 2]),
            (0.005, [3, 3, 3]),
            (0.01, [4, 4, 3]),
            (0.02, [4, 4, 4]),
            (0.05, [5, 5, 5]),
            (0.10, [7, 6, 6]),
        ] {
            for (cadence, want) in [10.0, 30.0, 60.0].into_iter().zip(wants) {
                assert_eq!(failures_needed(p, YEAR / cadence, 1.0), Some(want), "{p} at {cadence} s");
            }
        }
        assert_eq!(failures_needed(0.0, YEAR, 1.0), Some(1));
        assert_eq!(failures_needed(0.9999, YEAR, 1.0), None);
    }

    #[test]
    fn bursty_loss_needs_longer_runs() {
        // With leave = 1 - p and enter = p the loss is independent, and both rules are one.
        for p in [0.001, 0.01, 0.1] {
            assert_eq!(failures_needed_bursty(p, 1.0 - p, YEAR / 10.0, 1.0), failures_needed(p, YEAR / 10.0, 1.0));
        }
        // Loss 1 % either way, but in bursts of 10: far longer.
        assert!(failures_needed_bursty(0.001, 0.1, YEAR / 10.0, 1.0) > Some(50));
        assert_eq!(failures_needed_bursty(0.0, 1.0, YEAR, 1.0), Some(1));
    }

    #[test]
    fn exact_runs_match() {
        // Ten coin tosses without two heads in a row: 144 of 1024 [FELLER68]; the rest [CALC26].
        close(probability_of_run(10, 2, 0.5), 1.0 - 144.0 / 1024.0, 1e-14);
        close(probability_of_run(1000, 3, 0.1), 0.593_892_838_2, 1e-9);
        close(probability_of_run(52_560, 3, 0.01), 0.050_702_090_5, 1e-8);
        near(probability_of_run_approx(1000.0, 3, 0.1), 0.5927, 5.1e-5);
        close(probability_of_run(3, 3, 0.5), 0.125, 1e-14);
        near(probability_of_run(2, 3, 0.5), 0.0, 0.0);
        near(probability_of_run(0, 0, 0.5), 1.0, 0.0);
    }

    #[test]
    fn detection_matches() {
        // Worked out elsewhere [CALC26].
        close(mean_detection_probability(20.0, 60.0, 1), 0.316_737_643_9, 1e-9);
        close(mean_detection_probability(60.0, 10.0, 3), 0.660_003_905_2, 1e-9);
        near(detection_probability(30.0, 10.0, 3), 1.0, 0.0);
        near(detection_probability(25.0, 10.0, 3), 0.5, 1e-12);
        near(detection_probability(15.0, 10.0, 3), 0.0, 0.0);
        assert_eq!(declaration_delay(10.0, 3, 2.0), (25.0, 32.0));
    }

    proptest! {
        #[test]
        fn longer_runs_are_rarer_and_longer_outages_seen_more(
            n in 1u64..2000, k in 1u32..8, p in 0.001f64..0.9, x in 0.0f64..1000.0, tau in 0.5f64..120.0
        ) {
            let a = probability_of_run(n, k, p);
            prop_assert!((0.0..=1.0 + 1e-12).contains(&a));
            prop_assert!(probability_of_run(n, k + 1, p) <= a + 1e-12);
            prop_assert!(probability_of_run(n + 1, k, p) >= a - 1e-12);
            prop_assert!(detection_probability(x + 1.0, tau, k) >= detection_probability(x, tau, k));
            prop_assert!(detection_probability(x, tau, k + 1) <= detection_probability(x, tau, k));
        }
    }
}
