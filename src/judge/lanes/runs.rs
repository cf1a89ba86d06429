//! What a lane keeps of its past beside spans: unbroken runs of answers, and patches in which much was lost but not
//! enough for a trouble. Both are capped. Decides nothing.

use crate::judge::facts::Moment;
use crate::judge::facts::stretches::merged;
use crate::judge::lanes::span::{Oddity, Span};
use crate::judge::lanes::thresholds::BURST_LOSSES;

/// Runs of answers kept; they tell what went on during troubles.
pub(crate) const MOST_RUNS_OF_ANSWERS: usize = 2_048;
/// Patches kept, the newest.
const MOST_PATCHES: usize = 1_024;
/// Least share lost in a patch (choice: well over random loss, well under that of a burst).
const PATCH_DENSITY: f64 = 0.1;

/// From first to last, in order of time.
pub(crate) type Stretches = Vec<(Moment, Moment)>;

/// Joins runs of answers of the older half that nothing but single losses broke; the oldest go if that is not enough.
/// So what is kept grows with silences and pauses, not with time.
pub(crate) fn thin(answers: &mut Stretches, spans: &[Span], blind: &[(Moment, Moment)]) {
    if answers.len() <= MOST_RUNS_OF_ANSWERS {
        return;
    }
    let half = MOST_RUNS_OF_ANSWERS / 2;
    let since = answers[0].0;
    // Both lists are in the order of closing.
    let silent = spans.iter().rev().map_while(|s| s.end.filter(|e| e.latest >= since).map(|e| (s, e)));
    let silent = silent.filter(|(s, _)| s.oddity == Oddity::Silent).map(|(s, e)| (s.start.earliest, e.latest));
    let blind = blind.iter().rev().copied().take_while(|(_, to)| *to >= since);
    let breaks = merged(silent.chain(blind).collect());
    let mut breaks = breaks.iter().peekable();
    let mut last = 0;
    for next in 1..half {
        let (run, end) = (answers[next], answers[last].1);
        while breaks.next_if(|(_, to)| *to < end).is_some() {}
        if breaks.peek().is_none_or(|(from, _)| *from > run.0) {
            answers[last].1 = end.max(run.1);
        } else {
            last += 1;
            answers[last] = run;
        }
    }
    answers.drain(last + 1..half);
    answers.drain(..(last + 1).saturating_sub(half / 2));
}

/// Keeps a patch if so much was lost in it: as many questions as a burst needs, and a tenth of all.
pub(crate) fn keep_patch(patches: &mut Stretches, (lost, answered): (u32, u32), from: Moment, to: Moment) {
    if lost < BURST_LOSSES || f64::from(lost) < PATCH_DENSITY * f64::from(lost + answered) {
        return;
    }
    if patches.len() >= MOST_PATCHES {
        patches.remove(0);
    }
    patches.push((from, to));
}
