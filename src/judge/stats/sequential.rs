//! Stopping as soon as the evidence is enough: Wald's sequential tests.
//!
//! Decides accept, reject or go on from counts so far, with stated risks, for an outage rate (Poisson) and for a
//! proportion (Bernoulli); and how such a test behaves at any true rate. Sources: [EPSTEIN55]; truncation [EPSTEIN54];
//! [NIST626]. The printed plans of
//! MIL-HDBK-781A are adjusted for truncation and are not this formula.

use super::special::{bisect, chi_square_quantile};

/// What a sequential test says now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// As good as was asked.
    Accept,
    /// Not.
    Reject,
    /// Not enough evidence yet.
    GoOn,
}

/// A test of mean time between outages: `good` must be accepted, `bad` rejected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateTest {
    /// Mean time between outages that must pass.
    pub good: f64,
    /// Mean time between outages that must not; less than `good`.
    pub bad: f64,
    /// Risk of rejecting a good one.
    pub alpha: f64,
    /// Risk of accepting a bad one.
    pub beta: f64,
}

/// The two parallel lines of a test: accept at or above `accept + slope r`, reject at or below `-reject + slope r`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    /// Offset of the accepting line.
    pub accept: f64,
    /// Offset of the rejecting line, counted downwards (rate) or upwards (proportion).
    pub reject: f64,
    /// Slope of both.
    pub slope: f64,
}

/// How the test behaves at one true mean time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Behaviour {
    /// Probability of accepting.
    pub accept: f64,
    /// Expected watching until the decision.
    pub expected_time: f64,
}

/// A rate test ready to be asked after every outage and every probe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// The two lines.
    pub lines: Lines,
    /// Outages at which to reject, whatever else.
    pub most: u64,
    /// Time at which to accept, whatever else.
    pub longest: f64,
}

impl Plan {
    /// The decision after `outages` in `time`.
    pub fn decide(self, outages: u64, time: f64) -> Decision {
        let Plan { lines, most, longest } = self;
        let r = outages as f64;
        if outages >= most || time <= lines.slope * r - lines.reject {
            Decision::Reject
        } else if time >= longest || time >= lines.accept + lines.slope * r {
            Decision::Accept
        } else {
            Decision::GoOn
        }
    }
}

impl RateTest {
    /// 1/bad - 1/good.
    fn delta(self) -> f64 {
        1.0 / self.bad - 1.0 / self.good
    }

    /// ln A = ln((1-β)/α) and ln B = ln(β/(1-α)).
    fn limits(self) -> (f64, f64) {
        (((1.0 - self.beta) / self.alpha).ln(), (self.beta / (1.0 - self.alpha)).ln())
    }

    /// h0 = -ln B/δ, h1 = ln A/δ, s = ln(good/bad)/δ, in the unit of the mean times.
    pub fn lines(self) -> Lines {
        let ((ln_a, ln_b), delta) = (self.limits(), self.delta());
        Lines { accept: -ln_b / delta, reject: ln_a / delta, slope: (self.good / self.bad).ln() / delta }
    }

    /// Epstein's truncation: the outage count at which to reject, and the time at which to accept, whatever else.
    ///
    /// The smallest r with χ²(α; 2r) / χ²(1-β; 2r) >= bad/good; time good · χ²(α; 2r) / 2. `None` if a million
    /// outages do not suffice to tell the two apart.
    pub fn truncation(self) -> Option<(u64, f64)> {
        let enough = |r: u64| {
            let degrees = 2.0 * r as f64;
            chi_square_quantile(degrees, self.alpha) / chi_square_quantile(degrees, 1.0 - self.beta)
                >= self.bad / self.good
        };
        let mut high = 1u64;
        while !enough(high) {
            high *= 2;
            if high > 1_000_000 {
                return None;
            }
        }
        // The ratio rises with r, so the first r that is enough can be halved towards.
        let mut low = high / 2;
        while high - low > 1 {
            let middle = low.midpoint(high);
            if enough(middle) { high = middle } else { low = middle }
        }
        Some((high, self.good * chi_square_quantile(2.0 * high as f64, self.alpha) / 2.0))
    }

    /// Lines and truncation together, worked out once.
    pub fn plan(self) -> Plan {
        let (most, longest) = self.truncation().unwrap_or((u64::MAX, f64::INFINITY));
        Plan { lines: self.lines(), most, longest }
    }

    /// Behaviour of the test without truncation at a true mean time (operating characteristic and expected length).
    pub fn behaviour(self, mean_time: f64) -> Behaviour {
        let ((ln_a, ln_b), delta, ratio) = (self.limits(), self.delta(), (self.good / self.bad).ln());
        let Lines { accept: h0, reject: h1, slope } = self.lines();
        if (mean_time / slope - 1.0).abs() < 1e-6 {
            // The limit where both lines are reached alike.
            return Behaviour { accept: ln_a / (ln_a - ln_b), expected_time: mean_time * h0 * h1 / (slope * slope) };
        }
        // θ(h) = ((good/bad)^h - 1)/(hδ) rises with h.
        let h = bisect(-200.0, 200.0, |h| {
            let x = h * ratio;
            let rise = if x.abs() < 1e-12 { ratio } else { x.exp_m1() / h };
            rise / delta >= mean_time
        });
        let accept = (h * ln_a).exp_m1() / ((h * ln_a).exp() - (h * ln_b).exp());
        let outages = (h1 - accept * (h0 + h1)) / (slope - mean_time);
        Behaviour { accept, expected_time: mean_time * outages }
    }
}

/// A test of a proportion, on samples spaced wider than outages: `good` must be accepted, `bad` rejected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProportionTest {
    /// Proportion that must pass.
    pub good: f64,
    /// Proportion that must not; more than `good`.
    pub bad: f64,
    /// Risk of rejecting a good one.
    pub alpha: f64,
    /// Risk of accepting a bad one.
    pub beta: f64,
}

impl ProportionTest {
    /// h1 = ln((1-α)/β)/k, h2 = ln((1-β)/α)/k, s = ln((1-good)/(1-bad))/k, k = ln of the odds ratio: accept at or
    /// below -h1 + s n failures, reject at or above h2 + s n.
    pub fn lines(self) -> Lines {
        let k = (self.bad * (1.0 - self.good) / (self.good * (1.0 - self.bad))).ln();
        Lines {
            accept: ((1.0 - self.alpha) / self.beta).ln() / k,
            reject: ((1.0 - self.beta) / self.alpha).ln() / k,
            slope: ((1.0 - self.good) / (1.0 - self.bad)).ln() / k,
        }
    }

    /// The decision after `failures` in `samples`.
    pub fn decide(self, failures: u64, samples: u64) -> Decision {
        let (lines, d, n) = (self.lines(), failures as f64, samples as f64);
        if d >= lines.reject + lines.slope * n {
            Decision::Reject
        } else if d <= lines.slope * n - lines.accept {
            Decision::Accept
        } else {
            Decision::GoOn
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Lcg, close, near};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn truncation_matches_the_handbooks() {
        // Problem 1 of [EPSTEIN54]: r0 = 5; [MIL781A] 5.9.5: r0 = 15; times and lines worked out elsewhere [CALC26].
        let epstein = RateTest { good: 10_000.0, bad: 2_000.0, alpha: 0.05, beta: 0.05 };
        let (r, t) = epstein.truncation().expect("tells them apart");
        assert_eq!(r, 5);
        close(t, 19_701.495_68, 1e-9);
        close(epstein.lines().accept, 7_361.097_448, 1e-9);
        close(epstein.lines().slope, 4_023.594_781, 1e-9);
        let handbook = RateTest { good: 200.0, bad: 100.0, alpha: 0.1, beta: 0.1 };
        let (r, t) = handbook.truncation().expect("tells them apart");
        assert_eq!(r, 15);
        close(t, 2_059.923_461, 1e-9);
        close(handbook.lines().accept, 439.444_915_5, 1e-9);
        close(handbook.lines().reject, 439.444_915_5, 1e-9);
        close(handbook.lines().slope, 138.629_436_1, 1e-9);
        // Plan III-D's accept column, in units of the bad mean time [MIL781A]; 0.02 apart at the most, for the plan is
        // adjusted for its truncation.
        for (r, want) in [4.40, 5.79, 7.18, 8.56, 9.94].into_iter().enumerate() {
            near((handbook.lines().accept + handbook.lines().slope * r as f64) / 100.0, want, 0.02);
        }
        assert_eq!(RateTest { good: 100.0, bad: 99.999, alpha: 0.01, beta: 0.01 }.truncation(), None);
    }

    #[test]
    fn the_operating_characteristic_matches() {
        // Worked out elsewhere [CALC26].
        let test = RateTest { good: 2.0, bad: 1.0, alpha: 0.1, beta: 0.1 };
        for (theta, accept, time) in [
            (0.75, 0.012_195_12, 5.0534),
            (1.0, 0.1, 9.100_726),
            (1.386_294_361_1, 0.5, 13.930_074),
            (1.656_854_249_5, 0.75, 13.455_361),
            (2.0, 0.9, 11.456_826),
            (3.0, 0.987_805, 7.970_352),
        ] {
            let b = test.behaviour(theta);
            // Parameters are printed from h = -2, -1, ...: θ = 0.75 and 3 are exact, the others given to ten digits.
            close(b.accept, accept, 1e-6);
            close(b.expected_time, time, 1e-5);
        }
    }

    #[test]
    fn survey_presets_match() {
        // Worked out elsewhere [CALC26]: good one outage in 336 h, bad one in 48 h, 5 % each.
        let week = RateTest { good: 336.0, bad: 48.0, alpha: 0.05, beta: 0.05 }.plan();
        close(week.lines.accept, 164.888_582_8, 1e-9);
        close(week.lines.slope, 108.970_968_3, 1e-9);
        assert_eq!(week.decide(0, 164.8), Decision::GoOn);
        assert_eq!(week.decide(0, 165.0), Decision::Accept);
        assert_eq!(week.decide(2, 53.0), Decision::Reject);
        assert_eq!(week.decide(2, 53.1), Decision::GoOn);
        assert_eq!(week.decide(3, 162.0), Decision::Reject);
        let month = RateTest { good: 720.0, bad: 168.0, alpha: 0.1, beta: 0.1 };
        near(month.lines().accept, 481.5, 0.05);
        near(2.0 * month.lines().slope - month.lines().reject, 156.3, 0.06);
    }

    #[test]
    fn the_proportion_test_matches() {
        // [NIST626]: -0.939 + 0.0397 n and 1.205 + 0.0397 n; digits [CALC26].
        let nist = ProportionTest { good: 0.01, bad: 0.10, alpha: 0.05, beta: 0.10 };
        close(nist.lines().accept, 0.938_861_602_6, 1e-9);
        close(nist.lines().reject, 1.205_378_646_3, 1e-9);
        close(nist.lines().slope, 0.039_747_432_2, 1e-8);
        assert_eq!((nist.decide(0, 23), nist.decide(0, 24)), (Decision::GoOn, Decision::Accept));
        assert_eq!((nist.decide(2, 19), nist.decide(2, 20)), (Decision::Reject, Decision::GoOn));
        assert_eq!((nist.decide(3, 45), nist.decide(3, 46)), (Decision::Reject, Decision::GoOn));
        // [WALD47]: -2.583, 2.876, 0.186; digits [CALC26].
        let wald = ProportionTest { good: 0.1, bad: 0.3, alpha: 0.02, beta: 0.03 };
        close(wald.lines().accept, 2.582_625_5, 1e-7);
        close(wald.lines().reject, 2.875_388_5, 1e-7);
        close(wald.lines().slope, 0.186_168_9, 1e-6);
    }

    #[test]
    fn simulated_risks_stay_near_what_was_asked() {
        // 2000 seeded surveys each at the good and the bad rate, looked at on every outage and every hour.
        let test = RateTest { good: 336.0, bad: 48.0, alpha: 0.05, beta: 0.05 }.plan();
        let wrong = |mean: f64, wrong: Decision, seed: u64| {
            let mut draw = Lcg(seed);
            let mut count = 0;
            for _ in 0..2000 {
                let (mut t, mut r, mut next) = (0.0, 0, draw.exponential(mean));
                let decision = loop {
                    t += 1.0;
                    while next <= t {
                        r += 1;
                        next += draw.exponential(mean);
                    }
                    match test.decide(r, t) {
                        Decision::GoOn => {}
                        d => break d,
                    }
                };
                count += u32::from(decision == wrong);
            }
            f64::from(count) / 2000.0
        };
        // Wald's bounds are α/(1-β); truncation may add a little. Three standard errors are 0.015.
        assert!(wrong(336.0, Decision::Reject, 1) < 0.075);
        assert!(wrong(48.0, Decision::Accept, 2) < 0.075);
    }

    proptest! {
        #[test]
        fn better_paths_are_accepted_more(bad in 1.0f64..100.0, ratio in 1.5f64..20.0, at in 0.2f64..5.0) {
            let test = RateTest { good: bad * ratio, bad, alpha: 0.05, beta: 0.1 };
            let (a, b) = (test.behaviour(bad * at), test.behaviour(bad * at * 1.2));
            prop_assert!(a.accept <= b.accept + 1e-9);
            prop_assert!(a.expected_time > 0.0);
            prop_assert!((test.behaviour(bad).accept - 0.1).abs() < 1e-9);
        }
    }
}
