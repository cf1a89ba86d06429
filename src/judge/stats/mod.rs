//! Statistics for judging a path from a finite observation. Pure; one method a file, each with its source.
//!
//! Conventions: times in seconds unless a name says otherwise; rates per second of exposure; a `confidence` of a
//! two-sided [`Interval`] is its whole coverage (0.95 leaves 2.5 % on either side), a one-sided bound says so in its
//! name. Confidence outside (0, 1) is a caller's mistake and gives the whole range. The unit of evidence for outages
//! is the outage, never the probe.

pub mod band_posterior;
pub(crate) mod delivery;
pub(crate) mod dual_path;
pub mod duration;
pub(crate) mod flap;
pub(crate) mod jitter;
pub mod lognormal_fit;
pub(crate) mod loss_series;
pub(crate) mod periodicity;
pub mod proportion;
pub mod rate;
pub(crate) mod run_length;
pub mod special;
pub mod weibull_fit;

/// A lower and an upper bound.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Interval {
    /// Lower bound.
    pub lower: f64,
    /// Upper bound; may be infinite where nothing limits it.
    pub upper: f64,
}

#[cfg(test)]
pub(crate) mod testing {
    //! Helpers shared by this room's tests.

    impl super::Interval {
        pub(crate) fn width(self) -> f64 {
            self.upper - self.lower
        }

        /// True if `x` lies inside or on a bound.
        pub(crate) fn contains(self, x: f64) -> bool {
            self.lower <= x && x <= self.upper
        }
    }

    /// Fails unless `got` is within `relative` of `want` (absolute when `want` is zero).
    #[track_caller]
    pub(crate) fn close(got: f64, want: f64, relative: f64) {
        let scale = if want == 0.0 { 1.0 } else { want.abs() };
        assert!((got - want).abs() <= relative * scale, "got {got:.12e}, want {want:.12e} within {relative:e}");
    }

    /// Fails unless `got` is within `absolute` of `want`.
    #[track_caller]
    pub(crate) fn near(got: f64, want: f64, absolute: f64) {
        assert!((got - want).abs() <= absolute, "got {got:.12e}, want {want:.12e} within {absolute:e} absolute");
    }

    /// TRACE-A of the check values: length 604 800 s, six outages as (start, length) in seconds.
    pub(crate) const TRACE_A: [(f64, f64); 6] = [
        (36_000.0, 45.0),
        (90_000.0, 600.0),
        (200_000.0, 20.0),
        (310_000.0, 1_800.0),
        (420_000.0, 90.0),
        (555_000.0, 7_200.0),
    ];
    pub(crate) const TRACE_A_LENGTH: f64 = 604_800.0;

    /// A seeded 64-bit generator for simulated checks (linear congruential step, Knuth's MMIX constants [KNUTH97],
    /// output mixed by an xor-shift and a multiply). Only tests draw random numbers.
    pub(crate) struct Lcg(pub(crate) u64);

    impl Lcg {
        /// A number strictly between 0 and 1.
        pub(crate) fn uniform(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let mixed = (self.0 ^ (self.0 >> 32)).wrapping_mul(0xD6E8_FEB8_6659_FD93);
            ((mixed >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        }

        /// An exponential draw.
        pub(crate) fn exponential(&mut self, mean: f64) -> f64 {
            -mean * self.uniform().ln()
        }

        /// A lognormal draw.
        pub(crate) fn lognormal(&mut self, median: f64, sigma: f64) -> f64 {
            median * (sigma * super::special::normal_quantile(self.uniform())).exp()
        }
    }
}
