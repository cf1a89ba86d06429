//! The view while a survey runs: a calm screen for terminals, plain lines elsewhere.
//!
//! Decides layout only. The screen draws the path as one thread from the inside out: unbroken where a lane carries,
//! dashed where it carries in part, torn where it does not, dotted where nobody could look. Every state is also a
//! word, so nothing depends on colour. The caller owns the cursor; nothing here writes.

use super::columns::{columns, fit, wrap};
use super::words::{self, Clock, safe, span};
use crate::snapshot::{LaneState, LaneView, Snapshot, Trouble};
use jiff::tz::TimeZone;

/// The whole result as text of at most `width` columns, times in `zone`. Ends with a newline.
pub fn verdict(s: &Snapshot, zone: &TimeZone, width: usize) -> String {
    super::report::to_text(s, zone, width)
}

/// Columns for the lane's name.
const NAME: usize = 13;

/// The screen: at most `height` lines of at most `width` columns (colour codes not counted), times in `zone`, `left`
/// seconds to go where that is known. Made for 80x24; below 40 columns text is cut shorter but still shown.
pub fn live(
    s: &Snapshot,
    zone: &TimeZone,
    width: usize,
    height: usize,
    colour: bool,
    left: Option<f64>,
) -> Vec<String> {
    let ink = Ink { on: colour };
    let clock = Clock::new(s, zone);
    let mut top = vec![ink.strong(&fit(&title(s), width)), ink.faint(&fit(&progress(s, left, width), width))];
    let lanes: Vec<String> = s.lanes.iter().map(|l| lane_line(l, &clock, s.watch.elapsed_s, width, ink)).collect();
    let mut trouble = trouble_lines(s, &clock, width);
    let mut verdict = wrap(&format!("So far: {}.", words::verdict(s)), width, "", "");
    let mut foot = vec![ink.faint(&fit("Ctrl-C ends early, with a report.", width))];

    // Where the screen is low, the least needed goes first: air, foot, trouble's later lines, verdict.
    let spare = |parts: &[&Vec<String>], height: usize| height.saturating_sub(parts.iter().map(|p| p.len()).sum());
    if spare(&[&top, &lanes], height) < 5 {
        foot.clear();
    }
    trouble.truncate(spare(&[&top, &lanes, &foot], height).min(6));
    verdict.truncate(spare(&[&top, &lanes, &foot, &trouble], height).min(2));
    let mut air = spare(&[&top, &lanes, &foot, &trouble, &verdict], height);
    let mut out = std::mem::take(&mut top);
    for part in [lanes, trouble, verdict, foot] {
        if !part.is_empty() && air > 0 {
            out.push(String::new());
            air -= 1;
        }
        out.extend(part);
    }
    out.truncate(height);
    out
}

/// How far a trouble's beginning may move between two looks and still be the same trouble, seconds (choice: a probe's
/// turn or two, by which brackets narrow).
const SAME_S: f64 = 2.0;

/// Lines for what changed between two snapshots; none where nothing a reader cares for changed. Each carries the time
/// it is printed, the end of `after`, so that lines never run backwards; when it happened is said where that is not now.
/// Start with `Snapshot::default()` as `before` to introduce every lane.
pub fn plain_change(before: &Snapshot, after: &Snapshot, zone: &TimeZone) -> Vec<String> {
    let clock = Clock::new(after, zone);
    let mut changes: Vec<(f64, String)> = Vec::new();
    let now = after.watch.elapsed_s;
    for view in &after.lanes {
        let was = before.lanes.iter().find(|b| b.lane == view.lane).map(|b| b.state);
        if was == Some(view.state) {
            continue;
        }
        let since = now - words::held_for(view).unwrap_or(0.0);
        let name = words::lane(view.lane);
        let is = words::state(view.lane, view.state);
        let was = was.map(|w| format!(", was: {}", words::state(view.lane, w))).unwrap_or_default();
        let last = if view.last.is_empty() { String::new() } else { format!(" ({})", safe(&view.last)) };
        let from = if now - since < 1.0 { String::new() } else { format!(", since {}", clock.at(since)) };
        changes.push((since, format!("{name}: {is}{was}{last}{from}")));
    }
    // Numbers shift when troubles are read together or apart; the lane and the beginning stay.
    let mut earlier: Vec<&Trouble> = before.troubles.iter().collect();
    for t in &after.troubles {
        let number = t.number;
        // A beginning that is no number is no further off than itself.
        let off = |b: &Trouble| (b.start_s[1] - t.start_s[1]).abs().max(0.0);
        let same = (0..earlier.len())
            .filter(|&i| earlier[i].lane == t.lane && off(earlier[i]) <= SAME_S)
            .min_by(|&i, &j| off(earlier[i]).total_cmp(&off(earlier[j])));
        let told = trouble_words(t, &clock, now);
        match same.map(|i| earlier.remove(i)) {
            None => changes.push((t.start_s[1], format!("Trouble {number}: {told}"))),
            Some(b) if b.end_s.is_none() && t.end_s.is_some() => {
                changes.push((t.end_s.map_or(now, |e| e[1]), format!("Trouble {number} is over: {told}")));
            }
            Some(b) if b.cause != t.cause => {
                changes.push((now, format!("Trouble {number} is read differently now: {told}")));
            }
            Some(_) => {}
        }
    }
    for gone in earlier {
        let line = format!("Trouble {}, {}, is read differently now.", gone.number, gone.cause.word());
        changes.push((gone.start_s[1], line));
    }
    if before.verdict().kind != after.verdict().kind {
        changes.push((now, format!("So far: {}. {}", words::verdict(after), safe(&after.verdict().sentence))));
    }
    changes.sort_by(|a, b| a.0.total_cmp(&b.0));
    changes.into_iter().map(|(_, line)| format!("{}  {line}", clock.at(now))).collect()
}

/// Whether the path carried is only said once the trouble is over: until then nobody can know.
fn trouble_words(t: &Trouble, clock: &Clock<'_>, now_s: f64) -> String {
    let kind = match (t.outage, t.end_s) {
        (true, _) => "; outage",
        (false, Some(_)) => "; the path still carried",
        (false, None) => "",
    };
    let ended = if t.end_s.is_some() { format!("; {}", words::lasted(t, now_s)) } else { String::new() };
    format!("{} (began {}{kind}{ended})", safe(&t.sentence), clock.at(t.start_s[1]))
}

fn title(s: &Snapshot) -> String {
    let practice = if s.practice { "  (practice site)" } else { "" };
    format!("pathproof  {}{practice}", safe(&s.site))
}

fn progress(s: &Snapshot, left: Option<f64>, width: usize) -> String {
    let seen = words::percent(s.watch.coverage);
    let to_go = match left {
        Some(l) if l >= 1.0 => format!("{} left", span(l.round())),
        Some(_) => "finishing".to_owned(),
        None => "runs until stopped".to_owned(),
    };
    let whole = format!("{to_go}; {} watched, {seen} of it seen", span(s.watch.elapsed_s));
    if columns(&whole) <= width { whole } else { format!("{to_go}; of {}, {seen} seen", span(s.watch.elapsed_s)) }
}

/// One lane on one line. What is cut first on a narrow screen is what was last seen, never the state.
fn lane_line(view: &LaneView, clock: &Clock<'_>, now_s: f64, width: usize, ink: Ink) -> String {
    let thread = match view.state {
        LaneState::Good => "┃",
        LaneState::Strained => "╏",
        LaneState::Bad => "✕",
        LaneState::Blind => "·",
    };
    let state = words::state(view.lane, view.state);
    let held = words::held_for(view).map(|h| format!(" for {}", span(h.floor()))).unwrap_or_default();
    let mut said = format!("{state}{held}");
    if !view.last.is_empty() {
        // An old answer must not read as a fresh one.
        let old = match view.last_s {
            Some(at) if now_s - at > 60.0 => format!("; at {}", clock.short(at, false)),
            _ => String::new(),
        };
        said = format!("{said}: {}{old}", safe(&view.last));
    }
    let room = width.saturating_sub(NAME + 4);
    let name = format!("{:<NAME$}", words::lane(view.lane));
    let said = fit(&said, room);
    let said = match view.state {
        LaneState::Bad => ink.strong(&said),
        LaneState::Blind => ink.faint(&said),
        _ => said,
    };
    format!(" {thread} {name} {said}")
}

fn trouble_lines(s: &Snapshot, clock: &Clock<'_>, width: usize) -> Vec<String> {
    let Some(t) = s.troubles.last() else {
        return vec![fit("No trouble so far.", width)];
    };
    let before = match s.troubles.len() {
        1 => String::new(),
        n => format!(" ({} before it)", n - 1),
    };
    let head = format!("Last trouble: {}{before}", t.number);
    let when = format!("began {}, {}", clock.edge(t.start_s), words::lasted(t, s.watch.elapsed_s));
    let mut lines = vec![fit(&head, width)];
    lines.extend(wrap(&safe(&t.sentence), width, "  ", "  ").into_iter().take(3));
    lines.extend(wrap(&when, width, "  ", "  "));
    lines
}

/// Two weights of the terminal's own ink; no hues, so it reads on any background.
#[derive(Clone, Copy)]
struct Ink {
    on: bool,
}

impl Ink {
    fn strong(self, text: &str) -> String {
        self.sgr("1", text)
    }

    fn faint(self, text: &str) -> String {
        self.sgr("2", text)
    }

    /// Select Graphic Rendition (ECMA-48 section 8.3.117).
    fn sgr(self, code: &str, text: &str) -> String {
        if self.on && !text.is_empty() { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
    }
}
