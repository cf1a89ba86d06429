//! How many of a thousand alarms would not get through, against the time they have.

use super::axes::{Frame, number, round_up};
use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::say::picture as say;
use crate::show::words::span;
use crate::snapshot::Snapshot;

/// The curve; `None` where the snapshot holds none.
pub fn delivery(s: &Snapshot) -> Option<Picture> {
    let d = s.ruling.as_ref()?.delivery.as_ref()?;
    let of: Vec<[f64; 3]> = d.by_time.iter().copied().filter(|r| r.iter().all(|x| x.is_finite())).collect();
    let (first, last) = (of.first()?, of.last()?);
    if of.len() < 2 || first[0] <= 0.0 {
        return None;
    }
    let told = of.iter().map(|[t, best, worst]| (span(*t), number(best * 1_000.0), number(worst * 1_000.0)));
    let f = Frame { x: 56.0, y: 22.0, w: WIDTH - 80.0, h: 130.0 };
    let mut p = Picture::new(say::DELIVERY, say::delivery(told, s.watch.observed_s), f.y + f.h + 26.0);
    let top = round_up(of.iter().fold(0.0, |m: f64, r| m.max(r[2] * 1_000.0)));
    f.rules(&mut p, top);
    p.text([8.0, 12.0], Anchor::Start, say::DELIVERY_AXIS);
    let ends = [first[0], last[0]];
    let mut after = f64::NEG_INFINITY;
    for [t, ..] in &of {
        let x = f.log_x(*t, ends);
        // Labels that would run into each other are left out; the description has them.
        if x - after > 62.0 {
            let anchor = if x > WIDTH - 60.0 { Anchor::End } else { Anchor::Middle };
            p.text([x, f.y + f.h + 18.0], anchor, span(*t));
            p.line([[x, f.y + f.h], [x, f.y + f.h + 4.0]], 1.0, Ink::Dark);
            after = x;
        }
    }
    let at = |t: f64, share: f64| [f.log_x(t, ends), f.y + f.h * (1.0 - share * 1_000.0 / top)];
    p.line(of.iter().map(|r| at(r[0], r[2])).collect::<Vec<_>>(), 1.8, Ink::Dark);
    if of.iter().any(|r| (r[2] - r[1]) * 1_000.0 > top * 0.01) {
        p.dashed(of.iter().map(|r| at(r[0], r[1])).collect::<Vec<_>>(), Ink::Dark);
    }
    Some(p)
}
