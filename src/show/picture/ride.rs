//! How long each box of the chain runs without mains, as bars, against what is needed.

use super::axes::{number, round_up};
use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::columns::fit;
use crate::show::say::picture as say;
use crate::show::words::{safe, span};
use crate::worksheet::chain::{self, Held};
use crate::worksheet::given::Power;
use crate::worksheet::outlook;
use crate::worksheet::units::Hours;

const LEFT: f64 = 150.0;
const ROW: f64 = 30.0;
/// Most boxes drawn.
const MOST: usize = 16;

/// The chain; `None` where no box is named.
pub fn ride(power: &Power) -> Option<Picture> {
    let stages: Vec<_> = chain::stages(power).into_iter().filter(|s| s.carries_signal).take(MOST).collect();
    if stages.is_empty() {
        return None;
    }
    let needed = outlook::needed(power).map(Hours::get);
    let hours = |h: &Held| match h {
        Held::Measured(h) | Held::WorkedOut(h) => Some(h.get()),
        Held::Breaks(_) => Some(0.0),
        Held::Unknown(_) => None,
    };
    let words = |h: &Held| match h {
        Held::Measured(h) => say::ride_measured(&span(h.get() * 3_600.0)),
        Held::WorkedOut(h) => say::ride_worked_out(&span(h.get() * 3_600.0)),
        Held::Breaks(why) => say::ride_breaks(why),
        Held::Unknown(why) => say::ride_unknown(why),
    };
    let told: Vec<String> = stages.iter().map(|s| format!("{}: {}", safe(&s.name), words(&s.held))).collect();
    let need = needed.map(|n| span(n * 3_600.0));
    let mut p = Picture::new(say::RIDE, say::ride(&told, need.as_deref()), ROW * stages.len() as f64 + 34.0);
    let most = stages.iter().filter_map(|s| hours(&s.held)).chain(needed).fold(0.0, f64::max);
    let top = round_up(most);
    let width = WIDTH - LEFT - 20.0;
    let bottom = 6.0 + ROW * stages.len() as f64;
    for part in [0.0, 0.5, 1.0] {
        let x = LEFT + width * part;
        p.line([[x, 6.0], [x, bottom]], 1.0, if part == 0.0 { Ink::Dark } else { Ink::Light });
        p.text([x, bottom + 16.0], Anchor::Middle, say::hours_short(&number(top * part)));
    }
    for (i, s) in stages.iter().enumerate() {
        let y = 6.0 + ROW * i as f64;
        p.text([LEFT - 8.0, y + 19.0], Anchor::End, fit(&safe(&s.name), 20));
        if let Some(h) = hours(&s.held) {
            p.block([LEFT, y + 5.0, width * h / top, 20.0], Ink::Middling);
            if h <= 0.0 {
                p.text([LEFT + 6.0, y + 19.0], Anchor::Start, say::RIDE_NONE);
            }
        } else {
            p.hatched([LEFT, y + 5.0, width * 0.18, 20.0]);
            p.text([LEFT + width * 0.18 + 6.0, y + 19.0], Anchor::Start, say::RIDE_NOT_KNOWN);
        }
    }
    if let Some(n) = needed {
        let x = LEFT + width * n / top;
        p.dashed([[x, 2.0], [x, bottom]], Ink::Dark);
    }
    Some(p)
}
