//! Every sentence of the papers, in one place and one language a file, with what is said of lengths, times and counts.
//!
//! Decides words and rounding. The papers ask for sentences by what they say, never spell one out, so another language
//! is another set of these files. English now.

pub(crate) mod codes;
pub(crate) mod letter;
pub(crate) mod picture;
pub(crate) mod survey;
pub(crate) mod ticket;

use super::words::zoned;
use crate::judge::WallTime;
use jiff::tz::TimeZone;

/// A length of time in seconds, spelt out, by its two largest units: `2 hours 10 minutes`.
pub fn length(seconds: f64) -> String {
    if !(0.0..1e10).contains(&seconds) {
        return "an unknown time".to_owned();
    }
    if seconds < 1.0 {
        return "less than a second".to_owned();
    }
    // Rounded to what is told, so that no 60 minutes are left over.
    let step = match seconds {
        s if s < 3_599.5 => 1.0,
        s if s < 86_400.0 => 60.0,
        _ => 3_600.0,
    };
    let whole = ((seconds / step).round() * step) as u64;
    let (big, small) = match whole {
        0..60 => (None, (whole, "second")),
        60..3_600 => (Some((whole / 60, "minute")), (whole % 60, "second")),
        3_600..86_400 => (Some((whole / 3_600, "hour")), (whole % 3_600 / 60, "minute")),
        _ => (Some((whole / 86_400, "day")), (whole % 86_400 / 3_600, "hour")),
    };
    match (big, small) {
        (None, small) => counted(small),
        (Some(big), (0, _)) => counted(big),
        (Some(big), small) => format!("{} {}", counted(big), counted(small)),
    }
}

fn counted((n, unit): (u64, &str)) -> String {
    count(n, unit, &format!("{unit}s"))
}

/// A count with its noun.
pub fn count(n: u64, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// How often, as an adverb.
pub fn times(n: usize) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// A moment as people name it: `Tuesday 10 March, 23:08`.
pub fn moment(at: WallTime, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%A %-d %B, %H:%M").to_string()
}

/// A day: `10 March 2026`.
pub fn day(at: WallTime, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%-d %B %Y").to_string()
}

/// A moment to the second in UTC (RFC 3339).
pub fn utc(at: WallTime) -> String {
    zoned(at, &TimeZone::UTC).strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// A moment to the second with its offset from UTC (RFC 3339).
pub fn local(at: WallTime, zone: &TimeZone) -> String {
    zoned(at, zone).strftime("%Y-%m-%d %H:%M:%S UTC%:z").to_string()
}

/// `a, b and c`.
pub fn and(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., end] => format!("{} and {end}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_spelt_out_and_never_leave_sixty_over() {
        for (s, words) in [
            (0.2, "less than a second"),
            (1.0, "1 second"),
            (59.6, "1 minute"),
            (61.0, "1 minute 1 second"),
            (599.9, "10 minutes"),
            (3_599.0, "59 minutes 59 seconds"),
            (7_800.0, "2 hours 10 minutes"),
            (86_399.0, "1 day"),
            (90_000.0, "1 day 1 hour"),
            (604_000.0, "7 days"),
            (-1.0, "an unknown time"),
            (f64::NAN, "an unknown time"),
        ] {
            assert_eq!(length(s), words, "{s}");
        }
    }
}
