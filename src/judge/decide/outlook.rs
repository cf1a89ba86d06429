//! Unmonitored hours a year to expect: IP alone, and IP with a cellular second path.
//!
//! The network part comes from the posterior on unavailability that the verdict uses. Mains and the cellular path can't
//! be seen by a network survey: both are inputs, named with their source, and a mains part that nobody entered is not
//! in the sum and said to be missing. What both paths have in common is `stats::dual_path`. Does not price anything.

use crate::judge::decide::belief::Belief;
use crate::judge::decide::belief::weigh::Watched;
use crate::judge::decide::evidence::Evidence;
use crate::judge::decide::outage;
use crate::judge::decide::prior::Prior;
use crate::judge::decide::thresholds::LOOKS;
use crate::judge::facts::Moment;
use crate::judge::facts::stretches;
use crate::judge::stats::band_posterior::{BandPosterior, BandPrior};
use crate::judge::stats::dual_path::{hours_per_year, pair_unavailability, shared_by_beta};
use serde::{Deserialize, Serialize};

/// Probabilities of the three figures told.
const BOUNDS: [f64; 3] = [0.05, 0.5, 0.95];

/// Share of time a cellular path is taken to be down where nobody says (choice: the same as the household set allows
/// the line; no published figure for fixed alarm communicators was found).
pub const CELLULAR_DOWN: f64 = 0.005;
/// Share of the better path's unavailability that takes both down (choice: the middle of the 2 to 20 % for which
/// [IEC61508] tabulates pairs; on a home site mostly a wide mains cut, or one trench for both).
pub const SHARED: f64 = 0.10;

/// What the outlook takes as given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Assumed {
    /// Hours a year the network gear is without power, after its backup; `None`: not known.
    pub mains_hours: Option<f64>,
    /// Bounds of that, 5 and 95 %, where it was worked out from interruption indices rather than entered.
    #[serde(default)]
    pub mains_bounds: Option<[f64; 2]>,
    /// Those of them in which a cellular path is without power too; `None`: not known, and [`SHARED`] covers it.
    #[serde(default)]
    pub mains_common_hours: Option<f64>,
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
///
/// `for_want_of_power` are spans in which the path was seen down because mains was away. With a mains part in the sum
/// they are left out of the network part, neither up nor down: a cause counts once.
pub fn outlook(
    e: &Evidence,
    for_want_of_power: &[(Moment, Moment)],
    prior: &Prior,
    given: &Assumed,
) -> Option<Outlook> {
    let network = match given.mains_hours {
        Some(_) if !for_want_of_power.is_empty() => &network_only(e, for_want_of_power),
        _ => e,
    };
    if network.observed().0 <= 0 {
        return None;
    }
    let belief = Belief::new(&Watched::of(network), prior);
    let down = if belief.beyond() {
        // No line known of is like it: what was watched alone, counted with care.
        let alone = BandPosterior::new(BandPrior::PUBLISHED, &network.lasted(), network.up_s());
        BOUNDS.map(|p| alone.quantile(p))
    } else {
        belief.down(BOUNDS)
    };
    Some(of(stretched(down, network), given))
}

/// The bounds, wide enough for what was measured in a week or more: a belief may call that a freak, nobody who lived it
/// does.
fn stretched([low, middle, high]: [f64; 3], e: &Evidence) -> [f64; 3] {
    let (seen, lost) = (e.observed().secs(), e.lasted().iter().map(|o| o.seconds).sum::<f64>());
    if lost <= 0.0 || seen < LOOKS.least_watch_met.secs() * 0.95 {
        return [low, middle, high];
    }
    let measured = lost / seen.max(lost);
    [low.min(measured), middle, high.max(measured)]
}

/// The outlook from what is believed alone; `None` where the kind of line is not known.
pub fn believed(prior: &Prior, given: &Assumed) -> Option<Outlook> {
    prior.access?;
    Some(of(Belief::new(&Watched::default(), prior).down(BOUNDS), given))
}

/// The evidence without these spans.
fn network_only(e: &Evidence, spans: &[(Moment, Moment)]) -> Evidence {
    let spans = stretches::merged(spans.to_vec());
    let unseen = stretches::merged(e.unseen.iter().chain(&spans).copied().collect());
    Evidence { outages: outage::without_planned(&e.outages, &spans, e.now()), unseen, ..e.clone() }
}

fn of(network: [f64; 3], given: &Assumed) -> Outlook {
    let share = |hours: f64| (hours / hours_per_year(1.0)).clamp(0.0, 1.0);
    let cellular = given.cellular_hours.map_or(CELLULAR_DOWN, share);
    let beta = given.shared.unwrap_or(SHARED).clamp(0.0, 1.0);
    let [low, high] = given.mains_bounds.unwrap_or([given.mains_hours.unwrap_or(0.0); 2]);
    let mains = [low, given.mains_hours.unwrap_or(0.0), high].map(share);
    let hours = |of: &dyn Fn(f64, f64) -> f64| {
        let [low, middle, high] = [0, 1, 2].map(|i| hours_per_year(of(network[i], mains[i])));
        Hours { low, middle, high }
    };
    Outlook {
        network: hours(&|u, _| u),
        ip_alone: hours(&either),
        with_cellular: hours(&|u, m| {
            // The common part of mains grows and shrinks with the whole of it.
            let common = given.mains_common_hours.map(|c| if mains[1] > 0.0 { share(c) * m / mains[1] } else { 0.0 });
            both(u, m, common, cellular, beta)
        }),
        cellular,
        shared: beta,
        mains: given.mains_hours,
    }
}

/// Unavailability of a path that fails for either of two reasons that don't know of each other.
pub fn either(network: f64, mains: f64) -> f64 {
    network + mains - network * mains
}

/// Unavailability of both paths. Where the part of mains that takes both is known it counts as itself, and `beta`
/// covers what networks have in common besides; else `beta` covers all.
fn both(network: f64, mains: f64, common: Option<f64>, cellular: f64, beta: f64) -> f64 {
    let ip = either(network, mains);
    let shared = match common {
        Some(common) => common.min(mains) + shared_by_beta(network, cellular, beta),
        None => shared_by_beta(ip, cellular, beta),
    };
    pair_unavailability(ip, cellular.max(shared), shared)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::outage::Outage;
    use crate::judge::facts::Micros;

    fn evidence(days: i64, lengths: &[i64]) -> Evidence {
        let at = |i: usize| Moment(i as i64 * 86_400_000_000);
        let outages =
            lengths.iter().enumerate().map(|(i, s)| Outage::exact(at(i), Some(at(i) + Micros::from_secs(*s))));
        Evidence::new(Micros::from_secs(days * 86_400), outages.collect())
    }

    #[test]
    fn hours_are_in_order_and_a_second_path_leaves_fewer() {
        let o = outlook(&evidence(30, &[1_200, 60]), &[], &Prior::default(), &Assumed::default()).expect("watched");
        for h in [o.network, o.ip_alone, o.with_cellular] {
            assert!(h.low < h.middle && h.middle < h.high, "{h:?}");
        }
        assert!(o.with_cellular.middle < o.ip_alone.middle);
        assert_eq!((o.network, o.mains), (o.ip_alone, None));
    }

    #[test]
    fn what_was_measured_in_a_week_lies_within_the_bounds() {
        // 30 d with one outage of 15 h: 15/720 of the time down, 182.6 h a year by hand; no week, no such bound.
        let prior = Prior { access: Some(crate::judge::Access::Fibre), ..Prior::default() };
        let high =
            |days, s| outlook(&evidence(days, &[s]), &[], &prior, &Assumed::default()).expect("watched").network.high;
        assert!((high(30, 54_000) - 182.6).abs() < 1.0, "{}", high(30, 54_000));
        assert!(high(2, 20_000) < 800.0, "{}", high(2, 20_000));
    }

    #[test]
    fn the_pair_is_the_check_value_where_the_network_is_known() {
        // Worked out elsewhere [CALC26]: U .005 and .005, beta .10 -> 5.202601301e-4, 4.557478739 h a year.
        let u = pair_unavailability(0.005, 0.005, shared_by_beta(0.005, CELLULAR_DOWN, SHARED));
        assert!((hours_per_year(u) - 4.557_478_739).abs() < 1e-8);
    }

    #[test]
    fn entered_mains_hours_come_on_top() {
        let given = Assumed { mains_hours: Some(6.0), ..Assumed::default() };
        let o = outlook(&evidence(30, &[]), &[], &Prior::default(), &given).expect("watched");
        let more = o.ip_alone.middle - o.network.middle;
        assert!(more > 5.9 && more <= 6.0, "{more}");
        assert!(outlook(&evidence(0, &[]), &[], &Prior::default(), &given).is_none());
    }

    #[test]
    fn a_power_cut_that_was_seen_counts_once() {
        // A long cut on the third day, known to be for want of power, and a mains part in the sum.
        let e = evidence(30, &[60, 60, 20_000]);
        let cut = [(Moment(2 * 86_400_000_000), Moment(2 * 86_400_000_000) + Micros::from_secs(20_000))];
        let given = Assumed { mains_hours: Some(6.0), ..Assumed::default() };
        let at = |spans: &[_], given| outlook(&e, spans, &Prior::default(), given).expect("watched").network.middle;
        let without_it = outlook(&evidence(30, &[60, 60]), &[], &Prior::default(), &given).expect("watched").network;
        assert!((at(&cut, &given) - without_it.middle).abs() < 0.02 * without_it.middle);
        assert!(at(&cut, &given) < at(&[], &given));
        // Without a mains part it is all there is to know of mains, and stays.
        assert!((at(&cut, &Assumed::default()) - at(&[], &Assumed::default())).abs() < 1e-12);
    }

    #[test]
    fn mains_that_takes_both_paths_is_what_is_left() {
        // A perfect network and cellular path: what both lose is the common part of mains, to the hour.
        let u = both(0.0, 10.0 / 8_760.0, Some(4.0 / 8_760.0), 0.0, 0.10);
        assert!((hours_per_year(u) - 4.0).abs() < 1e-9);
        // Nothing in common: the product.
        let u = both(0.005, 0.0, Some(0.0), 0.005, 0.0);
        assert!((u - 2.5e-5).abs() < 1e-12);
        assert!(both(0.01, 0.01, Some(0.002), 0.01, 0.1) > both(0.01, 0.01, Some(0.001), 0.01, 0.1));
    }
}
