//! Availability when outage lengths are one lognormal population: a posterior by deterministic quadrature.
//!
//! Decides P(A >= required) and quantiles of the unavailability from counts, up-time and completed durations. Wider
//! than Thompson's bound where it must be, but confidently wrong when short restarts and long outages are two
//! populations (coverage 0.63-0.66 in simulation [CALC26]): use `band_posterior` for a verdict, this one as the second opinion.
//! Related: [ANANDA04]. Draws no random numbers.

use super::Interval;
use super::special::{bisect, chi_square_quantile, gamma_cdf, gauss_legendre, normal_cdf, normal_quantile};

/// What is believed of outage lengths before any is seen: normal-inverse-chi-square on ln(seconds).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LognormalPrior {
    /// How many outages the belief about the median is worth (κ0).
    pub median_weight: f64,
    /// Believed median outage, seconds.
    pub median: f64,
    /// How many outages the belief about the spread is worth (ν0).
    pub spread_weight: f64,
    /// Believed standard deviation of ln(length) (s0).
    pub spread: f64,
    /// No outage is taken to last longer, seconds.
    pub cap: f64,
}

impl LognormalPrior {
    /// The prior of facts 4.4: median 5 minutes worth one outage, spread 1.75 worth six, cap 72 hours.
    pub const WEAK: Self = Self { median_weight: 1.0, median: 300.0, spread_weight: 6.0, spread: 1.75, cap: 259_200.0 };
}

/// The belief after a survey.
#[derive(Clone, Debug)]
pub struct LognormalPosterior {
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
    pub fn new(prior: LognormalPrior, completed: &[f64], began: u64, up: f64, nodes: usize) -> Self {
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
            let variance = squares / chi_square_quantile(nu, *p);
            let sd = (variance / kappa).sqrt();
            shifts.iter().zip(&rule).map(move |(z, (_, v))| (capped_mean(centre + sd * z, variance, prior.cap), w * v))
        });
        Self { rate_shape: began as f64 + 0.5, up, means: compress(cells.collect()) }
    }

    /// P(unavailability <= `u`).
    pub fn probability_below(&self, u: f64) -> f64 {
        if u >= 1.0 {
            return 1.0;
        }
        let ratio = u / (1.0 - u) * self.up;
        self.means.iter().map(|(mean, w)| w * gamma_cdf(self.rate_shape, ratio / mean)).sum()
    }

    /// P(availability >= `required`).
    pub fn probability_at_least(&self, required: f64) -> f64 {
        self.probability_below(1.0 - required)
    }

    /// Quantile of the unavailability; 1 if nothing was observed.
    pub fn quantile(&self, p: f64) -> f64 {
        if self.up <= 0.0 {
            return 1.0;
        }
        let logit = bisect(-40.0, 40.0, |x| self.probability_below(1.0 / (1.0 + (-x).exp())) >= p);
        1.0 / (1.0 + (-logit).exp())
    }

    /// Equal-tailed credible interval of the unavailability.
    pub fn interval(&self, confidence: f64) -> Interval {
        let tail = (1.0 - confidence) / 2.0;
        Interval { lower: self.quantile(tail), upper: self.quantile(1.0 - tail) }
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

#[cfg(test)]
mod tests {
    use super::super::testing::{TRACE_A, TRACE_A_LENGTH, near};
    use super::*;

    fn trace_a(nodes: usize) -> LognormalPosterior {
        let lengths = TRACE_A.map(|o| o.1);
        let up = TRACE_A_LENGTH - lengths.iter().sum::<f64>();
        LognormalPosterior::new(LognormalPrior::WEAK, &lengths, 6, up, nodes)
    }

    #[test]
    fn trace_a_matches() {
        // Worked out elsewhere [CALC26], 400 x 400 nodes; tolerance 1e-4.
        let p = trace_a(400);
        near(p.quantile(0.05), 0.004_276_9, 1e-4);
        near(p.quantile(0.50), 0.020_494_4, 1e-4);
        near(p.quantile(0.95), 0.124_098_5, 1e-4);
        near(p.probability_at_least(0.99), 0.237_594_2, 1e-4);
        near(p.probability_at_least(0.995), 0.071_076_4, 1e-4);
        near(p.probability_at_least(0.95), 0.791_807_8, 1e-4);
        // Half the nodes give the same four digits.
        near(trace_a(200).quantile(0.95), p.quantile(0.95), 1e-4);
    }

    #[test]
    fn without_an_outage_only_the_prior_speaks() {
        // Worked out elsewhere [CALC26].
        for (hours, u95, at995, at999) in [
            (168.0, 0.032_791_1, 0.805_08, 0.593_41),
            (720.0, 0.007_848_57, 0.926_30, 0.787_54),
            (2160.0, 0.002_629_95, 0.973_93, 0.891_64),
        ] {
            let p = LognormalPosterior::new(LognormalPrior::WEAK, &[], 0, hours * 3600.0, 400);
            near(p.quantile(0.95), u95, 1e-4);
            near(p.probability_at_least(0.995), at995, 1e-4);
            near(p.probability_at_least(0.999), at999, 1e-4);
        }
    }

    #[test]
    fn more_clean_time_raises_confidence_and_more_outages_lower_it() {
        let belief = |lengths: &[f64], hours: f64| {
            LognormalPosterior::new(LognormalPrior::WEAK, lengths, lengths.len() as u64, hours * 3600.0, 60)
                .probability_at_least(0.995)
        };
        assert!(belief(&[], 720.0) > belief(&[], 168.0));
        assert!(belief(&[300.0, 600.0], 720.0) < belief(&[300.0], 720.0));
        assert!(belief(&[30_000.0], 720.0) < belief(&[300.0], 720.0));
        assert!((0.0..=1.0).contains(&belief(&[1e9], 1.0)));
    }
}
