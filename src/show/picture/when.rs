//! When outages begin: by hour of the day and by day of the week, in the paper's zone.

use super::axes::{Frame, round_up};
use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::say::picture as say;
use crate::show::words::zoned;
use crate::snapshot::Bout;
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;

/// Outages by the hour they began in; `None` without one.
pub fn by_hour(s: &Snapshot, zone: &TimeZone) -> Option<Picture> {
    let counts = counts::<24>(s, zone, |z| z.hour() as usize);
    let told = (0..24).map(|h| (format!("{h:02}"), counts[h])).collect::<Vec<_>>();
    bars(say::BY_HOUR, say::by_hour(&told), &told)
}

/// Outages by the day of the week they began on; `None` without one.
pub fn by_day(s: &Snapshot, zone: &TimeZone) -> Option<Picture> {
    let counts = counts::<7>(s, zone, |z| z.weekday().to_monday_zero_offset() as usize);
    let told: Vec<(String, usize)> = say::DAYS.iter().zip(counts).map(|(d, n)| ((*d).to_owned(), n)).collect();
    bars(say::BY_DAY, say::by_day(&told), &told)
}

fn counts<const N: usize>(s: &Snapshot, zone: &TimeZone, which: impl Fn(&jiff::ZonedDateTime) -> usize) -> [usize; N] {
    let mut out = [0; N];
    for b in s.troubles.iter().filter_map(Bout::of) {
        out[which(&zoned(s.wall(b.from_s[1]), zone)) % N] += 1;
    }
    out
}

fn bars(title: &str, description: String, told: &[(String, usize)]) -> Option<Picture> {
    let most = told.iter().map(|t| t.1).max().filter(|m| *m > 0)?;
    // Counts are whole: so is the middle rule.
    let top = 2.0 * round_up(most as f64 / 2.0).ceil();
    let f = Frame { x: 40.0, y: 14.0, w: WIDTH - 48.0, h: 110.0 };
    let mut p = Picture::new(title, description, f.y + f.h + 24.0);
    f.rules(&mut p, top);
    let step = f.w / told.len() as f64;
    for (i, (name, n)) in told.iter().enumerate() {
        let x = f.x + step * i as f64;
        let h = f.h * *n as f64 / top;
        p.block([x + step * 0.18, f.y + f.h - h, step * 0.64, h], Ink::Middling);
        p.text([x + step / 2.0, f.y + f.h + 16.0], Anchor::Middle, name.clone());
        if *n > 0 {
            p.text([x + step / 2.0, f.y + f.h - h - 3.0], Anchor::Middle, n.to_string());
        }
    }
    Some(p)
}
