//! The numbers that make a verdict rare to be wrong, in one place so that the calibration can set them.
//!
//! A verdict is looked at again and again, and each look is a chance to be wrong. So a look may spend only part of the
//! error a requirement allows: with a requirement 95 % sure and a share of one half, a look must be 97.5 % sure. The
//! calibration over simulated sites, looked at daily, shows whether the shares keep the whole error under what was
//! allowed; its table is in the project's docs.

use super::time::Micros;

/// How sure one look must be, and how much it must have seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LookRule {
    /// Share of the allowed error a look may spend on calling a requirement met (`ip-alone`).
    pub met_share: f64,
    /// Share of the allowed error a look may spend on calling it not met (`add-cellular`).
    pub not_met_share: f64,
    /// Least observed time before anything is called met: weekly load and lease renewals must be seen.
    pub least_watch_met: Micros,
    /// Least observed time before availability or delivery is called not met.
    pub least_watch_not_met: Micros,
    /// Fewest outages before anything is called not met. One alone may be the only one in years; the calibration says
    /// what two would cost in sites that ought to be told.
    pub least_outages: usize,
}

/// The rule in force. Looks are a day apart: a report in between is judged by the same rule.
pub const LOOKS: LookRule = LookRule {
    met_share: 0.5,
    not_met_share: 0.5,
    least_watch_met: Micros::from_secs(7 * 86_400),
    least_watch_not_met: Micros::from_secs(7 * 86_400),
    least_outages: 1,
};

impl LookRule {
    /// The rule for one single look, which spends the whole error at once.
    pub const SINGLE: Self = Self { met_share: 1.0, not_met_share: 1.0, ..LOOKS };

    /// Probability needed to call a requirement met that asks to be `sure`.
    pub fn met_at(&self, sure: f64) -> f64 {
        1.0 - (1.0 - sure) * self.met_share
    }

    /// Probability of holding at or under which it is called not met.
    pub fn not_met_at(&self, sure: f64) -> f64 {
        (1.0 - sure) * self.not_met_share
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_look_spends_its_share_of_the_error() {
        assert!((LOOKS.met_at(0.95) - 0.975).abs() < 1e-12);
        assert!((LOOKS.not_met_at(0.95) - 0.025).abs() < 1e-12);
        assert!((LookRule::SINGLE.met_at(0.95) - 0.95).abs() < 1e-12);
    }
}
