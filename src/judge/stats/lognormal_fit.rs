//! Fits a lognormal to outage lengths, some still running (right-censored), by maximum likelihood.
//!
//! Decides median, spread, and how much longer an outage will last given how long it has lasted. Repair times are
//! typically lognormal-like [ANANDA04], but measured outages have a heavier tail (`band_posterior`).
//! Method: Newton's method in Olsen's parameters γ = μ/σ, θ = 1/σ, where the censored log-likelihood is concave, so
//! that the maximum found is the maximum [OLSEN78].

use super::duration::Lasted;
use super::special::normal_cdf;

/// A fitted lognormal of seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LognormalFit {
    /// Mean of ln(seconds).
    pub mu: f64,
    /// Standard deviation of ln(seconds).
    pub sigma: f64,
    /// Log-likelihood at the maximum.
    pub log_likelihood: f64,
}

/// Standard normal density.
fn density(w: f64) -> f64 {
    (-0.5 * w * w).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Standard normal hazard φ(w) / (1 - Φ(w)); its asymptote far out, where both vanish.
fn hazard(w: f64) -> f64 {
    if w > 30.0 { w + 1.0 / w } else { density(w) / normal_cdf(-w) }
}

/// Maximum-likelihood fit. `None` unless at least two outages of different, positive length ended.
pub fn fit_lognormal(data: &[Lasted]) -> Option<LognormalFit> {
    let logs: Vec<(f64, bool)> = data.iter().filter(|d| d.seconds > 0.0).map(|d| (d.seconds.ln(), d.ended)).collect();
    let ended: Vec<f64> = logs.iter().filter(|l| l.1).map(|l| l.0).collect();
    let n = ended.len() as f64;
    let centre = ended.iter().sum::<f64>() / n;
    let variance = ended.iter().map(|y| (y - centre).powi(2)).sum::<f64>() / n;
    if ended.len() < 2 || variance <= 1e-18 {
        return None;
    }
    // Centred and scaled, so that the two parameters are of one size.
    let unit = variance.sqrt();
    let scaled: Vec<(f64, bool)> = logs.iter().map(|(y, e)| ((y - centre) / unit, *e)).collect();
    let value = |gamma: f64, theta: f64| -> f64 {
        scaled
            .iter()
            .map(|(y, ended)| {
                let w = theta * y - gamma;
                if *ended { theta.ln() - 0.5 * w * w } else { log_tail(w) }
            })
            .sum()
    };
    let (mut gamma, mut theta) = (0.0, 1.0);
    for _ in 0..200 {
        let (mut g, mut t, mut gg, mut gt, mut tt) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (y, ended) in &scaled {
            let w = theta * y - gamma;
            let (slope, curve) = if *ended {
                t += 1.0 / theta;
                tt -= 1.0 / (theta * theta);
                (w, 1.0)
            } else {
                let h = hazard(w);
                (h, h * (h - w))
            };
            g += slope;
            t -= slope * y;
            gg -= curve;
            gt += curve * y;
            tt -= curve * y * y;
        }
        let determinant = gg * tt - gt * gt;
        let (dg, dt) = ((g * tt - t * gt) / determinant, (t * gg - g * gt) / determinant);
        let (here, mut step) = (value(gamma, theta), 1.0);
        // Halve until the step stays inside θ > 0 and does not go down.
        while step > 1e-12 && (theta - step * dt <= 0.0 || value(gamma - step * dg, theta - step * dt) < here) {
            step *= 0.5;
        }
        gamma -= step * dg;
        theta -= step * dt;
        if (step * dg).abs() + (step * dt).abs() < 1e-13 * (1.0 + gamma.abs() + theta) {
            break;
        }
    }
    let (mu, sigma) = (centre + unit * gamma / theta, unit / theta);
    let fit = LognormalFit { mu, sigma, log_likelihood: 0.0 };
    let log_likelihood = logs.iter().map(|(y, ended)| fit.log_term(*y, *ended)).sum();
    (mu.is_finite() && sigma.is_finite()).then_some(LognormalFit { log_likelihood, ..fit })
}

/// ln(1 - Φ(w)), by its asymptote far out.
fn log_tail(w: f64) -> f64 {
    if w > 30.0 { density_log(w) - w.ln() - (1.0 / (w * w)).ln_1p() } else { normal_cdf(-w).ln() }
}

/// ln φ(w).
fn density_log(w: f64) -> f64 {
    -0.5 * w * w - 0.5 * (2.0 * std::f64::consts::PI).ln()
}

impl LognormalFit {
    fn log_term(self, log: f64, ended: bool) -> f64 {
        let w = (log - self.mu) / self.sigma;
        if ended { density_log(w) - self.sigma.ln() - log } else { log_tail(w) }
    }

    /// Share lasting longer than `seconds`.
    pub fn survival(self, seconds: f64) -> f64 {
        if seconds <= 0.0 { 1.0 } else { normal_cdf(-(seconds.ln() - self.mu) / self.sigma) }
    }

    /// Akaike's criterion, for choosing between shapes (smaller is better).
    pub fn aic(self) -> f64 {
        4.0 - 2.0 * self.log_likelihood
    }
}

#[cfg(test)]
mod tests {
    use super::super::duration::tests::{REFERENCES, lasted, trace_a_open};
    use super::super::testing::{TRACE_A, close, near};
    use super::*;
    use proptest::prelude::*;

    /// 37 locomotive controls that failed and 59 still running at 135 thousand miles (Nelson).
    fn locomotives() -> Vec<Lasted> {
        let failed = [
            22.5, 37.5, 46.0, 48.5, 51.5, 53.0, 54.5, 57.5, 66.5, 68.0, 69.5, 76.5, 77.0, 78.5, 80.0, 81.5, 82.0, 83.0,
            84.0, 91.5, 93.5, 102.5, 107.0, 108.5, 112.5, 113.5, 116.0, 117.0, 118.5, 119.0, 120.0, 122.5, 123.0,
            127.5, 131.0, 132.5, 134.0,
        ];
        let mut data = lasted(&failed, &[1; 37]);
        data.extend(std::iter::repeat_n(Lasted { seconds: 135.0, ended: false }, 59));
        data
    }

    #[test]
    fn the_locomotive_controls_match() {
        // μ 5.1169, σ 0.7055 as a statistics program printed them [SCIPYTEST17]; digits [CALC26].
        let fit = fit_lognormal(&locomotives()).expect("enough data");
        near(fit.mu, 5.1169, 5.1e-5);
        near(fit.sigma, 0.7055, 5.1e-5);
        close(fit.mu, 5.116_924_718, 1e-6);
        close(fit.sigma, 0.705_494_025_5, 1e-6);
        close(fit.log_likelihood, -237.093_545_3, 1e-9);
    }

    #[test]
    fn other_data_match() {
        // TRACE-A complete and with the last one open; data of [NIST8413], 10 failed and 10 running at 500 [CALC26].
        let complete = fit_lognormal(&lasted(&TRACE_A.map(|o| o.1), &[1; 6])).expect("enough data");
        close(complete.mu, 5.679_418_723, 1e-9);
        close(complete.sigma, 2.088_439_22, 1e-8);
        let open = fit_lognormal(&trace_a_open()).expect("enough data");
        close(open.mu, 5.876_296_123, 1e-5);
        close(open.sigma, 2.447_544_64, 1e-5);
        let nist = fit_lognormal(&super::super::weibull_fit::tests::nist()).expect("enough data");
        close(nist.mu, 6.226_015_046, 1e-5);
        close(nist.sigma, 0.908_914_035_5, 1e-5);
        close(nist.log_likelihood, -75.196_270_78, 1e-8);
    }

    #[test]
    fn random_lengths_agree_with_scipy() {
        for r in REFERENCES {
            let fit = fit_lognormal(&lasted(&r.lengths, &r.ended)).expect("enough data");
            close(fit.mu, r.lognormal[0], 1e-6);
            close(fit.sigma, r.lognormal[1], 1e-6);
            close(fit.log_likelihood, r.lognormal[2], 1e-8);
        }
    }

    #[test]
    fn too_little_data_gives_no_fit() {
        assert_eq!(fit_lognormal(&[]), None);
        assert_eq!(fit_lognormal(&lasted(&[60.0, 90.0], &[1, 0])), None);
        assert_eq!(fit_lognormal(&lasted(&[60.0, 60.0, 90.0], &[1, 1, 0])), None);
    }

    proptest! {
        #[test]
        fn an_open_outage_lengthens_and_scale_moves_only_the_median(
            lengths in proptest::collection::vec(1.0f64..1e5, 3..30), factor in 1.1f64..100.0
        ) {
            let data = lasted(&lengths, &vec![1; lengths.len()]);
            if let Some(fit) = fit_lognormal(&data) {
                let mut open = data.clone();
                let longest = lengths.iter().fold(0.0f64, |a, b| a.max(*b));
                open.push(Lasted { seconds: 2.0 * longest, ended: false });
                prop_assert!(fit_lognormal(&open).is_some_and(|o| o.mu > fit.mu));
                let scaled: Vec<_> = data.iter().map(|d| Lasted { seconds: factor * d.seconds, ..*d }).collect();
                let s = fit_lognormal(&scaled).expect("still spread");
                prop_assert!((s.mu - fit.mu - factor.ln()).abs() < 1e-8 && (s.sigma - fit.sigma).abs() < 1e-8);
            }
        }
    }
}
