//! How often something happens: outages counted over an exposure.
//!
//! Decides bounds on a Poisson rate. Does not decide what counts as an outage, nor whether the process is Poisson.
//! Sources: [GARWOOD36]; [NIST8451].
//!
//! The exposure may be in any unit of time; rates are per that unit. Quantiles are taken at unit scale and divided
//! by the exposure, so rare events over long times keep their digits.

use super::Interval;
use super::special::gamma_quantile;

/// Garwood's exact two-sided interval for the rate behind `count` events in `exposure`:
/// χ²(α/2; 2k)/2T to χ²(1-α/2; 2k+2)/2T.
pub fn garwood(count: u64, exposure: f64, confidence: f64) -> Interval {
    let one_sided = f64::midpoint(1.0, confidence);
    Interval { lower: garwood_lower(count, exposure, one_sided), upper: garwood_upper(count, exposure, one_sided) }
}

/// Garwood's one-sided upper bound; with no exposure there is none.
pub fn garwood_upper(count: u64, exposure: f64, confidence: f64) -> f64 {
    if exposure > 0.0 { gamma_quantile(count as f64 + 1.0, confidence) / exposure } else { f64::INFINITY }
}

/// Garwood's one-sided lower bound; zero if nothing was counted.
pub fn garwood_lower(count: u64, exposure: f64, confidence: f64) -> f64 {
    if count == 0 || exposure <= 0.0 {
        return 0.0;
    }
    gamma_quantile(count as f64, 1.0 - confidence) / exposure
}

#[cfg(test)]
mod tests {
    use super::super::testing::{close, near};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn garwood_matches_the_tables() {
        // [GARWOOD36] in the forms of three digits 3.689; 0.0253-5.572; 0.242-7.225; 4.795-18.39; digits [CALC26].
        for (k, at95, at90) in [
            (0, [0.0, 3.688_879_454], [0.0, 2.995_732_274]),
            (1, [0.025_317_807_98, 5.571_643_391], [0.051_293_294_39, 4.743_864_518]),
            (2, [0.242_209_278_5, 7.224_687_668], [0.355_361_510_7, 6.295_793_622]),
            (3, [0.618_672_122_9, 8.767_273_07], [0.817_691_447_2, 7.753_656_528]),
            (5, [1.623_486_39, 11.668_332_08], [1.970_149_568, 10.513_034_91]),
            (10, [4.795_388_696, 18.390_356_04], [5.425_405_697, 16.962_219_24]),
            (20, [12.216_519_59, 30.888_377_9], [13.254_651_6, 29.062_018_84]),
            (50, [37.110_963_74, 65.918_766_66], [38.964_732_58, 63.287_074_1]),
        ] {
            let (wide, narrow) = (garwood(k, 1.0, 0.95), garwood(k, 1.0, 0.90));
            for (got, want) in [(wide, at95), (narrow, at90)] {
                close(got.lower, want[0], 2e-9);
                close(got.upper, want[1], 2e-9);
            }
        }
    }

    /// Bounds on the mean time between failures are those of the rate, inverted.
    fn mean_time_between(count: u64, exposure: f64, confidence: f64) -> Interval {
        let rate = garwood(count, exposure, confidence);
        Interval { lower: 1.0 / rate.upper, upper: 1.0 / rate.lower }
    }

    #[test]
    fn mean_time_between_matches_nist() {
        // [NIST8451], 800 h, 2 failures, 90 %: 127.0690 and 2251.229.
        let m = mean_time_between(2, 800.0, 0.90);
        near(m.lower, 127.069, 5e-5);
        near(m.upper, 2251.229, 5e-4);
        close(m.lower, 127.068_968_274_428_34, 1e-9);
        close(m.upper, 2_251.228_610_625_704, 1e-9);
        // No failure: T / -ln α, one-sided [NIST8451].
        close(1.0 / garwood_upper(0, 800.0, 0.95), 800.0 / -(0.05f64.ln()), 1e-12);
        assert!(mean_time_between(0, 800.0, 0.95).upper.is_infinite());
        // A table of factors, worked out elsewhere [CALC26]: bounds over T / r at 60, 80, 90, 95 %.
        for (r, row) in [
            (1, [0.3340, 4.4814, 0.2571, 9.4912, 0.2108, 19.4957, 0.1795, 39.4979]),
            (2, [0.4674, 2.4260, 0.3758, 3.7607, 0.3177, 5.6281, 0.2768, 8.2573]),
            (3, [0.5440, 1.9543, 0.4490, 2.7222, 0.3869, 3.6689, 0.3422, 4.8491]),
            (4, [0.5952, 1.7416, 0.5004, 2.2926, 0.4370, 2.9276, 0.3906, 3.6702]),
            (5, [0.6324, 1.6184, 0.5391, 2.0554, 0.4756, 2.5379, 0.4285, 3.0798]),
            (10, [0.7326, 1.3719, 0.6491, 1.6074, 0.5895, 1.8432, 0.5438, 2.0853]),
            (20, [0.8088, 1.2367, 0.7395, 1.3769, 0.6882, 1.5089, 0.6475, 1.6371]),
        ] {
            for (c, pair) in [0.60, 0.80, 0.90, 0.95].into_iter().zip(row.chunks(2)) {
                let m = mean_time_between(r, r as f64, c);
                near(m.lower, pair[0], 5.1e-5);
                near(m.upper, pair[1], 5.1e-5);
            }
        }
    }

    #[test]
    fn trace_a_counts_of_long_outages_are_bounded_as_published() {
        // Worked out elsewhere [CALC26]: over 60 s 4 a week, over 180 s 3 a week, as a year.
        let year = 8760.0 / 168.0;
        for (k, rate, lower, upper) in [(4, 208.6, 71.24, 477.29), (3, 156.4, 42.64, 404.30)] {
            near(f64::from(k) * year, rate, 0.05);
            // Two-sided 90 %: 95 % on either side.
            let g = garwood(u64::try_from(k).expect("small"), 1.0 / year, 0.90);
            near(g.lower, lower, 0.01);
            near(g.upper, upper, 0.01);
        }
    }

    #[test]
    fn random_counts_agree_with_scipy() {
        // scipy 1.17.1 `chi2.ppf`; numpy default_rng(20260). [CALC26]
        for (k, t, c, want) in FIXTURE {
            let g = garwood(k, t, c);
            for (got, want) in [g.lower, g.upper].into_iter().zip(want) {
                close(got, want, 1e-10);
            }
        }
    }

    #[rustfmt::skip]
    #[expect(clippy::unreadable_literal, reason = "printed by the script as they are")]
    const FIXTURE: [(u64, f64, f64, [f64; 2]); 12] = [
(1, 6.36, 0.8, [0.016566118814123634, 0.6115912216772686]),
(15, 68904.683, 0.9, [0.0001341901607903302, 0.00033520406385352986]),
(420, 8.81, 0.95, [43.22225523596963, 52.457856166823795]),
(2, 34.208, 0.99, [0.0030254486303815213, 0.27110009615457037]),
(13, 3.059, 0.8, [2.826395062069101, 6.197437486874318]),
(1343, 9.719, 0.9, [132.0398140958844, 144.54825287526396]),
(2, 37.494, 0.95, [0.006459947686135517, 0.19268916807286393]),
(27, 18227.189, 0.99, [0.0008498637058643244, 0.00238637332286596]),
(436, 65.095, 0.8, [6.290247581464085, 7.127970557428689]),
(0, 27.829, 0.9, [0.0, 0.10764785919558696]),
(28, 189.155, 0.95, [0.09836270072616389, 0.21393986911933702]),
(1770, 761047.096, 0.99, [0.002185817607511047, 0.0024719584988037394]),
    ];

    #[test]
    fn no_exposure_bounds_nothing() {
        assert_eq!(garwood(0, 0.0, 0.95), Interval { lower: 0.0, upper: f64::INFINITY });
    }

    proptest! {
        #[test]
        fn more_outages_raise_and_more_exposure_lowers(k in 0u64..500, t in 0.1f64..1e6, c in 0.5f64..0.999) {
            let (a, b, longer) = (garwood(k, t, c), garwood(k + 1, t, c), garwood(k, 2.0 * t, c));
            prop_assert!(a.lower < b.lower && a.upper < b.upper);
            prop_assert!(longer.upper < a.upper && longer.width() < a.width());
            prop_assert!(a.contains(k as f64 / t));
            prop_assert!(garwood(k, t, f64::midpoint(1.0, c)).width() > a.width());
        }
    }
}
