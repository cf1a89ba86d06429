//! How quickly each far end answers: quickest, half, 95 in 100, slowest, on one logarithmic axis.
//!
//! The snapshot holds these four figures for each target and nothing in between: no more is drawn.

use super::axes::Frame;
use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::columns::fit;
use crate::show::say::picture as say;
use crate::show::words::{millis, safe};
use crate::snapshot::Snapshot;

const ROW: f64 = 26.0;
/// Most targets drawn.
const MOST: usize = 16;

/// The delays; `None` where no time was taken.
pub fn delay(s: &Snapshot) -> Option<Picture> {
    let sound = |r: &[f64; 4]| r.iter().all(|x| x.is_finite() && *x >= 0.0);
    let of: Vec<(String, [f64; 4])> = s
        .targets
        .iter()
        .filter_map(|t| Some((format!("{} {}", safe(&t.question), safe(&t.target)), t.rtt_ms.filter(sound)?)))
        .take(MOST)
        .collect();
    if of.is_empty() {
        return None;
    }
    let told = of.iter().map(|(name, r)| say::delay_of(name, r.map(millis)));
    let f = Frame { x: 230.0, y: 6.0, w: WIDTH - 250.0, h: ROW * of.len() as f64 };
    let mut p = Picture::new(say::DELAY, say::delays(told), f.h + 30.0);
    let least = of.iter().fold(f64::MAX, |m, (_, r)| m.min(r[0].max(0.01)));
    let most = of.iter().fold(0.0, |m: f64, (_, r)| m.max(r[3]));
    let from = 10f64.powf(least.log10().floor());
    let ends = [from, 10f64.powf(most.max(from * 10.0).log10().ceil())];
    let mut mark = ends[0];
    while mark <= ends[1] * 1.001 {
        let x = f.log_x(mark, ends);
        p.line([[x, f.y], [x, f.y + f.h]], 1.0, Ink::Light);
        p.text(
            [x, f.y + f.h + 17.0],
            if x > WIDTH - 40.0 { Anchor::End } else { Anchor::Middle },
            say::round_delay(mark),
        );
        mark *= 10.0;
    }
    for (i, (name, r)) in of.iter().enumerate() {
        let y = f.y + ROW * i as f64 + ROW / 2.0;
        let x = r.map(|v| f.log_x(v, ends));
        p.text([f.x - 10.0, y + 4.0], Anchor::End, fit(name, 34));
        p.line([[x[0], y], [x[3], y]], 1.0, Ink::Dark);
        p.block([x[0], y - 6.0, (x[2] - x[0]).max(1.0), 12.0], Ink::Light);
        p.block([x[1] - 1.5, y - 8.0, 3.0, 16.0], Ink::Dark);
        p.line([[x[3], y - 4.0], [x[3], y + 4.0]], 1.0, Ink::Dark);
    }
    Some(p)
}
