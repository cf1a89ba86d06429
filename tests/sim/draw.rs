//! Seeded draws: one named generator, so that every figure printed can be had again from the seed beside it.

use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};

/// Random numbers from a seed (xoshiro256++) [VIGNA19].
pub(crate) struct Draw(Xoshiro256PlusPlus);

impl Draw {
    pub(crate) fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// Uniform in (0, 1).
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0.random::<f64>().max(1e-16)
    }

    pub(crate) fn exponential(&mut self, mean: f64) -> f64 {
        -mean * self.uniform().ln()
    }

    /// Standard normal [BOX58].
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    pub(crate) fn lognormal(&mut self, median: f64, sigma: f64) -> f64 {
        median * (sigma * self.normal()).exp()
    }

    pub(crate) fn chance(&mut self, p: f64) -> bool {
        self.uniform() < p
    }

    /// Whole number in `0..n`.
    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.0.random_range(0..n)
    }
}
