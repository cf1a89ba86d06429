//! Intervals for a loss proportion: k failures in n probes.
//!
//! Decides how far the true proportion may lie from the one seen, for independent probes, and how many independent
//! probes a dependent series is worth. Says nothing about outages: probes inside one outage are one piece of evidence
//! (see `rate`). Sources: [BROWN01]; [NIST7241]; [HANLEY83].
//!
//! Counts are `f64` so that effective counts fit. For a one-sided bound of confidence c ask for 2c - 1.

use super::Interval;
use super::special::{beta_quantile, two_sided_z};

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

/// The Clopper-Pearson ("exact") interval: never covers less than it says, often more.
///
/// With [`Effective`] counts it is Korn and Graubard's interval for dependent samples [KORN98].
pub fn clopper_pearson(failures: f64, trials: f64, confidence: f64) -> Interval {
    if !usable(failures, trials, confidence) {
        return WHOLE;
    }
    let (tail, good) = ((1.0 - confidence) / 2.0, trials - failures);
    Interval {
        lower: if failures == 0.0 { 0.0 } else { beta_quantile(failures, good + 1.0, tail) },
        upper: if good == 0.0 { 1.0 } else { 1.0 - beta_quantile(good, failures + 1.0, tail) },
    }
}

/// Jeffreys' interval: quantiles of Beta(k + 1/2, n - k + 1/2), unmodified at the ends.
pub fn jeffreys(failures: f64, trials: f64, confidence: f64) -> Interval {
    if !usable(failures, trials, confidence) {
        return WHOLE;
    }
    let (a, b, tail) = (failures + 0.5, trials - failures + 0.5, (1.0 - confidence) / 2.0);
    Interval { lower: beta_quantile(a, b, tail), upper: beta_quantile(a, b, 1.0 - tail) }
}

/// One-sided upper bound when nothing failed in `trials` independent probes: 1 - α^(1/n).
pub fn zero_failures_upper(trials: f64, confidence: f64) -> f64 {
    if trials > 0.0 { -((1.0 - confidence).ln() / trials).exp_m1() } else { 1.0 }
}

/// The rule of three, 3/n: the 95 % bound of [`zero_failures_upper`] for speech [HANLEY83].
pub fn rule_of_three(trials: f64) -> f64 {
    if trials > 3.0 { 3.0 / trials } else { 1.0 }
}

/// Independent probes without failure needed to show a proportion below `p`: ceil(ln(1-c) / ln(1-p)).
pub fn clean_trials_needed(p: f64, confidence: f64) -> f64 {
    ((1.0 - confidence).ln() / (-p).ln_1p()).ceil()
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
    fn clopper_pearson_matches_the_published_values() {
        // [NIST7241], 4 of 20 at 90 %: printed 0.071354 and 0.401029; the printed upper one is off in the
        // 6th decimal, so 2e-6; true values [CALC26].
        let i = clopper_pearson(4.0, 20.0, 0.90);
        near(i.lower, 0.071_354, 2e-6);
        near(i.upper, 0.401_029, 2e-6);
        close(i.lower, 0.071_353_884_308_618_2, 1e-9);
        close(i.upper, 0.401_028_117_331_974_5, 1e-9);
        // [NEWCOMBE98] table I method 5; full [CALC26].
        for (k, n, published, full) in [
            (81.0, 263.0, [0.2527, 0.3676], [0.252_736_745_585, 0.367_621_922_601]),
            (15.0, 148.0, [0.0578, 0.1617], [0.057_844_010_083_4, 0.161_650_490_349]),
            (0.0, 20.0, [0.0, 0.1684], [0.0, 0.168_433_470_983]),
            (1.0, 29.0, [0.0009, 0.1776], [0.000_872_646_883_58, 0.177_644_295_489]),
        ] {
            let i = clopper_pearson(k, n, 0.95);
            near(i.lower, published[0], 5e-5);
            near(i.upper, published[1], 5e-5);
            close(i.lower, full[0], 1e-9);
            close(i.upper, full[1], 1e-9);
        }
        // [CALC26]
        close(clopper_pearson(0.0, 10_080.0, 0.95).upper, 0.000_365_893_308_016, 1e-9);
        let i = clopper_pearson(12.0, 20_160.0, 0.95);
        close(i.lower, 0.000_307_604_829_23, 1e-9);
        close(i.upper, 0.001_039_530_066_6, 1e-9);
    }

    #[test]
    fn jeffreys_matches_the_published_values() {
        // [BROWN01] table A.1, n = 7, tolerance 0.001; full [CALC26]. The table's rows x = 0, 1
        // use the paper's modified interval; ours is unmodified there, [CALC26].
        for (k, published, full) in [
            (2.0, [0.065, 0.648], [0.064_728_266_949_5, 0.647_661_654_959]),
            (3.0, [0.139, 0.766], [0.138_864_219_105, 0.765_498_750_748]),
            (4.0, [0.234, 0.861], [0.234_501_249_252, 0.861_135_780_895]),
        ] {
            let i = jeffreys(k, 7.0, 0.95);
            near(i.lower, published[0], 1e-3);
            near(i.upper, published[1], 1e-3);
            close(i.lower, full[0], 1e-9);
            close(i.upper, full[1], 1e-9);
        }
        near(jeffreys(0.0, 7.0, 0.95).lower, 6.7686e-5, 5e-10);
        close(jeffreys(0.0, 7.0, 0.95).upper, 0.292_436_173_662, 1e-9);
        close(jeffreys(1.0, 7.0, 0.95).lower, 0.015_876_524_2, 1e-8);
        close(jeffreys(1.0, 7.0, 0.95).upper, 0.500_797_461_6, 1e-9);
        close(jeffreys(0.0, 20.0, 0.95).lower, 2.424_647_845_92e-5, 1e-9);
        close(jeffreys(0.0, 20.0, 0.95).upper, 0.116_638_982_905, 1e-9);
        close(jeffreys(15.0, 148.0, 0.95).lower, 0.060_448_517_009_3, 1e-9);
        close(jeffreys(15.0, 148.0, 0.95).upper, 0.157_643_143_479, 1e-9);
        close(jeffreys(0.0, 10_080.0, 0.95).upper, 0.000_249_163_476_735, 1e-9);
    }

    #[test]
    fn zero_failures_are_worth_what_the_papers_say() {
        // [HANLEY83]: 0 of 14; the rest [CALC26].
        near(rule_of_three(14.0), 0.214_285_7, 5e-8);
        for (n, exact) in [
            (14.0, 0.192_636_175_65),
            (30.0, 0.095_033_852_855_3),
            (100.0, 0.029_513_049_607),
            (1000.0, 0.002_991_249_545_1),
            (10_080.0, 0.000_297_151_503_803),
            (604_800.0, 4.953_248_766_93e-6),
        ] {
            close(zero_failures_upper(n, 0.95), exact, 1e-9);
        }
        close(rule_of_three(604_800.0), 4.960_32e-6, 1e-6);
        // The constants behind the rule, -ln(1 - c): 3.00, 3.51, 4.61, 5.30 [HAND26].
        for (c, numerator) in [(0.95, 3.0), (0.97, 3.51), (0.99, 4.61), (0.995, 5.30)] {
            near(1e6 * zero_failures_upper(1e6, c), numerator, 5.1e-3);
        }
        // Trials needed [CALC26].
        for (p, wants) in [
            (0.005, [322.0, 460.0, 598.0, 919.0]),
            (0.001, [1609.0, 2302.0, 2995.0, 4603.0]),
            (0.0005, [3219.0, 4605.0, 5990.0, 9209.0]),
        ] {
            for (c, want) in [0.80, 0.90, 0.95, 0.99].into_iter().zip(wants) {
                near(clean_trials_needed(p, c), want, 0.0);
            }
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
        let kg = clopper_pearson(e.failures, e.trials, 0.95);
        close(kg.lower, 2.439_275e-6, 1e-6);
        close(kg.upper, 0.004_587_841, 1e-6);
    }

    #[test]
    fn random_counts_agree_with_statsmodels() {
        // statsmodels 0.15.0 `proportion_confint` (wilson, beta, jeffreys), numpy default_rng(20260), n log-uniform
        // to 7 776 000 (90 days of a probe a second). [CALC26]
        for (k, n, c, want) in FIXTURE {
            let (w, cp, j) = (wilson(k, n, c), clopper_pearson(k, n, c), jeffreys(k, n, c));
            let tolerance = if n > 1e5 { 1e-7 } else { 2e-9 };
            for (got, want) in [w.lower, w.upper, cp.lower, cp.upper, j.lower, j.upper].into_iter().zip(want) {
                close(got, want, tolerance);
            }
        }
    }

    #[rustfmt::skip]
    #[expect(clippy::unreadable_literal, reason = "printed by the script as they are")]
    const FIXTURE: [(f64, f64, f64, [f64; 6]); 16] = [
(2.0, 191.0, 0.9, [0.003471223966013551, 0.031145975596395994, 0.0018636831226683736, 0.03259354245557155, 0.0030059442499183143, 0.028675874209945752]),
(198780.0, 653693.0, 0.95, [0.3029736908947919, 0.30520400898761607, 0.30297264212653263, 0.30520449161940066, 0.3029734062185287, 0.30520372594808276]),
(1.0, 2941.0, 0.99, [3.992151183609765e-05, 0.0028895106953135364, 1.7043650295622497e-06, 0.002523635590977909, 1.2194395600085104e-05, 0.0021804225703001686]),
(4.0, 58357.0, 0.9, [3.077273555716417e-05, 0.00015266793389796468, 2.3413429786511577e-05, 0.000156846905391013, 2.848985719251308e-05, 0.0001449548356086068]),
(2.0, 22.0, 0.95, [0.025295428990995267, 0.27814946841605814, 0.011205586024150999, 0.29161274155393346, 0.019378308995704557, 0.26092526525206755]),
(1682.0, 5843.0, 0.99, [0.27285598128565575, 0.30335688604381755, 0.27270150923341885, 0.3033780674581556, 0.27278566164645135, 0.30329121483373983]),
(2.0, 3103.0, 0.9, [0.00021331535392351848, 0.001945789352003516, 0.00011453381628247297, 0.0020275337062581854, 0.0001846031950708407, 0.0017826783527798964]),
(1.0, 42.0, 0.95, [0.004215404134432499, 0.12321201573766646, 0.0006026233016035746, 0.12565855717499214, 0.0025811183690024066, 0.10592581752281834]),
(1.0, 7780.0, 0.99, [1.5090856499201254e-05, 0.001093847306864599, 6.442853738805168e-07, 0.0009546349326407264, 4.6095060476231445e-06, 0.0008247605370059307]),
(261.0, 1296.0, 0.9, [0.1836959286013757, 0.22032601932884185, 0.18319415118480145, 0.22059362267912858, 0.18356620263116868, 0.22019536634254094]),
(7.0, 966817.0, 0.95, [3.5072490160723425e-06, 1.4946489314364792e-05, 2.9109621450184483e-06, 1.4917631772270674e-05, 3.2385387852473226e-06, 1.421587015981376e-05]),
(5.0, 1970.0, 0.99, [0.000848404245161007, 0.007567361675812168, 0.0005475779558271851, 0.007165954979152431, 0.000661253229404808, 0.006775790234737809]),
(2.0, 1629.0, 0.9, [0.0004063731123840756, 0.003703157238233417, 0.0002181902117400675, 0.003859728377318618, 0.000351688898687793, 0.0033937369033765793]),
(72.0, 87.0, 0.95, [0.7348297312608015, 0.89263707453443, 0.7316220922906171, 0.9001654754005696, 0.7381792634171327, 0.8956317724029011]),
(12.0, 313.0, 0.99, [0.018644618266701024, 0.07719878596353452, 0.015948036400607914, 0.07564948812182537, 0.01697494779466687, 0.0735377069798361]),
(2.0, 8838.0, 0.9, [7.48892824698945e-05, 0.0006835958204595188, 4.0209829337939476e-05, 0.0007121819112427043, 6.480744075945039e-05, 0.0006261581074870355]),
    ];

    #[test]
    fn nothing_observed_says_nothing() {
        for i in [wilson(0.0, 0.0, 0.95), clopper_pearson(0.0, 0.0, 0.95), jeffreys(0.0, 0.0, 0.95)] {
            assert_eq!((i.lower, i.upper), (0.0, 1.0));
        }
        assert_eq!((zero_failures_upper(0.0, 0.95), rule_of_three(2.0)), (1.0, 1.0));
    }

    proptest! {
        #[test]
        fn more_failures_raise_and_more_probes_narrow(k in 0u32..200, more in 1u32..2000, c in 0.5f64..0.999) {
            let (k, n) = (f64::from(k), f64::from(k + more));
            for interval in [wilson, clopper_pearson, jeffreys] {
                let (a, b) = (interval(k, n, c), interval(k + 1.0, n, c));
                prop_assert!(a.lower <= b.lower && a.upper <= b.upper);
                prop_assert!(interval(10.0 * k, 10.0 * n, c).width() < a.width());
                prop_assert!(a.lower >= 0.0 && a.upper <= 1.0);
            }
            prop_assert!(wilson(k, n, c).contains(k / n));
            let cp = clopper_pearson(k, n, c);
            prop_assert!(cp.contains(k / n));
        }
    }
}
