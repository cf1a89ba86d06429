//! How long to watch before a claim can be shown.
//!
//! Decides the observation time at which few or no outages would demonstrate an outage rate or an availability.
//! Assumes outages come as a Poisson process and, for availability, that their mean length is known; says nothing if
//! it is not. Source: [NIST8311] (test length M · χ²(c; 2(r+1)) / 2).

use super::special::gamma_quantile;

/// Test length in units of the mean time between outages: χ²(c; 2(r+1)) / 2 for `allowed` outages.
pub fn length_factor(allowed: u64, confidence: f64) -> f64 {
    gamma_quantile(allowed as f64 + 1.0, confidence)
}

/// Watching needed to show a mean time between outages of at least `mean_time`, with `allowed` outages in it.
pub fn time_to_show_rate(mean_time: f64, allowed: u64, confidence: f64) -> f64 {
    mean_time * length_factor(allowed, confidence)
}

/// Up-time needed to show `availability`, when outages last `mean_outage` on average and `allowed` of them come:
/// factor · d · A / (1 - A), in the unit of `mean_outage`.
///
/// Infinite for an availability of 1; zero for 0.
pub fn time_to_show_availability(availability: f64, mean_outage: f64, allowed: u64, confidence: f64) -> f64 {
    if availability >= 1.0 {
        return f64::INFINITY;
    }
    time_to_show_rate(mean_outage * availability.max(0.0) / (1.0 - availability), allowed, confidence)
}

/// The best availability that `up_time` with `seen` outages of known mean length can show: A / (1 - A) inverted.
pub fn availability_shown(up_time: f64, mean_outage: f64, seen: u64, confidence: f64) -> f64 {
    if up_time <= 0.0 {
        return 0.0;
    }
    1.0 / (1.0 + mean_outage * length_factor(seen, confidence) / up_time)
}

#[cfg(test)]
mod tests {
    use super::super::testing::{close, near};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn length_factors_match_nist() {
        // The table of factors [NIST8311], worked out elsewhere [CALC26].
        for (r, row) in [
            (0, [0.693, 0.916, 1.386, 1.609, 2.303, 2.996]),
            (1, [1.678, 2.022, 2.693, 2.994, 3.890, 4.744]),
            (2, [2.674, 3.105, 3.920, 4.279, 5.322, 6.296]),
            (3, [3.672, 4.175, 5.109, 5.515, 6.681, 7.754]),
            (5, [5.670, 6.292, 7.423, 7.906, 9.275, 10.513]),
        ] {
            for (c, want) in [0.50, 0.60, 0.75, 0.80, 0.90, 0.95].into_iter().zip(row) {
                near(length_factor(r, c), want, 5.1e-4);
            }
        }
    }

    #[test]
    fn hours_to_show_an_availability_match_the_table() {
        // Worked out elsewhere [CALC26]: hours for 80 / 90 / 95 %, mean outage 5 min, 30 min, 1 h, 4 h.
        let table = [
            (0.995, [[26.7, 38.2, 49.7], [160.1, 229.1, 298.1], [320.3, 458.2, 596.2], [1281.1, 1832.9, 2384.6]]),
            (
                0.999,
                [[134.0, 191.7, 249.4], [803.9, 1150.1, 1496.4], [1607.8, 2300.3, 2992.7], [6431.3, 9201.1, 11970.9]],
            ),
            (
                0.9995,
                [
                    [268.1, 383.6, 499.0],
                    [1608.6, 2301.4, 2994.2],
                    [3217.3, 4602.9, 5988.5],
                    [12869.0, 18411.0, 23954.0],
                ],
            ),
        ];
        for (a, rows) in table {
            for (d, row) in [5.0 / 60.0, 0.5, 1.0, 4.0].into_iter().zip(rows) {
                for (c, want) in [0.80, 0.90, 0.95].into_iter().zip(row) {
                    // Printed to a tenth of an hour, from 10 000 h on to whole hours.
                    near(time_to_show_availability(a, d, 0, c), want, if want > 12_000.0 { 0.6 } else { 0.051 });
                }
            }
        }
        // With outages allowed: 95 %, 1 h, 99.5 % [CALC26].
        for (r, want) in [(0, 596.15), (1, 944.03), (2, 1252.86), (3, 1542.98)] {
            near(time_to_show_availability(0.995, 1.0, r, 0.95), want, 5.1e-3);
        }
    }

    #[test]
    fn a_clean_week_does_not_show_99_5_percent_for_hour_long_outages() {
        // The trap the facts name: 168 h are needed many times over.
        assert!(time_to_show_availability(0.995, 1.0, 0, 0.95) > 3.0 * 168.0);
        assert!(availability_shown(168.0, 1.0, 0, 0.95) < 0.995);
        assert!(time_to_show_availability(1.0, 1.0, 0, 0.95).is_infinite());
    }

    proptest! {
        #[test]
        fn showing_more_takes_longer(a in 0.5f64..0.99999, d in 0.01f64..100.0, r in 0u64..20, c in 0.5f64..0.999) {
            let t = time_to_show_availability(a, d, r, c);
            prop_assert!(time_to_show_availability(f64::midpoint(1.0, a), d, r, c) > t);
            prop_assert!(time_to_show_availability(a, d, r + 1, c) > t);
            prop_assert!(time_to_show_availability(a, 2.0 * d, r, c) > t);
            let shown = availability_shown(t, d, r, c);
            close(shown, a, 1e-9);
        }
    }
}
