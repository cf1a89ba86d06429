//! The numbers that make a verdict rare to be wrong, in one place so that the calibration can set them.
//!
//! A verdict is looked at again and again, and each look is a chance to be wrong. So a look may spend only part of the
//! error a requirement allows. What keeps the whole error under what was allowed is not proved but measured: by the
//! calibration over simulated sites, looked at daily for half a year (`cargo bench --bench calibration`, table in
//! src/judge/README.md).

use crate::judge::facts::Micros;

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
///
/// Chosen among 20 candidates over 6,000 simulated sites (seed 77), then measured over 20,000 others:
/// - met: a look may spend it all, because the verdict needs every requirement met at once. Of sites that miss the
///   availability, 1.3 % are called "IP alone is enough" in half a year of daily looks (3.2 % where outages last up to
///   two weeks). Half of it would take 130 clean days instead of 96 for a household.
/// - not met: all of it would call 6.7 % of good sites short, two fifths call 3.5 %; less costs more than it saves.
/// - one outage is enough: asking for two changed no error by more than a tenth of a percent.
pub const LOOKS: LookRule = LookRule {
    met_share: 1.0,
    not_met_share: 0.4,
    least_watch_met: Micros::from_secs(7 * 86_400),
    least_watch_not_met: Micros::from_secs(7 * 86_400),
    least_outages: 1,
};

/// Outages with at least so much up-time between are separate ones, seconds (choice: twice the mean up-time taken inside
/// a cluster).
pub const APART: f64 = 3_600.0;

/// How many unneeded backups weigh as much as one line wrongly left without.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Caution(pub f64);

impl Default for Caution {
    /// Nine (choice): IP alone is right at odds of nine in ten or better.
    fn default() -> Self {
        Self(9.0)
    }
}

/// Hours a year without a path at which a line just misses what the household set asks: 0.5 % of 8,766 h.
const JUST_MISSES_H: f64 = 0.005 * 8_766.0;

impl Caution {
    /// From what an hour without monitoring is worth and what a backup costs a month, in the same money: what a line that
    /// just misses what is asked would cost in a year, over a year's fees. A free backup is worth any caution there is.
    ///
    /// Between 1 and 99, as an entered one.
    pub fn of_money(hour: f64, fee: f64) -> Self {
        let year = 12.0 * fee;
        Self(if year > 0.0 { (hour * JUST_MISSES_H / year).clamp(1.0, 99.0) } else { 99.0 })
    }

    /// The highest odds of missing what is asked at which IP alone costs less than a backup.
    pub fn most(self) -> f64 {
        1.0 / (1.0 + self.0)
    }
}

/// How long a mendable trouble asks for mending after it was last seen, counted in time the path was watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MendRule {
    /// One that was seen once.
    pub once: Micros,
    /// One that came again.
    pub recurring: Micros,
    /// Further apart than this, it came again.
    pub apart: Micros,
}

/// The rule in force (choice). A day is what most proofs of mending ask for, a week what those of restarts ask for: a
/// watch that long is itself the proof. An hour apart: what flaps within it is one fault.
pub const MENDING: MendRule = MendRule {
    once: Micros::from_secs(86_400),
    recurring: Micros::from_secs(7 * 86_400),
    apart: Micros::from_secs(3_600),
};

impl LookRule {
    /// The rule for one single look, which spends the whole error at once.
    #[cfg(test)]
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
        // By hand: half of the 10 % allowed leaves 5 %, a quarter 2.5 % [HAND26].
        let rule = LookRule { met_share: 0.5, not_met_share: 0.25, ..LOOKS };
        assert!((rule.met_at(0.9) - 0.95).abs() < 1e-12);
        assert!((rule.not_met_at(0.9) - 0.025).abs() < 1e-12);
    }

    #[test]
    fn caution_by_money_is_a_year_of_hours_over_a_year_of_fees() {
        // By hand: 20 an hour times 43.83 h over 12 times 15 is 4.87; IP alone at odds of 1 in 5.87.
        assert!((Caution::of_money(20.0, 15.0).0 - 4.87).abs() < 1e-3);
        assert!((Caution::of_money(20.0, 15.0).most() - 1.0 / 5.87).abs() < 1e-4);
        let bounds = [(0.1, 100.0), (1_000.0, 1.0), (1.0, 0.0)].map(|(hour, fee)| Caution::of_money(hour, fee).0);
        assert!(bounds.iter().zip([1.0, 99.0, 99.0]).all(|(is, must)| (is - must).abs() < 1e-12), "{bounds:?}");
    }

    #[test]
    fn a_look_of_many_is_never_easier_to_convince_than_a_single_one() {
        for sure in [0.8, 0.9, 0.95, 0.99] {
            let single = LookRule::SINGLE;
            assert!(
                (single.met_at(sure) - sure).abs() < 1e-12 && (single.not_met_at(sure) - (1.0 - sure)).abs() < 1e-12
            );
            assert!(LOOKS.met_at(sure) >= single.met_at(sure) && LOOKS.not_met_at(sure) <= single.not_met_at(sure));
            assert!(LOOKS.not_met_at(sure) > 0.0 && LOOKS.met_at(sure) < 1.0, "nothing could ever be said");
        }
    }
}
