//! Variation of delay from probe to probe.
//!
//! Decides the smoothed jitter of RFC 3550 and the two delay variations RFC 5481 compares. A lost probe has no delay
//! and is left out by the caller. Source: RFC 3550 section 6.4.1 and A.8; RFC 3393; RFC 5481.

use serde::{Deserialize, Serialize};

/// Smoothed jitter: J += (|D| - J) / 16 for each change D of the delay.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Jitter {
    last: Option<f64>,
    value: f64,
}

impl Jitter {
    /// Takes in one delay; gives the jitter after it, in the delay's unit.
    pub fn update(&mut self, delay: f64) -> f64 {
        if let Some(last) = self.last.replace(delay) {
            self.value += ((delay - last).abs() - self.value) / 16.0;
        }
        self.value
    }

    /// The jitter now.
    pub fn value(self) -> f64 {
        self.value
    }
}

/// Delay variation from one packet to the next (RFC 3393 selection of consecutive packets); one fewer than delays.
pub fn consecutive_variation(delays: &[f64]) -> Vec<f64> {
    delays.windows(2).map(|w| w[1] - w[0]).collect()
}

/// Delay variation from the least delay (RFC 5481 PDV).
pub fn variation_from_least(delays: &[f64]) -> Vec<f64> {
    let least = delays.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    delays.iter().map(|d| d - least).collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::close;
    use super::*;

    const DELAYS: [f64; 5] = [20.0, 10.0, 20.0, 25.0, 20.0];

    #[test]
    fn the_rfc_5481_illustration_matches() {
        // RFC 5481 section 4.3, delays in ms.
        assert_eq!(consecutive_variation(&DELAYS), [-10.0, 10.0, 5.0, -5.0]);
        assert_eq!(variation_from_least(&DELAYS), [10.0, 0.0, 10.0, 15.0, 10.0]);
        assert!(variation_from_least(&[]).is_empty());
    }

    #[test]
    fn rfc_3550_jitter_matches() {
        // Worked out elsewhere [CALC26].
        let mut j = Jitter::default();
        j.update(DELAYS[0]);
        for (d, want) in DELAYS[1..].iter().zip([0.625, 1.210_937_5, 1.447_753_906, 1.669_769_287]) {
            close(j.update(*d), want, 1e-9);
        }
        // |D| = 16 always: 16 (1 - (15/16)^16) after 16 changes.
        let mut j = Jitter::default();
        for i in 0..=16 {
            j.update(f64::from(i % 2) * 16.0);
        }
        close(j.value(), 10.302_813_91, 1e-9);
    }
}
