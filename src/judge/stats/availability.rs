//! Availability of a path that is up and down in turn: the textbook bounds.
//!
//! Decides Thompson's interval for exponential up and down times, its form for an observation of fixed length, the
//! closed-form posterior of the same model, and the distribution-free renewal-reward estimate. These under-cover when
//! outages are heavy-tailed (coverage 0.58-0.86 in simulation [CALC26]), so none of them alone carries a verdict: `band_posterior`
//! does. Sources: [THOMPSON66]; [TRIVEDI01]; [CRANE75].

use super::Interval;
use super::special::{beta_cdf, f_quantile};

/// What was observed, in one unit of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UpDown {
    /// Outages that began.
    pub began: u64,
    /// Outages that ended; the time-terminated form needs at least one.
    pub ended: u64,
    /// Time the path was up.
    pub up: f64,
    /// Time the path was down.
    pub down: f64,
}

/// A ratio estimate and its standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error; not a number with fewer than two cycles.
    pub standard_error: f64,
}

impl UpDown {
    /// Up-time over all time; `None` if nothing was observed.
    pub fn point(self) -> Option<f64> {
        let total = self.up + self.down;
        (total > 0.0).then(|| self.up / total)
    }

    /// Thompson's two-sided interval for n completed up and n completed down times:
    /// 1 / (1 + (Y/S) F(2n, 2n)).
    ///
    /// `None` without a completed cycle.
    pub fn thompson(self, confidence: f64) -> Option<Interval> {
        let tail = (1.0 - confidence) / 2.0;
        Some(Interval { lower: self.thompson_lower(1.0 - tail)?, upper: self.thompson_at(tail)? })
    }

    /// Thompson's one-sided lower bound. `None` without a completed cycle.
    pub fn thompson_lower(self, confidence: f64) -> Option<f64> {
        self.thompson_at(confidence)
    }

    fn thompson_at(self, p: f64) -> Option<f64> {
        if self.ended == 0 || self.up <= 0.0 {
            return None;
        }
        let degrees = 2.0 * self.ended as f64;
        Some(1.0 / (1.0 + self.down / self.up * f_quantile(degrees, degrees, p)))
    }

    /// One-sided lower bound for an observation of fixed length:
    /// 1 / (1 + (D/U) ((k+1)/m) F(2k+2, 2m/spread)).
    ///
    /// `spread` is the squared coefficient of variation of the durations if it should be allowed for (values under 1
    /// count as 1, exponential durations are 1). `None` until an outage has ended.
    pub fn time_terminated_lower(self, confidence: f64, spread: f64) -> Option<f64> {
        if self.ended == 0 || self.up <= 0.0 {
            return None;
        }
        let (k1, m) = (self.began as f64 + 1.0, self.ended as f64);
        let f = f_quantile(2.0 * k1, 2.0 * m / spread.max(1.0), confidence);
        Some(1.0 / (1.0 + self.down / self.up * k1 / m * f))
    }
}

/// Belief about exponential up and down times, before anything is seen: `Gamma(shape, time)` each.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExponentialPrior {
    /// Believed outages.
    pub outages: f64,
    /// Believed up-time they came in.
    pub up: f64,
    /// Believed repairs.
    pub repairs: f64,
    /// Believed down-time they took.
    pub down: f64,
}

impl ExponentialPrior {
    /// Jeffreys' prior: half an event in no time, for both.
    pub const JEFFREYS: Self = Self { outages: 0.5, up: 0.0, repairs: 0.5, down: 0.0 };

    /// P(A >= `required` | seen) in closed form, I(y/(1+y); a+k, c+m) with y = ((1-A)/A) (b+U)/(d+D).
    pub fn probability_at_least(self, seen: UpDown, required: f64) -> f64 {
        let (up, down) = (self.up + seen.up, self.down + seen.down);
        let (a, c) = (self.outages + seen.began as f64, self.repairs + seen.ended as f64);
        // y/(1+y) written so that a down-time of zero gives 1.
        let weight = (1.0 - required) * up;
        beta_cdf(a, c, weight / (weight + required * down))
    }
}

/// Renewal-reward estimate of unavailability (or of any reward per time): Σ reward / Σ length over whole cycles.
///
/// Each cycle is (length, reward). Standard error by the regenerative method:
/// sqrt(Σ(Y - U C)² / (n-1) / n) / mean(C). `None` without a cycle of positive length.
pub fn renewal_reward(cycles: &[(f64, f64)]) -> Option<Estimate> {
    let (length, reward) = cycles.iter().fold((0.0, 0.0), |(c, y), cycle| (c + cycle.0, y + cycle.1));
    if length <= 0.0 {
        return None;
    }
    let (n, value) = (cycles.len() as f64, reward / length);
    let squares: f64 = cycles.iter().map(|(c, y)| (y - value * c).powi(2)).sum();
    Some(Estimate { value, standard_error: (squares / (n - 1.0) / n).sqrt() / (length / n) })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{TRACE_A, TRACE_A_LENGTH, close, near};
    use super::*;
    use proptest::prelude::*;

    fn trace_a() -> UpDown {
        let down: f64 = TRACE_A.iter().map(|o| o.1).sum();
        UpDown { began: 6, ended: 6, up: TRACE_A_LENGTH - down, down }
    }

    #[test]
    fn thompson_matches_the_textbook() {
        // [TRIVEDI01] example 10.27, digits [CALC26].
        for (n, up, down, published, full, one_sided) in [
            (1, 999.0, 1.0, [0.9624, 1.0], [0.962_427_745_7, 0.999_974_334], 0.981_335_952_8),
            (10, 9990.0, 10.0, [0.9975, 0.9996], [0.997_539_119_6, 0.999_593_994_3], 0.997_878_23),
        ] {
            let seen = UpDown { began: n, ended: n, up, down };
            let i = seen.thompson(0.95).expect("a cycle");
            near(i.lower, published[0], 5e-5);
            near(i.upper, published[1], 5e-5);
            close(i.lower, full[0], 1e-9);
            close(i.upper, full[1], 1e-9);
            close(seen.thompson_lower(0.95).expect("a cycle"), one_sided, 1e-8);
        }
    }

    #[test]
    fn trace_a_bounds_match() {
        // Worked out elsewhere [CALC26].
        let a = trace_a();
        close(a.point().expect("observed"), 0.983_870_701_1, 1e-9);
        close(a.thompson_lower(0.95).expect("cycles"), 0.957_814_064_6, 1e-9);
        close(a.thompson_lower(0.90).expect("cycles"), 0.965_992_730_6, 1e-8);
        close(a.time_terminated_lower(0.95, 1.0).expect("ended"), 0.951_984_168_1, 1e-9);
        close(a.time_terminated_lower(0.90, 1.0).expect("ended"), 0.961_081_162_2, 1e-9);
        let two = a.thompson(0.95).expect("cycles");
        close(two.lower, 0.949_012_629_1, 1e-9);
        close(two.upper, 0.995_022_660_4, 1e-9);
        // With the spread of the durations, CV² = 2.995 498 898.
        close(a.time_terminated_lower(0.95, 2.995_498_898).expect("ended"), 0.899_171_700_4, 1e-8);
        close(a.time_terminated_lower(0.90, 2.995_498_898).expect("ended"), 0.931_042_075_8, 1e-8);
        assert_eq!(UpDown { ended: 0, ..a }.thompson(0.95), None);
        assert_eq!(UpDown { ended: 0, ..a }.time_terminated_lower(0.95, 1.0), None);
    }

    #[test]
    fn the_closed_form_posterior_matches() {
        // Worked out elsewhere [CALC26].
        for (required, want) in
            [(0.99, 0.197_007_909_1), (0.995, 0.020_890_237_48), (0.98, 0.650_615_161_7), (0.95, 0.977_756_589_2)]
        {
            close(ExponentialPrior::JEFFREYS.probability_at_least(trace_a(), required), want, 1e-8);
        }
        let prior = ExponentialPrior { outages: 1.0, up: 100.0, repairs: 3.0, down: 1.5 };
        let clean = |up| UpDown { began: 0, ended: 0, up, down: 0.0 };
        close(prior.probability_at_least(clean(168.0), 0.995), 0.853_703_726_5, 1e-9);
        close(prior.probability_at_least(clean(720.0), 0.995), 0.980_992_498_2, 1e-9);
        close(prior.probability_at_least(clean(720.0), 0.999), 0.730_009_215_3, 1e-9);
        for (k, up, down, wants) in [
            (1, 719.9, 0.1, [0.997_328_713_2, 0.992_571_160_7, 0.930_484_118_9]),
            (3, 719.5, 0.5, [0.998_891_232_6, 0.990_907_315_7, 0.678_914_275_3]),
        ] {
            let seen = UpDown { began: k, ended: k, up, down };
            for (required, want) in [0.99, 0.995, 0.999].into_iter().zip(wants) {
                close(ExponentialPrior::JEFFREYS.probability_at_least(seen, required), want, 1e-9);
            }
        }
        let bad = UpDown { began: 10, ended: 10, up: 700.0, down: 20.0 };
        close(ExponentialPrior::JEFFREYS.probability_at_least(bad, 0.99), 0.010_588_489_85, 1e-8);
        close(ExponentialPrior::JEFFREYS.probability_at_least(bad, 0.995), 9.770_266_625e-5, 1e-8);
        let tail = ExponentialPrior::JEFFREYS.probability_at_least(bad, 0.999);
        assert!(tail > 4e-11 && tail < 6e-11, "printed as ~5e-11, got {tail:e}");
    }

    #[test]
    fn renewal_reward_matches() {
        // Worked out elsewhere [CALC26]: cycles of TRACE-A from the start to each outage's end.
        let mut from = 0.0;
        let mut cycles = Vec::new();
        for (start, length) in TRACE_A {
            cycles.push((start + length - from, length));
            from = start + length;
        }
        close(cycles[3].0, 111_780.0, 1e-12);
        let u = renewal_reward(&cycles).expect("cycles");
        close(u.value, 0.017_351_476_34, 1e-9);
        close(u.standard_error, 0.010_604_303_57, 1e-9);
        let late: Vec<_> = cycles.iter().map(|&(c, y)| (c, (y - 60.0f64).max(0.0))).collect();
        let miss = renewal_reward(&late).expect("cycles");
        close(miss.value, 0.016_808_964_78, 1e-9);
        close(miss.standard_error, 0.010_617_240_77, 1e-9);
        assert_eq!(renewal_reward(&[]), None);
    }

    proptest! {
        #[test]
        fn more_downtime_lowers_every_bound(k in 1u64..50, up in 10.0f64..1e5, down in 1e-4f64..100.0, c in 0.6f64..0.99) {
            let a = UpDown { began: k, ended: k, up, down };
            let worse = UpDown { down: 2.0 * down, ..a };
            prop_assert!(worse.thompson_lower(c) < a.thompson_lower(c));
            prop_assert!(worse.time_terminated_lower(c, 1.0) < a.time_terminated_lower(c, 1.0));
            prop_assert!(a.time_terminated_lower(c, 3.0) <= a.time_terminated_lower(c, 1.0));
            let p = |seen| ExponentialPrior::JEFFREYS.probability_at_least(seen, 0.99);
            prop_assert!(p(worse) <= p(a) + 1e-12);
            let i = a.thompson(c);
            prop_assert!(i.is_some_and(|i| i.contains(up / (up + down))));
        }
    }
}
