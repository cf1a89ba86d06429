//! Times and lengths as one says them aloud, for the homeowner's page.
//!
//! Coarse on purpose: a page that is drawn again each second should read the same for as long as the news is the same.

use crate::judge::Actor;
use crate::show::paper::part::sentence;
use crate::show::words::{capital, zoned};
use crate::snapshot::Snapshot;
use crate::words::people;
use jiff::tz::TimeZone;

/// A length of time in one unit, rounded: `40 seconds`, `3 minutes`, `5 days`.
pub(super) fn roughly(seconds: f64) -> String {
    let (n, one, many) = match seconds {
        s if !s.is_finite() || s < 0.0 => return "an unknown time".to_owned(),
        s if s < 1.0 => return "under a second".to_owned(),
        s if s < 90.0 => (s, "second", "seconds"),
        s if s < 5_400.0 => (s / 60.0, "minute", "minutes"),
        s if s < 129_600.0 => (s / 3_600.0, "hour", "hours"),
        s => (s / 86_400.0, "day", "days"),
    };
    let n = n.round() as u64;
    format!("{n} {}", if n == 1 { one } else { many })
}

/// As [`roughly`], in steps of ten seconds under a minute and a half, for what still goes on.
pub(super) fn so_far(seconds: f64) -> String {
    if (0.0..10.0).contains(&seconds) {
        "a few seconds".to_owned()
    } else if (10.0..90.0).contains(&seconds) {
        roughly((seconds / 10.0).floor() * 10.0)
    } else {
        roughly(seconds)
    }
}

/// A moment as one says it, seen from now: `today at 14:02`, `yesterday at 09:10`, `Tuesday 10 March at 14:02`.
pub(super) fn moment(s: &Snapshot, zone: &TimeZone, now_s: f64, at_s: f64) -> String {
    let (at, now) = (zoned(s.wall(at_s), zone), zoned(s.wall(now_s), zone));
    let time = at.strftime("%H:%M");
    if at.date() == now.date() {
        format!("today at {time}")
    } else if now.date().yesterday().is_ok_and(|y| y == at.date()) {
        format!("yesterday at {time}")
    } else if at.date().year() == now.date().year() {
        format!("{} at {time}", at.strftime("%A %-d %B"))
    } else {
        format!("{} at {time}", at.strftime("%A %-d %B %Y"))
    }
}

/// Whose job it is, in a sentence.
pub(super) fn job(who: Actor) -> String {
    match who {
        Actor::Nobody => "Nobody needs to act.".to_owned(),
        who => format!("Whose job: {}.", people::who(who).to_lowercase()),
    }
}

/// Words of somebody else as a sentence of their own.
pub(super) fn step(text: &str) -> String {
    capital(&sentence(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::WallTime;
    use crate::snapshot::Watch;

    #[test]
    fn lengths_are_said_in_one_unit() {
        for (seconds, said) in [
            (f64::NAN, "an unknown time"),
            (0.4, "under a second"),
            (1.0, "1 second"),
            (89.4, "89 seconds"),
            (180.0, "3 minutes"),
            (7_200.0, "2 hours"),
            (86_400.0 * 3.2, "3 days"),
        ] {
            assert_eq!(roughly(seconds), said);
        }
        assert_eq!(so_far(3.0), "a few seconds");
        assert_eq!(so_far(47.0), "40 seconds");
        assert_eq!(so_far(200.0), "3 minutes");
    }

    #[test]
    fn moments_are_said_as_seen_from_now() {
        // 2026-03-10 09:15:30 in Central Europe, a Tuesday.
        let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").expect("a POSIX zone");
        let watch = Watch { began: WallTime(1_773_130_530_000_000), ..Watch::default() };
        let s = Snapshot { watch, ..Snapshot::default() };
        assert_eq!(moment(&s, &zone, 60.0, 0.0), "today at 09:15");
        assert_eq!(moment(&s, &zone, 86_400.0, 0.0), "yesterday at 09:15");
        assert_eq!(moment(&s, &zone, 5.0 * 86_400.0, 0.0), "Tuesday 10 March at 09:15");
        assert_eq!(moment(&s, &zone, 300.0 * 86_400.0, 0.0), "Tuesday 10 March 2026 at 09:15");
    }
}
