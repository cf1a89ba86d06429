//! Axes that several pictures share: round steps, and marks of a logarithmic axis of times.

use super::{Anchor, Ink, Picture};

/// A frame for bars over a baseline: where it begins, how wide and how high it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) w: f64,
    pub(super) h: f64,
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `value`; 1 for nothing.
pub(super) fn round_up(value: f64) -> f64 {
    if !(value.is_finite() && value > 0.0) {
        return 1.0;
    }
    let power = 10f64.powf(value.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|t| *t >= value * (1.0 - 1e-9)).unwrap_or(10.0 * power)
}

/// A number without needless zeros.
pub(super) fn number(x: f64) -> String {
    if x >= 10.0 || x.fract().abs() < 1e-9 {
        format!("{x:.0}")
    } else if x >= 1.0 {
        format!("{x:.1}")
    } else {
        format!("{x:.2}")
    }
}

impl Frame {
    /// A horizontal rule for each half of `most`, with its number at the left.
    pub(super) fn rules(self, p: &mut Picture, most: f64) {
        for part in [0.0, 0.5, 1.0] {
            let y = self.y + self.h * (1.0 - part);
            p.line([[self.x, y], [self.x + self.w, y]], 1.0, if part == 0.0 { Ink::Dark } else { Ink::Light });
            p.text([self.x - 6.0, y + 4.0], Anchor::End, number(most * part));
        }
    }

    /// Place of a positive value on a logarithmic axis from `from` to `to`.
    pub(super) fn log_x(self, value: f64, [from, to]: [f64; 2]) -> f64 {
        let share = (value.max(from) / from).ln() / (to / from).ln();
        self.x + self.w * share.clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_never_too_small() {
        for (v, r) in [(0.0, 1.0), (1.0, 1.0), (1.2, 2.0), (3.0, 5.0), (7.0, 10.0), (130.0, 200.0), (0.03, 0.05)] {
            assert!((round_up(v) - r).abs() < 1e-9, "{v}: {}", round_up(v));
        }
    }
}
