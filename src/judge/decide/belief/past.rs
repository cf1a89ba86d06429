//! What is told of the time before the watch, and how well each reference site explains it.
//!
//! Decides how memory and a router's own count of time connected weigh. Neither is as good as watching: memory counts for
//! a part of what was watched, and a count sees a part of the outages and begins anew for other reasons too. It reads
//! neither: they come with the prior.

use super::sites::{ANYWHERE, FOLLOW, Kind, LONG, Site};
use crate::judge::decide::prior::{OTHER_RESTARTS, Prior, RECALL_NOTICED, RECALL_WEIGHT, Recalled, Unbroken};
use crate::judge::facts::Micros;

/// The year a customer recalls, seconds.
const YEAR: f64 = 365.25 * 86_400.0;

/// What is told of the time before the watch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Past {
    recalled: Option<Recalled>,
    unbroken: Option<Unbroken>,
}

impl Past {
    /// What the prior holds of it.
    pub fn of(prior: &Prior) -> Self {
        Self { recalled: prior.recalled, unbroken: prior.unbroken }
    }

    /// ln of the likelihood of it all, for one site.
    pub fn ln(&self, kind: &Kind, s: &Site) -> f64 {
        self.recalled.map_or(0.0, |r| recalled(kind, s, r)) + self.unbroken.map_or(0.0, |u| unbroken(s, u))
    }
}

/// Memory: long outages of the last year, some of them noticed; clusters are told of once.
fn recalled(kind: &Kind, s: &Site, r: Recalled) -> f64 {
    let told = f64::from(r.last_year);
    let expected = clusters(s) * s.long_share * YEAR * RECALL_NOTICED;
    let mut l = told * expected.max(1e-12).ln() - expected;
    let worst = r.worst.map(Micros::secs).filter(|w| *w > LONG);
    if let (Some(worst), true) = (worst, told > 0.0) {
        let below = |x: f64| (1.0 - kind.lengths.long_over(s.scale, x)).powf(told);
        l += ((below(worst * 1.5) - below(worst / 1.5)).max(ANYWHERE)).ln();
    }
    RECALL_WEIGHT * l
}

/// A count that began anew so long ago: by an outage it can see or by something else, and by no outage since.
fn unbroken(s: &Site, u: Unbroken) -> f64 {
    let seen = clusters(s) * cluster_seen(s, u.visible);
    (seen + OTHER_RESTARTS).ln() - seen * u.seconds
}

/// Clusters of outages a second; an outage by itself is one.
fn clusters(s: &Site) -> f64 {
    (1.0 - follow(s)) / s.mean_up
}

/// Chance that a cluster holds an outage that is seen, where each is by itself with chance `visible`: with a geometric
/// number of outages none is seen with (1 - f)(1 - v) / (1 - f(1 - v)).
fn cluster_seen(s: &Site, visible: f64) -> f64 {
    let (f, hidden) = (follow(s), 1.0 - visible);
    1.0 - (1.0 - f) * hidden / (1.0 - f * hidden)
}

fn follow(s: &Site) -> f64 {
    if s.clustered { FOLLOW } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(clustered: bool) -> Site {
        Site { z: 0.0, up: 86_400.0, clustered, mean_up: 86_400.0, long_share: 0.5, scale: 8 }
    }

    #[test]
    fn a_cluster_is_seen_more_often_than_one_outage() {
        // One alone: v. Two outages on average: 1 - .5 * .3 / (1 - .5 * .3) = .823529, by hand.
        assert!((cluster_seen(&site(false), 0.7) - 0.7).abs() < 1e-12);
        assert!((cluster_seen(&site(true), 0.7) - 0.823_529_411_764_706).abs() < 1e-12);
    }

    #[test]
    fn a_long_count_speaks_for_quiet_sites_and_one_that_just_began_anew_hardly_speaks() {
        let quiet = Site { mean_up: 100.0 * 86_400.0, ..site(false) };
        let favour = |days: f64| {
            let u = Unbroken { seconds: days * 86_400.0, visible: 0.7 };
            unbroken(&quiet, u) - unbroken(&site(false), u)
        };
        assert!(favour(60.0) > 30.0 && favour(0.0) < 0.0, "{} {}", favour(60.0), favour(0.0));
        // Of a count that sees nothing nothing is learned.
        let blind = Unbroken { seconds: 1e7, visible: 0.0 };
        assert!((unbroken(&quiet, blind) - unbroken(&site(false), blind)).abs() < 1e-12);
    }
}
