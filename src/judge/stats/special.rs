//! Distribution functions and quantiles the methods share, safe over the whole range a survey can produce.
//!
//! Decides how a quantile is found: bisection on a logarithmic (or logit) scale, which always ends and keeps
//! relative accuracy near zero. The `statrs` inverse of the beta distribution may never return for rare events in
//! many trials, and its continued fraction stops after 140 steps, which is wrong for large shapes; both are therefore
//! done here. Gamma and normal distribution functions come from `statrs`. Does not decide what is computed with them.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::erf::erfc;
use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur, ln_gamma};

/// Standard normal distribution function.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Standard normal quantile; infinite at 0 and 1.
pub fn normal_quantile(p: f64) -> f64 {
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    Normal::standard().inverse_cdf(p)
}

/// The z of a two-sided interval of this confidence: 1.959964 for 0.95.
pub fn two_sided_z(confidence: f64) -> f64 {
    -normal_quantile((1.0 - confidence) / 2.0)
}

/// Gamma distribution function at unit scale: P(X <= x) for this shape.
pub fn gamma_cdf(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x == f64::INFINITY {
        1.0
    } else {
        checked_gamma_lr(shape, x).unwrap_or(f64::NAN)
    }
}

/// Upper tail of the gamma distribution at unit scale: P(X > x).
pub fn gamma_tail(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        1.0
    } else if x == f64::INFINITY {
        0.0
    } else {
        checked_gamma_ur(shape, x).unwrap_or(f64::NAN)
    }
}

/// Gamma quantile at unit scale, by bisection in ln x. Zero at p = 0, infinite at p = 1.
pub fn gamma_quantile(shape: f64, p: f64) -> f64 {
    if p <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    // The smaller tail keeps its digits.
    let reached = |x: f64| if p > 0.5 { gamma_tail(shape, x) <= 1.0 - p } else { gamma_cdf(shape, x) >= p };
    let (mut low, mut high) = (shape.ln() - 1.0, shape.ln() + 1.0);
    while low > -700.0 && reached(low.exp()) {
        high = low;
        low -= 2.0 + low.abs();
    }
    while high < 700.0 && !reached(high.exp()) {
        low = high;
        high += 1.0;
    }
    bisect(low.max(-745.0), high, |u| reached(u.exp())).exp()
}

/// Beta distribution function: the regularized incomplete beta function at x.
///
/// Continued fraction by the modified Lentz method [ABRAM64], run until it settles:
/// about sqrt(max(a, b)) steps.
pub fn beta_cdf(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else {
        beta_cdf_both(a, b, x, 1.0 - x)
    }
}

/// As [`beta_cdf`], with 1 - x given apart so that neither end loses digits.
fn beta_cdf_both(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if y <= 0.0 {
        return 1.0;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_cdf_both_lower(b, a, y, x);
    }
    beta_cdf_both_lower(a, b, x, y)
}

/// The fraction itself, for x below the mean, where it converges fast.
fn beta_cdf_both_lower(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |v: f64| if v.abs() < TINY { TINY } else { v };
    let front = (ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * y.ln()).exp() / a;
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut h = d;
    for m in 1..100_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        h *= d * c;
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    (front * h).clamp(0.0, 1.0)
}

/// Where `reached` turns from false to true between `low` and `high`, to the last bit the scale allows.
pub fn bisect(mut low: f64, mut high: f64, reached: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if reached(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

/// Gauss-Legendre nodes and weights on (0, 1), by Newton's method on the Legendre polynomial.
pub fn gauss_legendre(n: usize) -> Vec<(f64, f64)> {
    let count = n as f64;
    (0..n)
        .map(|i| {
            let mut x = -(std::f64::consts::PI * (i as f64 + 0.75) / (count + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut before, mut now) = (1.0, x);
                for j in 2..=n {
                    let j = j as f64;
                    (before, now) = (now, ((2.0 * j - 1.0) * x * now - (j - 1.0) * before) / j);
                }
                slope = count * (x * now - before) / (x * x - 1.0);
                let step = now / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (0.5 * (x + 1.0), 1.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::close;
    use super::*;

    // The tables of this file: scipy 1.17.1, numpy default_rng(20260), shapes log-uniform over the range a survey
    // can produce; the script draws the parameters, rounds them, and prints `gamma.ppf`, `beta.ppf`, `f.ppf`. [CALC26]
    #[test]
    fn gamma_quantiles_agree_with_scipy() {
        for (shape, p, want) in [
            (2.4419, 0.001, 0.096_809_971_537_554_05),
            (1.323, 0.05, 0.124_414_302_532_543_32),
            (2166.711, 0.5, 2_166.377_675_784_825),
            (1824.0131, 0.95, 1_894.826_179_325_521_7),
            (0.5655, 0.9999, 7.814_561_436_662_379),
            (31.5058, 0.05, 22.875_635_544_385_183),
            (3.9149, 0.5, 3.587_088_121_457_543_6),
            (72.2912, 0.9999, 108.261_422_062_912_6),
            // The two cases where a 1e-9 absolute stop went wrong (check values, section 10).
            (0.5, 1e-6, 1.570_796_326_795_312_6e-12 / 2.0),
        ] {
            close(gamma_quantile(shape, p), want, 1e-11);
        }
    }

    #[test]
    fn the_beta_function_keeps_its_symmetry_at_large_shapes() {
        // By symmetry exactly one half; the library's fraction gives 0.4912 here (statrs 0.19, tried).
        close(beta_cdf(1e6, 1e6, 0.5), 0.5, 1e-6);
        close(beta_cdf(1e5, 1e5, 0.5), 0.5, 1e-7);
    }

    #[test]
    fn gauss_legendre_is_exact_for_polynomials() {
        for n in [2i32, 5, 32, 200] {
            let rule = gauss_legendre(n.unsigned_abs() as usize);
            close(rule.iter().map(|(_, w)| w).sum(), 1.0, 1e-13);
            let top = 2 * n - 1;
            close(rule.iter().map(|(x, w)| w * x.powi(top)).sum(), 1.0 / f64::from(top + 1), 1e-11);
        }
    }

    #[test]
    fn normal_quantiles_are_the_textbook_ones() {
        close(two_sided_z(0.95), 1.959_963_984_540_054, 1e-14);
        close(two_sided_z(0.90), 1.644_853_626_951_472, 1e-14);
        close(normal_cdf(1.644_853_626_951_472), 0.95, 1e-11);
    }
}
