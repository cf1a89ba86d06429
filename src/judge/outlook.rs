//! Unmonitored hours a year to expect: IP alone, and IP with a cellular second path.
//!
//! The network part comes from the posterior on unavailability that the verdict uses. Mains and the cellular path can't
//! be seen by a network survey: both are inputs, named with their source, and a mains part that nobody entered is not
//! in the sum and said to be missing. What both paths have in common is `stats::dual_path`. Does not price anything.

use super::requirement::Evidence;
use super::stats::band_posterior::{BandPosterior, BandPrior};
use super::stats::dual_path::{hours_per_year, pair_unavailability, shared_by_beta};
use serde::{Deserialize, Serialize};

/// Share of time a cellular path is taken to be down where nobody says (choice: the same as the household set allows
/// the line; no published figure for fixed alarm communicators was found).
pub const CELLULAR_DOWN: f64 = 0.005;
/// Share of the better path's unavailability that takes both down (choice: the middle of the 2 to 20 % for which
/// IEC 61508-6 tabulates pairs; on a home site mostly a wide mains cut, or one trench for both).
pub const SHARED: f64 = 0.10;

/// What the outlook takes as given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Assumed {
    /// Hours a year the network gear is without power, after its backup; `None`: not entered.
    pub mains_hours: Option<f64>,
    /// Hours a year the cellular path is down; `None`: [`CELLULAR_DOWN`].
    pub cellular_hours: Option<f64>,
    /// Share of the better path's failures common to both; `None`: [`SHARED`].
    pub shared: Option<f64>,
    /// What a cellular path costs a month, in the reader's own money; `None`: not entered.
    pub monthly_fee: Option<f64>,
}

/// Hours a year: what to expect, and bounds of that expectation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hours {
    /// One in twenty that it is less.
    pub low: f64,
    /// As likely more as less.
    pub middle: f64,
    /// One in twenty that it is more.
    pub high: f64,
}

/// The outlook for one year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// IP alone, network part only.
    pub network: Hours,
    /// IP alone with the mains part, where one was entered.
    pub ip_alone: Hours,
    /// Both paths.
    pub with_cellular: Hours,
    /// The cellular path's share of time down that was used.
    pub cellular: f64,
    /// The common share that was used.
    pub shared: f64,
    /// The mains part that was used, hours.
    pub mains: Option<f64>,
}

/// The outlook from what was seen and believed; `None` while nothing was watched.
pub fn outlook(e: &Evidence, belief: BandPrior, given: &Assumed) -> Option<Outlook> {
    if e.observed().0 <= 0 {
        return None;
    }
    let posterior = BandPosterior::new(belief, &e.lasted(), e.up_s());
    let mains = given.mains_hours.map(|h| (h / hours_per_year(1.0)).clamp(0.0, 1.0));
    let cellular = given.cellular_hours.map_or(CELLULAR_DOWN, |h| (h / hours_per_year(1.0)).clamp(0.0, 1.0));
    let shared = given.shared.unwrap_or(SHARED).clamp(0.0, 1.0);
    let down = |network: f64| mains.map_or(network, |m| network + m - network * m);
    let both = |network: f64| {
        let ip = down(network);
        pair_unavailability(ip, cellular, shared_by_beta(ip, cellular, shared))
    };
    let quantiles = [0.05, 0.5, 0.95].map(|p| posterior.quantile(p));
    let hours = |of: &dyn Fn(f64) -> f64| {
        let [low, middle, high] = quantiles.map(|u| hours_per_year(of(u)));
        Hours { low, middle, high }
    };
    Some(Outlook {
        network: hours(&|u| u),
        ip_alone: hours(&down),
        with_cellular: hours(&both),
        cellular,
        shared,
        mains: given.mains_hours,
    })
}

#[cfg(test)]
mod tests {
    use super::super::outage::Outage;
    use super::super::time::{Micros, Moment};
    use super::*;

    fn evidence(days: i64, lengths: &[i64]) -> Evidence {
        let at = |i: usize| Moment(i as i64 * 86_400_000_000);
        let outages =
            lengths.iter().enumerate().map(|(i, s)| Outage::exact(at(i), Some(at(i) + Micros::from_secs(*s))));
        Evidence::new(Micros::from_secs(days * 86_400), outages.collect())
    }

    #[test]
    fn hours_are_in_order_and_a_second_path_leaves_fewer() {
        let o = outlook(&evidence(30, &[1_200, 60]), BandPrior::PUBLISHED, &Assumed::default()).expect("watched");
        for h in [o.network, o.ip_alone, o.with_cellular] {
            assert!(h.low < h.middle && h.middle < h.high, "{h:?}");
        }
        assert!(o.with_cellular.middle < o.ip_alone.middle);
        assert_eq!((o.network, o.mains), (o.ip_alone, None));
    }

    #[test]
    fn the_pair_is_the_check_value_where_the_network_is_known() {
        // facts/statistics 7 [CALC]: U .005 and .005, beta .10 -> 5.202601301e-4, 4.557478739 h a year.
        let u = pair_unavailability(0.005, 0.005, shared_by_beta(0.005, CELLULAR_DOWN, SHARED));
        assert!((hours_per_year(u) - 4.557_478_739).abs() < 1e-8);
    }

    #[test]
    fn entered_mains_hours_come_on_top() {
        let given = Assumed { mains_hours: Some(6.0), ..Assumed::default() };
        let o = outlook(&evidence(30, &[]), BandPrior::PUBLISHED, &given).expect("watched");
        let more = o.ip_alone.middle - o.network.middle;
        assert!(more > 5.9 && more <= 6.0, "{more}");
        assert!(outlook(&evidence(0, &[]), BandPrior::PUBLISHED, &given).is_none());
    }
}
