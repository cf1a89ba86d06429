//! Evidence for and against: how likely each explanation of the longest outage is, as bars.

use super::{Anchor, Ink, Picture, WIDTH};
use crate::show::columns::fit;
use crate::show::say::picture as say;
use crate::show::words::safe;
use crate::snapshot::{Snapshot, Window, odds};
use crate::words::causes;

const LEFT: f64 = 190.0;
const ROW: f64 = 28.0;
/// Most explanations drawn beside the chosen one.
const MOST: usize = 5;

/// The explanations of the longest outage; `None` without an outage or an honest figure.
pub fn cause(s: &Snapshot) -> Option<Picture> {
    let whole = Window::last(s, f64::INFINITY);
    let t = whole.longest()?.trouble;
    if !(0.0..=1.0).contains(&t.confidence) {
        return None;
    }
    let mut rows = vec![(causes::row(t.cause).title, t.confidence)];
    let others = t.alternatives.iter().filter(|(w, p)| *w != t.cause && (0.0..=1.0).contains(p));
    rows.extend(others.take(MOST).map(|(w, p)| (causes::row(*w).title, *p)));
    let left = 1.0 - rows.iter().map(|r| r.1).sum::<f64>();
    if left > 0.005 {
        rows.push((say::SOMETHING_ELSE, left));
    }
    let told = rows.iter().map(|(w, p)| format!("{w}: {}", odds(*p)));
    let lists = [&t.evidence_for, &t.evidence_against].map(|l| l.iter().map(|e| safe(e)).collect::<Vec<_>>());
    let mut p =
        Picture::new(say::CAUSE, say::cause(t.number, told, &lists[0], &lists[1]), ROW * rows.len() as f64 + 12.0);
    let width = WIDTH - LEFT - 150.0;
    p.line([[LEFT, 4.0], [LEFT, ROW * rows.len() as f64 + 8.0]], 1.0, Ink::Dark);
    for (i, (word, share)) in rows.iter().enumerate() {
        let y = 6.0 + ROW * i as f64;
        p.text([LEFT - 8.0, y + 18.0], Anchor::End, fit(word, 28));
        let ink = if i == 0 { Ink::Middling } else { Ink::Light };
        p.block([LEFT, y + 4.0, (width * share).max(1.0), 20.0], ink);
        p.text([LEFT + (width * share).max(1.0) + 6.0, y + 18.0], Anchor::Start, odds(*share));
    }
    Some(p)
}
