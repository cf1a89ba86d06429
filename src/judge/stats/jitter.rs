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

#[cfg(test)]
mod tests {
    use super::super::testing::close;
    use super::*;

    const DELAYS: [f64; 5] = [20.0, 10.0, 20.0, 25.0, 20.0];

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
