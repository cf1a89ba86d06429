//! How often at most, and how often by default.
//!
//! Decides the floors no configuration can go under, and the survey's own rhythm. Does not keep time: the probes do.
//! The figures are our choice: a survey of minutes needs sharp edges, and strangers' servers need rest.

use crate::judge::{CLOSE, Micros};
use serde::{Deserialize, Serialize};

/// How often each question is asked. Never under the floors in `this file`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cadence {
    /// Link and kernel addresses (no packets).
    pub local: Micros,
    /// Gateway ARP and echo.
    pub router: Micros,
    /// Each resolver.
    pub names: Micros,
    /// Each reference point.
    pub outside: Micros,
    /// Each receiver.
    pub receiver: Micros,
    /// A round of discover and conflict probe.
    pub offers: Micros,
}

/// Link and kernel addresses: no packets, but each look costs the host a little.
pub const FLOOR_LOCAL: Micros = Micros::from_millis(500);
/// The gateway: the site's own.
pub const FLOOR_ROUTER: Micros = Micros::from_secs(1);
/// Resolvers: the site's own or its provider's.
pub const FLOOR_NAMES: Micros = Micros::from_secs(1);
/// Reference points the site file names.
pub const FLOOR_OUTSIDE: Micros = Micros::from_secs(1);
/// The built-in root service addresses: a public service, shared by all.
pub const FLOOR_OUTSIDE_BUILTIN: Micros = Micros::from_secs(10);
/// A receiver the site file names.
pub const FLOOR_RECEIVER: Micros = Micros::from_secs(1);
/// Discover and conflict probe: broadcasts, which every host on the segment must hear.
pub const FLOOR_OFFERS: Micros = Micros::from_secs(10);
/// Mains: this host's own kernel and the site's own NUT server.
pub const FLOOR_MAINS: Micros = Micros::from_secs(1);
/// The router's account of itself and the communicator: a multicast, a broadcast, and small boxes that must answer.
pub const FLOOR_SIGNS: Micros = Micros::from_secs(10);

/// A STUN server the site file names.
pub const FLOOR_STUN: Micros = Micros::from_secs(60);
/// A control page: somebody's web server.
pub const FLOOR_PAGE: Micros = Micros::from_secs(30);
/// A time source: RFC 5905 asks for no less than 16 s between two questions, public servers for more.
pub const FLOOR_TIME: Micros = Micros::from_secs(64);
/// A whole measurement of idle times: up to twenty connections or so, each held open.
pub const FLOOR_IDLE: Micros = Micros::from_secs(3_600);
/// The longest interval of these questions, and of an idle measurement.
pub const CEILING_BETWEEN: Micros = Micros::from_secs(7 * 86_400);
/// The largest packet to each named reference point: at most some forty echoes at a time.
pub const PATH_MTU: Micros = Micros::from_secs(3_600);
/// The second hop: a route seldom changes.
pub const SECOND_HOP: Micros = Micros::from_secs(600);
/// Whether a resolver translates: seldom changes, and the name belongs to everybody.
pub const TRANSLATION: Micros = Micros::from_secs(1_800);

/// The longest interval a site file may ask for: slower than this, a week shows nothing.
pub const CEILING: Micros = Micros::from_secs(3_600);

/// The survey's rhythm.
pub const SURVEY: Cadence = Cadence {
    local: Micros::from_secs(1),
    router: Micros::from_secs(1),
    names: Micros::from_secs(2),
    outside: Micros::from_secs(10),
    receiver: Micros::from_secs(5),
    offers: Micros::from_secs(60),
};

/// The survey's rhythm for mains.
pub const SURVEY_MAINS: Micros = Micros::from_secs(5);
/// The survey's rhythm for the slower signs.
pub const SURVEY_SIGNS: Micros = Micros::from_secs(60);

/// How often everything is asked where the site file does not say.
#[derive(Clone, Copy, Debug)]
pub struct Rhythm {
    /// The questions of the path.
    pub cadence: Cadence,
    /// Mains.
    pub mains: Micros,
    /// The slower signs of lost power.
    pub signs: Micros,
}

/// A survey of minutes.
pub const SURVEYING: Rhythm = Rhythm { cadence: SURVEY, mains: SURVEY_MAINS, signs: SURVEY_SIGNS };

/// A watch of weeks: slower by five, because what it looks for lasts longer and it closes in when something is bad
/// (choice: an outage of the time after which a communicator has tried four times must not slip through).
pub const WATCH: Rhythm = Rhythm {
    cadence: Cadence {
        local: Micros::from_secs(2),
        router: Micros::from_secs(6),
        names: Micros::from_secs(15),
        outside: Micros::from_secs(30),
        receiver: Micros::from_secs(10),
        offers: Micros::from_secs(300),
    },
    mains: Micros::from_secs(10),
    signs: Micros::from_secs(60),
};

/// How long a probe waits for an answer. A connection that the kernel asks for again after a second (RFC 6298 section 2) still
/// has most of another to be answered; under two seconds, so that at one question a second a failure is known within three.
pub const PATIENCE: Micros = Micros::from_millis(1_800);

/// How hard to look. The agent closes in while any lane is bad so that edges are sharp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// The plan's cadence.
    Steady,
    /// Every second where the floor allows.
    CloseIn,
}

/// The interval to keep now: `base`, or at most a second when closing in, and never under `floor`.
pub fn interval(base: Micros, floor: Micros, pace: Pace) -> Micros {
    let wanted = match pace {
        Pace::Steady => base,
        Pace::CloseIn => base.min(CLOSE),
    };
    wanted.max(floor)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn closing_in_stops_at_the_floor() {
        let s = Micros::from_secs;
        for (base, floor, pace, kept) in [
            (s(5), s(1), Pace::Steady, s(5)),
            (s(5), s(1), Pace::CloseIn, s(1)),
            (s(30), FLOOR_OUTSIDE_BUILTIN, Pace::CloseIn, s(10)),
            (s(2), FLOOR_OUTSIDE_BUILTIN, Pace::Steady, s(10)),
            (Micros::from_millis(500), FLOOR_LOCAL, Pace::CloseIn, Micros::from_millis(500)),
        ] {
            assert_eq!(interval(base, floor, pace), kept);
        }
    }

    proptest! {
        #[test]
        fn never_under_the_floor_and_never_slower_for_closing_in(base in 0_i64..i64::MAX, floor in 0_i64..i64::MAX) {
            let (base, floor) = (Micros(base), Micros(floor));
            prop_assert!(interval(base, floor, Pace::CloseIn) >= floor);
            prop_assert!(interval(base, floor, Pace::Steady) >= interval(base, floor, Pace::CloseIn));
        }
    }
}
