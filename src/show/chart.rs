//! An engineering timing diagram of the lanes, as SVG 1.1.
//!
//! Decides how a lane's stretches become a two-level waveform that stays honest at any scale: high is answering, low is
//! not answering, the middle is in part, slanted hatching is not seen. Stretches too narrow to draw are not dropped: a
//! run of them becomes one "mixed" block, at least two units wide. Troubles stand numbered beneath, with brackets as wide
//! as the doubt about each edge. Shape alone carries the meaning; the ink is that of the page.

use super::axis::ticks;
use super::words::{self, Clock, count, safe, span};
use crate::snapshot::{LaneState, LaneView, Snapshot, Stretch, Trouble};
use jiff::tz::TimeZone;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write as _;

/// Narrowest a stretch may be and still be drawn as itself, in drawing units (about a pixel).
const THIN: f64 = 1.0;
/// Narrowest mixed block, so that it is seen in print.
const MIXED: f64 = 2.0;
/// Height of a lane's row and of its waveform.
const ROW: f64 = 40.0;
const WAVE: f64 = 20.0;
/// Height of one row of troubles, and how many rows at most.
const TROUBLE_ROW: f64 = 24.0;
const TROUBLE_ROWS: usize = 4;
const TOP: f64 = 8.0;

/// Style of the diagram; once a document. Uses the ink and paper of the page where it defines them.
pub const STYLE: &str = "
.td{color:var(--ink,#1b1f24);font:12px system-ui,sans-serif}
.td text{fill:currentColor}
.td .td-soft{fill:var(--soft,#59616b)}
.td .td-wave{fill:none;stroke:currentColor;stroke-width:1.5;stroke-linejoin:miter}
.td .td-low{fill:none;stroke:currentColor;stroke-width:4}
.td .td-grid{fill:none;stroke:var(--rule,#c9ced4);stroke-width:.75}
.td .td-guide{fill:none;stroke:var(--soft,#59616b);stroke-width:.75;stroke-dasharray:1 3}
.td .td-thin{fill:none;stroke:currentColor;stroke-width:1}
.td .td-edge{fill:none;stroke:currentColor;stroke-width:.75}
.td .td-bar{fill:none;stroke:currentColor;stroke-width:4}
.td .td-num{font-weight:600}
";
const STYLE_ALONE: &str = "@media (prefers-color-scheme:dark){.td{--ink:#e6e3dc;--soft:#a3a7ad;--rule:#3b4047}}";

/// The diagram as a file of its own, `width` units wide, times in `zone`.
pub fn document(s: &Snapshot, zone: &TimeZone, width: u32) -> String {
    let style = format!("{STYLE}{STYLE_ALONE}");
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n",
        drawing(s, zone, width, "td", Some(&style)).into_string()
    )
}

/// The diagram to stand inside an HTML page that carries [`STYLE`]. `id` prefixes its ids: give each diagram its own.
pub fn inline(s: &Snapshot, zone: &TimeZone, width: u32, id: &str) -> Markup {
    drawing(s, zone, width, id, None)
}

fn drawing(s: &Snapshot, zone: &TimeZone, width: u32, id: &str, style: Option<&str>) -> Markup {
    let width = f64::from(width.max(240));
    let gutter = if width < 600.0 { 66.0 } else { 104.0 };
    let plot = Plot::new(gutter, width - 14.0, s.watch.elapsed_s);
    let lanes_end = TOP + ROW * s.lanes.len() as f64;
    let ticks = ticks(s, zone, ((plot.right - plot.left) / 76.0) as usize);
    let marks = place(&s.troubles, &plot);
    let rows = marks.iter().map(|m| m.row + 1).max().unwrap_or(0);
    let troubles_top = lanes_end + 40.0;
    let legend_top = troubles_top + TROUBLE_ROW * rows as f64 + if rows > 0 { 16.0 } else { 2.0 };
    let legend = legend_places(width);
    let height = legend_top + legend.last().map_or(0.0, |l| l.1) + 28.0;
    let (title, desc) = (format!("{id}-title"), format!("{id}-desc"));
    html! {
        svg class="td" xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {} {}", n(width), n(height)))
            width=(n(width)) height=(n(height)) role="img" aria-labelledby=(format!("{title} {desc}")) {
            title id=(title) { "Timing diagram of the lanes" }
            desc id=(desc) { (described(s, zone)) }
            @if let Some(style) = style { style { (PreEscaped(style)) } }
            defs {
                pattern id=(format!("{id}-blind")) width="7" height="7" patternUnits="userSpaceOnUse" {
                    path class="td-edge" d="M-1 8L8 -1M-1 1L1 -1M6 8L8 6" {}
                }
                pattern id=(format!("{id}-mixed")) width="2" height="4" patternUnits="userSpaceOnUse" {
                    rect width="2" height="4" fill="currentColor" fill-opacity=".35" {}
                    rect width="1" height="4" fill="currentColor" {}
                }
            }
            g {
                @for t in &ticks {
                    path class="td-grid" d=(format!("M{} {}V{}", n(plot.x(t.at_s)), n(TOP), n(lanes_end + 5.0))) {}
                    text class="td-soft" x=(n(plot.inside(plot.x(t.at_s), 24.0))) y=(n(lanes_end + 18.0))
                        text-anchor="middle" { (t.label) }
                    @if let Some(day) = &t.day {
                        text class="td-soft" x=(n(plot.inside(plot.x(t.at_s), 24.0))) y=(n(lanes_end + 32.0))
                            text-anchor="middle" { (day) }
                    }
                }
                path class="td-grid" d=(format!("M{} {}H{}", n(plot.left), n(lanes_end), n(plot.right))) {}
            }
            @for (i, view) in s.lanes.iter().enumerate() {
                (lane(view, &plot, TOP + ROW * i as f64, id, width < 600.0))
            }
            @if !marks.is_empty() {
                g {
                    text class="td-soft" x="0" y=(n(troubles_top + 16.0)) { "troubles" }
                    @for m in &marks { (mark(m, lanes_end, troubles_top)) }
                }
            }
            g { @for (i, (x, y)) in legend.iter().enumerate() { (key(i, *x, legend_top + y, id)) } }
        }
    }
}

/// A drawing number: at most two decimals, no trailing zeros.
fn n(v: f64) -> String {
    let text = format!("{v:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

struct Plot {
    left: f64,
    right: f64,
    length: f64,
}

impl Plot {
    fn new(left: f64, right: f64, elapsed_s: f64) -> Self {
        let length = if elapsed_s.is_finite() && elapsed_s > 0.0 { elapsed_s } else { 1.0 };
        Self { left, right, length }
    }

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

fn lane(view: &LaneView, plot: &Plot, top: f64, id: &str, narrow: bool) -> Markup {
    let (high, low) = (top + (ROW - WAVE) / 2.0, top + f64::midpoint(ROW, WAVE));
    let level = |state| match state {
        LaneState::Good => high,
        LaneState::Strained => f64::midpoint(high, low),
        LaneState::Bad | LaneState::Blind => low,
    };
    let (mut wave, mut lows, mut blind, mut mixed) = (String::new(), String::new(), String::new(), String::new());
    let mut joined = false;
    for p in pieces(&view.stretches, plot) {
        let block = || format!("M{} {}H{}V{}H{}Z", n(p.from), n(high), n(p.to), n(low), n(p.from));
        match p.state {
            None => mixed.push_str(&block()),
            Some(LaneState::Blind) => blind.push_str(&block()),
            Some(state) => {
                let y = n(level(state));
                let step = if joined { format!("V{y}H{}", n(p.to)) } else { format!("M{} {y}H{}", n(p.from), n(p.to)) };
                wave.push_str(&step);
                if state == LaneState::Bad {
                    let _ = write!(lows, "M{} {y}H{}", n(p.from), n(p.to));
                }
            }
        }
        joined = p.state.is_some_and(|s| s != LaneState::Blind);
    }
    let name = if narrow { view.lane.word() } else { words::lane(view.lane) };
    html! {
        g {
            text x="0" y=(n(top + ROW / 2.0 + 4.0)) { (name) }
            @if !blind.is_empty() { path d=(blind) fill=(format!("url(#{id}-blind)")) {} }
            @if !mixed.is_empty() { path d=(mixed) fill=(format!("url(#{id}-mixed)")) {} }
            @if !wave.is_empty() { path class="td-wave" d=(wave) {} }
            @if !lows.is_empty() { path class="td-low" d=(lows) {} }
        }
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

fn mark(m: &Mark, lanes_end: f64, top: f64) -> Markup {
    let y = top + TROUBLE_ROW * m.row as f64 + 18.0;
    let to = m.end.map_or(m.until, |e| e[1]).max(m.start[1] + 2.0);
    let mut brackets = String::new();
    for edge in [Some(m.start), m.end].into_iter().flatten().filter(|e| e[2] - e[0] >= 2.0) {
        let _ = write!(
            brackets,
            "M{a} {t}V{b}M{a} {y}H{z}M{z} {t}V{b}",
            a = n(edge[0]),
            z = n(edge[2]),
            t = n(y - 4.0),
            b = n(y + 4.0),
            y = n(y),
        );
    }
    if m.end.is_none() {
        let _ = write!(
            brackets,
            "M{x} {t}L{tip} {y}L{x} {b}",
            x = n(to),
            tip = n(to + 6.0),
            t = n(y - 4.0),
            b = n(y + 4.0),
            y = n(y)
        );
    }
    html! {
        path class="td-guide" d=(format!("M{x} {}V{}", n(TOP), n(lanes_end), x = n(m.start[1]))) {}
        path class=(if m.outage { "td-bar" } else { "td-thin" }) d=(format!("M{} {y}H{}", n(m.start[1]), n(to), y = n(y))) {}
        @if !brackets.is_empty() { path class="td-edge" d=(brackets) {} }
        text class="td-num" x=(n(m.start[1])) y=(n(y - 6.0)) { (m.label()) }
    }
}

const KEYS: [&str; 7] =
    ["answering", "in part", "not answering", "not seen", "too brief to draw", "outage", "other trouble"];

fn legend_places(width: f64) -> Vec<(f64, f64)> {
    let columns = if width < 600.0 { 2 } else { 4 };
    (0..KEYS.len()).map(|i| ((i % columns) as f64 * width / columns as f64, (i / columns) as f64 * 22.0)).collect()
}

fn key(i: usize, x: f64, y: f64, id: &str) -> Markup {
    let (high, mid, low) = (n(y + 2.0), n(y + 8.0), n(y + 14.0));
    let (a, b) = (n(x), n(x + 24.0));
    let block = format!("M{a} {high}H{b}V{low}H{a}Z");
    html! {
        // Both levels, so that the height of the line can be read.
        @if i < 3 { path class="td-guide" d=(format!("M{a} {high}H{b}M{a} {low}H{b}")) {} }
        @match i {
            0 => path class="td-wave" d=(format!("M{a} {high}H{b}")) {},
            1 => path class="td-wave" d=(format!("M{a} {mid}H{b}")) {},
            2 => path class="td-low" d=(format!("M{a} {low}H{b}")) {},
            3 => path d=(block) fill=(format!("url(#{id}-blind)")) {},
            4 => path d=(block) fill=(format!("url(#{id}-mixed)")) {},
            5 => {
                path class="td-bar" d=(format!("M{} {mid}H{}", n(x + 4.0), n(x + 20.0))) {}
                path class="td-edge" d=(format!("M{a} {high}V{low}M{a} {mid}H{c}M{c} {high}V{low}", c = n(x + 8.0))) {}
            },
            _ => path class="td-thin" d=(format!("M{a} {mid}H{b}")) {},
        }
        text class="td-soft" x=(n(x + 30.0)) y=(n(y + 12.0)) { (KEYS[i]) }
    }
}

/// The diagram in words, for who does not see it.
fn described(s: &Snapshot, zone: &TimeZone) -> String {
    let clock = Clock::new(s, zone);
    let mut text = format!("{} long, from {}.", span(s.watch.elapsed_s), words::full_time(s.wall(0.0), zone));
    for view in &s.lanes {
        let total = |state| -> f64 {
            view.stretches.iter().filter(|x| x.state == state).map(|x| (x.to_s - x.from_s).max(0.0)).sum()
        };
        let parts: Vec<String> = [
            (LaneState::Good, "answering"),
            (LaneState::Strained, "in part"),
            (LaneState::Bad, "not answering"),
            (LaneState::Blind, "not seen"),
        ]
        .into_iter()
        .filter(|(state, _)| total(*state) > 0.0)
        .map(|(state, words)| format!("{words} {}", span(total(state))))
        .collect();
        if !parts.is_empty() {
            let _ = write!(text, " {}: {}.", words::lane(view.lane), parts.join(", "));
        }
    }
    let _ = write!(text, " {}.", count(s.troubles.len(), "trouble", "troubles"));
    for t in s.troubles.iter().take(20) {
        let _ = write!(text, " {}: {}, {}.", t.number, clock.at(t.start_s[1]), safe(&t.cause));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Lane;
    use crate::snapshot::Watch;

    fn stretch(from_s: f64, to_s: f64, state: LaneState) -> Stretch {
        Stretch { from_s, to_s, state }
    }

    #[test]
    fn a_short_outage_in_a_week_is_still_seen() {
        let week = 7.0 * 86_400.0;
        let plot = Plot::new(100.0, 900.0, week);
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
        let plot = Plot::new(100.0, 900.0, week);
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
                cause: "access-line".to_owned(),
                sentence: String::new(),
                start_s: [at, at + 1.0, at + 2.0],
                end_s: Some([at + 30.0, at + 31.0, at + 32.0]),
                outage: k % 2 == 0,
                down_from_s: None,
                down_to_s: None,
                confidence: 0.5,
                evidence_for: Vec::new(),
                evidence_against: Vec::new(),
                not_excluded: Vec::new(),
                unwatched: false,
                alternatives: Vec::new(),
                technician: String::new(),
                step: String::new(),
                proof: String::new(),
                who: "provider".to_owned(),
                station_would_know: None,
            });
        }
        for width in [360, 960] {
            let svg = document(&s, &TimeZone::UTC, width);
            let elements = svg.matches('<').count() - svg.matches("</").count();
            assert!(elements < 2_000, "{elements} elements");
            assert!(svg.len() < 400_000, "{} bytes", svg.len());
        }
        // None of the 5000 troubles is lost: each is a number or counted behind one.
        let marks = place(&s.troubles, &Plot::new(100.0, 900.0, week));
        assert_eq!(marks.iter().map(|m| 1 + m.others).sum::<usize>(), 5_000);
    }

    #[test]
    fn pieces_never_overlap_or_run_backwards() {
        let plot = Plot::new(0.0, 300.0, 1_000.0);
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
