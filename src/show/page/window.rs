//! The part of the record that the diagram shows: how it is named in an address, how one steps from part to part, and
//! the snapshot cut down to it.
//!
//! Seconds on the record's axis; what is below zero counts back from now, so that "the last hour" stays the last hour
//! when the page is drawn again. Decides no layout.

use super::Window;
use crate::snapshot::{LaneView, Snapshot, Stretch, Trouble, Watch};

/// No part is shorter than this: shorter than any cadence there is nothing to see.
const SHORTEST_S: f64 = 10.0;

/// One step by a link: its words, its key, and where it leads.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Step {
    /// What it says.
    pub(super) says: &'static str,
    /// The key that follows it, as browsers name it.
    pub(super) key: Option<&'static str>,
    /// Address; `None` where there is nowhere to go.
    pub(super) to: Option<String>,
}

/// A window brought inside the record of that length; `None` stands for all of it.
pub(super) fn inside(window: Option<Window>, elapsed_s: f64) -> Window {
    let length = if elapsed_s.is_finite() && elapsed_s > 0.0 { elapsed_s } else { 0.0 };
    let all = Window { from_s: 0.0, to_s: length };
    let Some(w) = window.filter(|w| w.from_s.is_finite() && w.to_s.is_finite()) else { return all };
    let from_now = w.from_s < 0.0;
    let from = if from_now { length + w.from_s } else { w.from_s };
    let to = if from_now && w.to_s <= 0.0 { length + w.to_s } else { w.to_s };
    let span = (to - from).clamp(SHORTEST_S, SHORTEST_S.max(length));
    let from = from.clamp(0.0, (length - span).max(0.0));
    Window { from_s: from, to_s: (from + span).min(length) }
}

/// Whether the window is all of the record.
pub(super) fn is_all(w: Window, elapsed_s: f64) -> bool {
    w.from_s <= 0.0 && w.to_s >= elapsed_s
}

fn address(from_s: f64, to_s: f64) -> String {
    format!("/technician?from={}&to={}#diagram", from_s.round(), to_s.round())
}

/// Steps and zooms from a window.
pub(super) fn steps(w: Window, elapsed_s: f64) -> Vec<Step> {
    let span = w.to_s - w.from_s;
    let step = |says, key, to| Step { says, key: Some(key), to };
    let at = |from: f64, span: f64| {
        let span = span.min(elapsed_s);
        let from = from.clamp(0.0, (elapsed_s - span).max(0.0));
        address(from, from + span)
    };
    let middle = f64::midpoint(w.from_s, w.to_s);
    vec![
        step("Earlier", "ArrowLeft", (w.from_s > 0.5).then(|| at(w.from_s - span / 2.0, span))),
        step("Later", "ArrowRight", (w.to_s < elapsed_s - 0.5).then(|| at(w.from_s + span / 2.0, span))),
        step("Closer", "+", (span > 2.0 * SHORTEST_S).then(|| at(middle - span / 4.0, span / 2.0))),
        step("Wider", "-", (!is_all(w, elapsed_s)).then(|| at(middle - span, span * 2.0))),
    ]
}

/// The last hour, day and week, where the record is longer than that, and all of it.
pub(super) fn spans(w: Window, elapsed_s: f64) -> Vec<Step> {
    let ready = [("The last hour", 3_600.0), ("The last day", 86_400.0), ("The last week", 604_800.0)];
    let here = |length: f64| (w.to_s - elapsed_s).abs() < 1.0 && (w.to_s - w.from_s - length).abs() < 1.0;
    let mut out: Vec<Step> = ready
        .into_iter()
        .filter(|(_, length)| *length < elapsed_s)
        .map(|(says, length)| {
            let to = (!here(length)).then(|| format!("/technician?from=-{length}&to=0#diagram"));
            Step { says, key: None, to }
        })
        .collect();
    let to = (!is_all(w, elapsed_s)).then(|| "/technician#diagram".to_owned());
    out.push(Step { says: "All of it", key: None, to });
    out
}

/// Where a trouble is seen in the middle of its surroundings.
pub(super) fn around(t: &Trouble, elapsed_s: f64) -> String {
    // A time that is none lands on the record's begin.
    let known = |at: f64| if at.is_finite() { at.clamp(0.0, elapsed_s.max(0.0)) } else { 0.0 };
    let start = known(t.start_s[1]);
    let end = known(t.end_s.map_or(elapsed_s, |e| e[1])).max(start);
    let room = ((end - start) * 0.75).clamp(60.0, 43_200.0);
    address(known(start - room), known(end + room))
}

/// Whether a trouble reaches into the window.
pub(super) fn meets(t: &Trouble, w: Window) -> bool {
    t.start_s[0] <= w.to_s && t.end_s.is_none_or(|e| e[2] >= w.from_s)
}

/// The lanes and troubles of the snapshot inside the window, on an axis that begins with it. Nothing else is kept.
pub(super) fn part(s: &Snapshot, w: Window) -> Snapshot {
    let length = (w.to_s - w.from_s).max(0.0);
    let began = s.wall(w.from_s);
    let shift = |e: [f64; 3]| e.map(|at| at - w.from_s);
    let lanes = s.lanes.iter().map(|v| LaneView {
        lane: v.lane,
        state: v.state,
        last: String::new(),
        last_s: None,
        stretches: v
            .stretches
            .iter()
            .filter(|x| x.to_s > w.from_s && x.from_s < w.to_s)
            .map(|x| Stretch {
                from_s: (x.from_s - w.from_s).max(0.0),
                to_s: (x.to_s - w.from_s).min(length),
                state: x.state,
            })
            .collect(),
    });
    let troubles = s.troubles.iter().filter(|t| meets(t, w)).map(|t| Trouble {
        start_s: shift(t.start_s),
        // One that goes on past the window is drawn as going on.
        end_s: t.end_s.filter(|e| e[1] <= w.to_s).map(shift),
        evidence: Vec::new(),
        evidence_for: Vec::new(),
        evidence_against: Vec::new(),
        not_excluded: Vec::new(),
        ..t.clone()
    });
    Snapshot {
        watch: Watch { began, elapsed_s: length, clock_synced: s.watch.clock_synced, ..Watch::default() },
        lanes: lanes.collect(),
        troubles: troubles.collect(),
        ..Snapshot::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn w(from_s: f64, to_s: f64) -> Window {
        Window { from_s, to_s }
    }

    #[test]
    fn a_window_always_lies_inside_the_record() {
        let odd = [-1e300, -5e4, -60.0, -0.0, 0.0, 5.0, 500.0, 1e9, f64::NAN, f64::INFINITY];
        for length in [0.0, 5.0, 90.0, 1e6, f64::NAN] {
            for from in odd {
                for to in odd {
                    let got = inside(Some(w(from, to)), length);
                    let most = if length.is_nan() { 0.0 } else { length };
                    assert!(
                        got.from_s >= 0.0 && got.from_s <= got.to_s && got.to_s <= most,
                        "{from} {to} {length}: {got:?}"
                    );
                }
            }
        }
        assert_eq!(inside(None, 90.0), w(0.0, 90.0));
        assert_eq!(inside(Some(w(-60.0, 0.0)), 90.0), w(30.0, 90.0));
        assert_eq!(inside(Some(w(20.0, 50.0)), 90.0), w(20.0, 50.0));
    }

    #[test]
    fn steps_lead_somewhere_else_or_nowhere() {
        let all = steps(w(0.0, 1000.0), 1000.0);
        assert_eq!(
            all.iter().map(|s| s.to.as_deref()).collect::<Vec<_>>(),
            [None, None, Some("/technician?from=250&to=750#diagram"), None]
        );
        let part = steps(w(250.0, 750.0), 1000.0);
        assert_eq!(
            part.iter().map(|s| s.to.as_deref()).collect::<Vec<_>>(),
            [
                Some("/technician?from=0&to=500#diagram"),
                Some("/technician?from=500&to=1000#diagram"),
                Some("/technician?from=375&to=625#diagram"),
                Some("/technician?from=0&to=1000#diagram"),
            ]
        );
    }
}
