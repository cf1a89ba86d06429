//! Failures in a row that declare silence.

/// Smallest k with N (1 - p) p^k < 1, N questions a year, p the random loss: fewer than one false declaration a year
/// (success-run approximation; Feller, An Introduction to Probability Theory, vol. 1, XIII.7).
pub fn failures_needed(questions_a_year: f64, loss: f64) -> u32 {
    if loss <= 0.0 {
        return 1;
    }
    (1..=64).find(|k| questions_a_year * (1.0 - loss) * loss.powi(*k) < 1.0).map_or(64, |k| k as u32)
}
