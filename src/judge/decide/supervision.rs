//! Would the station have known? Per outage, for the site's supervision interval and for the common ones.
//!
//! An outage shorter than the interval is never seen by the station; a longer one makes an event. Does not decide what
//! the station then does. Where the edges of an outage leave it open, the answer is not known.

use crate::judge::decide::outage::{Outage, Reading};
use crate::judge::facts::{Micros, Moment};

/// A common supervision interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Common {
    /// The interval.
    pub interval: Micros,
    /// Where it is used.
    pub used: &'static str,
    /// How well that was checked: V, S, M or choice.
    pub tag: &'static str,
}

/// The common intervals; none was read in the standard that asks it.
pub const COMMON: [Common; 5] = [
    Common {
        interval: Micros::from_secs(200),
        // [LINE200]
        used: "single-path line security (\"Which UL Line Security Option is Right for Your Business?\", an insurer's page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(360),
        // [LINE200]
        used: "first path of dual-path line security (the same page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(300),
        // [NFPA72]
        used: "a single fire path by NFPA 72-2010 (\"Communications Methods for Fire Alarm\", a training centre's page)",
        tag: "S",
    },
    Common {
        interval: Micros::from_secs(3_600),
        // [NFPA72]
        used: "a single fire path by later editions of NFPA 72 (the same page)",
        tag: "S",
    },
    Common { interval: Micros::from_secs(90_000), used: "a daily test with an hour's grace", tag: "choice" },
];

/// Whether a station waiting `interval` in silence would have known of an outage; `None` where its edges leave it open,
/// or while it lasts and is not yet long enough.
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
    /// Outages it would never have seen.
    pub unseen: usize,
    /// Outages that can't be told.
    pub open: usize,
    /// The longest it would have known nothing of: the unseen ones whole, of the known ones the interval.
    pub longest_unaware: Micros,
}

/// Counts all outages against one interval.
pub fn tally(outages: &[Outage], interval: Micros, now: Moment) -> Tally {
    let mut t = Tally::default();
    for o in outages {
        match known(o, interval, now) {
            Some(true) => t.known += 1,
            Some(false) => t.unseen += 1,
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
    fn shorter_is_never_seen_longer_is_and_the_edges_may_leave_it_open() {
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
        assert_eq!((t.known, t.unseen, t.open, t.longest_unaware), (1, 1, 1, interval));
    }
}
