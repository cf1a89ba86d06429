//! The lanes over the whole record as an engineering timing diagram.
//!
//! Decides how a lane's stretches become a two-level waveform that stays honest at any scale: high is answering, low is
//! not answering, the middle is in part, slanted hatching is not seen. Stretches too narrow to draw are not dropped: a
//! run of them becomes one block, at least two units wide. Troubles stand numbered beneath, with brackets as wide as the
//! doubt about each edge.

use super::{Anchor, Ink, Picture, axis};
use crate::show::say::picture as say;
use crate::show::words;
use crate::snapshot::{LaneState, LaneView, Snapshot, Stretch, Trouble};
use jiff::tz::TimeZone;

/// Narrowest a stretch may be and still be drawn as itself, in drawing units (about a pixel).
const THIN: f64 = 1.0;
/// Narrowest block of brief stretches, so that it is seen in print.
const MIXED: f64 = 2.0;
/// Height of a lane's row and of its waveform.
const ROW: f64 = 34.0;
const WAVE: f64 = 18.0;
/// Height of one row of troubles, and how many rows at most.
const TROUBLE_ROW: f64 = 24.0;
const TROUBLE_ROWS: usize = 4;
const TOP: f64 = 8.0;

/// The diagram, `width` units wide; `None` where nothing was watched.
pub fn lanes(s: &Snapshot, zone: &TimeZone, width: u32) -> Option<Picture> {
    let width = f64::from(width.max(240));
    if !(s.watch.elapsed_s > 0.0 && s.watch.elapsed_s.is_finite()) || s.lanes.is_empty() {
        return None;
    }
    let gutter = if width < 600.0 { 88.0 } else { 104.0 };
    let plot = Plot { left: gutter, right: width - 14.0, length: s.watch.elapsed_s };
    let lanes_end = TOP + ROW * s.lanes.len() as f64;
    let marks = place(&s.troubles, &plot);
    let rows = marks.iter().map(|m| m.row + 1).max().unwrap_or(0);
    let troubles_top = lanes_end + 40.0;
    let legend_top = troubles_top + TROUBLE_ROW * rows as f64 + if rows > 0 { 16.0 } else { 2.0 };
    let legend = legend_places(width);
    let height = legend_top + legend.last().map_or(0.0, |l| l.1) + 24.0;
    let told = s.lanes.iter().map(|l| say::lane(words::lane(l.lane), &shares(l, s.watch.elapsed_s)));
    let mut p = Picture::new(say::LANES, say::lanes(told), height);
    p.width = width;
    grid(&mut p, s, zone, &plot, lanes_end);
    for (i, view) in s.lanes.iter().enumerate() {
        row(&mut p, view, &plot, TOP + ROW * i as f64);
    }
    if !marks.is_empty() {
        p.text([0.0, troubles_top + 20.0], Anchor::Start, say::TROUBLES);
    }
    for m in &marks {
        mark(&mut p, m, lanes_end, troubles_top);
    }
    for (i, at) in legend.iter().enumerate() {
        key(&mut p, i, at.0, legend_top + at.1);
    }
    Some(p)
}

fn grid(p: &mut Picture, s: &Snapshot, zone: &TimeZone, plot: &Plot, lanes_end: f64) {
    let ticks = axis::ticks(s, zone, ((plot.right - plot.left) / 76.0) as usize);
    for t in &ticks {
        p.line([[plot.x(t.at_s), TOP], [plot.x(t.at_s), lanes_end + 5.0]], 0.75, Ink::Light);
    }
    p.line([[plot.left, lanes_end], [plot.right, lanes_end]], 0.75, Ink::Light);
    for t in ticks {
        let x = plot.inside(plot.x(t.at_s), 24.0);
        p.text([x, lanes_end + 18.0], Anchor::Middle, t.label);
        if let Some(day) = t.day {
            p.text([x, lanes_end + 32.0], Anchor::Middle, day);
        }
    }
}

/// Seconds in each state: answering, in part, not, not seen.
fn shares(l: &LaneView, elapsed_s: f64) -> [f64; 4] {
    let sum = |state| {
        let of = l.stretches.iter().filter(|x| x.state == state);
        of.map(|x| (x.to_s.min(elapsed_s) - x.from_s.max(0.0)).max(0.0)).sum::<f64>()
    };
    [LaneState::Good, LaneState::Strained, LaneState::Bad, LaneState::Blind].map(sum)
}

struct Plot {
    left: f64,
    right: f64,
    length: f64,
}

impl Plot {
    /// Where a second lies; what is outside the record lies on its edge.
    fn x(&self, at_s: f64) -> f64 {
        let share = if at_s.is_nan() { 0.0 } else { (at_s / self.length).clamp(0.0, 1.0) };
        self.left + share * (self.right - self.left)
    }

    /// A text's centre moved so that `half` its width stays inside.
    fn inside(&self, x: f64, half: f64) -> f64 {
        x.clamp(self.left + half - 22.0, self.right + 12.0 - half)
    }
}

/// What is drawn of one lane between two places.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece {
    from: f64,
    to: f64,
    /// `None` is mixed.
    state: Option<LaneState>,
}

/// Stretches to pieces: wide ones as they are, each run of thin ones as one mixed block.
fn pieces(stretches: &[Stretch], plot: &Plot) -> Vec<Piece> {
    let mut out: Vec<Piece> = Vec::new();
    for s in stretches {
        let (from, to) = (plot.x(s.from_s), plot.x(s.to_s));
        if to <= from && s.to_s <= s.from_s {
            continue;
        }
        let state = (to - from >= THIN).then_some(s.state);
        match out.last_mut() {
            Some(last) if last.state == state => last.to = to.max(last.to),
            // A block kept wide reaches into what follows; what follows may vanish into it.
            Some(last) if to <= last.to && state.is_some() => last.state = None,
            Some(last) => {
                let from = from.max(last.to);
                out.push(Piece { from, to: to.max(from), state });
            }
            None => out.push(Piece { from, to, state }),
        }
        if let Some(last) = out.last_mut().filter(|p| p.state.is_none()) {
            last.to = last.to.max(last.from + MIXED).min(plot.right.max(last.from));
            if last.to - last.from < MIXED {
                last.from = last.to - MIXED;
            }
        }
    }
    out
}

fn row(p: &mut Picture, view: &LaneView, plot: &Plot, top: f64) {
    let (high, low) = (top + (ROW - WAVE) / 2.0, top + f64::midpoint(ROW, WAVE));
    let level = |state| match state {
        LaneState::Good => high,
        LaneState::Strained => f64::midpoint(high, low),
        LaneState::Bad | LaneState::Blind => low,
    };
    p.text([0.0, top + ROW / 2.0 + 4.0], Anchor::Start, words::lane(view.lane));
    let pieces = pieces(&view.stretches, plot);
    let is_wave = |s: &Piece| s.state.is_some_and(|s| s != LaneState::Blind);
    let block = |x: &Piece| [x.from, high, x.to - x.from, WAVE];
    for x in pieces.iter().filter(|x| x.state == Some(LaneState::Blind)) {
        p.hatched(block(x));
    }
    for x in pieces.iter().filter(|x| x.state.is_none()) {
        p.block(block(x), Ink::Middling);
    }
    for run in pieces.chunk_by(|a, b| is_wave(a) && is_wave(b)).filter(|run| is_wave(&run[0])) {
        let through = run.iter().filter_map(|x| Some((x, level(x.state?))));
        p.line(through.flat_map(|(x, y)| [[x.from, y], [x.to, y]]).collect::<Vec<_>>(), 1.5, Ink::Dark);
    }
    for x in pieces.iter().filter(|x| x.state == Some(LaneState::Bad)) {
        p.line([[x.from, low], [x.to, low]], 4.0, Ink::Dark);
    }
}

/// One trouble, or several too close to draw apart, in its row beneath the lanes.
struct Mark {
    row: usize,
    /// Start: earliest, middle, latest.
    start: [f64; 3],
    /// End likewise; `None` while it lasts.
    end: Option<[f64; 3]>,
    until: f64,
    outage: bool,
    number: u32,
    others: usize,
}

impl Mark {
    fn label(&self) -> String {
        if self.others == 0 { self.number.to_string() } else { format!("{} +{}", self.number, self.others) }
    }

    /// The rightmost place taken by the bar or by the number.
    fn taken_to(&self) -> f64 {
        self.until.max(self.start[1] + 9.0 * self.label().len() as f64) + 6.0
    }
}

/// Troubles to rows, first free row first; where no row is free they join the mark nearest before them.
fn place(troubles: &[Trouble], plot: &Plot) -> Vec<Mark> {
    let mut marks: Vec<Mark> = Vec::new();
    // Index of the last mark in each row.
    let mut last: [Option<usize>; TROUBLE_ROWS] = [None; TROUBLE_ROWS];
    for t in troubles {
        let start = t.start_s.map(|s| plot.x(s));
        let end = t.end_s.map(|e| e.map(|s| plot.x(s)));
        let until = end.map_or(plot.right, |e| e[2]).max(start[2]);
        let left = (start[0] - 4.0).min(start[1] - 4.0);
        if let Some(row) = last.iter().position(|i| i.is_none_or(|i| marks[i].taken_to() <= left)) {
            last[row] = Some(marks.len());
            marks.push(Mark { row, start, end, until, outage: t.outage, number: t.number, others: 0 });
            continue;
        }
        let nearest = last.iter().flatten().max_by(|a, b| marks[**a].start[1].total_cmp(&marks[**b].start[1]));
        if let Some(&i) = nearest {
            let m = &mut marks[i];
            m.others += 1;
            m.outage |= t.outage;
            if until > m.until {
                (m.until, m.end) = (until, end);
            }
        }
    }
    marks
}

fn mark(p: &mut Picture, m: &Mark, lanes_end: f64, top: f64) {
    let y = top + TROUBLE_ROW * m.row as f64 + 18.0;
    let to = m.end.map_or(m.until, |e| e[1]).max(m.start[1] + 2.0);
    p.dashed([[m.start[1], TOP], [m.start[1], lanes_end]], Ink::Light);
    p.line([[m.start[1], y], [to, y]], if m.outage { 4.0 } else { 1.0 }, Ink::Dark);
    for edge in [Some(m.start), m.end].into_iter().flatten().filter(|e| e[2] - e[0] >= 2.0) {
        bracket(p, [edge[0], edge[2]], y, 4.0);
    }
    if m.end.is_none() {
        p.line([[to, y - 4.0], [to + 6.0, y], [to, y + 4.0]], 0.75, Ink::Dark);
    }
    p.text([m.start[1], y - 6.0], Anchor::Start, m.label());
}

/// From where to where an edge may lie.
fn bracket(p: &mut Picture, [from, to]: [f64; 2], y: f64, half: f64) {
    p.line([[from, y - half], [from, y + half]], 0.75, Ink::Dark);
    p.line([[from, y], [to, y]], 0.75, Ink::Dark);
    p.line([[to, y - half], [to, y + half]], 0.75, Ink::Dark);
}

fn legend_places(width: f64) -> Vec<(f64, f64)> {
    let columns = if width < 600.0 { 2 } else { 4 };
    (0..say::KEYS.len()).map(|i| ((i % columns) as f64 * width / columns as f64, (i / columns) as f64 * 22.0)).collect()
}

fn key(p: &mut Picture, i: usize, x: f64, y: f64) {
    let (high, mid, low) = (y + 2.0, y + 8.0, y + 14.0);
    let end = x + 24.0;
    if i < 3 {
        // Both levels, so that the height of the line can be read.
        p.dashed([[x, high], [end, high]], Ink::Light);
        p.dashed([[x, low], [end, low]], Ink::Light);
    }
    match i {
        0 => p.line([[x, high], [end, high]], 1.5, Ink::Dark),
        1 => p.line([[x, mid], [end, mid]], 1.5, Ink::Dark),
        2 => p.line([[x, low], [end, low]], 4.0, Ink::Dark),
        3 => p.hatched([x, high, 24.0, 12.0]),
        4 => p.block([x, high, 24.0, 12.0], Ink::Middling),
        5 => {
            p.line([[x + 4.0, mid], [x + 20.0, mid]], 4.0, Ink::Dark);
            bracket(p, [x, x + 8.0], mid, 6.0);
        }
        _ => p.line([[x, mid], [end, mid]], 1.0, Ink::Dark),
    }
    p.text([x + 30.0, y + 12.0], Anchor::Start, say::KEYS[i]);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Lane;
    use crate::judge::{Actor, Cause};
    use crate::show::picture::to_svg;
    use crate::snapshot::Watch;

    fn stretch(from_s: f64, to_s: f64, state: LaneState) -> Stretch {
        Stretch { from_s, to_s, state }
    }

    #[test]
    fn a_short_outage_in_a_week_is_still_seen() {
        let week = 7.0 * 86_400.0;
        let plot = Plot { left: 100.0, right: 900.0, length: week };
        let at = 3.0 * 86_400.0;
        let p = pieces(
            &[
                stretch(0.0, at, LaneState::Good),
                stretch(at, at + 10.0, LaneState::Bad),
                stretch(at + 10.0, week, LaneState::Good),
            ],
            &plot,
        );
        assert_eq!(p.iter().map(|p| p.state).collect::<Vec<_>>(), [Some(LaneState::Good), None, Some(LaneState::Good)]);
        assert!(p[1].to - p[1].from >= MIXED);
        assert!((p[2].to - 900.0).abs() < 1e-9);
    }

    #[test]
    fn an_outage_at_the_very_end_of_a_week_is_still_seen_inside_the_plot() {
        let week = 7.0 * 86_400.0;
        let plot = Plot { left: 100.0, right: 900.0, length: week };
        let p = pieces(&[stretch(0.0, week - 5.0, LaneState::Good), stretch(week - 5.0, week, LaneState::Bad)], &plot);
        let last = p.last().expect("two pieces");
        assert_eq!(last.state, None);
        assert!(last.to <= 900.0 && last.to - last.from >= MIXED - 1e-9, "{last:?}");
    }

    #[test]
    fn a_busy_week_stays_under_two_thousand_elements() {
        let week = 7.0 * 86_400.0;
        let states = [LaneState::Good, LaneState::Bad, LaneState::Strained, LaneState::Blind];
        let mut s = Snapshot { watch: Watch { elapsed_s: week, ..Watch::default() }, ..Snapshot::default() };
        for (i, lane) in Lane::ALL.into_iter().enumerate() {
            let step = [7.0, 300.0, 700.0, 800.0, 1_600.0, 5_000.0, 40_000.0][i];
            let count = (week / step) as usize;
            let stretches =
                (0..count).map(|k| stretch(k as f64 * step, (k + 1) as f64 * step, states[(k * 7 + i) % 4])).collect();
            s.lanes.push(LaneView { lane, state: LaneState::Good, last: String::new(), last_s: None, stretches });
        }
        for k in 0..5_000u32 {
            let at = f64::from(k) * 120.0;
            s.troubles.push(Trouble {
                number: k + 1,
                lane: Lane::Outside,
                cause: Cause::AccessLine,
                sentence: String::new(),
                start_s: [at, at + 1.0, at + 2.0],
                end_s: Some([at + 30.0, at + 31.0, at + 32.0]),
                outage: k % 2 == 0,
                down_from_s: None,
                down_to_s: None,
                confidence: 0.5,
                evidence: Vec::new(),
                evidence_for: Vec::new(),
                evidence_against: Vec::new(),
                not_excluded: Vec::new(),
                unwatched: false,
                alternatives: Vec::new(),
                technician: String::new(),
                step: String::new(),
                proof: String::new(),
                who: Actor::Provider,
                station_would_know: None,
            });
        }
        for width in [360, 960] {
            let svg = to_svg(&lanes(&s, &TimeZone::UTC, width).expect("watched")).into_string();
            let elements = svg.matches('<').count() - svg.matches("</").count();
            assert!(elements < 2_000, "{elements} elements");
            assert!(svg.len() < 400_000, "{} bytes", svg.len());
        }
        // None of the 5000 troubles is lost: each is a number or counted behind one.
        let marks = place(&s.troubles, &Plot { left: 100.0, right: 900.0, length: week });
        assert_eq!(marks.iter().map(|m| 1 + m.others).sum::<usize>(), 5_000);
    }

    #[test]
    fn pieces_never_overlap_or_run_backwards() {
        let plot = Plot { left: 0.0, right: 300.0, length: 1_000.0 };
        // A fixed linear congruential sequence: lengths from far under a unit to several units.
        let (mut seed, mut at, mut stretches) = (1u32, 0.0, Vec::new());
        while at < 1_000.0 {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let to = (at + f64::from(seed >> 24) / 20.0 + 0.01).min(1_000.0);
            let state = [LaneState::Good, LaneState::Bad, LaneState::Blind][(seed >> 8) as usize % 3];
            stretches.push(stretch(at, to, state));
            at = to;
        }
        let p = pieces(&stretches, &plot);
        assert!(p.windows(2).all(|w| w[0].to <= w[1].from + MIXED && w[0].from < w[1].to), "{p:?}");
        assert!(p.iter().all(|p| p.from <= p.to && p.to <= 300.0 + 1e-9));
    }
}
