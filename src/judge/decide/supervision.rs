//! Would the station have known? Per outage, for the site's supervision interval and for the common ones.
//!
//! An outage longer than the interval is noticed. A shorter one may be: the silence counts from the last check-in, which
//! may lie well before the outage. Where it is known how often the communicator checks in, that has a chance. Does not
//! decide what the station then does. Where the edges of an outage leave it open, the answer is not known.

use crate::judge::decide::outage::{Outage, Reading};
use crate::judge::facts::{Micros, Moment};

/// A common supervision interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Common {
    /// The interval.
    pub interval: Micros,
    /// How often the communicator checks in, where that is part of it.
    pub check_in: Option<Micros>,
    /// Where it is used.
    pub used: &'static str,
    /// How well that was checked: V, S, M or choice.
    pub tag: &'static str,
}

/// The common intervals; none was read in the standard that asks it.
pub const COMMON: [Common; 5] = [
    Common {
        interval: Micros::from_secs(200),
        check_in: None,
        // [LINE200]
        used: "single-path line security (\"Which UL Line Security Option is Right for Your Business?\", an insurer's page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(360),
        check_in: None,
        // [LINE200]
        used: "first path of dual-path line security (the same page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(300),
        check_in: None,
        // [NFPA72]
        used: "a single fire path by NFPA 72-2010 (\"Communications Methods for Fire Alarm\", a training centre's page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(3_600),
        check_in: None,
        // [NFPA72]
        used: "a single fire path by later editions of NFPA 72 (the same page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(90_000),
        check_in: Some(Micros::from_secs(86_400)),
        used: "a daily test with an hour's grace",
        tag: "choice",
    },
];

/// The chance that a station waiting `interval` in silence notices an outage of `length`, where the communicator checks
/// in every `check_in` (not longer than the interval) and tries again as soon as the path is back.
///
/// The outage begins at an even chance anywhere between two check-ins, the last of them U before it, U even on 0 to the
/// check-in period P. The silence lasts to the end of the outage if a check-in falls into it, so it is U + L long, and
/// is noticed if U + L > T: with chance (L - (T - P)) / P, held to 0 to 1. If no check-in falls into it, U + L <= P <= T,
/// and the same condition says that it is not noticed.
pub fn chance(length: Micros, interval: Micros, check_in: Micros) -> f64 {
    let (l, t, p) = (length.secs(), interval.secs(), check_in.secs());
    if p <= 0.0 {
        return if l > t { 1.0 } else { 0.0 };
    }
    ((l - (t - p)) / p).clamp(0.0, 1.0)
}

/// Whether an outage was longer than a station waits in silence, so that it would have known; where it was not, the
/// station may have known all the same. `None` where its edges leave it open, or while it lasts and is not yet long
/// enough.
pub fn known(outage: &Outage, interval: Micros, now: Moment) -> Option<bool> {
    if outage.length(Reading::Shortest, now) > interval {
        Some(true)
    } else if outage.to.is_some() && outage.length(Reading::Longest, now) <= interval {
        Some(false)
    } else {
        None
    }
}

/// How all outages fare against one interval.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Outages the station would have known of.
    pub known: usize,
    /// Outages not longer than the interval, which it may or may not have noticed.
    pub shorter: usize,
    /// Outages that can't be told.
    pub open: usize,
    /// The longest it can have known nothing of: the shorter ones whole, of the longer ones the interval.
    pub longest_unaware: Micros,
}

/// Counts all outages against one interval.
pub fn tally(outages: &[Outage], interval: Micros, now: Moment) -> Tally {
    let mut t = Tally::default();
    for o in outages {
        match known(o, interval, now) {
            Some(true) => t.known += 1,
            Some(false) => t.shorter += 1,
            None => t.open += 1,
        }
        t.longest_unaware = t.longest_unaware.max(o.length(Reading::Middle, now).min(interval));
    }
    t
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::facts::Edge;

    fn m(s: i64) -> Moment {
        Moment(s * 1_000_000)
    }

    #[test]
    fn longer_is_noticed_shorter_may_be_and_the_edges_may_leave_it_open() {
        let now = m(10_000);
        let of = |s| Outage::exact(m(0), Some(m(s)));
        let interval = Micros::from_secs(200);
        assert_eq!(known(&of(200), interval, now), Some(false));
        assert_eq!(known(&of(201), interval, now), Some(true));
        let dull = Outage { from: Edge::between(m(0), m(5)), to: Some(Edge::exact(m(203))) };
        assert_eq!(known(&dull, interval, now), None);
        let running = Outage { from: Edge::exact(m(9_900)), to: None };
        assert_eq!(known(&running, interval, now), None);
        assert_eq!(known(&Outage { from: Edge::exact(m(9_700)), to: None }, interval, now), Some(true));
        let t = tally(&[of(100), of(900), dull], interval, now);
        assert_eq!((t.known, t.shorter, t.open, t.longest_unaware), (1, 1, 1, interval));
    }

    // By hand: 5/24, 11/24 and 23/24 of the day are starts from which 25 hours of silence run out.
    #[test]
    fn the_chance_of_a_daily_test_with_an_hour_of_grace() {
        let hours = |h: i64| Micros::from_secs(h * 3_600);
        let of = |h| (chance(hours(h), hours(25), hours(24)) * 1_000.0).round() / 10.0;
        let same = |is: f64, must: f64| assert!((is - must).abs() < 1e-9, "{is} {must}");
        for (hours, must) in [(6, 20.8), (12, 45.8), (24, 95.8), (0, 0.0), (1, 0.0), (25, 100.0), (40, 100.0)] {
            same(of(hours), must);
        }
    }

    // Against check-ins played one by one: each is tried at its turn, or as soon as the path is back.
    #[test]
    fn the_chance_is_what_a_played_communicator_gives() {
        for (length, interval, check_in) in
            [(6_000, 25_000, 24_000), (12_000, 25_000, 24_000), (700, 2_000, 600), (1_700, 2_000, 600), (90, 100, 100)]
        {
            let noticed = (0..check_in)
                .filter(|phase| {
                    let (from, to) = (10 * check_in + phase, 10 * check_in + phase + length);
                    let through =
                        (0..100).map(|n| n * check_in).map(|at| if (from..to).contains(&at) { to } else { at });
                    let through: Vec<i64> = through.collect();
                    through.windows(2).any(|pair| pair[1] - pair[0] > interval)
                })
                .count();
            let want = noticed as f64 / check_in as f64;
            let got = chance(Micros::from_secs(length), Micros::from_secs(interval), Micros::from_secs(check_in));
            assert!((got - want).abs() < 2.0 / check_in as f64, "{length} {interval} {check_in}: {got} for {want}");
        }
    }
}
