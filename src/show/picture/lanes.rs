//! The lanes over the whole record as a timing diagram: high answering, low not, hatched where nobody looked.
//!
//! Decides how much is told apart: a column a unit wide takes the worst of what fell into it, so that nothing bad is lost
//! in a long record.

use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::axis;
use crate::show::say::picture as say;
use crate::show::words;
use crate::snapshot::{LaneState, LaneView, Snapshot};
use jiff::tz::TimeZone;

const LEFT: f64 = 96.0;
const ROW: f64 = 30.0;
const TOP: f64 = 10.0;

/// The diagram; `None` where nothing was watched.
pub fn lanes(s: &Snapshot, zone: &TimeZone) -> Option<Picture> {
    if !(s.watch.elapsed_s > 0.0 && s.watch.elapsed_s.is_finite()) || s.lanes.is_empty() {
        return None;
    }
    let bottom = TOP + ROW * s.lanes.len() as f64;
    let told = s.lanes.iter().map(|l| say::lane(words::lane(l.lane), &shares(l, s.watch.elapsed_s)));
    let mut p = Picture::new(say::LANES, say::lanes(told), bottom + 40.0);
    let width = WIDTH - LEFT - 8.0;
    for t in axis::ticks(s, zone, 7) {
        let x = LEFT + width * t.at_s / s.watch.elapsed_s;
        p.line([[x, TOP], [x, bottom + 4.0]], 1.0, Ink::Light);
        // The last one would run over the edge.
        let anchor = if x > WIDTH - 30.0 { Anchor::End } else { Anchor::Middle };
        p.text([x, bottom + 18.0], anchor, t.label);
        if let Some(day) = t.day {
            p.text([x, bottom + 33.0], anchor, day);
        }
    }
    for (i, l) in s.lanes.iter().enumerate() {
        let y = TOP + ROW * i as f64;
        p.text([LEFT - 8.0, y + 19.0], Anchor::End, words::lane(l.lane));
        row(&mut p, l, y, width, s.watch.elapsed_s);
    }
    Some(p)
}

/// Seconds in each state: answering, in part, not, not seen.
fn shares(l: &LaneView, elapsed_s: f64) -> [f64; 4] {
    let sum = |state| {
        let of = l.stretches.iter().filter(|x| x.state == state);
        of.map(|x| (x.to_s.min(elapsed_s) - x.from_s.max(0.0)).max(0.0)).sum::<f64>()
    };
    [LaneState::Good, LaneState::Strained, LaneState::Bad, LaneState::Blind].map(sum)
}

/// How bad, for the worst of a column.
const fn weight(state: LaneState) -> u8 {
    match state {
        LaneState::Good => 0,
        LaneState::Blind => 1,
        LaneState::Strained => 2,
        LaneState::Bad => 3,
    }
}

fn row(p: &mut Picture, l: &LaneView, y: f64, width: f64, elapsed_s: f64) {
    let columns = width as usize;
    let mut worst: Vec<Option<LaneState>> = vec![None; columns];
    for x in &l.stretches {
        let column = |s: f64| ((s / elapsed_s).clamp(0.0, 1.0) * width) as usize;
        let (from, to) = (column(x.from_s), column(x.to_s));
        for c in worst.iter_mut().take((to + 1).min(columns)).skip(from.min(columns.saturating_sub(1))) {
            if c.is_none_or(|had| weight(x.state) > weight(had)) {
                *c = Some(x.state);
            }
        }
    }
    let level = |state| match state {
        LaneState::Good => y + 7.0,
        LaneState::Strained => y + 15.0,
        _ => y + 23.0,
    };
    let mut line: Vec<[f64; 2]> = Vec::new();
    let mut from = 0;
    while from < columns {
        let state = worst[from].unwrap_or(LaneState::Blind);
        let to = (from..columns).find(|c| worst[*c].unwrap_or(LaneState::Blind) != state).unwrap_or(columns);
        let (x0, x1) = (LEFT + from as f64, LEFT + to as f64);
        if state == LaneState::Blind {
            p.hatched([x0, y + 7.0, x1 - x0, 16.0]);
            if line.len() > 1 {
                p.line(std::mem::take(&mut line), 1.8, Ink::Dark);
            }
            line.clear();
        } else {
            if state == LaneState::Bad {
                p.block([x0, y + 7.0, x1 - x0, 16.0], Ink::Light);
            }
            line.extend([[x0, level(state)], [x1, level(state)]]);
        }
        from = to;
    }
    if line.len() > 1 {
        p.line(line, 1.8, Ink::Dark);
    }
}
