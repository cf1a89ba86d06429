//! The judge's clock values: it is told the time and never asks for it.
//!
//! Decides how moments of different boots land on one axis. Does not read a clock: `sys::clock` does, and hands the
//! numbers in. Durations come from the boot-time clock (it runs on through suspend); wall time only labels.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, Sub};

/// A length of time in whole microseconds; may be negative.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Micros(pub i64);

impl Micros {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// Whole milliseconds.
    pub const fn from_millis(ms: i64) -> Self {
        Self(ms.saturating_mul(1_000))
    }

    /// Whole seconds.
    pub const fn from_secs(s: i64) -> Self {
        Self(s.saturating_mul(1_000_000))
    }

    /// `n` times as long; stays at the longest length there is rather than wrap.
    pub const fn times(self, n: i64) -> Self {
        Self(self.0.saturating_mul(n))
    }

    /// Seconds as a float, for figures shown and for statistics.
    pub fn secs(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// The same length for timers; negative lengths become zero.
    pub fn to_std(self) -> std::time::Duration {
        std::time::Duration::from_micros(self.0.max(0) as u64)
    }
}

impl From<std::time::Duration> for Micros {
    fn from(d: std::time::Duration) -> Self {
        Self(i64::try_from(d.as_micros()).unwrap_or(i64::MAX))
    }
}

impl Add for Micros {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Micros {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl std::iter::Sum for Micros {
    /// Stays at the longest length there is rather than wrap.
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::ZERO, Add::add)
    }
}

impl fmt::Display for Micros {
    /// Words for people: `2 min 5 s`, `3 h 4 min`, `6 d 21 h`, `0.4 s`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = self.secs();
        if s.abs() < 10.0 {
            return write!(f, "{s:.1} s");
        }
        // Rounded to what is told, so that two tellings of one length agree.
        let step: i64 = match s.abs().round() as i64 {
            0..3_600 => 1,
            3_600..86_400 => 60,
            _ => 3_600,
        };
        let whole = (s / step as f64).round() as i64 * step;
        let (unit, sub, unit_name, sub_name) = match whole.abs() {
            0..60 => return write!(f, "{whole} s"),
            60..3_600 => (60, 1, "min", "s"),
            3_600..86_400 => (3_600, 60, "h", "min"),
            _ => (86_400, 3_600, "d", "h"),
        };
        let rest = (whole % unit) / sub;
        if rest == 0 {
            write!(f, "{} {unit_name}", whole / unit)
        } else {
            write!(f, "{} {unit_name} {rest} {sub_name}", whole / unit)
        }
    }
}

/// A point on the record's own axis: microseconds since the record began.
///
/// Within one boot the axis runs with the boot-time clock. Across boots the gap is taken from wall time, never less
/// than zero, and is blind.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Moment(pub i64);

impl Moment {
    /// Seconds since the record began.
    pub fn secs(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// The moment halfway to `other`.
    pub fn midpoint(self, other: Self) -> Self {
        Self(self.0.midpoint(other.0))
    }
}

impl Add<Micros> for Moment {
    type Output = Self;
    fn add(self, by: Micros) -> Self {
        Self(self.0.saturating_add(by.0))
    }
}

impl Sub<Micros> for Moment {
    type Output = Self;
    fn sub(self, by: Micros) -> Self {
        Self(self.0.saturating_sub(by.0))
    }
}

impl Sub for Moment {
    type Output = Micros;
    fn sub(self, other: Self) -> Micros {
        Micros(self.0.saturating_sub(other.0))
    }
}

/// Wall time: microseconds since the Unix epoch, UTC. A label, never used for durations within one boot.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct WallTime(pub i64);

/// Where an event's edge lies: not before `earliest`, not after `latest`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Edge {
    /// Last moment known to be before the change.
    pub earliest: Moment,
    /// First moment known to be after the change.
    pub latest: Moment,
}

impl Edge {
    /// An edge known exactly, as a kernel event gives it.
    pub fn exact(at: Moment) -> Self {
        Self { earliest: at, latest: at }
    }

    /// A bracket; the ends are put in order.
    pub fn between(a: Moment, b: Moment) -> Self {
        Self { earliest: a.min(b), latest: a.max(b) }
    }

    /// The middle of the bracket, used for totals.
    pub fn midpoint(self) -> Moment {
        self.earliest.midpoint(self.latest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_like_speech() {
        for (us, words) in [
            (400_000, "0.4 s"),
            (59_000_000, "59 s"),
            (60_000_000, "1 min"),
            (125_000_000, "2 min 5 s"),
            (11_040_000_000, "3 h 4 min"),
            (594_000_000_000, "6 d 21 h"),
        ] {
            assert_eq!(Micros(us).to_string(), words);
        }
    }

    #[test]
    fn nothing_wraps_at_the_ends_of_the_axis() {
        let (first, last) = (Moment(i64::MIN), Moment(i64::MAX));
        assert_eq!((last - first, first - last), (Micros(i64::MAX), Micros(i64::MIN)));
        assert_eq!((last + Micros(1), first - Micros(1)), (last, first));
        assert!(first.midpoint(last).0.abs() <= 1 && last.midpoint(first).0.abs() <= 1);

        let longest = Micros(i64::MAX);
        assert_eq!([longest, Micros(1), longest].into_iter().sum::<Micros>(), longest);
        assert_eq!((longest.times(3), longest.times(-3)), (longest, Micros(i64::MIN)));
        assert_eq!((Micros::from_secs(i64::MAX), Micros::from_millis(i64::MIN)), (longest, Micros(i64::MIN)));
        assert!(longest.to_string().ends_with('h') && !Micros(i64::MIN).to_string().is_empty());
    }

    #[test]
    fn an_edge_keeps_its_order_and_its_middle() {
        let e = Edge::between(Moment(30), Moment(10));
        assert_eq!((e.earliest, e.latest, e.midpoint()), (Moment(10), Moment(30), Moment(20)));
    }
}
