//! How many failed probes in a row make an outage.
//!
//! Decides the run length k at which random loss alone would declare less than a given number of outages a year.
//! Source: success runs, [FELLER68]; RFC 5880's detection
//! multiplier is the same idea (from memory).

/// Longest run length asked for; more is treated as never.
const LONGEST: u32 = 1000;

/// Smallest k with N (1-p) p^k < `false_outages` a year, for independent loss `p` and N probes a year.
///
/// `None` if loss is so high that no k up to 1000 does it. No loss at all needs one failure.
pub fn failures_needed(loss: f64, probes_per_year: f64, false_outages: f64) -> Option<u32> {
    (1..=LONGEST).find(|k| probes_per_year * (1.0 - loss) * loss.powi(k.cast_signed()) < false_outages)
}

#[cfg(test)]
mod tests {
    use super::*;

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

    /// Chance of at least one run of `k` failures in `n` independent probes that fail with chance `p`: a(k) = p^k;
    /// a(m) = a(m-1) + (1 - a(m-k-1)) (1-p) p^k [FELLER68].
    fn chance_of_run(n: usize, k: usize, p: f64) -> f64 {
        let whole = p.powi(i32::try_from(k).expect("small"));
        let mut a = vec![0.0; n + 1];
        a[k] = whole;
        for m in k + 1..=n {
            a[m] = a[m - 1] + (1.0 - a[m - k - 1]) * (1.0 - p) * whole;
        }
        a[n]
    }

    #[test]
    fn the_rule_keeps_runs_as_rare_as_it_says() {
        // Ten coin tosses without two heads in a row: 144 of 1024 [FELLER68]; the others [CALC26].
        for (n, k, p, want) in
            [(10, 2, 0.5, 1.0 - 144.0 / 1024.0), (1000, 3, 0.1, 0.593_892_838_2), (52_560, 3, 0.01, 0.050_702_090_5)]
        {
            assert!((chance_of_run(n, k, p) - want).abs() < 1e-8, "{n} {k} {p}");
        }
        // Less than one run expected a year is a run in at most 1 - 1/e of years, and one failure fewer is not enough.
        for p in [0.01, 0.05, 0.10] {
            let probes = 525_600;
            let k = failures_needed(p, probes as f64, 1.0).expect("some run is rare enough") as usize;
            let (chance, fewer) = (chance_of_run(probes, k, p), chance_of_run(probes, k - 1, p));
            assert!(chance < 0.633 && fewer > 0.632, "{p}: {k} {chance} {fewer}");
        }
    }
}
