//! Time axis of the timing diagram: which moments get a tick and what the tick says.
//!
//! Decides the step (from a ladder of steps people read easily) and keeps ticks on round local times, also across a
//! change of daylight saving time. Draws nothing.

use crate::judge::WallTime;
use crate::show::words::zoned;
use crate::snapshot::Snapshot;
use jiff::civil::Time;
use jiff::tz::TimeZone;

/// Steps in seconds; the ones over an hour divide a day.
const LADDER: [i64; 20] = [
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 10_800, 21_600, 43_200, 86_400, 172_800, 604_800,
];

/// One tick.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tick {
    /// Seconds on the record's axis.
    pub(super) at_s: f64,
    /// Time of day.
    pub(super) label: String,
    /// Day, where the tick is the first of a new day.
    pub(super) day: Option<String>,
}

/// Ticks for the whole record, at most `most` of them, at local round times.
pub(super) fn ticks(s: &Snapshot, zone: &TimeZone, most: usize) -> Vec<Tick> {
    let length = s.watch.elapsed_s;
    if !(length.is_finite() && length > 0.0) || most == 0 {
        return Vec::new();
    }
    let step = LADDER.into_iter().find(|st| length / (*st as f64) <= most as f64).unwrap_or_else(|| {
        let weeks = (length / most as f64 / 604_800.0).ceil() as i64;
        weeks.saturating_mul(604_800)
    });
    let began = s.watch.began.0;
    let stamps = if step <= 3_600 { even(s, zone, step) } else { daily(s, zone, step) };
    let mut last_day = None;
    stamps
        .into_iter()
        .filter_map(|us| {
            let at_s = (us - began) as f64 / 1e6;
            if !(0.0..=length).contains(&at_s) {
                return None;
            }
            let z = zoned(WallTime(us), zone);
            let label = z.strftime(if step < 60 { "%H:%M:%S" } else { "%H:%M" }).to_string();
            let day = (last_day != Some(z.date())).then(|| z.strftime("%-d %b").to_string());
            last_day = Some(z.date());
            Some(Tick { at_s, label, day })
        })
        .collect()
}

/// Steps of an hour and less: even in elapsed time, aligned to the local offset at the start.
fn even(s: &Snapshot, zone: &TimeZone, step: i64) -> Vec<i64> {
    let offset = i64::from(zoned(s.watch.began, zone).offset().seconds());
    let first = (s.watch.began.0.div_euclid(1_000_000) + offset).div_euclid(step) * step - offset;
    let count = (s.watch.elapsed_s / step as f64) as i64 + 2;
    (0..=count).map(|i| (first + i * step) * 1_000_000).collect()
}

/// Steps over an hour: at civil times of each day, so that they stay round when the offset changes.
fn daily(s: &Snapshot, zone: &TimeZone, step: i64) -> Vec<i64> {
    let mut out = Vec::new();
    let Ok(mut day) = zoned(s.watch.began, zone).date().yesterday() else { return out };
    let end = s.wall(s.watch.elapsed_s).0;
    let days_apart = (step / 86_400).max(1) as usize;
    for index in 0usize.. {
        let hours = if step >= 86_400 { vec![0] } else { (0..86_400 / step).map(|i| i * step / 3_600).collect() };
        for hour in hours {
            // An hour that daylight saving skips lands on the next one that exists.
            let Some(time) = i8::try_from(hour).ok().and_then(|h| Time::new(h, 0, 0, 0).ok()) else { continue };
            let Ok(z) = zone.to_zoned_datetime(day.to_datetime(time)) else { continue };
            let us = z.timestamp().as_microsecond();
            if us > end {
                return out;
            }
            if index % days_apart == 0 {
                out.push(us);
            }
        }
        let Ok(next) = day.tomorrow() else { return out };
        day = next;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::Watch;

    fn of(began_s: i64, elapsed_s: f64) -> Snapshot {
        Snapshot {
            watch: Watch { began: WallTime(began_s * 1_000_000), elapsed_s, ..Watch::default() },
            ..Snapshot::default()
        }
    }

    #[test]
    fn ticks_are_few_round_and_inside_from_seconds_to_weeks() {
        for elapsed in [1.0, 30.0, 90.0, 600.0, 3_600.0, 86_400.0, 7.0 * 86_400.0, 60.0 * 86_400.0, 4e8] {
            let t = ticks(&of(1_795_603_000, elapsed), &TimeZone::UTC, 10);
            assert!((1..=11).contains(&t.len()) || elapsed < 1.5, "{elapsed}: {} ticks", t.len());
            assert!(t.iter().all(|t| (0.0..=elapsed).contains(&t.at_s)));
            assert!(t.windows(2).all(|w| w[0].at_s < w[1].at_s));
        }
        let day = ticks(&of(1_795_603_000, 86_400.0), &TimeZone::UTC, 10);
        assert_eq!(day[0].label, "12:00");
    }

    #[test]
    fn ticks_stay_on_round_local_hours_when_the_clocks_change() {
        // 2026-10-25: Central European clocks go back at 03:00 (Directive 2000/84/EC: last Sunday of October).
        let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").expect("a POSIX zone (IEEE 1003.1, TZ)");
        let began = 1_792_792_800; // 2026-10-24 00:00 in that zone
        let t = ticks(&of(began, 2.0 * 86_400.0), &zone, 10);
        assert!(t.iter().all(|t| ["00:00", "06:00", "12:00", "18:00"].contains(&t.label.as_str())), "{t:?}");
        assert_eq!(t.iter().find(|t| t.day.as_deref() == Some("25 Oct")).map(|t| t.at_s), Some(86_400.0));
        assert_eq!(t.iter().find(|t| t.day.as_deref() == Some("26 Oct")).map(|t| t.at_s), None);
        let t = ticks(&of(began, 3.0 * 86_400.0), &zone, 10);
        assert_eq!(t.iter().find(|t| t.day.as_deref() == Some("26 Oct")).map(|t| t.at_s), Some(49.0 * 3_600.0));
    }
}
