//! How long the outages lasted, in figures a reader can use.
//!
//! Decides the middle length with bounds, without a model (`stats::duration`), and, from enough outages, the share over
//! an hour by the shape that fits better, lognormal or Weibull, by Akaike's criterion (a choice; a tie goes to the
//! lognormal). No verdict rests on it.

use crate::judge::stats::duration::{Lasted, kaplan_meier, median};
use crate::judge::stats::lognormal_fit::fit_lognormal;
use crate::judge::stats::weibull_fit::fit_weibull;

/// Fewest ended outages a shape is fitted to (choice: two numbers from fewer say little).
pub const FEWEST_FITTED: usize = 8;
/// The length the fitted share is told for, seconds.
pub const LONG_S: f64 = 3_600.0;

/// The lengths of the outages seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lengths {
    /// Outages seen.
    pub seen: usize,
    /// Of these, those that ended.
    pub ended: usize,
    /// The length half of them do not exceed, seconds; `None` where those seen don't reach that far.
    pub median_s: Option<f64>,
    /// Its 95 % bounds, seconds; `None` where nothing seen bounds it.
    pub bounds_s: [Option<f64>; 2],
    /// Share lasting over [`LONG_S`], by the shape that fits better.
    pub over_an_hour: Option<f64>,
    /// Which shape that is.
    pub shape: Option<&'static str>,
}

/// The lengths; `None` where there was no outage.
pub fn lengths(outages: &[Lasted]) -> Option<Lengths> {
    if outages.is_empty() {
        return None;
    }
    let (median_s, bounds_s) = median(&kaplan_meier(outages, 0.95));
    let ended = outages.iter().filter(|o| o.ended).count();
    let fits = (ended >= FEWEST_FITTED).then(|| (fit_lognormal(outages), fit_weibull(outages)));
    let (over_an_hour, shape) = match fits {
        Some((Some(l), Some(w))) if w.aic() < l.aic() => (Some(w.survival(LONG_S)), Some("Weibull")),
        Some((Some(l), _)) => (Some(l.survival(LONG_S)), Some("lognormal")),
        Some((None, Some(w))) => (Some(w.survival(LONG_S)), Some("Weibull")),
        _ => (None, None),
    };
    Some(Lengths { seen: outages.len(), ended, median_s, bounds_s, over_an_hour, shape })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::stats::testing::{Lcg, TRACE_A};

    fn all(lengths: impl IntoIterator<Item = f64>) -> Vec<Lasted> {
        lengths.into_iter().map(|seconds| Lasted { seconds, ended: true }).collect()
    }

    #[test]
    fn few_outages_have_a_middle_but_no_shape() {
        // TRACE-A: Kaplan-Meier reaches a half at 90 s [CALC26].
        let l = lengths(&all(TRACE_A.map(|o| o.1))).expect("outages");
        assert_eq!((l.seen, l.ended, l.median_s, l.over_an_hour), (6, 6, Some(90.0), None));
        assert_eq!(lengths(&[]), None);
        let running = [Lasted { seconds: 60.0, ended: false }];
        assert_eq!(lengths(&running).expect("one").median_s, None);
    }

    #[test]
    fn the_shape_that_made_the_lengths_is_found_and_gives_its_share() {
        let mut draw = Lcg(5);
        // Lognormal, median 10 min, sigma 1.5: P(over an hour) = 1 - Phi(ln 6 / 1.5) = 0.116.
        let log = lengths(&all((0..2_000).map(|_| draw.lognormal(600.0, 1.5)))).expect("outages");
        assert_eq!(log.shape, Some("lognormal"));
        assert!((log.over_an_hour.expect("fitted") - 0.116).abs() < 0.02, "{log:?}");
        assert!(log.bounds_s[0] <= log.median_s && log.median_s <= log.bounds_s[1]);
        // Exponential, mean 20 min, is Weibull with shape 1: e^-3 = 0.0498.
        let exp = lengths(&all((0..2_000).map(|_| draw.exponential(1_200.0)))).expect("outages");
        assert_eq!(exp.shape, Some("Weibull"));
        assert!((exp.over_an_hour.expect("fitted") - 0.0498).abs() < 0.012, "{exp:?}");
    }
}
