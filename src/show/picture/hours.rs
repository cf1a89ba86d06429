//! Hours a year without a signal path: IP alone against IP with a cellular second path, each with its interval.

use super::axes::{number, round_up};
use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::say::picture as say;
use crate::snapshot::{HoursView, Snapshot};

const LEFT: f64 = 120.0;

/// The two bars; `None` where the snapshot has no outlook.
pub fn hours(s: &Snapshot) -> Option<Picture> {
    let o = s.ruling.as_ref()?.outlook.as_ref()?;
    let rows = [(say::IP_ALONE, o.ip_alone), (say::WITH_CELLULAR, o.with_cellular)];
    if rows.iter().any(|(_, h)| ![h.low, h.middle, h.high].iter().all(|x| x.is_finite() && *x >= 0.0)) {
        return None;
    }
    let told = |(name, h): &(&str, HoursView)| say::hours_of(name, &number(h.middle), &number(h.low), &number(h.high));
    let mut p = Picture::new(say::HOURS, say::hours(&rows.each_ref().map(told)), 130.0);
    let top = round_up(rows.iter().fold(0.0, |m: f64, (_, h)| m.max(h.high)));
    let width = WIDTH - LEFT - 130.0;
    for part in [0.0, 0.5, 1.0] {
        let x = LEFT + width * part;
        p.line([[x, 8.0], [x, 102.0]], 1.0, if part == 0.0 { Ink::Dark } else { Ink::Light });
        p.text([x, 118.0], Anchor::Middle, number(top * part));
    }
    for (i, (name, h)) in rows.iter().enumerate() {
        let y = 18.0 + 44.0 * i as f64;
        let x = |v: f64| LEFT + width * v / top;
        p.text([LEFT - 8.0, y + 17.0], Anchor::End, *name);
        p.block([LEFT, y, x(h.middle) - LEFT, 26.0], if i == 0 { Ink::Middling } else { Ink::Light });
        p.line([[x(h.low), y + 13.0], [x(h.high), y + 13.0]], 1.6, Ink::Dark);
        for end in [h.low, h.high] {
            p.line([[x(end), y + 6.0], [x(end), y + 20.0]], 1.6, Ink::Dark);
        }
        let [middle, low, high] = [h.middle, h.low, h.high].map(number);
        p.text([x(h.high) + 6.0, y + 17.0], Anchor::Start, say::hours_label(&middle, &low, &high));
    }
    Some(p)
}
