//! Availability when outage lengths are one lognormal population: a posterior by deterministic quadrature.
//!
//! Decides P(A >= required) and quantiles of the unavailability from counts, up-time and completed durations. Wider
//! than Thompson's bound where it must be, but confidently wrong when short restarts and long outages are two
//! populations (coverage 0.63-0.66 in simulation [CALC26]): use `band_posterior` for a verdict, this one as the second opinion.
//! Related: [ANANDA04]. Draws no random numbers.

use pathproof::judge::stats::special::{
    bisect, gamma_cdf, gamma_quantile, gauss_legendre, normal_cdf, normal_quantile,
};

/// What is believed of outage lengths before any is seen: normal-inverse-chi-square on ln(seconds).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LognormalPrior {
    /// How many outages the belief about the median is worth (κ0).
    median_weight: f64,
    /// Believed median outage, seconds.
    median: f64,
    /// How many outages the belief about the spread is worth (ν0).
    spread_weight: f64,
    /// Believed standard deviation of ln(length) (s0).
    spread: f64,
    /// No outage is taken to last longer, seconds.
    cap: f64,
}

impl LognormalPrior {
    /// The prior of facts 4.4: median 5 minutes worth one outage, spread 1.75 worth six, cap 72 hours.
    pub(crate) const WEAK: Self =
        Self { median_weight: 1.0, median: 300.0, spread_weight: 6.0, spread: 1.75, cap: 259_200.0 };
}

/// The belief after a survey.
#[derive(Clone, Debug)]
pub(crate) struct LognormalPosterior {
    /// Shape of the gamma belief about the outage rate.
    rate_shape: f64,
    /// Up-time behind it, seconds.
    up: f64,
    /// Mean outage lengths, seconds, with their weights, ascending.
    means: Vec<(f64, f64)>,
}

impl LognormalPosterior {
    /// The posterior for completed outages of these lengths (seconds, positive) in `up` seconds of up-time.
    ///
    /// `nodes` per axis of the quadrature; 200 gives four digits. An outage still running has no length yet: count
    /// it in `began` only.
    pub(crate) fn new(prior: LognormalPrior, completed: &[f64], began: u64, up: f64, nodes: usize) -> Self {
        let logs: Vec<f64> = completed.iter().filter(|x| **x > 0.0).map(|x| x.ln()).collect();
        let k = logs.len() as f64;
        let mean = if logs.is_empty() { 0.0 } else { logs.iter().sum::<f64>() / k };
        let (kappa0, m0) = (prior.median_weight, prior.median.ln());
        let kappa = kappa0 + k;
        let centre = (kappa0 * m0 + k * mean) / kappa;
        let nu = prior.spread_weight + k;
        let squares = prior.spread_weight * prior.spread.powi(2)
            + logs.iter().map(|y| (y - mean).powi(2)).sum::<f64>()
            + kappa0 * k / kappa * (mean - m0).powi(2);
        let rule = gauss_legendre(nodes);
        let shifts: Vec<f64> = rule.iter().map(|(p, _)| normal_quantile(*p)).collect();
        let cells = rule.iter().flat_map(|(p, w)| {
            let variance = squares / (2.0 * gamma_quantile(nu / 2.0, *p));
            let sd = (variance / kappa).sqrt();
            shifts.iter().zip(&rule).map(move |(z, (_, v))| (capped_mean(centre + sd * z, variance, prior.cap), w * v))
        });
        Self { rate_shape: began as f64 + 0.5, up, means: compress(cells.collect()) }
    }

    /// P(unavailability <= `u`).
    pub(crate) fn probability_below(&self, u: f64) -> f64 {
        if u >= 1.0 {
            return 1.0;
        }
        let ratio = u / (1.0 - u) * self.up;
        self.means.iter().map(|(mean, w)| w * gamma_cdf(self.rate_shape, ratio / mean)).sum()
    }

    /// Quantile of the unavailability; 1 if nothing was observed.
    pub(crate) fn quantile(&self, p: f64) -> f64 {
        if self.up <= 0.0 {
            return 1.0;
        }
        let logit = bisect(-40.0, 40.0, |x| self.probability_below(1.0 / (1.0 + (-x).exp())) >= p);
        1.0 / (1.0 + (-logit).exp())
    }
}

/// E[min(X, cap)] of a lognormal: e^(μ+σ²/2) Φ((ln C - μ)/σ - σ) + C (1 - Φ((ln C - μ)/σ)).
fn capped_mean(mu: f64, variance: f64, cap: f64) -> f64 {
    let sigma = variance.sqrt();
    let d = (cap.ln() - mu) / sigma;
    let below = normal_cdf(d - sigma);
    // For a wild spread the exponential overflows where its weight is zero.
    let body = if below == 0.0 { 0.0 } else { (mu + variance / 2.0).exp() * below };
    (body + cap * normal_cdf(-d)).clamp(f64::MIN_POSITIVE, cap)
}

/// Merges neighbouring cells so that a thousand are left: a cell's width in weight bounds the error it can make.
fn compress(mut cells: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    cells.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut merged: Vec<(f64, f64)> = Vec::with_capacity(1024);
    let (mut log, mut weight) = (0.0, 0.0);
    for (mean, w) in cells {
        log += w * mean.ln();
        weight += w;
        if weight >= 1e-3 {
            merged.push(((log / weight).exp(), weight));
            (log, weight) = (0.0, 0.0);
        }
    }
    if weight > 0.0 {
        merged.push(((log / weight).exp(), weight));
    }
    merged
}
