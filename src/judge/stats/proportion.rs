//! Intervals for a loss proportion: k failures in n probes.
//!
//! Decides how far the true proportion may lie from the one seen, for independent probes, and how many independent
//! probes a dependent series is worth. Says nothing about outages: probes inside one outage are one piece of evidence
//! (see `rate`). Sources: [BROWN01]; [NIST7241]; [HANLEY83].
//!
//! Counts are `f64` so that effective counts fit. For a one-sided bound of confidence c ask for 2c - 1.

use super::Interval;
use super::special::two_sided_z;

const WHOLE: Interval = Interval { lower: 0.0, upper: 1.0 };

/// Counts after allowing for dependence between probes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effective {
    /// Failures, divided by the variance inflation.
    pub failures: f64,
    /// Trials, divided by the variance inflation.
    pub trials: f64,
}

/// False if the counts or the confidence can carry no interval but the whole range.
fn usable(failures: f64, trials: f64, confidence: f64) -> bool {
    trials > 0.0 && (0.0..=trials).contains(&failures) && confidence > 0.0 && confidence < 1.0
}

/// Wilson's score interval: (p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n).
///
/// The recommended one [BROWN01]. Nothing observed gives [0, 1].
pub fn wilson(failures: f64, trials: f64, confidence: f64) -> Interval {
    if !usable(failures, trials, confidence) {
        return WHOLE;
    }
    let z = two_sided_z(confidence);
    let (p, scale) = (failures / trials, 1.0 + z * z / trials);
    let centre = (p + z * z / (2.0 * trials)) / scale;
    let half = z * (p * (1.0 - p) / trials + z * z / (4.0 * trials * trials)).sqrt() / scale;
    Interval {
        lower: if failures == 0.0 { 0.0 } else { (centre - half).max(0.0) },
        upper: if failures >= trials { 1.0 } else { (centre + half).min(1.0) },
    }
}

/// Variance inflation of the mean of `n` probes under two-state loss: P(good to bad) = `p`, P(bad to good) = `r`.
///
/// V = (1+ρ)/(1-ρ) - 2ρ(1-ρⁿ)/(n(1-ρ)²), ρ = 1 - p - r. With `n` infinite only the first term is left.
pub fn markov_inflation(p: f64, r: f64, n: f64) -> f64 {
    let rho = 1.0 - p - r;
    let limit = (1.0 + rho) / (1.0 - rho);
    if n.is_finite() { limit - 2.0 * rho * (1.0 - rho.powf(n)) / (n * (1.0 - rho).powi(2)) } else { limit }
}

/// Counts divided by a variance inflation; an inflation under 1 is taken as 1 (dependence is never worth a gain).
pub fn effective(failures: f64, trials: f64, inflation: f64) -> Effective {
    let by = inflation.max(1.0);
    Effective { failures: failures / by, trials: trials / by }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{close, near};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn wilson_matches_the_published_values() {
        // [NEWCOMBE98] table I method 3; last digits [CALC26].
        for (k, n, published, full) in [
            (81.0, 263.0, [0.2553, 0.3662], [0.255_288_519_878, 0.366_209_576_983]),
            (15.0, 148.0, [0.0624, 0.1605], [0.062_386_399_530_7, 0.160_487_241_723]),
            (0.0, 20.0, [0.0, 0.1611], [0.0, 0.161_125_158_053]),
            (1.0, 29.0, [0.0061, 0.1718], [0.006_113_214_292_76, 0.171_755_218_793]),
        ] {
            let i = wilson(k, n, 0.95);
            near(i.lower, published[0], 5e-5);
            near(i.upper, published[1], 5e-5);
            close(i.lower, full[0], 1e-9);
            close(i.upper, full[1], 1e-9);
        }
        // [NIST7241]: 26 of 200, one-sided 95 % lower 0.09577.
        near(wilson(26.0, 200.0, 0.90).lower, 0.09577, 5e-6);
        // [CALC26]
        for (k, n, c, lower, upper) in [
            (26.0, 200.0, 0.90, 0.095_772_748_210_8, 0.174_104_150_674),
            (26.0, 200.0, 0.95, 0.090_282_022_796_7, 0.183_663_518_722),
            (5.0, 10.0, 0.95, 0.236_593_090_513, 0.763_406_909_487),
            (0.0, 10_080.0, 0.95, 0.0, 0.000_380_951_925_552),
            (3.0, 10_080.0, 0.95, 0.000_101_222_379_689, 0.000_874_740_884_002),
            (12.0, 20_160.0, 0.95, 0.000_340_545_448_695, 0.001_040_216_192_26),
        ] {
            let i = wilson(k, n, c);
            close(i.lower, lower, 1e-9);
            close(i.upper, upper, 1e-9);
        }
    }

    #[test]
    fn dependent_probes_are_worth_fewer() {
        // n = 10 080. V by its closed form at infinity and, finite, as the sum 1 + 2 sum (1 - j/n) rho^j over all lags
        // [CALC26]; what the probes are worth is n / V of the finite one.
        for (p, r, limit, finite, worth) in [
            (0.001, 0.1, 18.801_980_2, 18.784_494_36, 536.61),
            (0.0001, 0.01, 197.019_802, 195.094_415, 51.67),
            (0.01, 0.5, 2.921_568_627, 2.921_194_84, 3450.64),
        ] {
            close(markov_inflation(p, r, f64::INFINITY), limit, 1e-8);
            let v = markov_inflation(p, r, 10_080.0);
            close(v, finite, 1e-8);
            near(effective(0.0, 10_080.0, v).trials, worth, 0.05);
        }
        // k = 12, n = 20 160, V = 18.801 980 2 [CALC26].
        let e = effective(12.0, 20_160.0, 18.801_980_2);
        close(e.trials, 1_072.227_488, 1e-9);
        close(e.failures, 0.638_230_647_6, 1e-9);
        let w = wilson(e.failures, e.trials, 0.95);
        close(w.lower, 7.542_535e-5, 1e-6);
        close(w.upper, 0.004_680_701, 1e-6);
    }

    #[test]
    fn random_counts_agree_with_statsmodels() {
        // statsmodels 0.15.0 `proportion_confint` (wilson), numpy default_rng(20260), n log-uniform
        // to 7 776 000 (90 days of a probe a second). [CALC26]
        for (k, n, c, want) in FIXTURE {
            let w = wilson(k, n, c);
            let tolerance = if n > 1e5 { 1e-7 } else { 2e-9 };
            for (got, want) in [w.lower, w.upper].into_iter().zip(want) {
                close(got, want, tolerance);
            }
        }
    }

    #[rustfmt::skip]
    #[expect(clippy::unreadable_literal, reason = "printed by the script as they are")]
    const FIXTURE: [(f64, f64, f64, [f64; 2]); 16] = [
(2.0, 191.0, 0.9, [0.003471223966013551, 0.031145975596395994]),
(198780.0, 653693.0, 0.95, [0.3029736908947919, 0.30520400898761607]),
(1.0, 2941.0, 0.99, [3.992151183609765e-05, 0.0028895106953135364]),
(4.0, 58357.0, 0.9, [3.077273555716417e-05, 0.00015266793389796468]),
(2.0, 22.0, 0.95, [0.025295428990995267, 0.27814946841605814]),
(1682.0, 5843.0, 0.99, [0.27285598128565575, 0.30335688604381755]),
(2.0, 3103.0, 0.9, [0.00021331535392351848, 0.001945789352003516]),
(1.0, 42.0, 0.95, [0.004215404134432499, 0.12321201573766646]),
(1.0, 7780.0, 0.99, [1.5090856499201254e-05, 0.001093847306864599]),
(261.0, 1296.0, 0.9, [0.1836959286013757, 0.22032601932884185]),
(7.0, 966817.0, 0.95, [3.5072490160723425e-06, 1.4946489314364792e-05]),
(5.0, 1970.0, 0.99, [0.000848404245161007, 0.007567361675812168]),
(2.0, 1629.0, 0.9, [0.0004063731123840756, 0.003703157238233417]),
(72.0, 87.0, 0.95, [0.7348297312608015, 0.89263707453443]),
(12.0, 313.0, 0.99, [0.018644618266701024, 0.07719878596353452]),
(2.0, 8838.0, 0.9, [7.48892824698945e-05, 0.0006835958204595188]),
    ];

    #[test]
    fn nothing_observed_says_nothing() {
        assert_eq!(wilson(0.0, 0.0, 0.95), WHOLE);
    }

    proptest! {
        #[test]
        fn more_failures_raise_and_more_probes_narrow(k in 0u32..200, more in 1u32..2000, c in 0.5f64..0.999) {
            let (k, n) = (f64::from(k), f64::from(k + more));
            let (a, b) = (wilson(k, n, c), wilson(k + 1.0, n, c));
            prop_assert!(a.lower <= b.lower && a.upper <= b.upper);
            prop_assert!(wilson(10.0 * k, 10.0 * n, c).width() < a.width());
            prop_assert!(a.lower >= 0.0 && a.upper <= 1.0 && a.contains(k / n));
        }
    }
}
