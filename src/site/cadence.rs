//! How often at most, and how often by default.
//!
//! Decides the floors no configuration can go under, and the survey's own rhythm. Does not keep time: the probes do.
//! The figures are our choice: a survey of minutes needs sharp edges, and strangers' servers need rest.

use super::plan::Cadence;
use crate::judge::Micros;
use crate::probe::Pace;

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

/// How long a probe waits for an answer.
pub const PATIENCE: Micros = Micros::from_secs(2);

/// The interval wanted while some lane is bad, where the floor allows.
pub const CLOSE: Micros = Micros::from_secs(1);

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
