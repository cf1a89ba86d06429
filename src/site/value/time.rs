//! Lengths of time and moments of the site file, and what to write instead of one that is refused.

use crate::judge::{Micros, WallTime};
use jiff::{Span, SpanRelativeTo, Timestamp};

pub(super) fn length(text: &str, least: Micros, most: Micros) -> Result<Micros, String> {
    let hint = || "write a number with its unit: \"500ms\", \"2s\", \"5m\", \"25h\", \"30d\"".to_owned();
    let span: Span = text.parse().map_err(|_| hint())?;
    let long = span.to_duration(SpanRelativeTo::days_are_24_hours()).map_err(|_| hint())?;
    let micros = Micros(i64::try_from(long.as_micros()).unwrap_or(i64::MAX));
    if micros < least {
        Err(format!("write \"{}\" or longer", written(least)))
    } else if micros > most {
        Err(format!("write \"{}\" or shorter", written(most)))
    } else {
        Ok(micros)
    }
}

/// Lengths in order, none twice.
pub fn lengths(texts: &[&str], least: Micros, most: Micros) -> Result<Vec<Micros>, String> {
    let mut out: Vec<Micros> = Vec::with_capacity(texts.len());
    for text in texts {
        let one = length(text, least, most)?;
        if out.last().is_some_and(|before| *before >= one) {
            return Err(format!("write them in order, each longer than the one before: \"{text}\" is not"));
        }
        out.push(one);
    }
    if out.is_empty() { Err("name at least one, or leave the key out".into()) } else { Ok(out) }
}

pub(super) fn time(text: &str) -> Result<WallTime, String> {
    let at: Timestamp =
        text.parse().map_err(|_| "write it as \"2026-03-10T09:00:00Z\" or with an offset, +01:00".to_owned())?;
    Ok(WallTime(at.as_microsecond()))
}

/// A length as a site file writes it, in the largest unit that divides it.
pub fn written(length: Micros) -> String {
    let Micros(us) = length;
    for (unit, name) in
        [(86_400_000_000, "d"), (3_600_000_000, "h"), (60_000_000, "m"), (1_000_000, "s"), (1_000, "ms")]
    {
        if us != 0 && us % unit == 0 {
            return format!("{}{name}", us / unit);
        }
    }
    format!("{us}us")
}
